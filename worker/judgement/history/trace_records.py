"""Reading the record of a trace: its events in order of distance, its cords, and its outline."""

from collections.abc import Sequence
from typing import Any

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.records.words import EventKind, Qualifier
from worker.judgement.history.acts import Cord, DynamicRange, TotalLoss, Trace, TraceOutline
from worker.judgement.history.events import TraceEvent, TraceEvents
from worker.judgement.history.evidence import Body, Ends, Evidence, read_actual_dnm, read_measured
from worker.judgement.numbers.clocks import instant_us
from worker.judgement.numbers.exact import all_metres_to_um, last_place, metres_to_um

# Enough to tell a few thousand traces apart.
_DIGEST_CHARACTERS = 16
_US_PER_AVERAGING_PLACE = 100_000
# Looked up, as an enum's own call costs several times as much and a fibre has hundreds of events.
_EVENT_KINDS = {kind.value: kind for kind in EventKind}
_EQUAL = Qualifier.EQ
_QUALIFIERS = {qualifier.value: qualifier for qualifier in Qualifier}


def read_trace(item: Evidence, ends: Ends) -> Trace:
    """Return the trace that a record says."""
    body = item.body
    losses = [event.get("loss_db") for event in body["events"]]
    events, behind_end, ends_shown = _split(_events(body["events"], losses))
    return Trace(
        **read_measured(item, ends, calibrated_until=body["calibrated_until"]),
        actual_dnm=read_actual_dnm(body),
        pulse_ns=body["pulse_ns"],
        range_um=metres_to_um(body["range_m"]),
        threshold_mdb=last_place(body["loss_threshold_db"]),
        backscatter_cdb=last_place(body["backscatter_db"]),
        group_index_e5=None if (index := body.get("group_index")) is None else last_place(index),
        dynamic_range=_dynamic_range(body.get("dynamic_range")),
        launch=_cord(body.get("launch_cord")),
        receive=_cord(body.get("receive_cord")),
        events=events,
        behind_end=behind_end,
        ends_shown=ends_shown,
        total_loss=_total_loss(body.get("total_loss")),
        outline=_outline(item, ends, [loss for loss in losses if loss is not None]),
    )


def _events(bodies: Sequence[Body], losses: Sequence[str | None]) -> TraceEvents:
    """Return a trace's events as they were posted, by columns: a route has too many to go through one by one."""
    at_m = [body["distance_m"] for body in bodies]
    reflectances = [body.get("reflectance_db") for body in bodies]
    return TraceEvents(
        at_um=all_metres_to_um(at_m),
        numbers=list(range(len(bodies))),
        kinds=[_EVENT_KINDS[body["kind"]] for body in bodies],
        losses_mdb=[None if text is None else last_place(text) for text in losses],
        reflectances_mdb=[None if text is None else last_place(text) for text in reflectances],
        qualifiers=[
            _EQUAL if reflectance is None else _QUALIFIERS[body["reflectance_qualifier"]]
            for body, reflectance in zip(bodies, reflectances, strict=True)
        ],
        mdb_per_km=[
            None if (text := body.get("attenuation_db_per_km")) is None else last_place(text) for body in bodies
        ],
        at_m=at_m,
    )


def _split(posted: TraceEvents) -> tuple[TraceEvents, tuple[TraceEvent, ...], tuple[TraceEvent, ...]]:
    """Return the events up to the fibre's end, those behind it, and the ends shown; the last as they were posted."""
    end = EventKind.END
    if _are_in_order(posted):
        return posted[:-1], (), (posted[-1],)
    # By distance first, then by number: no two are alike in both.
    in_order = sorted([event for event in posted if event.kind is not end])
    ends_shown = tuple([event for event in posted if event.kind is end])
    end_um = min((event.at_um for event in ends_shown), default=None)
    before = len(in_order) if end_um is None else sum(event.at_um <= end_um for event in in_order)
    # What a trace shows behind its first end is noise or an echo.
    return TraceEvents.of(in_order[:before]), tuple(in_order[before:]), ends_shown


def _are_in_order(posted: TraceEvents) -> bool:
    """Tell whether events ascend up to the one end there is, as instruments give nearly all."""
    at_um, kinds = posted.at_um, posted.kinds
    is_end_last = EventKind.END in kinds and kinds.index(EventKind.END) == len(kinds) - 1
    return is_end_last and at_um == sorted(at_um)


def _cord(body: Body | None) -> Cord | None:
    return None if body is None else Cord(serial=body["serial"], length_um=metres_to_um(body["length_m"]))


def _dynamic_range(body: Body | None) -> DynamicRange | None:
    if body is None:
        return None
    averaging_us = last_place(body["averaging_s"]) * _US_PER_AVERAGING_PLACE
    return DynamicRange(last_place(body["range_db"]), body["pulse_ns"], averaging_us)


def _total_loss(body: Body | None) -> TotalLoss | None:
    if body is None:
        return None
    return TotalLoss(last_place(body["loss_db"]), metres_to_um(body["from_m"]), metres_to_um(body["to_m"]))


def _outline(item: Evidence, ends: Ends, losses: Sequence[str]) -> TraceOutline:
    body = item.body
    instrument_time = body.get("instrument_time")
    device_clock = f"{body['device']}{', wrong' if item.clock_is_flagged else ''}"
    return TraceOutline(
        record=body["id"],
        is_forward=ends[0] < ends[1],
        wavelength_nm=body["wavelength_nm"],
        events_digest=_digest(body["events"]),
        losses_digest=_digest(losses),
        losses=len(losses),
        # An instrument that shows hundredths posts no other thousandths than 0.
        step_mdb=10 if all(loss.endswith("0") for loss in losses) else 1,
        instrument=body["instrument_serial"],
        clock=device_clock if instrument_time is None else "",
        ended_at_us=instant_us(instrument_time or body["made_at"]),
        averaging_us=last_place(body["averaging_s"]) * _US_PER_AVERAGING_PLACE,
        labelled_fibre=body.get("labelled_fibre"),
    )


def _digest(content: Sequence[Any]) -> str:
    return sha256_hex(canonical_json(content))[:_DIGEST_CHARACTERS]
