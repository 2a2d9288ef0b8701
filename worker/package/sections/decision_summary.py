"""What nobody may miss before deciding, counted for the first page."""

from collections import Counter
from collections.abc import Sequence

from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.words import Force, Outcome
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Fact, Facts
from worker.package.phrases import count_text, numbers_text
from worker.package.sections.suspicions import SUSPICIONS_TITLE
from worker.package.sections.unexpected_events import UNEXPECTED_EVENTS_TITLE, UnexpectedEvent


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
    return Facts(
        facts=(
            _findings_fact("Nonconforming", Outcome.NONCONFORMING, counts),
            _findings_fact("Undetermined", Outcome.UNDETERMINED, counts),
            *_dark_facts(content.tolerated_dark),
            _unexpected_fact(unexpected),
            _concessions_fact(len(content.concessions)),
            *_suspicion_facts(len(suspicions)),
        )
    )


def _findings_fact(label: str, outcome: Outcome, counts: Counter[tuple[Outcome, Force]]) -> Fact:
    required, advisory = counts[outcome, Force.REQUIRED], counts[outcome, Force.ADVISORY]
    texts = [count_text(required, one="required finding", many="required findings")] if required else []
    if advisory:
        texts.append(count_text(advisory, one="advisory finding", many="advisory findings"))
    return Fact(label=label, value=" and ".join(texts) or "none", is_warning=bool(texts))


def _unexpected_fact(unexpected: Sequence[UnexpectedEvent]) -> Fact:
    if not unexpected:
        return Fact(label=UNEXPECTED_EVENTS_TITLE, value="none")
    fibres = sorted({one.fibre for one in unexpected})
    seen = count_text(len(unexpected), one="reading", many="readings")
    on = count_text(len(fibres), one="fibre", many="fibres")
    return Fact(label=UNEXPECTED_EVENTS_TITLE, value=f"{seen} on {on}: {numbers_text(fibres)}", is_warning=True)


def _dark_facts(dark: Sequence[int]) -> tuple[Fact, ...]:
    if not dark:
        return ()
    count = count_text(len(dark), one="fibre", many="fibres")
    value = f"{count}, as the criteria tolerate, neither accepted nor paid: {numbers_text(dark)}"
    return (Fact(label="Dark", value=value, is_warning=True),)


def _concessions_fact(asked: int) -> Fact:
    if not asked:
        return Fact(label="Concessions asked", value="none")
    named = count_text(asked, one="concession: number", many="concessions: numbers")
    return Fact(label="Concessions asked", value=f"{named} {numbers_text(range(1, asked + 1))}", is_warning=True)


def _suspicion_facts(suspicions: int) -> tuple[Fact, ...]:
    if not suspicions:
        return ()
    value = f"{count_text(suspicions, one='suspicion', many='suspicions')}, none of which decides by itself"
    return (Fact(label=SUSPICIONS_TITLE, value=value, is_warning=True),)
