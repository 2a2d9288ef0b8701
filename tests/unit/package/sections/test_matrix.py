"""Fibres by criterion: the same counts as in the attached data, in as few rows as there are ways to come out."""

from collections import Counter
from typing import Any

from tests.package_factories import make_content
from tests.package_findings import make_finding
from tests.package_reading import rows_of
from tests.unit.package.judged import judged_content
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding, read_finding
from worker.package.document_model import Table
from worker.package.phrases import UNKNOWN
from worker.package.sections.matrix import MATRIX_TITLE, matrix_section


def tables(content: PackageContent, findings: list[Finding]) -> list[list[tuple[str, ...]]]:
    return [list(block.rows) for block in matrix_section(content, findings).blocks if isinstance(block, Table)]


def found(fibre: int, criterion: str = "SPL-1550", outcome: str = "conforming", **changes: Any) -> Finding:
    return read_finding(make_finding(fibre, criterion, "splice_loss", outcome=outcome, **changes))


def test_fibres_that_came_out_alike_share_a_row_and_the_worst_come_first() -> None:
    findings = [found(fibre) for fibre in range(1, 865)]
    findings += [found(20, outcome="nonconforming"), found(20, outcome="nonconforming")]
    findings += [found(fibre, "SPL-1310", "undetermined") for fibre in (7, 500)]
    by_fibre, by_criterion = tables(make_content(), findings)
    assert by_fibre == [
        ("20", "nonconforming", "SPL-1550 (2)", UNKNOWN),
        ("7, 500", "undetermined", UNKNOWN, "SPL-1310"),
        ("1 to 6, 8 to 19, 21 to 499, 501 to 864", "conforming", UNKNOWN, UNKNOWN),
    ]
    assert by_criterion == [
        ("SPL-1310", "undetermined", "7, 500"),
        ("SPL-1550", "nonconforming", "20"),
        ("SPL-1550", "conforming", "1 to 19, 21 to 864"),
    ]


def test_an_advisory_finding_is_named_and_decides_no_fibre() -> None:
    findings = [found(1), found(1, "SPL-1310", "nonconforming", force="advisory")]
    by_fibre, _ = tables(make_content(), findings)
    assert by_fibre == [("1", "conforming", "SPL-1310 (advisory)", UNKNOWN)]


def test_of_a_fibre_of_which_nothing_is_required_nothing_is_known() -> None:
    by_fibre, _ = tables(make_content(), [found(1, force="advisory")])
    assert by_fibre[0][:2] == ("1", "undetermined")


def test_a_finding_about_several_fibres_is_nobodys() -> None:
    content = make_content()
    assert tables(content, [found(1)._replace(fibre=None)]) == []
    assert matrix_section(content, []).title == MATRIX_TITLE


def test_it_says_of_a_judged_route_what_the_attached_findings_say() -> None:
    content = judged_content()
    findings = [finding for fibre in content.fibres for finding in fibre["findings"]]
    _, by_criterion = tables(content, list(map(read_finding, findings)))
    failing = Counter(
        (finding["criterion"], finding["fibre"]) for finding in findings if finding["outcome"] == "nonconforming"
    )
    said = {row[0].partition(" ")[0]: row[2] for row in by_criterion if row[1] == "nonconforming"}
    assert said.keys() == {criterion for criterion, _ in failing}
    for criterion, fibres in said.items():
        assert set(map(int, fibres.replace(" to ", ", ").split(", "))) == {
            fibre for other, fibre in failing if other == criterion
        }


def test_only_what_is_submitted_is_in_it() -> None:
    # The splice that does not conform is in the first segment.
    both, second = (
        rows_of(make_content(segments=segments), MATRIX_TITLE) for segments in (["SEG-1", "SEG-2"], ["SEG-2"])
    )
    assert ("SPL-1550", "nonconforming", "1") in both
    assert second != []
    assert all("nonconforming" not in row for row in second)
