"""The worst joint of each site: what does not conform before all else, then what comes nearest to its limit."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.vocabulary.finding import FindingDocument
from service.vocabulary.words import Force, Outcome, Quantity
from worker.package.finding_columns import FindingsByQuantity
from worker.package.wording import limit_text, value_text

_JOINTS = {
    Quantity.SPLICE_LOSS: "splice",
    Quantity.TERMINATION_LOSS: "termination",
    Quantity.CONNECTION_LOSS: "connection",
}


@dataclass(kw_only=True)
class JointsOfSite:
    """What was found of the losses at one site: how often each outcome, and the worst loss that is known."""

    counts: dict[Outcome, int]
    worst: FindingDocument | None = None

    def outcome(self) -> Outcome:
        """Return the worst outcome at the site."""
        worst_first = (Outcome.NONCONFORMING, Outcome.UNDETERMINED, Outcome.CONFORMING)
        return next(outcome for outcome in worst_first if self.counts[outcome])

    def worst_text(self) -> str:
        """Say how much the worst joint loses, and which it is."""
        if self.worst is None:
            return "no loss is known"
        one = self.worst
        joint = f"{_JOINTS[Quantity(one['quantity'])]}, fibre {one['fibre']}, {one['wavelength_nm']} nm"
        advisory = " (advisory)" if one["force"] == Force.ADVISORY else ""
        return f"worst {value_text(one)} dB, limit {limit_text(one)}: {joint}{advisory}"


def joints_by_site(findings: FindingsByQuantity) -> Mapping[str, JointsOfSite]:
    """Return what was found of the losses at each site that has any."""
    sites: dict[str, JointsOfSite] = {}
    ranks: dict[str, tuple[bool, bool, Decimal]] = {}
    for quantity in _JOINTS:
        for finding in findings.get(quantity, ()):
            site = finding["site"]
            joints = sites.setdefault(site, JointsOfSite(counts=dict.fromkeys(Outcome, 0)))
            joints.counts[Outcome(finding["outcome"])] += 1
            rank = _rank(finding)
            if rank is not None and (site not in ranks or rank < ranks[site]):
                ranks[site], joints.worst = rank, finding
    return sites


def _rank(finding: FindingDocument) -> tuple[bool, bool, Decimal] | None:
    if "margin" not in finding:
        return None
    nonconforming, advisory = finding["outcome"] == Outcome.NONCONFORMING, finding["force"] == Force.ADVISORY
    return not nonconforming, advisory, Decimal(finding["margin"])
