"""What is judged of joints on several fibres together, put together from each fibre's part."""

from collections.abc import Iterable, Iterator, Mapping
from operator import add

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.joints import JointStatisticCriterion
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument
from worker.judgement.fibre.contributions import FiguresDocument, Part, Tally
from worker.judgement.rules.kinds.statistics import JointStatisticRule

# The tally of a population, and on how many fibres it is.
_Tallies = dict[tuple[str, str, str | None], tuple[Tally, int]]


def route_findings(
    layout: Layout, criteria: Criteria, figures: Mapping[int, FiguresDocument | None]
) -> list[FindingDocument]:
    """Judge the populations of several fibres; a fibre without figures is one of whose joints nothing is known."""
    rules = [
        rule
        for criterion in criteria.criteria
        if isinstance(criterion, JointStatisticCriterion)
        and (rule := JointStatisticRule(criterion, layout)).is_of_several_fibres
    ]
    if not rules:
        return []
    tallies = _add_up(_parts(rules, figures))
    return [finding for rule in rules for finding in _findings(rule, layout, tallies)]


def _parts(rules: Iterable[JointStatisticRule], figures: Mapping[int, FiguresDocument | None]) -> Iterator[Part]:
    for fibre, own in figures.items():
        if own is None:
            for rule in rules:
                yield from rule.parts_of_unknown(fibre)
        else:
            yield from (Part(*row) for row in own["parts"])


def _add_up(parts: Iterable[Part]) -> _Tallies:
    """Add the fibres up column by column: most of them have joints at the same sites."""
    columns: dict[tuple[str, str, tuple[str | None, ...]], tuple[list[list[int]], int]] = {}
    for part in parts:
        key = (part.criterion, part.segment, tuple(part.sites))
        before, fibres = columns.get(key, ([[0] * len(part.sites)] * len(Tally._fields), 0))
        added = [list(map(add, own, more)) for own, more in zip(before, part.tallies, strict=True)]
        columns[key] = (added, fibres + 1)
    tallies: _Tallies = {}
    for (criterion, segment, sites), (added, fibres) in columns.items():
        for site, numbers in zip(sites, zip(*added, strict=True), strict=True):
            before_it, fibres_before = tallies.get((criterion, segment, site), (Tally(0, 0, 0, 0, 0, 0), 0))
            tally = Tally(*map(add, before_it, numbers))
            tallies[criterion, segment, site] = (tally, fibres_before + fibres)
    return tallies


def _findings(rule: JointStatisticRule, layout: Layout, tallies: _Tallies) -> Iterator[FindingDocument]:
    sites: list[str | None] = [None, *(site.id for site in layout.design.sites)]
    first, last = layout.design.sites[0].id, layout.design.sites[-1].id
    for segment in layout.design.segments:
        for site in sites:
            found = tallies.get((rule.criterion.code, segment.id, site))
            if found is None:
                continue
            tally, fibres = found
            on_fibres = f"on {fibres} fibre{'' if fibres == 1 else 's'}"
            where = f"{on_fibres} from {first} to {last}" if site is None else f"{on_fibres} at {site}"
            finding = rule.finding(segment.id, rule.judge(tally, where), count=tally.joints)
            if site is None:
                finding["from_site"], finding["to_site"] = first, last
            else:
                finding["site"] = site
            yield finding
