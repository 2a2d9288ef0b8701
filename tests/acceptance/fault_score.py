"""Scoring whether faults were found: each kind has its own finding, and a size above which none may be missed."""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.suspicion import SuspicionKind
from tests.acceptance.placing_score import MEAN_TOLERANCE_DB
from tests.acceptance.trials import (
    BEND_LIMIT_DB,
    BEND_RATIO,
    REFLECTANCE_LIMIT_DB,
    SPLICE_LIMIT_DB,
    STRAY_LIMIT_DB,
    TERMINATION_LIMIT_DB,
    JudgedFibre,
)
from tests.simulator.faults import Fault, FaultKind

NM = 1550
# Four readings of 0.006 dB noise each: a difference of two means is off by more than 0.03 dB once in 10^6.
DIFFERENCE_TOLERANCE_DB = 0.03
# A reflectance reading has 0.4 dB of noise.
REFLECTANCE_TOLERANCE_DB = 2.0


@dataclass(frozen=True, kw_only=True)
class FaultRule:
    """What a kind of fault is found by, and which are large enough to be found for certain, said in words."""

    stated: str
    is_stated: Callable[[JudgedFibre, Fault], bool]
    is_missed: Callable[[JudgedFibre, Fault], bool]
    is_named: Callable[[JudgedFibre, Fault], bool]


@dataclass(kw_only=True)
class FaultScore:
    """How many faults of a kind there were, how many above the stated size, and which of these were missed."""

    injected: int = 0
    stated: int = 0
    named: int = 0
    smaller_missed: int = 0
    missed: list[str] = field(default_factory=list)
    reasons: Counter[str] = field(default_factory=Counter)

    def add(self, fibre: JudgedFibre, fault: Fault) -> None:
        """Score one fault by what was found about one fibre."""
        rule = FAULT_RULES[fault.kind]
        self.injected += 1
        self.named += rule.is_named(fibre, fault)
        is_missed = rule.is_missed(fibre, fault)
        if rule.is_stated(fibre, fault):
            self.stated += 1
            if is_missed:
                self.missed.append(fibre.name)
        else:
            self.smaller_missed += is_missed

    def merge(self, other: "FaultScore") -> None:
        """Add what was scored elsewhere."""
        self.injected += other.injected
        self.stated += other.stated
        self.named += other.named
        self.smaller_missed += other.smaller_missed
        self.missed += other.missed


def _at_site(fibre: JudgedFibre, fault: Fault, code: str) -> list[FindingDocument]:
    assert fault.site is not None
    site = fibre.trial.course.sites[fault.site]
    return [one for one in fibre.findings if one["criterion"] == code and one.get("site") == site]


def _of(fibre: JudgedFibre, code: str) -> list[FindingDocument]:
    return [one for one in fibre.findings if one["criterion"] == code]


def _is_any(findings: list[FindingDocument], outcome: str) -> bool:
    return any(one["outcome"] == outcome for one in findings)


def _true_db(fibre: JudgedFibre, fault: Fault, *, wavelength_nm: int = NM) -> float:
    truth = fibre.trial.truth
    assert fault.site is not None
    return float(truth.joint_loss_db[truth.wavelengths_nm.index(wavelength_nm), fault.fibre - 1, fault.site])


def _is_far_from_joints(fibre: JudgedFibre, fault: Fault) -> bool:
    """Tell whether a spot lies clearly farther from the fibre's joints than a joint may lie from its design."""
    assert fault.at_m is not None
    course, at_m = fibre.trial.course, fault.at_m
    joints = sorted(fibre.trial.dead_zones(fault.fibre))
    by_truth = min(abs(at_m - offset_m) for offset_m in course.truth.site_offsets_m[fault.fibre - 1, joints].tolist())
    in_design_m = course.in_design_m(fault.fibre, at_m)
    by_design = min(abs(in_design_m - offset_m) for offset_m in course.designed_offsets_m[joints].tolist())
    return bool(min(by_truth, by_design) > 2 * course.tolerance_m)


def _is_bad_splice_stated(fibre: JudgedFibre, fault: Fault) -> bool:
    return _true_db(fibre, fault) > SPLICE_LIMIT_DB + MEAN_TOLERANCE_DB


def _is_bend_stated(fibre: JudgedFibre, fault: Fault) -> bool:
    short_db = _true_db(fibre, fault, wavelength_nm=1310)
    limit_db = max(BEND_LIMIT_DB, (BEND_RATIO - 1) * short_db)
    return _true_db(fibre, fault) - short_db > limit_db + DIFFERENCE_TOLERANCE_DB


def _is_stray_stated(fibre: JudgedFibre, fault: Fault) -> bool:
    return fault.size_db > STRAY_LIMIT_DB + MEAN_TOLERANCE_DB and _is_far_from_joints(fibre, fault)


