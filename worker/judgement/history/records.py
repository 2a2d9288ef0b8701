"""Reading stored records, each once, as values of their kinds: behind this door no judging sees a document."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.design.layout import Layout
from service.vocabulary.words import (
    ClosureState,
    EventKind,
    FarEnd,
    Polish,
    Qualifier,
    RecordKind,
    Side,
    SpliceMethod,
    Zone,
)
from worker.judgement.history.acts import (
    CalibrationAct,
    CleaningAct,
    ClosureAct,
    Continuity,
    Cord,
    Dispersion,
    InspectionAct,
    LinkLoss,
    Mark,
    Record,
    ReturnLoss,
    SpliceAct,
    SplicedRibbon,
    TerminationAct,
    TotalLoss,
    Trace,
    TraceEvent,
    TraceOutline,
    ZoneMarks,
)
from worker.judgement.numbers.clocks import Stamp, instant_us
from worker.judgement.numbers.exact import last_place, metres_to_um


@dataclass(frozen=True, kw_only=True, slots=True)
class Evidence:
    """A stored record with what the service knows of it beside its content.

    `body` is the canonical record parsed from JSON: quantities are decimal strings with all their places, times are UTC
    text of one width, so that they compare as text.
    """

    body: Mapping[str, Any]
    is_ended: bool
    clock_is_flagged: bool


Body = Mapping[str, Any]
# Site indices of a test's near and far end.
_Ends = tuple[int, int]

# Enough to tell a few thousand traces apart.
_DIGEST_CHARACTERS = 16
_US_PER_AVERAGING_PLACE = 100_000
# Looked up, as an enum's own call costs several times as much and a fibre has hundreds of events.
_EVENT_KINDS = {kind.value: kind for kind in EventKind}
_QUALIFIERS = {qualifier.value: qualifier for qualifier in Qualifier}


def read_record(layout: Layout, item: Evidence) -> Record | None:
    """Return what a record says that can matter on a route; nothing where it was ended, or is about other sites.

    Of measurements those that were ended are kept: that they do not count is shown.
    """
    body, kind = item.body, RecordKind(item.body["kind"])
    if kind in _TESTS:
        near, far = layout.site_index.get(body["from_site"]), layout.site_index.get(body["to_site"])
        return None if near is None or far is None or near == far else _TESTS[kind](item, (near, far))
    if item.is_ended or (kind not in _ANYWHERE and body["site"] not in layout.site_index):
        return None
    return _ACTS[kind](body, _stamp(item))


def _stamp(item: Evidence) -> Stamp:
    body = item.body
    return Stamp(body["made_at"], body["id"], body["device"], item.clock_is_flagged)


def _splice(body: Body, stamp: Stamp) -> SplicedRibbon:
    common = {
        "stamp": stamp,
        "site": body["site"],
        "attempt": body["attempt"],
        "splicer_serial": body["splicer_serial"],
        "method": SpliceMethod(body["method"]),
        "cleave_length_tenth_mm": _stated(body, "cleave_length_mm"),
        "sleeve_length_tenth_mm": _stated(body, "sleeve_length_mm"),
        "sleeve_is_shrunk": body["sleeve_shrunk"],
        "proof_test_passed": body.get("proof_test_passed"),
        "certified_until": body.get("certified_until"),
    }
    by_fibre: dict[int, tuple[SpliceAct, ...]] = {}
    for joint in body["joints"]:
        act = SpliceAct(
            fibre=joint["fibre"],
            position=joint.get("position"),
            estimate_mdb=last_place(joint["estimate_db"]),
            cleave_left_cdeg=_stated(joint, "cleave_left_deg"),
            cleave_right_cdeg=_stated(joint, "cleave_right_deg"),
            **common,
        )
        by_fibre[act.fibre] = (*by_fibre.get(act.fibre, ()), act)
    return SplicedRibbon(stamp, body["site"], by_fibre)


def _termination(body: Body, stamp: Stamp) -> TerminationAct:
    return TerminationAct(stamp, body["fibre"], body["site"], body.get("position"))


def _cleaning(body: Body, stamp: Stamp) -> CleaningAct:
    return CleaningAct(stamp, body["fibre"], body["site"], body.get("position"), Side(body["side"]))


def _inspection(body: Body, stamp: Stamp) -> InspectionAct:
    return InspectionAct(
        stamp=stamp,
        fibre=body["fibre"],
        site=body["site"],
        position=body.get("position"),
        side=Side(body["side"]),
        edition=body["edition"],
        polish=Polish(body["polish"]),
        zones={
            Zone(marks["zone"]): ZoneMarks(_marks(marks.get("scratches", ())), _marks(marks.get("defects", ())))
            for marks in body["zones"]
        },
    )


def _marks(bodies: Sequence[Body]) -> tuple[Mark, ...]:
    return tuple(Mark(last_place(body["size_um"]), body["count"]) for body in bodies)


def _calibration(body: Body, stamp: Stamp) -> CalibrationAct:
    return CalibrationAct(stamp, body["splicer_serial"], body["fibre_type"], body.get("site"), body["passed"])


def _closure_state(body: Body, stamp: Stamp) -> ClosureAct:
    return ClosureAct(stamp, body["site"], body["state"] == ClosureState.SEALED)


def _measured(item: Evidence, ends: _Ends, *, calibrated_until: str | None) -> dict[str, Any]:
    body = item.body
    return {
        "stamp": _stamp(item),
        "is_ended": item.is_ended,
        "calibration_has_run_out": calibrated_until is not None and calibrated_until < body["made_at"][:10],
        "fibre": body["fibre"],
        "is_forward": ends[0] < ends[1],
        "low_index": min(ends),
        "high_index": max(ends),
        "wavelength_nm": body.get("wavelength_nm"),
    }


def _trace(item: Evidence, ends: _Ends) -> Trace:
    body = item.body
    posted = [_event(number, event) for number, event in enumerate(body["events"])]
    in_order = sorted([event for event in posted if event.kind is not EventKind.END], key=attrgetter("at_um"))
    ends_shown = tuple([event for event in posted if event.kind is EventKind.END])
    end_um = min((event.at_um for event in ends_shown), default=None)
    before = len(in_order) if end_um is None else sum(event.at_um <= end_um for event in in_order)
    return Trace(
        **_measured(item, ends, calibrated_until=body["calibrated_until"]),
        pulse_ns=body["pulse_ns"],
        threshold_mdb=last_place(body["loss_threshold_db"]),
        backscatter_cdb=last_place(body["backscatter_db"]),
        group_index_e5=last_place(body["group_index"]),
        launch=_cord(body.get("launch_cord")),
        receive=_cord(body.get("receive_cord")),
        events=tuple(in_order[:before]),
        # What a trace shows behind its first end is noise or an echo.
        behind_end=tuple(in_order[before:]),
        ends_shown=ends_shown,
        total_loss=_total_loss(body.get("total_loss")),
        outline=_outline(item, ends),
    )


def _event(number: int, body: Body) -> TraceEvent:
    loss, reflectance = body.get("loss_db"), body.get("reflectance_db")
    coefficient = body.get("attenuation_db_per_km")
    return TraceEvent(
        metres_to_um(body["distance_m"]),
        number,
        _EVENT_KINDS[body["kind"]],
        None if loss is None else last_place(loss),
        None if reflectance is None else last_place(reflectance),
        Qualifier.EQ if reflectance is None else _QUALIFIERS[body["reflectance_qualifier"]],
        None if coefficient is None else last_place(coefficient),
    )


def _cord(body: Body | None) -> Cord | None:
    return None if body is None else Cord(serial=body["serial"], length_um=metres_to_um(body["length_m"]))


def _total_loss(body: Body | None) -> TotalLoss | None:
    if body is None:
        return None
    return TotalLoss(last_place(body["loss_db"]), metres_to_um(body["from_m"]), metres_to_um(body["to_m"]))


def _outline(item: Evidence, ends: _Ends) -> TraceOutline:
    body = item.body
    losses = [event["loss_db"] for event in body["events"] if "loss_db" in event]
    instrument_time = body.get("instrument_time")
    device_clock = f"{body['device']}{', wrong' if item.clock_is_flagged else ''}"
    return TraceOutline(
        record=body["id"],
        is_forward=ends[0] < ends[1],
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


def _link_loss(item: Evidence, ends: _Ends) -> LinkLoss:
    body = item.body
    return LinkLoss(
        **_measured(item, ends, calibrated_until=min(body[name]["calibrated_until"] for name in ("source", "meter"))),
        loss_mdb=last_place(body["loss_db"]),
        reference_cords=body["reference_cords"],
    )


def _return_loss(item: Evidence, ends: _Ends) -> ReturnLoss:
    body = item.body
    return ReturnLoss(
        **_measured(item, ends, calibrated_until=body["instrument"]["calibrated_until"]),
        return_loss_mdb=last_place(body["return_loss_db"]),
        qualifier=Qualifier(body["qualifier"]),
        far_end=FarEnd(body["far_end"]),
    )


def _dispersion(item: Evidence, ends: _Ends) -> Dispersion:
    body = item.body
    return Dispersion(
        **_measured(item, ends, calibrated_until=body["instrument"]["calibrated_until"]),
        chromatic_cps_per_nm=_stated(body, "chromatic_ps_per_nm"),
        pmd_fs=_stated(body, "pmd_ps"),
    )


def _continuity(item: Evidence, ends: _Ends) -> Continuity:
    return Continuity(**_measured(item, ends, calibrated_until=None), seen_fibre=item.body.get("seen_fibre"))


def _stated(body: Body, name: str) -> int | None:
    text = body.get(name)
    return None if text is None else last_place(text)


_TESTS: Mapping[RecordKind, Callable[[Evidence, _Ends], Record]] = {
    RecordKind.OTDR: _trace,
    RecordKind.ATTENUATION: _link_loss,
    RecordKind.RETURN_LOSS: _return_loss,
    RecordKind.DISPERSION: _dispersion,
    RecordKind.CONTINUITY: _continuity,
}
# A splicer is calibrated anywhere, and a lid moves the fibres of every route through its closure.
_ANYWHERE = {RecordKind.ARC_CALIBRATION, RecordKind.CLOSURE_STATE}
_ACTS: Mapping[RecordKind, Callable[[Body, Stamp], Record]] = {
    RecordKind.SPLICE: _splice,
    RecordKind.TERMINATION: _termination,
    RecordKind.CLEANING: _cleaning,
    RecordKind.END_FACE: _inspection,
    RecordKind.ARC_CALIBRATION: _calibration,
    RecordKind.CLOSURE_STATE: _closure_state,
}
KINDS_READ = frozenset((*_TESTS, *_ACTS))
