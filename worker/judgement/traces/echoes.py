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
from worker.judgement.history.acts import Body, Trace
from worker.judgement.numbers.exact import last_place
from worker.judgement.traces.distance_scale import Ruler, TracedEvent

# The strongest reflections make the echoes that are seen; there are only a few on an honest trace.
_MOST_SOURCES = 12
# Light that was sent back at the port more often than this is too weak to be seen.
_MOST_MULTIPLE = 5
_REFLECTIVE = EventKind.REFLECTIVE.value


class Echo(NamedTuple):
    """An echo, and the reflections that its light met in that order, by their distances from the port."""

    spot: TracedEvent
    met_m: tuple[str, ...]


class _Source(NamedTuple):
    at_um: int
    distance_m: str
    body: Body | None


class _Path(NamedTuple):
    length_um: int
    met: tuple[_Source, ...]


_PORT = _Source(at_um=0, distance_m="0.00", body=None)


def is_lossless(event: Body, *, threshold_mdb: int) -> bool:
    """Tell whether an event shows no loss above a threshold; of one that states none nothing is known."""
    return "loss_db" in event and abs(last_place(event["loss_db"])) <= threshold_mdb


def has_candidates(trace: Trace, ruler: Ruler) -> bool:
    """Tell whether anything on a trace may be an echo: on nearly every trace there is nothing."""
    reflections = [spot for spot in (*ruler.events, *ruler.behind_end) if spot.body["kind"] == _REFLECTIVE]
    return any(_may_be_echo(trace, spot) for spot in reflections)


def find_echoes(trace: Trace, ruler: Ruler, *, pairs_um: Sequence[int], near_um: int) -> tuple[Echo, ...]:
    """Return what may be an echo on a trace; `near_um` is how far one may lie from where its reflections put it.

    `pairs_um` is where on the trace the design has mated pairs, in order: what is seen there is the pair, unless
    another reflection is.
    """
    spots = [spot for spot in (*ruler.events, *ruler.behind_end) if _may_be_echo(trace, spot)]
    candidates = [spot for spot in spots if not _is_pair(trace, ruler, spot, pairs_um=pairs_um)]
    if not candidates:
        return ()
    paths = sorted(_paths(_sources(trace, ruler)), key=lambda path: path.length_um)
    return tuple(echo for spot in candidates if (echo := _echo(spot, paths, near_um=near_um)) is not None)


def take_off(ruler: Ruler, echoes: Sequence[Echo]) -> Ruler:
    """Return a trace's ruler without its echoes."""
    taken = {id(echo.spot) for echo in echoes}
    return replace(
        ruler,
        events=tuple(spot for spot in ruler.events if id(spot) not in taken),
        behind_end=tuple(spot for spot in ruler.behind_end if id(spot) not in taken),
    )


def reflects(event: Body) -> bool:
    """Tell whether an event is a reflection."""
    return event["kind"] in {EventKind.REFLECTIVE, EventKind.SATURATED}


def _may_be_echo(trace: Trace, spot: TracedEvent) -> bool:
    is_reflection = spot.body["kind"] == _REFLECTIVE
    return is_reflection and is_lossless(spot.body, threshold_mdb=trace.threshold_mdb)


def _is_pair(trace: Trace, ruler: Ruler, spot: TracedEvent, *, pairs_um: Sequence[int]) -> bool:
    index = bisect_left(pairs_um, spot.at_um - ruler.tolerance_um)
    own = []
    while index < len(pairs_um) and pairs_um[index] <= spot.at_um + ruler.tolerance_um:
        own.append(pairs_um[index])
        index += 1
    return any(not _is_taken(trace, ruler, pair_um) for pair_um in own)


def _is_taken(trace: Trace, ruler: Ruler, pair_um: int) -> bool:
    """Tell whether a reflection with a loss is there for a pair."""
    near = ruler.events_near(pair_um)
    return any(reflects(spot.body) and not _may_be_echo(trace, spot) for spot in near)


def _sources(trace: Trace, ruler: Ruler) -> list[_Source]:
    """Return the strongest reflections of a trace, its open end among them, in order of distance."""
    ends = [event for event in trace.events if event["kind"] == EventKind.END]
    spots = [spot for spot in ruler.events if reflects(spot.body)]
    strongest = sorted(spots, key=lambda spot: (_weakness(spot.body), spot.at_um))[:_MOST_SOURCES]
    sources = [_Source(spot.at_um, spot.body["distance_m"], spot.body) for spot in strongest]
    if ends:
        end = min(ends, key=lambda event: last_place(event["distance_m"]))
        sources.append(_Source(ruler.reach_um, end["distance_m"], None))
    return sorted(sources, key=lambda source: source.at_um)


def _weakness(event: Body) -> int:
    if event["kind"] == EventKind.SATURATED:
        return 0
    return -last_place(event["reflectance_db"]) if "reflectance_db" in event else 0


def _paths(sources: Sequence[_Source]) -> Iterator[_Path]:
    for near, far in combinations_with_replacement(sources, 2):
        # In between, the light is sent back by the port or by any reflection nearer than both.
        for turn in (_PORT, *(source for source in sources if source.at_um < near.at_um)):
            yield _Path(near.at_um - turn.at_um + far.at_um, (near, turn, far))
    for source in sources:
        for times in range(3, _MOST_MULTIPLE + 1):
            yield _Path(times * source.at_um, (source, *(_PORT, source) * (times - 1)))


def _echo(spot: TracedEvent, paths: Sequence[_Path], *, near_um: int) -> Echo | None:
    index = bisect_left(paths, spot.at_um - near_um, key=lambda path: path.length_um)
    fitting: list[_Path] = []
    while index < len(paths) and paths[index].length_um <= spot.at_um + near_um:
        if all(_is_stronger(source, spot) for source in paths[index].met):
            fitting.append(paths[index])
        index += 1
    if not fitting:
        return None
    best = min(fitting, key=lambda path: (len(path.met), abs(path.length_um - spot.at_um), path.met[0].at_um))
    return Echo(spot, tuple(source.distance_m for source in best.met))


def _is_stronger(source: _Source, spot: TracedEvent) -> bool:
    """Tell whether a reflection can have made an echo: it lies before it, and sends back more as far as both say."""
    if source.body is None:
        return source.at_um < spot.at_um
    if source.at_um >= spot.at_um or source.body is spot.body:
        return False
    if source.body["kind"] == EventKind.SATURATED:
        return True
    if "reflectance_db" not in source.body or "reflectance_db" not in spot.body:
        return True
    if spot.body["reflectance_qualifier"] == Qualifier.GT or source.body["reflectance_qualifier"] == Qualifier.LT:
        return False
    return last_place(source.body["reflectance_db"]) > last_place(spot.body["reflectance_db"])