def _is_dirt_stated(fibre: JudgedFibre, fault: Fault) -> bool:
    truth, end = fibre.trial.truth, 0 if fault.site == 0 else 1
    reflectance_db = float(truth.pair_reflectance_db[truth.wavelengths_nm.index(NM), fault.fibre - 1, end])
    return reflectance_db > REFLECTANCE_LIMIT_DB + REFLECTANCE_TOLERANCE_DB


def _is_lossy_dirt(fibre: JudgedFibre, fault: Fault) -> bool:
    return _true_db(fibre, fault) > TERMINATION_LIMIT_DB + MEAN_TOLERANCE_DB


def _is_dirt_missed(fibre: JudgedFibre, fault: Fault) -> bool:
    by_light = _is_any(_at_site(fibre, fault, "REFLECTANCE"), "conforming")
    return by_light or (_is_lossy_dirt(fibre, fault) and _is_any(_at_site(fibre, fault, f"TERM-{NM}"), "conforming"))


def _is_break_stated(fibre: JudgedFibre, fault: Fault) -> bool:
    assert fault.at_m is not None
    length_m = float(fibre.trial.truth.lengths_m[fault.fibre - 1])
    return 2 * fibre.trial.course.tolerance_m < fault.at_m < length_m - 2 * fibre.trial.course.tolerance_m


def _is_break_named(fibre: JudgedFibre, fault: Fault) -> bool:
    assert fault.at_m is not None
    course, broken = fibre.trial.course, fibre.judgement.document.get("breaks", [])
    true_m = course.in_design_m(fault.fibre, fault.at_m)
    return any(abs(float(one["from_a_m"]) - true_m) <= course.tolerance_m for one in broken)


def _is_break_missed(fibre: JudgedFibre, fault: Fault) -> bool:
    is_passed = any(_is_any(_of(fibre, f"{what}-{NM}"), "conforming") for what in ("OTDR", "SPLICE", "TERM"))
    return is_passed or (_is_break_stated(fibre, fault) and not _is_break_named(fibre, fault))


def _nothing_at(code: str) -> Callable[[JudgedFibre, Fault], bool]:
    return lambda fibre, fault: _is_any(_at_site(fibre, fault, code), "conforming")


def _named_at(code: str) -> Callable[[JudgedFibre, Fault], bool]:
    return lambda fibre, fault: _is_any(_at_site(fibre, fault, code), "nonconforming")


def _is_stray_missed(fibre: JudgedFibre, _: Fault) -> bool:
    return all(one["outcome"] == "conforming" for one in _of(fibre, "STRAY"))


_STRAY = FaultRule(
    stated=f"loses over {STRAY_LIMIT_DB + MEAN_TOLERANCE_DB:.4f} dB, twice the placing tolerance from any joint",
    is_stated=_is_stray_stated,
    is_missed=_is_stray_missed,
    is_named=lambda fibre, _: _is_any(_of(fibre, "STRAY"), "nonconforming"),
)
FAULT_RULES: Mapping[FaultKind, FaultRule] = {
    FaultKind.BAD_SPLICE: FaultRule(
        stated=f"loses over {SPLICE_LIMIT_DB + MEAN_TOLERANCE_DB:.4f} dB",
        is_stated=_is_bad_splice_stated,
        is_missed=_nothing_at(f"SPLICE-{NM}"),
        is_named=_named_at(f"SPLICE-{NM}"),
    ),
    FaultKind.BEND_IN_CLOSURE: FaultRule(
        stated=f"over {BEND_LIMIT_DB + DIFFERENCE_TOLERANCE_DB:.2f} dB more at {NM} than at 1310 nm, and the ratio",
        is_stated=_is_bend_stated,
        is_missed=_nothing_at("BEND"),
        is_named=_named_at("BEND"),
    ),
    FaultKind.BEND_IN_CABLE: _STRAY,
    FaultKind.EXPRESS_CUT: _STRAY,
    FaultKind.DIRTY_CONNECTOR: FaultRule(
        stated=f"reflects over {REFLECTANCE_LIMIT_DB + REFLECTANCE_TOLERANCE_DB} dB",
        is_stated=_is_dirt_stated,
        is_missed=_is_dirt_missed,
        is_named=_named_at("REFLECTANCE"),
    ),
    FaultKind.CROSSED_FIBRES: FaultRule(
        stated="any",
        is_stated=lambda *_: True,
        is_missed=lambda fibre, _: _is_any(_of(fibre, "CONTINUITY"), "conforming"),
        is_named=lambda fibre, _: _is_any(_of(fibre, "CONTINUITY"), "nonconforming"),
    ),
    FaultKind.COPIED_FIBRE: FaultRule(
        stated="any",
        is_stated=lambda *_: True,
        is_missed=lambda fibre, _: SuspicionKind.SAME_TRACE not in fibre.suspected_of,
        is_named=lambda fibre, _: SuspicionKind.SAME_TRACE in fibre.suspected_of,
    ),
    FaultKind.BREAK: FaultRule(
        stated="twice the placing tolerance from both ends, and named within one tolerance of its place",
        is_stated=_is_break_stated,
        is_missed=_is_break_missed,
        is_named=_is_break_named,
    ),
}
