"""Judging one fibre: its records held against every criterion, as one canonical document."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.criteria import (
    AnyCriterion,
    Criteria,
    LinkAttenuationCriterion,
    RequiredTestCriterion,
    SpliceLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.finding import FIBRE_FORM, FibreDocument, FindingDocument, OutcomeCounts
from service.vocabulary.layout import Layout
from service.vocabulary.words import Force
from worker.judgement.evidence import Evidence
from worker.judgement.fibre_under_test import FibreUnderTest
from worker.judgement.history import read_history
from worker.judgement.joint_rules import SpliceRule, TerminationRule
from worker.judgement.link_rules import LinkRule, RequiredTestRule
from worker.judgement.work import work_of

# Part of every verdict: raised whenever the same records could come out differently.
ENGINE_VERSION = "1"

Rule = SpliceRule | TerminationRule | LinkRule | RequiredTestRule


@dataclass(frozen=True, kw_only=True)
class FibreJudgement:
    """What judging one fibre gave: its document, and the required findings counted by segment."""

    fibre: int
    document: FibreDocument
    content: bytes
    digest: str
    counts: Mapping[str, OutcomeCounts]


class Rules:
    """A design and criteria made ready, for judging many fibres."""

    def __init__(self, layout: Layout, criteria: Criteria) -> None:
        self._layout = layout
        self._criteria = criteria
        terminations = [
            TerminationRule(criterion)
            for criterion in criteria.criteria
            if isinstance(criterion, TerminationLossCriterion)
        ]
        self._rules = tuple(_rule(criterion, terminations) for criterion in criteria.criteria)

    def judge(self, fibre: int, evidence: Iterable[Evidence]) -> FibreJudgement:
        """Judge one fibre; the order of its evidence does not matter."""
        document = self._document(fibre, evidence)
        content = canonical_json(document)
        counts = _count(self._layout.segments_of_fibre.get(fibre, ()), document["findings"])
        return FibreJudgement(
            fibre=fibre, document=document, content=content, digest=sha256_hex(content), counts=counts
        )

    def _document(self, fibre: int, evidence: Iterable[Evidence]) -> FibreDocument:
        if fibre not in self._layout.segments_of_fibre:
            return {"form": FIBRE_FORM, "fibre": fibre, "findings": [], "work": [], "unexpected_events": []}
        history = read_history(self._layout, fibre=fibre, rework_voids=self._criteria.rework_voids, evidence=evidence)
        tested = FibreUnderTest(self._layout, criteria=self._criteria, number=fibre, history=history)
        findings = [finding for rule in self._rules for finding in rule.findings(tested)]
        return {
            "form": FIBRE_FORM,
            "fibre": fibre,
            "findings": findings,
            "work": work_of(tested, findings),
            "unexpected_events": tested.unexpected_events(),
        }


def prepare(layout: Layout, criteria: Criteria) -> Rules:
    """Make a design and criteria ready, once for many fibres."""
    return Rules(layout, criteria)


def judge_fibre(*, layout: Layout, criteria: Criteria, fibre: int, evidence: Iterable[Evidence]) -> FibreJudgement:
    """Judge one fibre by all records that touch it; others are passed over."""
    return prepare(layout, criteria).judge(fibre, evidence)


def _rule(criterion: AnyCriterion, terminations: list[TerminationRule]) -> Rule:
    match criterion:
        case SpliceLossCriterion():
            deciding = [
                rule
                for rule in terminations
                if rule.criterion.wavelength_nm == criterion.wavelength_nm and rule.criterion.force is Force.REQUIRED
            ]
            strictest = min(deciding, key=lambda rule: rule.limit.exact_pdb, default=None)
            return SpliceRule(criterion, group_rule=strictest)
        case TerminationLossCriterion():
            return next(rule for rule in terminations if rule.criterion is criterion)
        case LinkAttenuationCriterion():
            return LinkRule(criterion)
        case RequiredTestCriterion():
            return RequiredTestRule(criterion)


def _count(segments: Iterable[str], findings: Iterable[FindingDocument]) -> dict[str, OutcomeCounts]:
    counts = {segment: OutcomeCounts(conforming=0, nonconforming=0, undetermined=0) for segment in segments}
    for finding in findings:
        if finding["force"] == Force.REQUIRED:
            for segment in finding["segments"]:
                counts[segment][finding["outcome"]] += 1  # type: ignore[literal-required]
    return counts
