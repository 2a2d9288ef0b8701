"""Echoes: light that went to and fro between reflections, and looks like one more reflection farther out.

A reflection without a loss, or with none stated and away from all joints, that lies at a sum, a multiple or a
difference of stronger reflections' distances from the instrument's port is no joint, common practice (no source).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations_with_replacement
from operator import attrgetter
from typing import NamedTuple

from service.vocabulary.records.words import EventKind, Qualifier
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent, TraceEvents
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.event_assignment import within

# The strongest reflections make the echoes that are seen; there are only a few on an honest trace.
_MOST_SOURCES = 12
# Light that was sent back at the port more often than this is too weak to be seen.
_MOST_MULTIPLE = 5


class Echo(NamedTuple):
    """An echo, and the reflections that its light met in that order, by their distances from the port."""

    event: TraceEvent
    met_um: tuple[int, ...]


class _Source(NamedTuple):
    """What sent light back: a reflection, or the port or the open end, of which no event says how much."""

    at_um: int
    event: TraceEvent | None


class _Path(NamedTuple):
    length_um: int
    met: tuple[_Source, ...]


_PORT = _Source(at_um=0, event=None)
_LENGTH_UM = attrgetter("length_um")


def is_lossless(event: TraceEvent, *, threshold_mdb: int) -> bool:
    """Tell whether an event shows no loss above a threshold; of one that states none nothing is known."""
    return event.loss_mdb is not None and abs(event.loss_mdb) <= threshold_mdb


def find_echoes(
    trace: Trace, scale: DistanceScale, *, pairs_along_um: Sequence[int], joints_along_um: Sequence[int], near_um: int
) -> tuple[Echo, ...]:
    """Return what may be an echo on a trace; `near_um` is how far one may lie from where its reflections put it.

    `pairs_along_um` is where the design has mated pairs, in order: what is seen there is the pair, unless another
    reflection is. Near any of the joints inside, `joints_along_um`, what states no loss may be the joint.
    """
    candidates = [*_may_be_echoes(trace, scale.events)]
    candidates += [one for one in scale.behind_end if _may_be_echo(trace, one)]
    # On nearly every trace there is none, and what follows costs.
    pairs_um = scale.all_on_trace_um(pairs_along_um) if candidates else ()
    candidates = [one for one in candidates if not _is_pair(trace, scale, one, pairs_um)]
    if any(one.loss_mdb is None for one in candidates):
        joints_um = scale.all_on_trace_um(joints_along_um)
        candidates = [
            one
            for one in candidates
            if one.loss_mdb is not None or not within(joints_um, one.at_um, scale.tolerance_um, key=int)
        ]
    if not candidates:
        return ()
    paths = sorted(_paths(_sources(scale)), key=_LENGTH_UM)
    return tuple(echo for one in candidates if (echo := _echo(one, paths, near_um=near_um)) is not None)


def take_off(scale: DistanceScale, echoes: Sequence[Echo]) -> DistanceScale:
    """Return a trace's scale without its echoes."""
    taken = {echo.event.number for echo in echoes}
    return replace(
        scale,
        events=TraceEvents.of(one for one in scale.events if one.number not in taken),
        behind_end=tuple(one for one in scale.behind_end if one.number not in taken),
    )


def reflects(event: TraceEvent) -> bool:
    """Tell whether an event is a reflection."""
    return event.kind is EventKind.REFLECTIVE or event.kind is EventKind.SATURATED


def _is_pair(trace: Trace, scale: DistanceScale, event: TraceEvent, pairs_um: Sequence[int]) -> bool:
    """Tell whether an event is where the design has a mated pair that no other reflection can be."""
    # A connection that loses nothing measurable looks like an echo. Taken for one, it would be judged as not seen; an
    # echo that happens to lie beside a pair gives itself away by the pair's own reflection, which has a loss.
    return any(
        all(_may_be_echo(trace, one) for one in scale.events_near(pair_um) if reflects(one))
        for pair_um in within(pairs_um, event.at_um, scale.tolerance_um, key=int)
    )


