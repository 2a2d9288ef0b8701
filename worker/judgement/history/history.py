"""Reading one fibre's history from its records."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from service.vocabulary.criteria.criteria import Voiding
from service.vocabulary.design.layout import Layout
from service.vocabulary.words import ClosureState, RecordKind, SiteKind
from worker.judgement.history.acts import (
    Body,
    CalibrationAct,
    ClosureAct,
    ConnectionAct,
    Continuity,
    Cord,
    Dispersion,
    History,
    LinkLoss,
    Measurement,
    ReturnLoss,
    SpliceAct,
    TerminationAct,
    Trace,
)
from worker.judgement.history.evidence import Evidence
from worker.judgement.numbers.clocks import Stamp
from worker.judgement.numbers.exact import last_place, metres_to_um

A = TypeVar("A")


def read_history(layout: Layout, *, fibre: int, rework_voids: Voiding, evidence: Iterable[Evidence]) -> History:
    """Read a fibre's history; records of other fibres and sites are passed over."""
    reader = _Reader(layout, fibre=fibre, rework_voids=rework_voids)
    for item in sorted(evidence, key=lambda item: (item.body["made_at"], item.body["id"])):
        reader.read(item)
    return reader.history()


class _Reader:
    def __init__(self, layout: Layout, *, fibre: int, rework_voids: Voiding) -> None:
        self._layout = layout
        self._fibre = fibre
        self._voids_closures = rework_voids is Voiding.CLOSURE
        self._closures = {site.id for site in layout.design.sites if site.kind is SiteKind.SPLICE_CLOSURE}
        self._splices: dict[str, list[SpliceAct]] = defaultdict(list)
        self._terminations: dict[str, list[TerminationAct]] = defaultdict(list)
        self._cleanings: dict[str, list[ConnectionAct]] = defaultdict(list)
        self._end_faces: dict[str, list[ConnectionAct]] = defaultdict(list)
        self._calibrations: list[CalibrationAct] = []
        self._reworks: list[Stamp] = []
        self._closure_acts: dict[str, list[ClosureAct]] = defaultdict(list)
        self._traces: list[Trace] = []
        self._links: dict[str, list[Measurement]] = defaultdict(list)

    def history(self) -> History:
        """Return what was read."""
        return History(
            splices=_frozen(self._splices),
            terminations=_frozen(self._terminations),
            cleanings=_frozen(self._cleanings),
            end_faces=_frozen(self._end_faces),
            calibrations=tuple(self._calibrations),
            reworks=tuple(self._reworks),
            closure_acts=_frozen(self._closure_acts),
            traces=tuple(self._traces),
            links=_frozen(self._links),
        )

    def read(self, item: Evidence) -> None:
        """Take one record in; they come in order of time."""
        body, kind = item.body, item.body["kind"]
        if kind == RecordKind.OTDR:
            if self._is_measured_here(body):
                self._traces.append(_trace(self._layout, item))
        elif kind in _LINKS:
            if self._is_measured_here(body):
                self._links[kind].append(_LINKS[kind](self._layout, item))
        elif not item.is_ended:
            self._read_act(body, _stamp(item))

    def _is_measured_here(self, body: Body) -> bool:
        if self._fibre not in (body["fibre"], body.get("seen_fibre")) or body["from_site"] == body["to_site"]:
            return False
        return body["from_site"] in self._layout.site_index and body["to_site"] in self._layout.site_index

    def _read_act(self, body: Body, stamp: Stamp) -> None:
        match body["kind"]:
            case RecordKind.ARC_CALIBRATION:
                self._calibrations.append(CalibrationAct(stamp, body["splicer_serial"], body))
            case RecordKind.CLOSURE_STATE:
                is_sealed = body["state"] == ClosureState.SEALED
                self._closure_acts[body["site"]].append(ClosureAct(stamp, body["site"], is_sealed))
            case RecordKind.SPLICE if body["site"] in self._layout.site_index:
                self._read_splice(body, stamp)
            case _ if body.get("fibre") == self._fibre and body["site"] in self._layout.site_index:
                self._read_connection(body, stamp)

    def _read_splice(self, body: Body, stamp: Stamp) -> None:
        own = [_splice(body, stamp, joint) for joint in body["joints"] if joint["fibre"] == self._fibre]
        if own:
            self._splices[body["site"]].extend(own)
        if own or (self._voids_closures and body["site"] in self._closures):
            self._reworks.append(stamp)

    def _read_connection(self, body: Body, stamp: Stamp) -> None:
        site, position = body["site"], body.get("position")
        match body["kind"]:
            case RecordKind.TERMINATION:
                self._terminations[site].append(TerminationAct(stamp, site, position, body))
                self._reworks.append(stamp)
            case RecordKind.CLEANING:
                self._cleanings[site].append(ConnectionAct(stamp, site, position, body["side"], body))
            case RecordKind.END_FACE:
                self._end_faces[site].append(ConnectionAct(stamp, site, position, body["side"], body))


