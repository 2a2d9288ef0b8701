"""Dark fibres that the criteria tolerate: named on the first page, in no list of findings, and paid for nowhere."""

from service.vocabulary.design.billing_quantities import quantities_of
from service.vocabulary.design.layout import Layout
from tests.package_factories import make_content, with_verdict
from tests.package_reading import section_of
from worker.package.data.content import PackageContent
from worker.package.document_model import Table
from worker.package.sections.findings import submitted_findings
from worker.package.view import build_view

DARK = 2


def with_dark(*dark: int) -> PackageContent:
    """Return the usual content, some of its four fibres dark and tolerated."""
    return with_verdict(make_content(), tolerated_dark=list(dark)) if dark else make_content()


def summary(content: PackageContent) -> dict[str, str]:
    return {fact.label: fact.value for fact in build_view(content).cover.summary.facts}


def test_the_first_page_names_them_where_there_are_any() -> None:
    assert "Dark" not in summary(with_dark())
    assert summary(with_dark(DARK))["Dark"] == "1 fibre, as the criteria tolerate, neither accepted nor paid: 2"
    assert summary(with_dark(DARK, 3))["Dark"].startswith("2 fibres, ")


def test_nothing_found_of_them_is_to_be_decided() -> None:
    assert any(finding.fibre == DARK for finding in submitted_findings(with_dark()))
    assert all(finding.fibre != DARK for finding in submitted_findings(with_dark(DARK)))


def test_the_quantities_are_those_that_billing_is_told() -> None:
    content = with_dark(DARK)
    table = next(block for block in section_of(content, "Segments and sites").blocks if isinstance(block, Table))
    layout = Layout(content.design)
    for row, segment in zip(table.rows, content.design.segments, strict=True):
        paid = quantities_of(layout, segment, dark=[DARK])
        assert row[3:] == (
            "3",
            paid.cable_length_m,
            paid.fibre_length_m,
            str(paid.splices),
            str(paid.terminations),
        )
        assert paid.fibres_dark == 1


def test_a_dark_fibre_takes_its_length_and_joints_with_it_and_no_cable() -> None:
    layout = Layout(make_content().design)
    for segment in layout.design.segments:
        every, less = (quantities_of(layout, segment, dark=dark) for dark in ((), (DARK,)))
        assert less.cable_length_m == every.cable_length_m
        # Four fibres, all spliced alike.
        assert (4 * less.splices, 4 * less.terminations) == (3 * every.splices, 3 * every.terminations)
        assert abs(4 * float(less.fibre_length_m) - 3 * float(every.fibre_length_m)) <= 0.04
