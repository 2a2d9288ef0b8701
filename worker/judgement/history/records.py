"""Reading stored records, each once, as values of their kinds: behind this door no judging sees a document."""

from collections.abc import Callable, Mapping, Sequence

from service.vocabulary.criteria.voiding import CableFibres, work_of_opening
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import Termination
from service.vocabulary.records.words import ClosureState, Polish, Qualifier, RecordKind, Side, SpliceMethod, Zone
from service.vocabulary.words import FarEnd
from worker.judgement.history.acts import (
    CalibrationAct,
    CleaningAct,
    ClosureAct,
    Continuity,
    Dispersion,
    LinkLoss,
    OtherSplicing,
    Record,
    ReturnLoss,
    SpliceAct,
    SplicedRibbon,
    TerminationAct,
)
from worker.judgement.history.evidence import Body, Ends, Evidence, read_actual_dnm, read_measured, stamp_of, stated
from worker.judgement.history.inspections import InspectionAct, Mark, ZoneMarks
from worker.judgement.history.trace_records import read_trace
from worker.judgement.numbers.clocks import Stamp
from worker.judgement.numbers.exact import last_place


def read_record(layout: Layout, item: Evidence) -> Record | None:
    """Return what a record says that can matter on a route; nothing where it was ended, or is about other sites.

    Of measurements those that were ended are kept: that they do not count is shown. Of work that voids tests too, as
    whoever withdraws it may not revive them by that: only the engineer's word annuls it.
    """
    body, kind = item.body, RecordKind(item.body["kind"])
    if kind in _TESTS:
        near, far = layout.site_index.get(body["from_site"]), layout.site_index.get(body["to_site"])
        return None if near is None or far is None or near == far else _TESTS[kind](item, (near, far))
    goes_on = kind in _VOIDING and not item.is_annulled and body.get("state") != ClosureState.SEALED
    if kind in _NOT_JUDGED or (item.is_ended and not goes_on) or _is_elsewhere(kind, body, layout):
        return None
    match kind:
        case RecordKind.CLOSURE_STATE:
            return _closure_state(layout, item)
        case RecordKind.SPLICE:
            return _splice(item)
        case RecordKind.TERMINATION:
            return _termination(item)
        case _:
            return _ACTS[kind](body, stamp_of(item))


def _is_elsewhere(kind: RecordKind, body: Body, layout: Layout) -> bool:
    return kind not in _ANYWHERE and body["site"] not in layout.site_index


def _splice(item: Evidence) -> SplicedRibbon | OtherSplicing:
    body, stamp = item.body, stamp_of(item)
    if item.is_of_other_route:
        return OtherSplicing(stamp, body["site"], item.is_ended)
    common = {
        "stamp": stamp,
        "site": body["site"],
        "attempt": body["attempt"],
        "splicer_serial": body["splicer_serial"],
        "method": SpliceMethod(body["method"]),
        "cleave_length_tenth_mm": stated(body, "cleave_length_mm"),
        "sleeve_length_tenth_mm": stated(body, "sleeve_length_mm"),
        "sleeve_is_shrunk": body["sleeve_shrunk"],
        "proof_test_passed": body.get("proof_test_passed"),
        "certified_until": body.get("certified_until"),
        "splicer_sequence": body.get("splicer_sequence"),
    }
    by_fibre: dict[int, tuple[SpliceAct, ...]] = {}
    for joint in body["joints"]:
        act = SpliceAct(
            fibre=joint["fibre"],
            position=joint.get("position"),
            estimate_mdb=last_place(joint["estimate_db"]),
            cleave_left_cdeg=stated(joint, "cleave_left_deg"),
            cleave_right_cdeg=stated(joint, "cleave_right_deg"),
            **common,
        )
        by_fibre[act.fibre] = (*by_fibre.get(act.fibre, ()), act)
    return SplicedRibbon(stamp, body["site"], by_fibre, item.is_ended)