def _frozen(acts: Mapping[str, list[A]]) -> Mapping[str, tuple[A, ...]]:
    return {key: tuple(own) for key, own in acts.items()}


def _stamp(item: Evidence) -> Stamp:
    body = item.body
    return Stamp(made_at=body["made_at"], id=body["id"], device=body["device"], clock_is_flagged=item.clock_is_flagged)


def _splice(body: Body, stamp: Stamp, joint: Body) -> SpliceAct:
    return SpliceAct(
        stamp=stamp,
        site=body["site"],
        position=joint.get("position"),
        estimate_mdb=last_place(joint["estimate_db"]),
        sleeve_is_shrunk=body["sleeve_shrunk"],
        proof_test_passed=body.get("proof_test_passed"),
        body=body,
        joint=joint,
    )


def _measured(layout: Layout, item: Evidence, *, calibrated_until: str | None) -> dict[str, Any]:
    body = item.body
    start, end = layout.site_index[body["from_site"]], layout.site_index[body["to_site"]]
    return {
        "stamp": _stamp(item),
        "is_ended": item.is_ended,
        "calibration_has_run_out": calibrated_until is not None and calibrated_until < body["made_at"][:10],
        "is_forward": start < end,
        "low_index": min(start, end),
        "high_index": max(start, end),
        "wavelength_nm": body.get("wavelength_nm"),
        "body": body,
    }


def _trace(layout: Layout, item: Evidence) -> Trace:
    body = item.body
    return Trace(
        **_measured(layout, item, calibrated_until=body["calibrated_until"]),
        pulse_ns=body["pulse_ns"],
        threshold_mdb=last_place(body["loss_threshold_db"]),
        launch=_cord(body.get("launch_cord")),
        receive=_cord(body.get("receive_cord")),
        events=tuple(body["events"]),
    )


def _cord(body: Body | None) -> Cord | None:
    return None if body is None else Cord(serial=body["serial"], length_um=metres_to_um(body["length_m"]))


def _link_loss(layout: Layout, item: Evidence) -> LinkLoss:
    body = item.body
    return LinkLoss(
        **_measured(layout, item, calibrated_until=min(body[name]["calibrated_until"] for name in ("source", "meter"))),
        loss_mdb=last_place(body["loss_db"]),
        reference_cords=body["reference_cords"],
    )


def _return_loss(layout: Layout, item: Evidence) -> ReturnLoss:
    body = item.body
    return ReturnLoss(
        **_measured(layout, item, calibrated_until=body["instrument"]["calibrated_until"]),
        return_loss_mdb=last_place(body["return_loss_db"]),
        qualifier=body["qualifier"],
        far_end=body["far_end"],
    )


def _dispersion(layout: Layout, item: Evidence) -> Dispersion:
    body = item.body
    chromatic, pmd = body.get("chromatic_ps_per_nm"), body.get("pmd_ps")
    return Dispersion(
        **_measured(layout, item, calibrated_until=body["instrument"]["calibrated_until"]),
        chromatic_cps_per_nm=None if chromatic is None else last_place(chromatic),
        pmd_fs=None if pmd is None else last_place(pmd),
    )


def _continuity(layout: Layout, item: Evidence) -> Continuity:
    return Continuity(
        **_measured(layout, item, calibrated_until=None),
        lit_fibre=item.body["fibre"],
        seen_fibre=item.body.get("seen_fibre"),
    )


_LINKS = {
    RecordKind.ATTENUATION.value: _link_loss,
    RecordKind.RETURN_LOSS.value: _return_loss,
    RecordKind.DISPERSION.value: _dispersion,
    RecordKind.CONTINUITY.value: _continuity,
}
