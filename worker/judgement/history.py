"""What was done to one fibre, read from its records: splices, closures, traces, link losses, each in order of time."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from service.vocabulary.criteria import Voiding
from service.vocabulary.layout import Layout
from service.vocabulary.words import ClosureState, RecordKind, SiteKind
from worker.judgement.clocks import Stamp
from worker.judgement.evidence import Evidence
from worker.judgement.exact import last_place, metres_to_um

Body = Mapping[str, Any]


class SpliceAct(NamedTuple):
    """One fibre's part in a splice record."""

    stamp: Stamp
    site: str
    position: int | None
    estimate_mdb: int
    sleeve_is_shrunk: bool
    proof_test_passed: bool | None


class ClosureAct(NamedTuple):
    """A closure opened or sealed."""

    stamp: Stamp
    site: str
    is_sealed: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """What a trace and a link loss have in common; site indices are those of its two ends, the smaller first."""

    stamp: Stamp
    is_ended: bool
    calibration_has_run_out: bool
    is_forward: bool
    low_index: int
    high_index: int
    wavelength_nm: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Cord:
    """A launch or receive cord."""

    serial: str
    length_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Trace(Measurement):
    """One trace; its events stay as posted until they are placed."""

    pulse_ns: int
    threshold_mdb: int
    launch: Cord | None
    receive: Cord | None
    events: tuple[Body, ...]

    @property
    def ends(self) -> tuple[int, int]:
        """Site indices of its near and its far end."""
        return (self.low_index, self.high_index) if self.is_forward else (self.high_index, self.low_index)


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkLoss(Measurement):
    """One end-to-end loss by source and meter."""

    loss_mdb: int
    reference_cords: int


@dataclass(frozen=True, kw_only=True, slots=True)
class History:
    """One fibre's acts by site and its measurements; ended acts are left out, ended measurements kept to be shown."""

    splices: Mapping[str, tuple[SpliceAct, ...]]
    reworks: tuple[Stamp, ...]
    closure_acts: Mapping[str, tuple[ClosureAct, ...]]
    traces: tuple[Trace, ...]
    link_losses: tuple[LinkLoss, ...]


def read_history(layout: Layout, *, fibre: int, rework_voids: Voiding, evidence: Iterable[Evidence]) -> History:
    """Read a fibre's history; records of other fibres and sites are passed over."""
    splices: dict[str, list[SpliceAct]] = {}
    reworks: list[Stamp] = []
    closure_acts: dict[str, list[ClosureAct]] = {}
    traces: list[Trace] = []
    link_losses: list[LinkLoss] = []
    closures = {site.id for site in layout.design.sites if site.kind is SiteKind.SPLICE_CLOSURE}
    for item in sorted(evidence, key=lambda item: (item.body["made_at"], item.body["id"])):
        body, stamp = item.body, _stamp(item)
        match body["kind"]:
            case RecordKind.SPLICE if not item.is_ended and body["site"] in layout.site_index:
                own = [_splice(body, stamp, joint) for joint in body["joints"] if joint["fibre"] == fibre]
                if own:
                    splices.setdefault(body["site"], []).extend(own)
                if own or (rework_voids is Voiding.CLOSURE and body["site"] in closures):
                    reworks.append(stamp)
            case RecordKind.CLOSURE_STATE if not item.is_ended:
                is_sealed = body["state"] == ClosureState.SEALED
                act = ClosureAct(stamp=stamp, site=body["site"], is_sealed=is_sealed)
                closure_acts.setdefault(body["site"], []).append(act)
            case RecordKind.OTDR if _is_on(layout, body, fibre=fibre):
                traces.append(_trace(layout, item, stamp))
            case RecordKind.ATTENUATION if _is_on(layout, body, fibre=fibre):
                link_losses.append(_link_loss(layout, item, stamp))
    return History(
        splices={site: tuple(acts) for site, acts in splices.items()},
        reworks=tuple(reworks),
        closure_acts={site: tuple(acts) for site, acts in closure_acts.items()},
        traces=tuple(traces),
        link_losses=tuple(link_losses),
    )


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
    )


def _is_on(layout: Layout, body: Body, *, fibre: int) -> bool:
    if body["fibre"] != fibre or body["from_site"] == body["to_site"]:
        return False
    return body["from_site"] in layout.site_index and body["to_site"] in layout.site_index


def _ends(layout: Layout, body: Body) -> tuple[bool, int, int]:
    start, end = layout.site_index[body["from_site"]], layout.site_index[body["to_site"]]
    return start < end, min(start, end), max(start, end)


def _trace(layout: Layout, item: Evidence, stamp: Stamp) -> Trace:
    body = item.body
    is_forward, low_index, high_index = _ends(layout, body)
    return Trace(
        stamp=stamp,
        is_ended=item.is_ended,
        calibration_has_run_out=body["calibrated_until"] < _day_of(body),
        is_forward=is_forward,
        low_index=low_index,
        high_index=high_index,
        wavelength_nm=body["wavelength_nm"],
        pulse_ns=body["pulse_ns"],
        threshold_mdb=last_place(body["loss_threshold_db"]),
        launch=_cord(body.get("launch_cord")),
        receive=_cord(body.get("receive_cord")),
        events=tuple(body["events"]),
    )


def _cord(body: Body | None) -> Cord | None:
    return None if body is None else Cord(serial=body["serial"], length_um=metres_to_um(body["length_m"]))


def _link_loss(layout: Layout, item: Evidence, stamp: Stamp) -> LinkLoss:
    body = item.body
    is_forward, low_index, high_index = _ends(layout, body)
    return LinkLoss(
        stamp=stamp,
        is_ended=item.is_ended,
        calibration_has_run_out=min(body[name]["calibrated_until"] for name in ("source", "meter")) < _day_of(body),
        is_forward=is_forward,
        low_index=low_index,
        high_index=high_index,
        wavelength_nm=body["wavelength_nm"],
        loss_mdb=last_place(body["loss_db"]),
        reference_cords=body["reference_cords"],
    )


def _day_of(body: Body) -> str:
    made_at: str = body["made_at"]
    return made_at[:10]
