"""Echoes: light that went to and fro between reflections, and looks like one more reflection farther out.

A reflection without a loss that lies at a sum, a multiple or a difference of stronger reflections' distances from the
instrument's port is no joint, common practice (no source).
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations_with_replacement
from typing import NamedTuple

from service.vocabulary.words import EventKind, Qualifier
from worker.judgement.history.acts import Trace, TraceEvent
from worker.judgement.traces.distance_scale import DistanceScale

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


def is_lossless(event: TraceEvent, *, threshold_mdb: int) -> bool:
    """Tell whether an event shows no loss above a threshold; of one that states none nothing is known."""
    return event.loss_mdb is not None and abs(event.loss_mdb) <= threshold_mdb


def has_candidates(trace: Trace, scale: DistanceScale) -> bool:
    """Tell whether anything on a trace may be an echo: on nearly every trace there is nothing."""
    reflections = [one for one in (*scale.events, *scale.behind_end) if one.kind is EventKind.REFLECTIVE]
    return any(_may_be_echo(trace, one) for one in reflections)


def find_echoes(trace: Trace, scale: DistanceScale, *, pairs_um: Sequence[int], near_um: int) -> tuple[Echo, ...]:
    """Return what may be an echo on a trace; `near_um` is how far one may lie from where its reflections put it.

    `pairs_um` is where on the trace the design has mated pairs, in order: what is seen there is the pair, unless
    another reflection is.
    """
    possible = [one for one in (*scale.events, *scale.behind_end) if _may_be_echo(trace, one)]
    candidates = [one for one in possible if not _is_pair(trace, scale, one, pairs_um=pairs_um)]
    if not candidates:
        return ()
    paths = sorted(_paths(_sources(scale)), key=lambda path: path.length_um)
    return tuple(echo for one in candidates if (echo := _echo(one, paths, near_um=near_um)) is not None)


def take_off(scale: DistanceScale, echoes: Sequence[Echo]) -> DistanceScale:
    """Return a trace's scale without its echoes."""
    taken = {echo.event.number for echo in echoes}
    return replace(
        scale,
        events=tuple(one for one in scale.events if one.number not in taken),
        behind_end=tuple(one for one in scale.behind_end if one.number not in taken),
    )


def reflects(event: TraceEvent) -> bool:
    """Tell whether an event is a reflection."""
    return event.kind is EventKind.REFLECTIVE or event.kind is EventKind.SATURATED


def _may_be_echo(trace: Trace, event: TraceEvent) -> bool:
    return event.kind is EventKind.REFLECTIVE and is_lossless(event, threshold_mdb=trace.threshold_mdb)


def _is_pair(trace: Trace, scale: DistanceScale, event: TraceEvent, *, pairs_um: Sequence[int]) -> bool:
    index = bisect_left(pairs_um, event.at_um - scale.tolerance_um)
    own = []
    while index < len(pairs_um) and pairs_um[index] <= event.at_um + scale.tolerance_um:
        own.append(pairs_um[index])
        index += 1
    return any(not _is_taken(trace, scale, pair_um) for pair_um in own)


def _is_taken(trace: Trace, scale: DistanceScale, pair_um: int) -> bool:
    """Tell whether a reflection with a loss is there for a pair."""
    near = scale.events_near(pair_um)
    return any(reflects(one) and not _may_be_echo(trace, one) for one in near)


def _sources(scale: DistanceScale) -> list[_Source]:
    """Return the strongest reflections of a trace, its open end among them, in order of distance."""
    reflections = [one for one in scale.events if reflects(one)]
    strongest = sorted(reflections, key=lambda one: (_weakness(one), one.at_um))[:_MOST_SOURCES]
    sources = [_Source(one.at_um, one) for one in strongest]
    if scale.has_end:
        sources.append(_Source(scale.reach_um, None))
    return sorted(sources, key=lambda source: source.at_um)


def _weakness(event: TraceEvent) -> int:
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
    index = bisect_left(paths, event.at_um - near_um, key=lambda path: path.length_um)
    fitting: list[_Path] = []
    while index < len(paths) and paths[index].length_um <= event.at_um + near_um:
        if all(_is_stronger(source, event) for source in paths[index].met):
            fitting.append(paths[index])
        index += 1
    if not fitting:
        return None
    best = min(fitting, key=lambda path: (len(path.met), abs(path.length_um - event.at_um), path.met[0].at_um))
    return Echo(event, tuple(source.at_um for source in best.met))


def _is_stronger(source: _Source, echo: TraceEvent) -> bool:
    """Tell whether a reflection can have made an echo: it lies before it, and sends back more as far as both say."""
    if source.at_um >= echo.at_um:
        return False
    made_by = source.event
    if made_by is None or made_by.kind is EventKind.SATURATED:
        return True
    if made_by.reflectance_mdb is None or echo.reflectance_mdb is None:
        return True
    if echo.qualifier is Qualifier.GT or made_by.qualifier is Qualifier.LT:
        return False
    return made_by.reflectance_mdb > echo.reflectance_mdb
