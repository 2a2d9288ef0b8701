"""What nobody may miss before deciding, counted for the first page."""

from collections import Counter
from collections.abc import Sequence

from service.vocabulary.criteria.criteria import SegmentsProven
from service.vocabulary.criteria.words import Force
from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.findings.words import Outcome, Reason
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Fact, Facts
from worker.package.phrases import count_text, numbers_text
from worker.package.sections.suspicions import SUSPICIONS_TITLE
from worker.package.sections.unexpected_events import UNEXPECTED_EVENTS_TITLE, UnexpectedEvent

# Of criteria and of segments: a line holds no more.
_NAMED = 2


def decision_summary(
    content: PackageContent,
    findings: Sequence[Finding],
    *,
    unexpected: Sequence[UnexpectedEvent],
    suspicions: Sequence[SuspicionDocument],
) -> Facts:
    """Count what does not conform, what is not known, losses on no joint, suspicions and the concessions asked for."""
    # Most findings conform, and nobody asks how many.
    still_open = (finding for finding in findings if finding.outcome is not Outcome.CONFORMING)
    counts = Counter((finding.outcome, finding.force) for finding in still_open)
    awaited = [_fact("Awaited", text)] if (text := _awaited_text(content)) else []
    dark = [_fact("Dark", _dark_text(content.tolerated_dark))] if content.tolerated_dark else []
    suspected = [_fact(SUSPICIONS_TITLE, _suspicions_text(len(suspicions)))] if suspicions else []
    return Facts(
        facts=(
            _fact("Nonconforming", _findings_text(Outcome.NONCONFORMING, counts)),
            _fact("Undetermined", _findings_text(Outcome.UNDETERMINED, counts)),
            *awaited,
            *dark,
            _fact(UNEXPECTED_EVENTS_TITLE, _unexpected_text(unexpected)),
            _fact("Concessions asked", _concessions_text(len(content.concessions))),
            *suspected,
        )
    )


def _fact(label: str, found: str) -> Fact:
    return Fact(label=label, value=found or "none", is_warning=bool(found))


def _findings_text(outcome: Outcome, counts: Counter[tuple[Outcome, Force]]) -> str:
    by_force = ((force, counts[outcome, force]) for force in (Force.REQUIRED, Force.ADVISORY))
    return " and ".join(
        count_text(count, one=f"{force} finding", many=f"{force} findings") for force, count in by_force if count
    )


def _awaited_text(content: PackageContent) -> str:
    """Say what about the whole link is not asked of these segments, and of whom it will be."""
    if content.criteria.segments_proven is SegmentsProven.WITH_ROUTE:
        return ""
    awaited = [one for one in content.all_findings() if one.get("reason") == Reason.LINK_NOT_JOINED]
    if not awaited:
        return ""
    codes = sorted({one["criterion"] for one in awaited})
    segments = {segment for one in awaited for segment in one["segments"]}
    named = [one.id for one in content.design.segments if one.id in segments]
    of_whom = f"{_named(named, many='segments')}, not joined yet" if named else "what this route is extended by"
    return f"the whole link ({_named(codes, many='criteria')}), asked of {of_whom}"


def _named(names: Sequence[str], *, many: str) -> str:
    return ", ".join(names) if len(names) <= _NAMED else f"{len(names)} {many}"


def _dark_text(dark: Sequence[int]) -> str:
    count = count_text(len(dark), one="fibre", many="fibres")
    return f"{count}, as the criteria tolerate, neither accepted nor paid: {numbers_text(dark)}"


def _unexpected_text(unexpected: Sequence[UnexpectedEvent]) -> str:
    if not unexpected:
        return ""
    fibres = sorted({one.fibre for one in unexpected})
    seen = count_text(len(unexpected), one="reading", many="readings")
    return f"{seen} on {count_text(len(fibres), one='fibre', many='fibres')}: {numbers_text(fibres)}"


def _concessions_text(asked: int) -> str:
    if not asked:
        return ""
    named = count_text(asked, one="concession: number", many="concessions: numbers")
    return f"{named} {numbers_text(range(1, asked + 1))}"


def _suspicions_text(suspicions: int) -> str:
    return f"{count_text(suspicions, one='suspicion', many='suspicions')}, none of which decides by itself"
