"""The document of a fibre that could not be judged: it proves nothing, so its segments can not conform."""

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FIBRE_FORM, FibreDocument, OutcomeCounts
from worker.judgement.judge import FibreJudgement


def unjudged(layout: Layout, *, fibre: int, problem: str) -> FibreJudgement:
    """Say of a fibre why it could not be judged."""
    document: FibreDocument = {
        "form": FIBRE_FORM,
        "fibre": fibre,
        "findings": [],
        "work": [],
        "unexpected_events": [],
        "problem": problem,
    }
    content = canonical_json(document)
    return FibreJudgement(
        fibre=fibre,
        document=document,
        content=content,
        digest=sha256_hex(content),
        counts={
            segment: OutcomeCounts(conforming=0, nonconforming=0, undetermined=1)
            for segment in layout.segments_of_fibre.get(fibre, ())
        },
        problem=problem,
    )
