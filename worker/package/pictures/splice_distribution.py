"""How the losses of splices are distributed about the limit of one criterion: every finding counted once."""

from collections import Counter, defaultdict
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import gcd
from typing import NamedTuple

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.criteria.words import Basis
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import FibreAction
from service.vocabulary.findings.words import Outcome
from worker.package.data.findings import Finding
from worker.package.pictures.fixed_point import round_step, to_fixed

_MOST_BINS = 60
_LEAST_REACH = 1000
# Readings are posted to 0.01 dB or finer.
_COARSEST_GRAIN = 100


class Line(NamedTuple):
    """A limit that is drawn; only the first is what the criterion asks."""

    label: str
    text: str
    fixed: int


@dataclass(frozen=True, kw_only=True)
class Distribution:
    """The losses held against one criterion, in 0.0001 dB, and how many findings are not drawn, and why."""

    criterion: SpliceLossCriterion
    lines: Sequence[Line]
    known: Sequence[int]
    at_most: Sequence[int]
    undetermined: int
    with_connection: int
    conforming: int

    @property
    def findings(self) -> int:
        """How many findings there are, drawn or not."""
        return len(self.known) + len(self.at_most) + self.undetermined + self.with_connection

    @property
    def limit(self) -> int:
        """The limit that the criterion asks for."""
        return self.lines[0].fixed

    @cached_property
    def reach(self) -> tuple[int, int]:
        """Between which losses the axis runs: a few far away would squeeze all others."""
        # A limit of zero, too, leaves an axis of some length.
        width = 2 * max(self.limit, _LEAST_REACH)
        drawn = [0, *self.known, *self.at_most]
        low, high = max(min(drawn), self.limit - width), min(max(drawn), self.limit + width)
        return low, max(high, *(line.fixed + line.fixed // 10 for line in self.lines))

    @cached_property
    def step(self) -> int:
        """How wide a bin is: a round multiple of what all losses are multiples of, else bins would be unlike."""
        low, high = self.reach
        grain = gcd(_COARSEST_GRAIN, *self.known, *self.at_most)
        return grain * round_step((high - low) / _MOST_BINS / grain)

    def bins(self, losses: Sequence[int]) -> Counter[int]:
        """Count losses by bin; what lies beyond the axis is in the bin next to its end."""
        low, high = self.reach
        counts: Counter[int] = Counter()
        for loss, count in Counter(losses).items():
            # By the loss: an end of the axis may cut a step, and beyond it is beyond it.
            beyond = (loss > high) - (loss < low)
            counts[self.bin_of(min(max(loss, low), high)) + beyond] += count
        return counts

    def bin_of(self, loss: int) -> int:
        """Return the bin of a loss: each holds its upper end, and bin 0 ends with the limit."""
        return -((self.limit - loss) // self.step)

    def end_of(self, one: int) -> int:
        """Return the highest loss that a bin holds."""
        return self.limit + one * self.step


def distributions(
    criteria: Sequence[SpliceLossCriterion], findings: Sequence[Finding], layout: Layout
) -> Iterator[Distribution]:
    """Give the distribution of each criterion that anything was held against."""
    connections = connections_of(layout)
    by_code: defaultdict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        # One about the fibre between its joints is no splice's.
        if finding.site is not None:
            by_code[finding.criterion].append(finding)
    for criterion in criteria:
        if criterion.code in by_code:
            yield _distribution(criterion, by_code[criterion.code], connections)


def _distribution(
    criterion: SpliceLossCriterion, findings: Sequence[Finding], connections: Container[tuple[int, str]]
) -> Distribution:
    determined = [one for one in findings if one.outcome is not Outcome.UNDETERMINED]
    lines, alone = list(_lines(criterion)), determined
    # An estimate is of the splice by itself.
    if criterion.basis is not Basis.ESTIMATE:
        own = {to_fixed(text) for text in _limits(criterion)}
        splices = [one for one in determined if to_fixed(one.limit) in own or one.by_fallback]
        alone = [one for one in splices if one.joint not in connections]
    return Distribution(
        criterion=criterion,
        lines=lines,
        known=[to_fixed(one.value) for one in alone if one.value is not None],
        at_most=[to_fixed(one.high) for one in alone if one.value is None],
        undetermined=len(findings) - len(determined),
        with_connection=len(determined) - len(alone),
        conforming=sum(one.outcome is Outcome.CONFORMING for one in determined),
    )


def _limits(criterion: SpliceLossCriterion) -> Iterator[str]:
    stated = criterion.model_dump()
    return (text for text in (stated["limit_db"], stated["one_way_limit_db"]) if text is not None)


def _lines(criterion: SpliceLossCriterion) -> Iterator[Line]:
    stated = criterion.model_dump()
    fallback = stated["fallback"] or {"attempts": None, "limit_db": None}
    for label, text in (
        ("limit", stated["limit_db"]),
        ("from one end", stated["one_way_limit_db"]),
        (f"after {fallback['attempts']} attempts", fallback["limit_db"]),
        ("one-way action", stated["one_way_action_limit_db"]),
        ("estimate action", stated["estimate_action_limit_db"]),
    ):
        if text is not None:
            yield Line(label=label, text=text, fixed=to_fixed(text))


def connections_of(layout: Layout) -> Container[tuple[int, str]]:
    """Return where fibres are terminated, by fibre and site: a splice there is seen together with a connection."""
    fibres = range(1, layout.design.fibre_count + 1)
    return {
        (fibre, site.id)
        for site in layout.design.sites
        for fibre in fibres
        if layout.action(site, fibre) is FibreAction.TERMINATED
    }


def is_held_as_splice(finding: Finding, *, limit: int) -> bool:
    """Tell whether a loss meets the splice's own limit, in 0.0001 dB.

    In one dead zone with a connection a splice is decided by the limit of that, and the loss is that of both.
    """
    return to_fixed(finding.limit) == limit or finding.by_fallback
