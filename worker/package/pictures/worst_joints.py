"""The worst joint of each site: what does not conform before all else, then what comes nearest to its limit."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.findings.words import Outcome
from worker.package.data.findings import Finding, FindingsByQuantity
from worker.package.pictures.fixed_point import to_fixed
from worker.package.wording.values import limit_text, value_text

_JOINTS = {
    Quantity.SPLICE_LOSS: "splice",
    Quantity.TERMINATION_LOSS: "termination",
    Quantity.CONNECTION_LOSS: "connection",
}


class JointsOfSite(NamedTuple):
    """What was found of the losses at one site: how often each outcome, and the worst loss that is known."""

    counts: Mapping[Outcome, int]
    worst: Finding | None

    @property
    def outcome(self) -> Outcome:
        """The worst outcome at the site."""
        worst_first = (Outcome.NONCONFORMING, Outcome.UNDETERMINED, Outcome.CONFORMING)
        return next(outcome for outcome in worst_first if self.counts[outcome])

    def worst_text(self) -> str:
        """Say how much the worst joint loses, and which it is."""
        if self.worst is None:
            return "no loss is known"
        one = self.worst
        joint = f"{_JOINTS[one.quantity]}, fibre {one.fibre}, {one.wavelength_nm} nm"
        advisory = " (advisory)" if one.force is Force.ADVISORY else ""
        return f"{value_text(one)} dB, limit {limit_text(one)}: {joint}{advisory}"


def joints_by_site(findings: FindingsByQuantity) -> Mapping[str, JointsOfSite]:
    """Return what was found of the losses at each site that has any."""
    found: defaultdict[str, list[Finding]] = defaultdict(list)
    for quantity in _JOINTS:
        for finding in findings.get(quantity, ()):
            # One about the fibre between its joints is of no site.
            if finding.site is not None:
                found[finding.site].append(finding)
    return {site: _joints(own) for site, own in found.items()}


def _joints(findings: Sequence[Finding]) -> JointsOfSite:
    known = (finding for finding in findings if finding.margin is not None)
    counts = Counter(finding.outcome for finding in findings)
    return JointsOfSite(counts, min(known, key=_rank, default=None))


def _rank(finding: Finding) -> tuple[bool, bool, int]:
    is_nonconforming, is_advisory = finding.outcome is Outcome.NONCONFORMING, finding.force is Force.ADVISORY
    return not is_nonconforming, is_advisory, to_fixed(finding.margin)
