"""One trace laid over the places of its fibre: what it shows at each, and how far it reaches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.vocabulary.criteria import Placing
from service.vocabulary.finding import UnexpectedEventDocument
from service.vocabulary.layout import Layout
from service.vocabulary.quantities import to_last_place
from service.vocabulary.words import EventKind, Reason
from worker.judgement.exact import last_place, metres_text, metres_to_um
from worker.judgement.history import Trace
from worker.judgement.places import Place
from worker.judgement.placing import assign
from worker.judgement.words import DIRECTION


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """What a trace shows at a place: a loss, nothing above its threshold, or why neither can be said."""

    reason: Reason | None
    low_mdb: int
    high_mdb: int
    distance_m: str | None

    @property
    def is_seen(self) -> bool:
        """Tell whether the trace has an event there with a loss."""
        return self.distance_m is not None


def no_reading(reason: Reason) -> Shown:
    """Return that a trace says nothing of a place, and why."""
    return Shown(reason=reason, low_mdb=0, high_mdb=0, distance_m=None)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Ruler:
    """Where the design's fibre lies on a trace: its start, and how long its span came out."""

    start_um: int
    span_um: int
    measured_um: int
    reach_um: int
    tolerance_um: int
    is_full: bool
    is_too_long: bool

    def on_trace_um(self, along_um: int) -> int:
        """Return where on the trace a spot of the design should be."""
        return self.start_um + (along_um * self.measured_um // self.span_um if self.span_um else 0)

    def along_um(self, on_trace_um: int) -> int:
        """Return where in the design a spot of the trace should be."""
        return (on_trace_um - self.start_um) * self.span_um // self.measured_um if self.measured_um else 0


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacedTrace:
    """What one trace shows, by site index, and the events that lie on no place."""

    trace: Trace
    shown: dict[int, Shown]
    unexpected: tuple[UnexpectedEventDocument, ...]
    shortfall: Reason | None


def place_trace(layout: Layout, *, placing: Placing, places: Sequence[Place], trace: Trace) -> PlacedTrace:
    """Lay a trace over the places between its two ends."""
    offsets = layout.site_offsets_um
    near_um = offsets[trace.low_index if trace.is_forward else trace.high_index]
    span_um = offsets[trace.high_index] - offsets[trace.low_index]
    ruler = _measure(trace, span_um=span_um, placing=placing)
    covered = [place for place in places if trace.low_index <= place.site_index <= trace.high_index]
    if not trace.is_forward:
        covered.reverse()
    if ruler.is_too_long:
        shown = {place.site_index: no_reading(Reason.LENGTH_UNLIKE) for place in covered}
        return PlacedTrace(trace=trace, shown=shown, unexpected=(), shortfall=Reason.LENGTH_UNLIKE)
    expected_um = [ruler.on_trace_um(abs(place.from_a_um - near_um)) for place in covered]
    events = _events_between(trace, ruler)
    is_group = [place.is_group for place in covered]
    assignment = assign(expected_um, [at_um for at_um, _ in events], is_group=is_group, tolerance_um=ruler.tolerance_um)
    shown = {}
    for index, place in enumerate(covered):
        own = [events[event][1] for event in assignment.events_of_place[index]]
        if index in assignment.contested:
            shown[place.site_index] = no_reading(Reason.AMBIGUOUS_EVENT)
        elif not own and not ruler.is_full and expected_um[index] >= ruler.reach_um - ruler.tolerance_um:
            shown[place.site_index] = no_reading(Reason.BEYOND_REACH)
        else:
            shown[place.site_index] = _show(own, trace)
    return PlacedTrace(
        trace=trace,
        shown=shown,
        unexpected=tuple(
            _unexpected(trace, events[event], near_um=near_um, ruler=ruler) for event in assignment.left_over
        ),
        shortfall=None if ruler.is_full else Reason.BEYOND_REACH,
    )


def _measure(trace: Trace, *, span_um: int, placing: Placing) -> _Ruler:
    percent_um = span_um * to_last_place(placing.tolerance_percent, places=2) // 10_000
    tolerance_um = max(to_last_place(placing.tolerance_m, places=2) * 10_000, percent_um)
    bound_um = max(tolerance_um, span_um * to_last_place(placing.scale_percent, places=2) // 10_000)
    start_um = trace.launch.length_um if trace.launch else 0
    end_um, far_um = _far_end(trace, tolerance_um=tolerance_um)
    measured_um = span_um if far_um is None else far_um - start_um
    is_near = far_um is not None and abs(measured_um - span_um) <= bound_um
    return _Ruler(
        start_um=start_um,
        span_um=span_um,
        # Out of bounds it is no scale at all but a break, a short range or another fibre: the design's own stands.
        measured_um=measured_um if is_near else span_um,
        reach_um=end_um,
        tolerance_um=tolerance_um,
        is_full=is_near,
        is_too_long=far_um is not None and measured_um - span_um > bound_um,
    )


def _far_end(trace: Trace, *, tolerance_um: int) -> tuple[int, int | None]:
    """Return how far the trace reaches, and where the fibre ends on it: before the receive cord, if there is one."""
    spots = [(metres_to_um(event["distance_m"]), event["kind"]) for event in trace.events]
    ends = [at_um for at_um, kind in spots if kind == EventKind.END]
    if not ends:
        return max((at_um for at_um, _ in spots), default=0), None
    end_um = max(ends)
    if trace.receive is None:
        return end_um, end_um
    far_um = end_um - trace.receive.length_um
    # The connection before the receive cord is seen itself where it can be: a cord's length is only nominal.
    near = [at_um for at_um, kind in spots if kind != EventKind.END and abs(at_um - far_um) <= tolerance_um]
    return end_um, min(near, key=lambda at_um: (abs(at_um - far_um), at_um), default=far_um)


def _events_between(trace: Trace, ruler: _Ruler) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the events of the fibre itself, in order: what lies in the cords is left out."""
    first_um = ruler.start_um - ruler.tolerance_um
    last_um = ruler.start_um + ruler.measured_um + ruler.tolerance_um
    spots = [(metres_to_um(event["distance_m"]), event) for event in trace.events if event["kind"] != EventKind.END]
    return sorted((spot for spot in spots if first_um <= spot[0] <= last_um), key=lambda spot: spot[0])


def _show(own: Sequence[Mapping[str, Any]], trace: Trace) -> Shown:
    if not own:
        return Shown(reason=None, low_mdb=-trace.threshold_mdb, high_mdb=trace.threshold_mdb, distance_m=None)
    losses_mdb = [last_place(event["loss_db"]) for event in own if "loss_db" in event]
    if len(losses_mdb) < len(own):
        return no_reading(Reason.LOSS_NOT_STATED)
    return Shown(reason=None, low_mdb=sum(losses_mdb), high_mdb=sum(losses_mdb), distance_m=own[0]["distance_m"])


def _unexpected(
    trace: Trace, event: tuple[int, Mapping[str, Any]], *, near_um: int, ruler: _Ruler
) -> UnexpectedEventDocument:
    at_um, body = event
    along_um = ruler.along_um(at_um)
    document: UnexpectedEventDocument = {
        "record": trace.stamp.id,
        "direction": DIRECTION[trace.is_forward],
        "wavelength_nm": trace.wavelength_nm,
        "from_a_m": metres_text(near_um + along_um if trace.is_forward else near_um - along_um),
    }
    if "loss_db" in body:
        document["loss_db"] = body["loss_db"]
    return document
