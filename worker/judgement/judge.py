"""Judging one fibre: its records held against every criterion, as one canonical document."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from service.vocabulary.canonical import sha256_hex
from service.vocabulary.criteria.criteria import Criteria, SegmentsProven
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FibreDocument, WorkDocument
from worker.judgement.documents.fibre import fibre_text, write_fibre, write_nothing, write_work
from worker.judgement.documents.findings import write_finding
from worker.judgement.fibre.contributions import (
    Contributions,
    estimate_sums,
    link_outlines,
    trace_outlines,
    unrecorded_openings,
)
from worker.judgement.fibre.findings import Counts, FibreFindings, Missing, count_required, missing_of
from worker.judgement.fibre.glass import glass_losses, limited_wavelengths_nm
from worker.judgement.fibre.link_tests import is_dark
from worker.judgement.fibre.measured import measure_fibre, prepare_measuring, sight_fibre
from worker.judgement.history.acts import Record
from worker.judgement.history.evidence import Evidence
from worker.judgement.history.records import read_record
from worker.judgement.rules.attainable import unmeetable_on
from worker.judgement.rules.kinds.statistics import JointStatisticRule
from worker.judgement.rules.repeated_tests import tested_until_conforming
from worker.judgement.rules.table import rules_for
from worker.judgement.rules.unbuilt_ends import explain_unbuilt_ends
from worker.judgement.traces.sightings import SpanSightings
from worker.judgement.traces.spots import Spots, designed_spots
from worker.judgement.work.work import work_of

# Part of every verdict: raised whenever the same records could come out differently.
ENGINE = 3
ENGINE_VERSION = str(ENGINE)


@dataclass(frozen=True, kw_only=True)
class FibreJudgement:
    """What judging one fibre gave: its document, its required findings counted, and what it contributes to its route.

    One that could not be judged has a `problem`, contributes nothing, and counts as one undetermined finding in each of
    its segments.
    """

    beside_findings: FibreDocument
    findings: FibreFindings
    content: bytes
    counts: Mapping[str, Counts]
    contributions: Contributions | None

    @property
    def fibre(self) -> int:
        """The fibre's number."""
        return self.beside_findings["fibre"]

    @property
    def work(self) -> list[WorkDocument]:
        """What is to be done."""
        return self.beside_findings["work"]

    @property
    def problem(self) -> str | None:
        """Why it could not be judged."""
        return self.beside_findings.get("problem")

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is missing of its required findings."""
        return tuple(missing_of(self.findings.still_open))

    @cached_property
    def digest(self) -> str:
        """The SHA-256 of its document."""
        return sha256_hex(self.content)

    @cached_property
    def document(self) -> FibreDocument:
        """Its document."""
        document = self.beside_findings.copy()
        document["findings"] = [write_finding(finding) for finding in self.findings]
        return document


class Rules:
    """A design and criteria made ready, for judging many fibres."""

    def __init__(self, layout: Layout, criteria: Criteria) -> None:
        self._layout = layout
        self._prepared = prepare_measuring(layout, criteria)
        self._rules = rules_for(criteria, layout)
        # Where segments are proven alone, tests up to the bare fibre are what was agreed.
        is_proven_in_parts = criteria.segments_proven is SegmentsProven.ALONE
        self._has_untested_end = bool(layout.unbuilt_ends) and not is_proven_in_parts
        self._unmeetable = unmeetable_on(layout, criteria)
        self._glass_wavelengths_nm = limited_wavelengths_nm(criteria.criteria)
        self._statistics = [rule for rule in self._rules if isinstance(rule, JointStatisticRule)]

    def read(self, evidence: Iterable[Evidence]) -> list[Record]:
        """Return what stored records say that can matter on the route."""
        return [record for item in evidence if (record := read_record(self._layout, item)) is not None]

    def sight(self, fibre: int, records: Iterable[Record]) -> tuple[SpanSightings, ...]:
        """Return what a fibre's traces show, by which all of a route's fibres tell where its joints lie."""
        if fibre not in self._layout.segments_of_fibre:
            return ()
        return sight_fibre(self._prepared, fibre=fibre, records=records)

    def judge(self, fibre: int, records: Iterable[Record], *, spots: Spots | None = None) -> FibreJudgement:
        """Judge one fibre, its sites where its cable's fibres show them; the order of its records does not matter."""
        if fibre not in self._layout.segments_of_fibre:
            return _judgement(write_nothing(fibre), FibreFindings(()), counts={}, contributions=Contributions())
        where = designed_spots(self._layout) if spots is None else spots
        tested = measure_fibre(self._prepared, fibre=fibre, records=records, spots=where)
        found = [finding for rule in self._rules for finding in rule.found(tested)]
        findings = FibreFindings(explain_unbuilt_ends(tested, found) if self._has_untested_end else found)
        is_tested = bool(tested.history.traces or tested.history.links)
        again = tested_until_conforming(tested, findings, self._rules) if is_tested else ()
        contributions = Contributions(
            sums=tuple([sums for rule in self._statistics for sums in rule.partial_sums(tested)]),
            traces=trace_outlines(tested),
            links=link_outlines(tested),
            estimates=tuple(estimate_sums(tested)),
            suspicions=(*unrecorded_openings(tested), *again),
            is_dark=is_dark(tested),
            glass=tuple(glass_losses(tested, self._glass_wavelengths_nm)) if is_tested else (),
            sightings=tested.traces.sightings,
        )
        work = [write_work(item) for item in work_of(tested, findings, unmeetable=self._unmeetable)]
        document = write_fibre(self._layout, tested, work, is_dark=contributions.is_dark)
        counts = count_required(tested.segments, findings.found)
        return _judgement(document, findings, counts=counts, contributions=contributions)


def unjudged(layout: Layout, *, fibre: int, problem: str) -> FibreJudgement:
    """Say of a fibre why it could not be judged: it proves nothing, so its segments cannot conform."""
    counts = {segment: Counts(undetermined=1) for segment in layout.segments_of_fibre.get(fibre, ())}
    return _judgement(write_nothing(fibre, problem=problem), FibreFindings(()), counts=counts, contributions=None)


def _judgement(
    beside_findings: FibreDocument,
    findings: FibreFindings,
    *,
    counts: Mapping[str, Counts],
    contributions: Contributions | None,
) -> FibreJudgement:
    # Written at once, so that whatever cannot be written is a fibre that could not be judged.
    return FibreJudgement(
        beside_findings=beside_findings,
        findings=findings,
        content=fibre_text(beside_findings, findings.found),
        counts=counts,
        contributions=contributions,
    )
