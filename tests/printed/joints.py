"""What pictures about joints have to say by the attached JSON: each site's worst, how losses lie, what they sum to."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import NamedTuple

from tests.printed.attached import Attached
from tests.printed.values import WORST_FIRST, Json, criterion_text, fibre_m, least_text, ranges, value_text

JOINTS = {"splice_loss": "splice", "termination_loss": "termination", "connection_loss": "connection"}


class SaidOfSite(NamedTuple):
    """How many findings came out worst, and each joint that may be called the worst, for ties have no order."""

    counted: str
    worst: set[str]


def said_of_site(data: Attached, site: str) -> SaidOfSite | None:
    """Return what is said of the losses at a site, `None` where none was judged."""
    own = [f for f in data.findings if f["quantity"] in JOINTS and f["site"] == site]
    if not own:
        return None
    counts = Counter(f["outcome"] for f in own)
    outcome = next(one for one in WORST_FIRST if counts[one])
    counted = f"{'all' if outcome == 'conforming' else counts[outcome]} {outcome}"
    known = [f for f in own if "margin" in f]
    failed = [f for f in known if f["outcome"] == "nonconforming"] or known
    binding = [f for f in failed if f["force"] == "required"] or failed
    least = min((Decimal(f["margin"]) for f in binding), default=None)
    return SaidOfSite(counted, {_joint(f) for f in binding if Decimal(f["margin"]) == least} or {"no loss is known"})


def _joint(f: Json) -> str:
    advisory = criterion_text(f).removeprefix(f["criterion"])
    joint = f"{JOINTS[f['quantity']]}, fibre {f['fibre']}, {f['wavelength_nm']} nm{advisory}"
    return f"{value_text(f)} dB, limit {least_text(f)}: {joint}"


def histograms(data: Attached) -> list[Json]:
    """Return the criteria about splices that anything was held against."""
    held = {f["criterion"] for f in data.findings}
    return [one for one in data.criteria["criteria"] if one["quantity"] == "splice_loss" and one["code"] in held]


def lines_of(criterion: Json) -> set[str]:
    """Return each limit that a criterion about splices has, by name."""
    fallback = criterion.get("fallback")
    named = {
        "from one end": "one_way_limit_db",
        "one-way action": "one_way_action_limit_db",
        "estimate action": "estimate_action_limit_db",
    }
    return {
        f"limit {criterion['limit_db']}",
        *([f"after {fallback['attempts']} attempts {fallback['limit_db']}"] if fallback else []),
        *(f"{name} {criterion[member]}" for name, member in named.items() if member in criterion),
    }


class Losses(NamedTuple):
    """The losses of splices under one criterion, in dB: how many findings, how they came out, what is drawn."""

    findings: int
    conforming: int
    undetermined: int
    with_connection: int
    known: list[Decimal]
    at_most: list[Decimal]

    def said(self, above: Decimal | None) -> str:
        """Return all that is said beside the histogram, told over which loss all are in its last bar."""
        return " ".join(self._said(above))

    def _said(self, above: Decimal | None) -> Iterator[str]:
        yield f"{self.findings} findings"
        share = (Decimal(100 * self.conforming) / self.findings).quantize(Decimal("0.01"), ROUND_HALF_EVEN)
        yield f"{self.conforming} of them conform: {share} %"
        if self.known:
            mean = (sum(self.known, Decimal(0)) / len(self.known)).quantize(Decimal("0.0001"), ROUND_HALF_EVEN)
            yield f"{len(self.known)} drawn full, their mean {mean} dB"
        if self.at_most:
            yield f"{len(self.at_most)} known only within bounds: drawn empty, at the upper bound"
        if self.undetermined:
            yield f"{self.undetermined} not drawn: undetermined"
        if self.with_connection:
            yield f"{self.with_connection} not drawn: seen only together with a connection"
        if above is not None:
            over = [one for one in (*self.known, *self.at_most) if one > above]
            yield f"{len(over)} above {above} dB, up to {max(over).quantize(Decimal('0.0001'))}: all in the last bar"


def losses(data: Attached, criterion: Json) -> Losses:
    """Return the losses held against one criterion about splices."""
    own = [f for f in data.findings if f["criterion"] == criterion["code"]]
    decided = [f for f in own if f["outcome"] != "undetermined"]
    alone = [f for f in decided if criterion["basis"] == "estimate" or _is_alone(data, f, criterion)]
    return Losses(
        findings=len(own),
        conforming=sum(f["outcome"] == "conforming" for f in own),
        undetermined=len(own) - len(decided),
        with_connection=len(decided) - len(alone),
        known=[Decimal(f["value"]) for f in alone if "value" in f],
        at_most=[Decimal(f["high"]) for f in alone if "value" not in f],
    )


def _is_alone(data: Attached, f: Json, criterion: Json) -> bool:
    """Tell whether a loss is that of a splice by itself, decided by its own limit."""
    is_own = f.get("by_fallback", False) or Decimal(f["limit"]) in _limits(criterion)
    return is_own and data.action(f["site"], f["fibre"]) != "terminated"


def _limits(criterion: Json) -> set[Decimal]:
    return {Decimal(criterion[name]) for name in ("limit_db", "one_way_limit_db") if name in criterion}


def summed_criteria(data: Attached) -> list[Json]:
    """Return for each wavelength the criterion about means of both directions that most was held against."""
    often = Counter(f["criterion"] for f in data.findings)
    chosen: dict[int, Json] = {}
    for one in histograms(data):
        best = chosen.get(one["wavelength_nm"])
        is_mean = (one["basis"], one["tested_from"], one["combination"]) == ("traces", "both", "mean")
        if is_mean and (best is None or often[one["code"]] > often[best["code"]]):
            chosen[one["wavelength_nm"]] = one
    return [chosen[wavelength] for wavelength in sorted(chosen)]


def tubes(data: Attached, criterion: Json) -> dict[int, list[str]]:
    """Return by tube what is said of its fibres, and of the highest and the lowest sum of those that are known."""
    judged = {one["fibre"] for one in data.found["fibres"] if "problem" not in one}
    own = [f for f in data.findings if f["criterion"] == criterion["code"]]
    size = data.design["sections"][0]["fibres_per_tube"]
    fibres: dict[int, list[int]] = {}
    for fibre in sorted(data.scope - data.dark):
        fibres.setdefault((fibre - 1) // size + 1, []).append(fibre)
    bounds = {
        fibre: _bounds(data, [f for f in own if f["fibre"] == fibre], criterion) if fibre in judged else None
        for fibre in data.scope
    }
    return {tube: _said_of_tube(numbers, bounds) for tube, numbers in fibres.items()}


def _bounds(data: Attached, own: Sequence[Json], criterion: Json) -> tuple[Decimal, Decimal] | None:
    low = high = Decimal(0)
    for f in own:
        if data.action(f["site"], f["fibre"]) != "terminated":
            is_known = f["outcome"] != "undetermined" or f.get("reason") == "bound_too_wide"
            if not is_known or not _is_alone(data, f, criterion):
                return None
            low, high = low + Decimal(f.get("value", f.get("low"))), high + Decimal(f.get("value", f.get("high")))
    return low, high


def _said_of_tube(numbers: Sequence[int], bounds: Mapping[int, tuple[Decimal, Decimal] | None]) -> list[str]:
    known = {fibre: own for fibre in numbers if (own := bounds[fibre]) is not None}
    unknown = f", {len(numbers) - len(known)} not known" if len(known) < len(numbers) else ""
    said = [f"fibres {ranges(numbers)}{unknown}"]
    if known:
        highest = min(known, key=lambda fibre: (-known[fibre][1], fibre))
        lowest = min(known, key=lambda fibre: (known[fibre][0], fibre))
        said += [
            f"highest {known[highest][1]:.4f} dB, fibre {highest}",
            f"lowest {known[lowest][0]:.4f} dB, fibre {lowest}",
        ]
    return said


def distances(data: Attached) -> list[tuple[str, Decimal]]:
    """Return each site with its distance along the fibre from A."""
    at, found = Decimal(0), []
    for site, section in zip(data.design["sites"], [*data.design["sections"], None], strict=True):
        found.append((site["id"], at))
        at += Decimal(0) if section is None else fibre_m(section)
    return found