def _termination(item: Evidence) -> TerminationAct:
    body = item.body
    estimate = body.get("estimate_db") if body["how"] == Termination.PIGTAIL else None
    pigtail_mdb = None if estimate is None else last_place(estimate)
    return TerminationAct(stamp_of(item), body["fibre"], body["site"], body.get("position"), item.is_ended, pigtail_mdb)


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
            for marks in body.get("zones", ())
        },
        instrument_passed=body.get("instrument_passed"),
        image_sha256=body.get("photograph_sha256"),
    )


def _marks(bodies: Sequence[Body]) -> tuple[Mark, ...]:
    return tuple(Mark(last_place(body["size_um"]), body["count"]) for body in bodies)


def _calibration(body: Body, stamp: Stamp) -> CalibrationAct:
    return CalibrationAct(stamp, body["splicer_serial"], body["fibre_type"], body.get("site"), body["passed"])


def _closure_state(layout: Layout, item: Evidence) -> ClosureAct:
    body, said = item.body, item.body.get("opened_for")
    named = [one["tray"] if "tray" in one else CableFibres(**one) for one in said or ()]
    work = None if said is None else work_of_opening(layout, body["site"], named)
    return ClosureAct(stamp_of(item), body["site"], body["state"] == ClosureState.SEALED, work, item.is_ended)


def _link_loss(item: Evidence, ends: Ends) -> LinkLoss:
    body = item.body
    return LinkLoss(
        **read_measured(
            item, ends, calibrated_until=min(body[name]["calibrated_until"] for name in ("source", "meter"))
        ),
        actual_dnm=read_actual_dnm(body),
        loss_mdb=last_place(body["loss_db"]),
        reference_cords=body["reference_cords"],
        referenced_at=body.get("referenced_at"),
    )


def _return_loss(item: Evidence, ends: Ends) -> ReturnLoss:
    body = item.body
    return ReturnLoss(
        **read_measured(item, ends, calibrated_until=body["instrument"]["calibrated_until"]),
        return_loss_mdb=last_place(body["return_loss_db"]),
        qualifier=Qualifier(body["qualifier"]),
        far_end=FarEnd(body["far_end"]),
    )


def _dispersion(item: Evidence, ends: Ends) -> Dispersion:
    body = item.body
    return Dispersion(
        **read_measured(item, ends, calibrated_until=body["instrument"]["calibrated_until"]),
        chromatic_cps_per_nm=stated(body, "chromatic_ps_per_nm"),
        pmd_fs=stated(body, "pmd_ps"),
    )


def _continuity(item: Evidence, ends: Ends) -> Continuity:
    return Continuity(**read_measured(item, ends, calibrated_until=None), seen_fibre=item.body.get("seen_fibre"))


_TESTS: Mapping[RecordKind, Callable[[Evidence, Ends], Record]] = {
    RecordKind.OTDR: read_trace,
    RecordKind.ATTENUATION: _link_loss,
    RecordKind.RETURN_LOSS: _return_loss,
    RecordKind.DISPERSION: _dispersion,
    RecordKind.CONTINUITY: _continuity,
}
# A splicer is calibrated anywhere, and a lid moves the fibres of every route through its closure.
_ANYWHERE = {RecordKind.ARC_CALIBRATION, RecordKind.CLOSURE_STATE}
# What billing asks for, and no verdict.
_NOT_JUDGED = {RecordKind.CABLE_LAYING}
# The work that voids the tests before it.
_VOIDING = {RecordKind.SPLICE, RecordKind.TERMINATION, RecordKind.CLOSURE_STATE}
_ACTS: Mapping[RecordKind, Callable[[Body, Stamp], Record]] = {
    RecordKind.CLEANING: _cleaning,
    RecordKind.END_FACE: _inspection,
    RecordKind.ARC_CALIBRATION: _calibration,
}
KINDS_READ = frozenset((*_TESTS, *_ACTS, *_VOIDING, *_NOT_JUDGED))
