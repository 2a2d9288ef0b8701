"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from service.vocabulary.finding import UnexpectedEventDocument
from service.vocabulary.quantities import metres_text
from service.vocabulary.words import Reason
from worker.judgement.exact import last_place, mdb_text
from worker.judgement.history import Trace
from worker.judgement.places import Place
from worker.judgement.placing import Assignment, assign, nearest_to
from worker.judgement.ruler import Ruler, TracedEvent
from worker.judgement.words import DIRECTION

Event = Mapping[str, Any]


class Reading(NamedTuple):
    """The loss that one trace shows at a place; without an event it is not above the trace's threshold."""

    trace: Trace
    low_mdb: int
    high_mdb: int
    text: str
    distance_m: str | None

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there."""
        return self.distance_m is not None

    def agrees_with(self, other: "Reading") -> bool:
        """Tell whether two readings of one place can both be right.

        A threshold is set where noise makes no more events, so no reading is off by more than its own, common practice.
        """
        apart_mdb = max(self.low_mdb - other.high_mdb, other.low_mdb - self.high_mdb)
        return apart_mdb <= self.trace.threshold_mdb + other.trace.threshold_mdb


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedTrace:
    """What one trace shows by site index, or why nothing; its events on no place; why it does not prove the far end."""

    readings: Mapping[int, Reading | Reason]
    unexpected: tuple[UnexpectedEventDocument, ...]
    shortfall: Reason | None


def place_trace(trace: Trace, *, places: Sequence[Place], near_um: int, ruler: Ruler) -> PlacedTrace:
    """Lay a trace over the places between its two ends, in the order in which its light meets them."""
    if ruler.shortfall is Reason.LENGTH_UNLIKE:
        nothing = dict.fromkeys((place.site_index for place in places), ruler.shortfall)
        return PlacedTrace(readings=nothing, unexpected=(), shortfall=ruler.shortfall)
    first_um, last_um = ruler.start_um - ruler.tolerance_um, ruler.end_um + ruler.tolerance_um
    own = [spot for spot in ruler.events if first_um <= spot.at_um <= last_um]
    expected_um = [ruler.on_trace_um(abs(place.from_a_um - near_um)) for place in places]
    is_group = [place.is_group for place in places]
    found = assign(expected_um, [at_um for at_um, _ in own], is_group=is_group, tolerance_um=ruler.tolerance_um)
    strays = [own[event] for event in found.left_over]
    # With more events on nothing than on joints the trace does not fit the design, as after a cord's length was
    # mistyped; what it does not show then proves nothing.
    is_misfit = len(strays) > sum(map(len, found.events_of_place))
    in_doubt = found.contested | _missed(trace, places, expected_um, found, strays) if strays else found.contested
    unseen = _unseen(trace)
    readings: dict[int, Reading | Reason] = {}
    for index, place in enumerate(places):
        seen = found.events_of_place[index]
        if index in in_doubt or (is_misfit and not seen):
            readings[place.site_index] = Reason.AMBIGUOUS_EVENT
        elif seen:
            readings[place.site_index] = _read(trace, [own[event].body for event in seen])
        elif not ruler.reaches(expected_um[index]):
            readings[place.site_index] = ruler.shortfall or Reason.BEYOND_REACH
        else:
            # Two polished ends always show themselves; where they do not, they are somewhere else.
            readings[place.site_index] = unseen if place.pair is None else Reason.PAIR_NOT_SEEN
    return PlacedTrace(
        readings=readings,
        unexpected=tuple(
            _unexpected(trace, spot, near_um=near_um, ruler=ruler)
            for spot in [*strays, *_outside(ruler, first_um=first_um, last_um=last_um), *ruler.behind_end]
        ),
        shortfall=ruler.shortfall or (Reason.AMBIGUOUS_EVENT if is_misfit else None),
    )


def _missed(
    trace: Trace, places: Sequence[Place], expected_um: Sequence[int], found: Assignment, strays: Sequence[TracedEvent]
) -> set[int]:
    """Return the places without an event to which a stray loss is nearest: their joint may have been built there."""
    # Where no cord is, the trace begins or ends at the place itself.
    bare = {site for site, cord in zip(trace.ends, (trace.launch, trace.receive), strict=True) if cord is None}
    built = [index for index, place in enumerate(places) if place.site_index not in bare]
    built_um = [expected_um[index] for index in built]
    lossy_um = [at_um for at_um, event in strays if not _is_lossless(event, threshold_mdb=trace.threshold_mdb)]
    nearest = {built[index] for at_um in lossy_um for index in nearest_to(built_um, at_um)}
    return {index for index in nearest if not found.events_of_place[index]}


def _is_lossless(event: Event, *, threshold_mdb: int) -> bool:
    # An echo is; of an event that states no loss nothing is known.
    return "loss_db" in event and abs(last_place(event["loss_db"])) <= threshold_mdb


def _unseen(trace: Trace) -> Reading:
    within = trace.threshold_mdb
    return Reading(trace=trace, low_mdb=-within, high_mdb=within, text=mdb_text(within), distance_m=None)


def _read(trace: Trace, events: Sequence[Event]) -> Reading | Reason:
    texts = [event["loss_db"] for event in events if "loss_db" in event]
    if len(texts) < len(events):
        return Reason.LOSS_NOT_STATED
    total_mdb = sum(map(last_place, texts))
    # One event's canonical text is that of its loss already.
    text = texts[0] if len(texts) == 1 else mdb_text(total_mdb)
    return Reading(trace, total_mdb, total_mdb, text, events[0]["distance_m"])


def _outside(ruler: Ruler, *, first_um: int, last_um: int) -> list[TracedEvent]:
    """Return the events inside the cords; at the instrument's port and at the trace's end there is one by nature."""
    port_um, cord_end_um = ruler.tolerance_um, ruler.reach_um - ruler.tolerance_um
    return [spot for spot in ruler.events if port_um < spot.at_um < first_um or last_um < spot.at_um < cord_end_um]


def _unexpected(trace: Trace, spot: TracedEvent, *, near_um: int, ruler: Ruler) -> UnexpectedEventDocument:
    at_um, event = spot
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
