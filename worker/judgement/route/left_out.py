"""Fibres that lose otherwise between their joints than the others of their cable: something was left out of a trace.

An event that is deleted in an instrument's software makes its section steeper; one that is deleted from the list alone
leaves source and meter with more than the traces. Neither shows on one fibre by itself. What all fibres of a route lose
has a middle and a spread: which of them is further off than honest glass is proves nothing.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import median_low
from typing import NamedTuple

import numpy as np

from service.vocabulary.criteria.base import Criterion, Test
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.criteria.scope import scope_of
from service.vocabulary.criteria.words import Force, LinkStretch, Quantity
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.words import Act, Outcome, Reason
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.glass import GlassLosses, limits_traced_loss
from worker.judgement.numbers.exact import TENTHS_PER_MDB, db_text, limit_mdb
from worker.judgement.route.agreement import Claims, Integers
from worker.judgement.work.items import AskedTest, Cause, WorkItem, cause_of

# A median of distances from the middle is 0.6745 standard deviations of normal values.
_DEVIATION_OF_MEDIAN = (14826, 10_000)
_PARTS_OF_LENGTH = 10**12
# Of two fibres nobody knows which is the usual one; a spread by fewer distances is no spread.
_FEWEST, _FEWEST_DISTANCES = 3, 24
_OF_FIBRE = {Quantity.ATTENUATION_COEFFICIENT, Quantity.STRAY_LOSS}


class _Losses(NamedTuple):
    """What fibres lose in several places, a row for each of these and a column for each fibre, in 0.0001 dB.

    A place is a `span` of a length, or the whole in one way. What is not known of a fibre there is 0.
    """

    fibres: Integers
    losses: Integers
    are_known: Claims
    spans: Sequence[Span | None] = (None,)
    lengths_um: Sequence[int] = (0,)

    def in_pairs(self) -> "_Losses":
        """Return what the fibres lose in every two neighbouring spans."""
        return _Losses(
            self.fibres,
            self.losses[:-1] + self.losses[1:],
            self.are_known[:-1] & self.are_known[1:],
            [Span(first=one.first, last=other.last) for one, other in pairwise(self.spans) if one and other],
            [one + other for one, other in pairwise(self.lengths_um)],
        )

    def middles(self, values: Integers) -> Integers:
        """Return the middle one of each row's values that are known, of two the lower: whole numbers stay whole."""
        in_order = np.sort(np.where(self.are_known, values, np.iinfo(np.int64).max), axis=1)
        middle = np.maximum(self.are_known.sum(axis=1) - 1, 0) // 2
        return np.take_along_axis(in_order, middle[:, None], axis=1)


class _Outlier(NamedTuple):
    """A fibre that loses so much more there than the middle, or less, and above what that is said."""

    fibre: int
    off_tenth_mdb: int
    size_tenth_mdb: int
    fibres: int
    span: Span | None

    @property
    def times_its_size(self) -> Fraction:
        """How far off it is, by the size above which it is said; by itself where that is nothing."""
        return Fraction(abs(self.off_tenth_mdb), max(self.size_tenth_mdb, 1))


def left_out_findings(
    layout: Layout, criteria: Criteria, contributions: Mapping[int, Contributions | None]
) -> list[Finding]:
    """Return what is undetermined of single fibres by the side of the others: at most one of a kind and wavelength."""
    losses: dict[int, dict[int, GlassLosses]] = {}
    for fibre, own in contributions.items():
        for one in own.glass if own is not None else ():
            losses.setdefault(one.wavelength_nm, {})[fibre] = one
    # A finding about the fibre between its joints stands best with others like it.
    required_first = sorted(
        criteria.criteria, key=lambda one: (one.force is not Force.REQUIRED, one.quantity not in _OF_FIBRE)
    )
    return [
        finding
        for nm, by_fibre in sorted(losses.items())
        for finding in _findings(layout, criteria, _at(required_first, nm), by_fibre)
    ]


def left_out_work(
    layout: Layout, findings: Iterable[Finding], contributions: Mapping[int, Contributions | None]
) -> list[tuple[int, WorkItem]]:
    """Return what is to be done about each, with its fibre."""
    ends = layout.design.sites[0].id, layout.design.sites[-1].id
    return [
        (finding.fibre, WorkItem(Act.RETEST, ends, (_cause(finding),), tests=_tests_again(finding, own, ends)))
        for finding in findings
        if finding.fibre is not None and (own := contributions[finding.fibre]) is not None
    ]


def _cause(finding: Finding) -> Cause:
    is_measured = finding.quantity is Quantity.LINK_ATTENUATION
    return cause_of(finding, f"{finding.judged.detail}: {_AGAIN}{', and measure again' if is_measured else ''}")


