"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from service.vocabulary.criteria import Placing
from service.vocabulary.finding import UnexpectedEventDocument
from service.vocabulary.layout import Layout
from service.vocabulary.words import EventKind, Reason
from worker.judgement.exact import last_place, mdb_text, metres_text, metres_to_um
from worker.judgement.history import Trace
from worker.judgement.places import Place
from worker.judgement.placing import assign
from worker.judgement.ruler import Ruler, measure
from worker.judgement.words import DIRECTION

Event = Mapping[str, Any]


class Shown(NamedTuple):
    """What a trace shows at a place: a loss, nothing above its threshold, or why neither can be said."""

    reason: Reason | None
    low_mdb: int
    high_mdb: int
    text: str
    distance_m: str | None

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there with a loss."""
        return self.distance_m is not None


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedTrace:
    """What one trace shows, by site index, and the events that lie on no place."""

    trace: Trace
    shown: Mapping[int, Shown]
    unexpected: tuple[UnexpectedEventDocument, ...]
    shortfall: Reason | None


def no_reading(reason: Reason) -> Shown:
    """Return that a trace says nothing of a place, and why."""
    return Shown(reason=reason, low_mdb=0, high_mdb=0, text="", distance_m=None)


def place_trace(layout: Layout, *, placing: Placing, places: Sequence[Place], trace: Trace) -> PlacedTrace:
    """Lay a trace over the places between its two ends."""
    spots = sorted(((metres_to_um(event["distance_m"]), event) for event in trace.events), key=lambda spot: spot[0])
    ends_um = [at_um for at_um, event in spots if event["kind"] == EventKind.END]
    events = [spot for spot in spots if spot[1]["kind"] != EventKind.END]
    span_um = layout.site_offsets_um[trace.high_index] - layout.site_offsets_um[trace.low_index]
    ruler = measure(trace, [at_um for at_um, _ in events], ends_um, span_um=span_um, placing=placing)
    covered = [place for place in places if trace.low_index <= place.site_index <= trace.high_index]
    if ruler.is_too_long:
        nothing = no_reading(Reason.LENGTH_UNLIKE)
        shown = {place.site_index: nothing for place in covered}
        return PlacedTrace(trace=trace, shown=shown, unexpected=(), shortfall=nothing.reason)
    near_um = layout.site_offsets_um[trace.low_index if trace.is_forward else trace.high_index]
    return _assign(trace, covered if trace.is_forward else covered[::-1], events, ruler=ruler, near_um=near_um)


def _assign(
    trace: Trace, places: Sequence[Place], events: Sequence[tuple[int, Event]], *, ruler: Ruler, near_um: int
) -> PlacedTrace:
    # What lies in the cords is no part of the route.
    first_um, last_um = ruler.start_um - ruler.tolerance_um, ruler.end_um + ruler.tolerance_um
    own = [spot for spot in events if first_um <= spot[0] <= last_um]
    expected_um = [ruler.on_trace_um(abs(place.from_a_um - near_um)) for place in places]
    is_group = [place.is_group for place in places]
    found = assign(expected_um, [at_um for at_um, _ in own], is_group=is_group, tolerance_um=ruler.tolerance_um)
    threshold = mdb_text(trace.threshold_mdb)
    unseen = Shown(
        reason=None, low_mdb=-trace.threshold_mdb, high_mdb=trace.threshold_mdb, text=threshold, distance_m=None
    )
    # With more events on nothing than on joints the trace does not fit the design, as after a cord's length was
    # mistyped; what it does not show then proves nothing.
    is_misfit = len(found.left_over) > sum(map(len, found.events_of_place))
    shown: dict[int, Shown] = {}
    for index, place in enumerate(places):
        seen = found.events_of_place[index]
        if index in found.contested or (is_misfit and not seen):
            shown[place.site_index] = no_reading(Reason.AMBIGUOUS_EVENT)
        elif seen:
            shown[place.site_index] = _show([own[event][1] for event in seen])
        elif ruler.reaches(expected_um[index]):
            shown[place.site_index] = unseen
        else:
            shown[place.site_index] = no_reading(Reason.BEYOND_REACH)
    unexpected = [_unexpected(trace, *own[event], near_um=near_um, ruler=ruler) for event in found.left_over]
    shortfall = None if ruler.is_full else Reason.BEYOND_REACH
    return PlacedTrace(trace=trace, shown=shown, unexpected=tuple(unexpected), shortfall=shortfall)


def _show(events: Sequence[Event]) -> Shown:
    texts = [event["loss_db"] for event in events if "loss_db" in event]
    if len(texts) < len(events):
        return no_reading(Reason.LOSS_NOT_STATED)
    total_mdb = sum(map(last_place, texts))
    # One event's canonical text is that of its loss already.
    text = texts[0] if len(texts) == 1 else mdb_text(total_mdb)
    return Shown(reason=None, low_mdb=total_mdb, high_mdb=total_mdb, text=text, distance_m=events[0]["distance_m"])


def _unexpected(trace: Trace, at_um: int, event: Event, *, near_um: int, ruler: Ruler) -> UnexpectedEventDocument:
    along_um = ruler.along_um(at_um)
    document: UnexpectedEventDocument = {
        "record": trace.stamp.id,
        "direction": DIRECTION[trace.is_forward],
        "wavelength_nm": trace.wavelength_nm,
        "from_a_m": metres_text(near_um + along_um if trace.is_forward else near_um - along_um),
    }
    if "loss_db" in event:
        document["loss_db"] = event["loss_db"]
    return document
