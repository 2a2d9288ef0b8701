"""Laying one trace over the places between its two ends: its events assigned, then each place read."""

from collections.abc import Collection, Set
from functools import lru_cache

from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent
from worker.judgement.traces.aligned_trace import AlignedTrace
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.doubts.lost_losses import LaidTrace, Reaches, find_doubted, find_shared
from worker.judgement.traces.event_assignment import assign
from worker.judgement.traces.noise import TraceNoise
from worker.judgement.traces.place_readings import ReadAlone, read_in_columns, read_places, share_events
from worker.judgement.traces.places import PlacesBetween, blur_um
from worker.judgement.traces.targets import Targets


def align_trace(
    trace: Trace, *, between: PlacesBetween, scale: DistanceScale, noise: TraceNoise, reaches: Reaches
) -> AlignedTrace:
    """Lay a trace over the places between its two ends."""
    if scale.shortfall is Reason.LENGTH_UNLIKE:
        nothing = dict.fromkeys((place.site_index for place in between.places), scale.shortfall)
        return AlignedTrace(
            trace=trace, scale=scale, readings=nothing, unexpected=(), shortfall=scale.shortfall, is_clean=True
        )
    first_um, last_um = scale.start_um - scale.tolerance_um, scale.end_um + scale.tolerance_um
    events = scale.events.between(first_um, last_um)
    targets = _on_trace(between.targets, trace, scale)
    found = assign(targets, events.at_um, same_um=reaches.same_um)
    left_over = [events[index] for index in found.left_over]
    in_cords = _in_cords(scale, first_um=first_um, last_um=last_um) if events is not scale.events else ()
    # With more events on nothing than on joints the trace does not fit the design, as after a cord's length was
    # mistyped; what it does not show then proves nothing.
    is_misfit = len(left_over) > len(events) - len(left_over)
    laid = LaidTrace(trace, scale, noise, between, targets, events, found)
    in_doubt = found.contested | find_doubted(laid, reaches) if left_over else found.contested
    shared = find_shared(laid, reaches)
    is_alone = _is_clear_alone(laid, in_doubt, shared)
    readings = ReadAlone(laid) if is_alone else read_places(laid, in_doubt, is_misfit=is_misfit)
    return AlignedTrace(
        trace=trace,
        scale=scale,
        readings=share_events(laid, readings, shared) if shared else readings,
        unexpected=(*left_over, *in_cords, *scale.behind_end),
        shortfall=scale.shortfall or (Reason.AMBIGUOUS_EVENT if is_misfit else None),
        is_clean=not left_over and not in_doubt,
        is_misfit=is_misfit,
        is_shared=bool(shared),
        plain=read_in_columns(laid) if is_alone else None,
    )


def _is_clear_alone(laid: LaidTrace, in_doubt: Set[int], shared: Collection[int]) -> bool:
    """Tell whether a trace proves its length and leaves nothing in doubt: its places are then read by columns."""
    return not (laid.scale.shortfall or laid.found.left_over or in_doubt or shared)


def _on_trace(targets: Targets, trace: Trace, scale: DistanceScale) -> Targets:
    """Return targets by their distances on the trace, with how far the event of each may lie from there."""
    tolerance_um, blurred_um = scale.tolerance_um, blur_um(trace.pulse_ns)
    low_um = scale.all_on_trace_um(targets.low_um)
    # What the cable's fibres tell holds for a trace that shows its own length.
    most_um = tolerance_um - blurred_um if scale.shortfall is None else 0
    return Targets(
        low_um=low_um,
        high_um=low_um if targets.high_um is targets.low_um else scale.all_on_trace_um(targets.high_um),
        within_um=_reaches_um(targets.within_um, tolerance_um, blurred_um, most_um),
        is_group=targets.is_group,
    )


@lru_cache(maxsize=256)
def _reaches_um(within_um: tuple[int | None, ...], tolerance_um: int, blurred_um: int, most_um: int) -> tuple[int, ...]:
    return tuple([tolerance_um if one is None or one >= most_um else one + blurred_um for one in within_um])


def _in_cords(scale: DistanceScale, *, first_um: int, last_um: int) -> list[TraceEvent]:
    """Return the events inside the cords; at the instrument's port and at the trace's end there is one by nature."""
    port_um, cord_end_um = scale.tolerance_um, scale.reach_um - scale.tolerance_um
    return [event for event in scale.events if port_um < event.at_um < first_um or last_um < event.at_um < cord_end_um]