def _tests_again(finding: Finding, own: Contributions, ends: tuple[str, str]) -> tuple[AskedTest, ...]:
    # Where the list of one wavelength was changed those of the others may have been, by less than shows.
    tests: list[tuple[Test, int | None]] = [("otdr", one.wavelength_nm) for one in own.glass]
    if finding.quantity is Quantity.LINK_ATTENUATION:
        tests.append(("attenuation", finding.wavelength_nm))
    return tuple(AskedTest(test, nm, site) for test, nm in tests for site in ends)


_AGAIN = "take the traces again from both ends, with every event in them"


def _at(criteria: Iterable[Criterion], wavelength_nm: int) -> list[Criterion]:
    return [one for one in criteria if getattr(one, "wavelength_nm", None) == wavelength_nm]


def _findings(
    layout: Layout, criteria: Criteria, at_wavelength: Sequence[Criterion], losses: Mapping[int, GlassLosses]
) -> Iterator[Finding]:
    numbers = np.array(list(losses), dtype=np.int64)
    spans = [Span(first=index, last=index + 1) for index in range(len(layout.design.sections))]
    sections = _losses(numbers, [own.sections for own in losses.values()])
    sections = sections._replace(spans=spans, lengths_um=layout.section_lengths_um)
    by_totals = _losses(numbers, [(own.route,) for own in losses.values()])
    # What was deleted at a joint makes the sections on both sides of it steeper as one.
    traced = [one for places in (sections, sections.in_pairs(), by_totals) for one in _outliers(criteria, places)]
    spread = _Spread.of(sections)
    for places in (sections, sections.in_pairs()):
        traced += _outliers_of_few(criteria, places, spread)
    limiting = [one for one in at_wavelength if limits_traced_loss(one)]
    for outlier in _greatest(traced):
        yield from _traced_finding(layout, limiting, outlier)
    beyond = _losses(numbers, [(own.beyond,) for own in losses.values()])
    by_meter = (one for one in at_wavelength if isinstance(one, LinkAttenuationCriterion))
    links = [one for one in by_meter if one.basis == "source_and_meter"]
    for outlier in _greatest(_outliers(criteria, beyond)):
        yield from _link_finding(layout, links, outlier)


def _losses(fibres: Integers, by_fibre: Sequence[Sequence[int | None]]) -> _Losses:
    # Whole numbers far below 2^53, and what is none becomes NaN: many times as fast as telling one by one.
    losses = np.ascontiguousarray(np.array(by_fibre, dtype=np.float64).T)
    are_known = ~np.isnan(losses)
    return _Losses(fibres, np.where(are_known, losses, 0).astype(np.int64), are_known)