def _may_be_echoes(trace: Trace, events: TraceEvents) -> Iterator[TraceEvent]:
    reflective, threshold_mdb, losses_mdb = EventKind.REFLECTIVE, trace.threshold_mdb, events.losses_mdb
    for index in [index for index, kind in enumerate(events.kinds) if kind is reflective]:
        loss_mdb = losses_mdb[index]
        if loss_mdb is None or abs(loss_mdb) <= threshold_mdb:
            yield events[index]


def _may_be_echo(trace: Trace, event: TraceEvent) -> bool:
    has_no_loss = event.loss_mdb is None or is_lossless(event, threshold_mdb=trace.threshold_mdb)
    return event.kind is EventKind.REFLECTIVE and has_no_loss


def _sources(scale: DistanceScale) -> list[_Source]:
    """Return the strongest reflections of a trace, its open end among them, in order of distance."""
    reflections = [one for one in scale.events if reflects(one)]
    # Paths grow with the square of the sources, and a trace of thousands of reflections is of no use anyhow.
    strongest = sorted(reflections, key=lambda one: (_weakness(one), one.at_um))[:_MOST_SOURCES]
    sources = [_Source(one.at_um, one) for one in strongest]
    if scale.has_end:
        sources.append(_Source(scale.reach_um, None))
    return sorted(sources, key=lambda source: source.at_um)


def _weakness(event: TraceEvent) -> int:
    # What is cut off, or of unknown strength, may be the strongest of all: left out, its echoes would pass for joints.
    if event.kind is EventKind.SATURATED or event.reflectance_mdb is None:
        return 0
    return -event.reflectance_mdb


def _paths(sources: Sequence[_Source]) -> Iterator[_Path]:
    for near, far in combinations_with_replacement(sources, 2):
        # Light that reaches `far` and comes back may be sent out again on its way: by the port, or by any reflection
        # nearer than both. It then runs to `near` and home, so that it seems to come from the sum less the turn.
        for turn in (_PORT, *(source for source in sources if source.at_um < near.at_um)):
            yield _Path(near.at_um - turn.at_um + far.at_um, (near, turn, far))
    # Between the port and one strong reflection it may also go to and fro several times.
    for source in sources:
        for times in range(3, _MOST_MULTIPLE + 1):
            yield _Path(times * source.at_um, (source, *(_PORT, source) * (times - 1)))


def _echo(event: TraceEvent, paths: Sequence[_Path], *, near_um: int) -> Echo | None:
    near = within(paths, event.at_um, near_um, key=_LENGTH_UM)
    fitting = [path for path in near if all(_is_stronger(source, event) for source in path.met)]
    if not fitting:
        return None
    # Several paths may fit. Only which of them is written down depends on the choice: the simplest, then the nearest.
    best = min(fitting, key=lambda path: (len(path.met), abs(path.length_um - event.at_um), path.met[0].at_um))
    return Echo(event, tuple(source.at_um for source in best.met))


def _is_stronger(source: _Source, echo: TraceEvent) -> bool:
    """Tell whether a reflection can have made an echo: it lies before it, and sends back more as far as both say."""
    if source.at_um >= echo.at_um:
        return False
    made_by = source.event
    # An echo lost light at each of its turns. Where one of both strengths is not known the doubt goes to the echo: as a
    # joint it could make a fibre good or bad, as an echo it is written down and decides nothing.
    if made_by is None or made_by.kind is EventKind.SATURATED:
        return True
    if made_by.reflectance_mdb is None or echo.reflectance_mdb is None:
        return True
    if echo.qualifier is Qualifier.GT or made_by.qualifier is Qualifier.LT:
        return False
    return made_by.reflectance_mdb > echo.reflectance_mdb
