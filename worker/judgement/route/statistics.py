"""What is judged of joints on several fibres together, put together from what each fibre contributes."""

from collections.abc import Iterable, Iterator, Mapping
from operator import add
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.joints import JointStatisticCriterion
from service.vocabulary.design.layout import Layout
from worker.judgement.fibre.contributions import Contributions, PartialSums, Tally
from worker.judgement.fibre.findings import Finding
from worker.judgement.rules.kinds.statistics import JointStatisticRule


class _Total(NamedTuple):
    """The tally of a population, and on how many fibres it is."""

    tally: Tally
    fibres: int


# By criterion, segment and site; on the whole route the site is `None`.
_Totals = dict[tuple[str, str, str | None], _Total]
_NOTHING = _Total(Tally(*[0] * len(Tally._fields)), 0)


def route_findings(
    layout: Layout, criteria: Criteria, contributions: Mapping[int, Contributions | None]
) -> list[Finding]:
    """Judge the populations of several fibres; of the joints of a fibre that contributes nothing nothing is known."""
    rules = [
        rule
        for criterion in criteria.criteria
        if isinstance(criterion, JointStatisticCriterion)
        and (rule := JointStatisticRule(criterion, layout)).is_of_several_fibres
    ]
    if not rules:
        return []
    totals = _add_up(_partial_sums(rules, contributions))
    return [finding for rule in rules for finding in _findings(rule, layout, totals)]


def _partial_sums(
    rules: Iterable[JointStatisticRule], contributions: Mapping[int, Contributions | None]
) -> Iterator[PartialSums]:
    for fibre, own in contributions.items():
        if own is None:
            for rule in rules:
                yield from rule.partial_sums_of_unknown(fibre)
        else:
            yield from own.sums


def _add_up(sums: Iterable[PartialSums]) -> _Totals:
    """Add the fibres up column by column: most of them have joints at the same sites."""
    columns: dict[tuple[str, str, tuple[str | None, ...]], tuple[list[list[int]], int]] = {}
    for own in sums:
        key = (own.criterion, own.segment, own.sites)
        before, fibres = columns.get(key, ([[0] * len(own.sites)] * len(Tally._fields), 0))
        added = [list(map(add, one, more)) for one, more in zip(before, own.columns, strict=True)]
        columns[key] = (added, fibres + 1)
    totals: _Totals = {}
    for (criterion, segment, sites), (added, fibres) in columns.items():
        for site, numbers in zip(sites, zip(*added, strict=True), strict=True):
            so_far = totals.get((criterion, segment, site), _NOTHING)
            tally = Tally(*map(add, so_far.tally, numbers))
            totals[criterion, segment, site] = _Total(tally, so_far.fibres + fibres)
    return totals


def _findings(rule: JointStatisticRule, layout: Layout, totals: _Totals) -> Iterator[Finding]:
    sites: list[str | None] = [None, *(site.id for site in layout.design.sites)]
    first, last = layout.design.sites[0].id, layout.design.sites[-1].id
    for segment in layout.design.segments:
        for site in sites:
            found = totals.get((rule.criterion.code, segment.id, site))
            if found is None:
                continue
            on_fibres = f"on {found.fibres} fibre{'' if found.fibres == 1 else 's'}"
            where = f"{on_fibres} from {first} to {last}" if site is None else f"{on_fibres} at {site}"
            finding = rule.finding(segment.id, found.tally, where)
            yield finding._replace(from_site=first, to_site=last) if site is None else finding._replace(site=site)