def _outliers(criteria: Criteria, places: _Losses) -> Iterator[_Outlier]:
    r"""Give the fibres that are further from the middle of a place than all but chance would have them.

    Said above :math:`4.5\,(1 + (18/n)^2)` standard deviations, these by the median distance from the middle of n
    fibres, as few of them know their spread badly: below 1 in 10,000 for each normal value (computed, by drawing), and
    never of less than is agreed. Of places with lengths the spread is at least the usual one for such a length.
    """
    consistency = criteria.consistency
    least_tenth_mdb = limit_mdb(consistency.hidden_db) * TENTHS_PER_MDB
    off = places.losses - places.middles(places.losses)
    times, of = _DEVIATION_OF_MEDIAN
    # The median distance from the middle, as the standard deviation of normal values that have it.
    spreads = (places.middles(np.abs(off))[:, 0] * times // of).tolist()
    counts = places.are_known.sum(axis=1).tolist()
    told = [
        (row, *one)
        for row, one in enumerate(zip(counts, spreads, places.lengths_um, places.spans, strict=True))
        if one[0] >= consistency.least_fibres
    ]
    over_lengths = [spread * _PARTS_OF_LENGTH // length_um for _, _, spread, length_um, _ in told if length_um]
    usual = median_low(over_lengths or [0])
    for row, count, own_spread, length_um, span in told:
        spread = max(own_spread, usual * length_um // _PARTS_OF_LENGTH)
        size = max(least_tenth_mdb, spread * 9 * (count**2 + 18**2) // (2 * count**2))
        for index in np.flatnonzero(places.are_known[row] & (np.abs(off[row]) > size)).tolist():
            yield _Outlier(int(places.fibres[index]), int(off[row, index]), size, count, span)


class _Spread(NamedTuple):
    """How far fibres of a route are from the middle of their sections: one standard deviation for each length.

    By the median of so many `distances`, those of the middle fibres themselves left out; each of 1e-12 of a length.
    """

    of_length: int
    distances: int

    @classmethod
    def of(cls, sections: _Losses) -> "_Spread":
        """Return the spread that all sections together show."""
        off = np.abs(sections.losses - sections.middles(sections.losses))
        rows = [
            (own[known], length_um)
            for own, known, length_um in zip(off, sections.are_known, sections.lengths_um, strict=True)
            if length_um and known.sum() >= _FEWEST
        ]
        distances = sorted(one * _PARTS_OF_LENGTH // length_um for own, length_um in rows for one in own.tolist())
        told = distances[len(rows) :]
        times, of = _DEVIATION_OF_MEDIAN
        return cls(median_low(told or [0]) * times // of, len(told))


def _outliers_of_few(criteria: Criteria, places: _Losses, spread: _Spread) -> Iterator[_Outlier]:
    r"""Give the fibres that lose more in a place than the middle of too few fibres for that place to tell its spread.

    All sections of the route tell it together, if they show 24 distances. Said above :math:`6.75\,(1 + (18/m)^2)`
    standard deviations by m of them, half as much again as where a place has a spread of its own, for sections differ;
    never of less than is agreed. What was deleted only makes steeper: who loses less than the middle of few is none.
    """
    if spread.distances < _FEWEST_DISTANCES:
        return
    least_tenth_mdb = limit_mdb(criteria.consistency.hidden_db) * TENTHS_PER_MDB
    off = places.losses - places.middles(places.losses)
    times, of = 27 * (spread.distances**2 + 18**2), 4 * spread.distances**2
    counts = places.are_known.sum(axis=1).tolist()
    for row, (count, length_um, span) in enumerate(zip(counts, places.lengths_um, places.spans, strict=True)):
        if _FEWEST <= count < criteria.consistency.least_fibres:
            size = max(least_tenth_mdb, spread.of_length * length_um * times // (of * _PARTS_OF_LENGTH))
            for index in np.flatnonzero(places.are_known[row] & (off[row] > size)).tolist():
                yield _Outlier(int(places.fibres[index]), int(off[row, index]), size, count, span)


def _greatest(outliers: Iterable[_Outlier]) -> list[_Outlier]:
    """Return the one for each fibre that is furthest off for its size, of two alike the first; in order of fibre."""
    greatest: dict[int, _Outlier] = {}
    for one in outliers:
        before = greatest.get(one.fibre)
        if (
            before is None
            or abs(one.off_tenth_mdb) * before.size_tenth_mdb > abs(before.off_tenth_mdb) * one.size_tenth_mdb
        ):
            greatest[one.fibre] = one
    return [greatest[fibre] for fibre in sorted(greatest)]


def _traced_finding(layout: Layout, limiting: Sequence[Criterion], outlier: _Outlier) -> Iterator[Finding]:
    whole = Span(first=0, last=len(layout.design.sections))
    span = outlier.span or whole
    sections = layout.design.sections[span.first : span.last]
    criterion = next(
        (one for one in limiting if not scope_of(one, layout).sections.isdisjoint(range(span.first, span.last))),
        None,
    )
    if outlier.span is None:
        where = "by its totals less its events, "
    else:
        where = f"in section {' and '.join(section.id for section in sections)} beside its events, "
    detail = f"{where}{_off_text(outlier)}"
    yield from _finding(layout, criterion, outlier, span, Reason.GLASS_UNLIKE, detail)


def _link_finding(layout: Layout, links: Sequence[Criterion], outlier: _Outlier) -> Iterator[Finding]:
    of_route = (one for one in links if one.link_stretch is not LinkStretch.SPAN)
    criterion = next((one for one in of_route if scope_of(one, layout).holds_end_to_end), None)
    whole = Span(first=0, last=len(layout.design.sections))
    detail = f"by source and meter less its traces, {_off_text(outlier)}"
    yield from _finding(layout, criterion, outlier, whole, Reason.WHOLE_UNLIKE_PARTS, detail)


def _finding(
    layout: Layout, criterion: Criterion | None, outlier: _Outlier, span: Span, reason: Reason, detail: str
) -> Iterator[Finding]:
    design, fibre = layout.design, outlier.fibre
    own = {section.id for section in design.sections[span.first : span.last]}
    segments = tuple(
        segment.id
        for segment in design.segments
        if segment.id in layout.segments_of_fibre.get(fibre, ()) and not own.isdisjoint(segment.sections)
    )
    if criterion is not None and segments:
        ends = design.sites[span.first].id, design.sites[span.last].id
        judged = Judgement(Outcome.UNDETERMINED, reason, detail)
        yield Finding(criterion, judged, segments, fibre, from_site=ends[0], to_site=ends[1])


def _off_text(outlier: _Outlier) -> str:
    more = "more" if outlier.off_tenth_mdb > 0 else "less"
    return (
        f"fibre {outlier.fibre} loses {db_text(abs(outlier.off_tenth_mdb))} dB {more} than the middle of "
        f"{outlier.fibres} fibres, mean of both directions; above {db_text(outlier.size_tenth_mdb)} dB that is not the "
        "glass alone"
    )
