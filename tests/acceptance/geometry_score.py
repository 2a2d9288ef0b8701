"""Scoring routes of one geometry: bad joints accepted, good fibres refused, wrong events, what stays undetermined."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import binom, norm, poisson

from service.vocabulary.findings.finding import FindingDocument
from tests.acceptance.figures import Share
from tests.acceptance.placing_score import wrong_events
from tests.acceptance.trials import SPLICE_LIMIT_DB, TERMINATION_LIMIT_DB, JudgedFibre
from tests.simulator.instrument import Direction

# Bins of a true loss beyond its limit, in standard deviations of the mean of two readings.
BINS = ((0.0, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 5.0), (5.0, np.inf))
_LIMITS_DB = {"splice_loss": SPLICE_LIMIT_DB, "termination_loss": TERMINATION_LIMIT_DB}
# Readings are whole thousandths of a dB, so that their mean steps by half of one: the edge lies half a step beyond.
_HALF_A_STEP_DB = 0.00025
_CONFIDENCE = 0.99


@dataclass(kw_only=True)
class BinScore:
    """Joints whose true loss lies so far beyond the limit: how many there were, were accepted, and should have been."""

    joints: int = 0
    undetermined: int = 0
    expected: float = 0.0
    accepted: list[str] = field(default_factory=list)

    @property
    def most(self) -> int:
        """The most that the normal distribution lets through, with 99 % confidence."""
        if not self.joints:
            return 0
        return int(binom.ppf((1 + _CONFIDENCE) / 2, self.joints, self.expected / self.joints))

    @property
    def is_kept(self) -> bool:
        """Tell whether no more was accepted."""
        return len(self.accepted) <= self.most


@dataclass(kw_only=True)
class GeometryScore:
    """What routes of one geometry came to; lists name each fibre so that it can be drawn again."""

    routes: int = 0
    fibres: int = 0
    good_fibres: int = 0
    findings: int = 0
    placed: int = 0
    refused_expected: float = 0.0
    bins: list[BinScore] = field(default_factory=lambda: [BinScore() for _ in BINS])
    wrong: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    suspected: list[str] = field(default_factory=list)
    reasons: Counter[str] = field(default_factory=Counter)
    unfinished: int = 0

    @property
    def undetermined(self) -> Share:
        """Share of all findings that are undetermined."""
        return Share(self.reasons.total(), self.findings)

    @property
    def most_refused(self) -> int:
        """The most good fibres that the normal distribution refuses, with 99 % confidence."""
        return int(poisson.ppf((1 + _CONFIDENCE) / 2, self.refused_expected))

    @property
    def left_open(self) -> Share:
        """Share of good fibres that are not accepted for want of one finding or more."""
        return Share(self.unfinished, self.good_fibres)

    def add(self, fibre: JudgedFibre) -> None:
        """Score one fibre."""
        self.fibres += 1
        if fibre.suspected_of:
            self.suspected.append(f"{fibre.name}: {', '.join(sorted(fibre.suspected_of))}")
        self.findings += len(fibre.findings)
        self.reasons.update(
            f"{one['quantity']}: {one['reason']}" for one in fibre.findings if one["outcome"] == "undetermined"
        )
        placed = [one for one in fibre.findings if one["quantity"] in _LIMITS_DB]
        self.placed += len(placed)
        for finding in placed:
            self._add_place(fibre, finding)
        if all(_is_good(fibre, one) for one in placed):
            self._add_good(fibre, placed)

    def merge(self, other: "GeometryScore") -> None:
        """Add what was scored elsewhere."""
        for name in ("routes", "fibres", "good_fibres", "findings", "placed", "refused_expected", "unfinished"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.wrong += other.wrong
        self.refused += other.refused
        self.suspected += other.suspected
        self.reasons += other.reasons
        for own, more in zip(self.bins, other.bins, strict=True):
            own.joints += more.joints
            own.undetermined += more.undetermined
            own.expected += more.expected
            own.accepted += more.accepted

    def _add_place(self, fibre: JudgedFibre, finding: FindingDocument) -> None:
        said = f"{fibre.name}: {finding['criterion']} at {finding['site']} {finding['outcome']}"
        if finding["outcome"] != "undetermined" and (faults := list(wrong_events(fibre, finding))):
            self.wrong.append(f"{said}: {'; '.join(faults)}")
        beyond_db = _true_db(fibre, finding) - _LIMITS_DB[finding["quantity"]]
        if beyond_db <= 0:
            return
        noise_db = _noise_db(fibre, finding)
        own = next(
            score for score, (low, high) in zip(self.bins, BINS, strict=True) if low < beyond_db / noise_db <= high
        )
        own.joints += 1
        own.expected += float(norm.cdf((_HALF_A_STEP_DB - beyond_db) / noise_db))
        own.undetermined += finding["outcome"] == "undetermined"
        if finding["outcome"] == "conforming":
            own.accepted.append(f"{said}, {beyond_db:.4f} dB beyond the limit, {beyond_db / noise_db:.1f} sigma")

    def _add_good(self, fibre: JudgedFibre, placed: list[FindingDocument]) -> None:
        self.good_fibres += 1
        chances = [
            norm.sf((_LIMITS_DB[one["quantity"]] + _HALF_A_STEP_DB - _true_db(fibre, one)) / _noise_db(fibre, one))
            for one in placed
        ]
        self.refused_expected += float(1 - np.prod(1 - np.array(chances)))
        outcomes = {one["outcome"] for one in fibre.findings}
        if "nonconforming" in outcomes:
            self.refused.append(f"{fibre.name}: {', '.join(_refusals(fibre))}")
        elif "undetermined" in outcomes:
            self.unfinished += 1


def _refusals(fibre: JudgedFibre) -> Iterator[str]:
    for one in fibre.findings:
        if one["outcome"] == "nonconforming":
            yield f"{one['criterion']} at {one['site']}" if "site" in one else one["criterion"]


def _is_good(fibre: JudgedFibre, finding: FindingDocument) -> bool:
    return _true_db(fibre, finding) <= _LIMITS_DB[finding["quantity"]]


def _true_db(fibre: JudgedFibre, finding: FindingDocument) -> float:
    """Return the true loss of what a finding is about: at an end the splice alone, or the pair with it."""
    truth = fibre.trial.truth
    losses_db = truth.splice_loss_db if finding["quantity"] == "splice_loss" else truth.joint_loss_db
    wavelength = truth.wavelengths_nm.index(finding["wavelength_nm"])
    return float(losses_db[wavelength, fibre.number - 1, fibre.site_index(finding)])


def _noise_db(fibre: JudgedFibre, finding: FindingDocument) -> float:
    """Return the noise of the mean of both directions: by the pulses that the finding stands on, or the shortest."""
    trial = fibre.trial
    noises_db = trial.noises_db
    pulses_ns = dict.fromkeys(Direction, trial.course.pulses_ns[0])
    for reading in finding.get("readings", ()):
        shown = fibre.shown[reading["record"]]
        pulses_ns[shown.direction] = shown.pulse_ns
    at = trial.truth.wavelengths_nm.index(finding["wavelength_nm"]), fibre.number - 1, fibre.site_index(finding)
    return float(np.hypot(*(noises_db[own][at] for own in pulses_ns.items()))) / 2
