"""The judge's own documents, drawn: what one writes the other prints."""

from dataclasses import replace

from service.vocabulary.canonical import digest_of
from service.vocabulary.design import Design
from service.vocabulary.finding import FindingDocument
from service.vocabulary.layout import Layout
from tests.factories import (
    criteria_of,
    finished_fibre,
    link_criterion,
    make_criteria,
    make_design,
    required_test_criterion,
    splice_criterion,
    stored,
    termination_criterion,
)
from tests.package_factories import make_content
from tests.package_reading import decimals_in, draw_content, page_texts
from worker.judgement.judge import judge_fibre
from worker.judgement.settle import JudgedFibre, settle
from worker.package.content import PackageContent, PackagedRecord


def test_each_value_the_judge_writes_is_printed() -> None:
    content = judged_content()
    text = "\n".join(page_texts(draw_content(content)))
    findings = [finding for fibre in content.fibres for finding in fibre["findings"]]
    assert {finding["quantity"] for finding in findings} >= {"splice_loss", "termination_loss", "link_attenuation"}
    assert {"conforming", "undetermined"} <= {finding["outcome"] for finding in findings}
    written = decimals_in([_measured(finding) for finding in findings])
    assert len(written) >= 8
    assert all(number in text for number in written)


def _measured(finding: FindingDocument) -> list[str]:
    own = [finding.get("value_db"), finding.get("limit_db"), finding.get("margin_db")]
    return [number for number in (*own, *(r.get("value_db") for r in finding["readings"])) if number is not None]


def judged_content() -> PackageContent:
    """Return a package of a route with one finished fibre and one that nobody has tested."""
    body = make_design()
    design = Design.model_validate(body)
    criteria = criteria_of(
        make_criteria(
            criteria=[splice_criterion(), termination_criterion(), link_criterion(), required_test_criterion()]
        )
    )
    layout = Layout(design)
    evidence = [stored(record) for record in finished_fibre(fibre=1, design=body)]
    judged = [
        judge_fibre(layout=layout, criteria=criteria, fibre=n, evidence=evidence if n == 1 else []) for n in (1, 2)
    ]
    design_sha256 = digest_of(design.model_dump(exclude_none=True))
    criteria_sha256 = digest_of(criteria.model_dump(exclude_none=True))
    fibres = [JudgedFibre(number=fibre.fibre, digest=fibre.digest, counts=fibre.counts) for fibre in judged]
    verdict = settle(layout=layout, fibres=fibres, design_sha256=design_sha256, criteria_sha256=criteria_sha256)
    return replace(
        make_content(),
        design=design,
        criteria=criteria,
        verdict=verdict.document,
        verdict_digest=verdict.digest,
        fibres=[fibre.document for fibre in judged],
        segments=[segment.id for segment in design.segments],
        records=[PackagedRecord(body=e.body, is_ended=False, clock_is_flagged=False) for e in evidence],
        concessions=[],
        design_sha256=design_sha256,
        criteria_sha256=criteria_sha256,
    )
