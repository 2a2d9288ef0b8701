"""Judging one fibre: its records held against every criterion, as one canonical document."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FIBRE_FORM, FibreDocument, FindingDocument, OutcomeCounts
from service.vocabulary.words import Force
from worker.judgement.fibre.consistency import inconsistencies
from worker.judgement.fibre.contributions import FiguresDocument, figures_of, no_figures
from worker.judgement.fibre.end_to_end import is_dark
from worker.judgement.fibre.measured import FibreMeasured, measure_fibre
from worker.judgement.fibre.prepared import prepare_measuring
from worker.judgement.fibre.repeats import tested_until_conforming
from worker.judgement.history.acts import Record
from worker.judgement.history.evidence import Evidence
from worker.judgement.history.records import read_record
from worker.judgement.rules.kinds.statistics import JointStatisticRule
from worker.judgement.rules.table import rules_for
from worker.judgement.traces.trace_documents import write_traces, write_unexpected
from worker.judgement.work.work import work_of

# Part of every verdict: raised whenever the same records could come out differently.
ENGINE = 2
ENGINE_VERSION = str(ENGINE)


@dataclass(frozen=True, kw_only=True)
class FibreJudgement:
    """What judging one fibre gave: its document, the required findings counted by segment, and its figures.

    One that could not be judged has a `problem`, no figures, and one undetermined finding counted for each of its
    segments.
    """

    fibre: int
    document: FibreDocument
    content: bytes
    digest: str
    counts: Mapping[str, OutcomeCounts]
    figures: FiguresDocument | None = None
    problem: str | None = None


class Rules:
    """A design and criteria made ready, for judging many fibres."""

    def __init__(self, layout: Layout, criteria: Criteria) -> None:
        self._layout = layout
        self._rules = rules_for(criteria, layout)
        self._prepared = prepare_measuring(layout, criteria)

    def read(self, evidence: Iterable[Evidence]) -> list[Record]:
        """Return what stored records say that can matter on the route."""
        return [record for item in evidence if (record := read_record(self._layout, item)) is not None]

    def judge(self, fibre: int, records: Iterable[Record]) -> FibreJudgement:
        """Judge one fibre; the order of its records does not matter."""
        is_asked_for = fibre in self._layout.segments_of_fibre
        tested = measure_fibre(self._prepared, fibre=fibre, records=records) if is_asked_for else None
        document = _empty_document(fibre) if tested is None else self._document(tested)
        content = canonical_json(document)
        counts = count_required(self._layout.segments_of_fibre.get(fibre, ()), document["findings"])
        return FibreJudgement(
            fibre=fibre,
            document=document,
            content=content,
            digest=sha256_hex(content),
            counts=counts,
            figures=no_figures() if tested is None else self._figures(tested, document),
        )

    def _document(self, tested: FibreMeasured) -> FibreDocument:
        findings = [finding for rule in self._rules for finding in rule.findings(tested)]
        document: FibreDocument = {
            "form": FIBRE_FORM,
            "fibre": tested.number,
            "findings": findings,
            "work": work_of(tested, findings),
            "unexpected_events": write_unexpected(self._layout, tested.unexpected),
            **write_traces(self._layout, tested.traces),  # type: ignore[typeddict-item]
        }
        if is_dark(tested):
            document["is_dark"] = True
        return document

    def _figures(self, tested: FibreMeasured, document: FibreDocument) -> FiguresDocument:
        statistics = [rule for rule in self._rules if isinstance(rule, JointStatisticRule)]
        return figures_of(
            tested,
            parts=(part for rule in statistics for part in rule.parts(tested)),
            seen=(*inconsistencies(tested), *tested_until_conforming(tested, document["findings"])),
            is_dark=document.get("is_dark", False),
        )


def prepare(layout: Layout, criteria: Criteria) -> Rules:
    """Make a design and criteria ready, once for many fibres."""
    return Rules(layout, criteria)


def judge_fibre(*, layout: Layout, criteria: Criteria, fibre: int, evidence: Iterable[Evidence]) -> FibreJudgement:
    """Judge one fibre by all records that touch it; others are passed over."""
    rules = prepare(layout, criteria)
    return rules.judge(fibre, rules.read(evidence))


def count_required(segments: Iterable[str], findings: Iterable[FindingDocument]) -> dict[str, OutcomeCounts]:
    """Count required findings by segment and outcome."""
    counts = {segment: OutcomeCounts(conforming=0, nonconforming=0, undetermined=0) for segment in segments}
    for finding in findings:
        if finding["force"] == Force.REQUIRED:
            for segment in finding["segments"]:
                counts[segment][finding["outcome"]] += 1  # type: ignore[literal-required]
    return counts


def _empty_document(fibre: int) -> FibreDocument:
    return {"form": FIBRE_FORM, "fibre": fibre, "findings": [], "work": [], "unexpected_events": []}
