"""The judge's own documents, drawn: what one writes the other prints, with its unit, whatever it is about."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.suspicion import SuspicionDocument
from service.vocabulary.findings.words import Outcome
from tests.package_factories import with_verdict
from tests.package_reading import decimals_in, draw_content, matrix_rows, page_texts, printed_words, rows_of
from tests.unit.package.judged import BEND_M, TROUBLED, UNTESTED, WITHOUT_FLAW, judged_content
from worker.package.data.content import PackageContent
from worker.package.document_model import Table
from worker.package.phrases import UNKNOWN
from worker.package.view import build_view

OPEN = {Outcome.NONCONFORMING: "What does not conform", Outcome.UNDETERMINED: "What is undetermined"}
# Counted by criterion only: such a finding has no value, and what is missing stands in the open lists.
COUNTED_ONLY = {Quantity.REQUIRED_TEST, Quantity.REQUIRED_RECORD}
# Summed up site by site: a route has many splices and many demands on each.
SUMMED_UP = {Quantity.WORKMANSHIP}
SUSPICION: SuspicionDocument = {
    "kind": "same_readings",
    "fibres": [WITHOUT_FLAW, UNTESTED, TROUBLED],
    "records": ["r-1", "r-2"],
    "detail": "every reading is the same to the last digit",
    "chance": "less than 1 in 1000000",
}


@pytest.fixture(scope="module")
def content() -> PackageContent:
    """Return a package of one fibre in order, one untested, and one with every kind of trouble."""
    return judged_content()


@pytest.fixture(scope="module")
def text(content: PackageContent) -> str:
    """Return all that is printed of it."""
    return "\n".join(page_texts(draw_content(content)))


def test_the_route_tries_every_quantity_and_every_outcome(content: PackageContent) -> None:
    findings = list(content.all_findings())
    assert {finding["quantity"] for finding in findings} == set(Quantity)
    assert {finding["outcome"] for finding in findings} == set(Outcome)


def test_each_value_the_judge_writes_is_printed(content: PackageContent, text: str) -> None:
    written = decimals_in([_measured(finding) for finding in content.all_findings()])
    assert len(written) >= 30
    assert {number for number in written if number not in text} == set()


def test_each_value_stands_beside_its_unit(content: PackageContent) -> None:
    shown = set(_values_with_units(content))
    held = {
        (finding["value"], finding["unit"])
        for finding in content.all_findings()
        if "value" in finding and finding["quantity"] not in SUMMED_UP
    }
    assert {unit for _, unit in held} == {"dB", "dB/km", "1/km", "%", "h", "ps", "ps/nm"}
    assert held - shown == set()


def test_each_finding_has_its_row_in_one_table(content: PackageContent, text: str) -> None:
    rows = [one for one in content.all_findings() if one["quantity"] not in COUNTED_ONLY | SUMMED_UP]
    marks = re.findall("[□■◧] (?:non)?conforming|[□■◧] undetermined", text)
    # The certificate says one outcome for the one segment, and the matrix one for each way to come out.
    assert len(marks) == len(rows) + 1 + matrix_rows(content)


@pytest.mark.parametrize("outcome", OPEN)
def test_whatever_is_open_is_listed_with_its_reason_and_unit(content: PackageContent, outcome: Outcome) -> None:
    found = [one for one in content.all_findings() if one["outcome"] == outcome]
    rows = [row for row in rows_of(content, OPEN[outcome]) if "by fallback" not in row[-1]]
    assert len(rows) == len(found)
    listed = {(row[0], row[3], row[6], row[7]) for row in rows}
    assert {
        (str(one.get("fibre", "all")), one["criterion"], one.get("unit", UNKNOWN), one["detail"]) for one in found
    } == listed


def test_a_splice_that_keeps_only_the_fallback_is_listed_as_out_of_specification(content: PackageContent) -> None:
    told = [row for row in rows_of(content, OPEN[Outcome.NONCONFORMING]) if "by fallback" in row[-1]]
    assert [(row[0], row[1], row[3], row[4], row[5]) for row in told] == [
        (str(TROUBLED), "C1", "SPLICE-1550", "0.1500", "0.2000")
    ]
    joints = [row for row in rows_of(content, "Joints") if "by fallback after documented attempts" in row[-1]]
    assert [row[:2] for row in joints] == [(str(TROUBLED), "C1")]


def test_a_guarded_decision_shows_its_grade_and_guard_band(content: PackageContent) -> None:
    decisions = {row[-1] for row in rows_of(content, "Joints") if row[0] == str(WITHOUT_FLAW)}
    assert "full, guard band 0.0300" in decisions


def test_return_loss_is_shown_at_both_ends_against_the_least_allowed(content: PackageContent) -> None:
    rows = [row for row in rows_of(content, "Return loss") if row[0] == str(TROUBLED)]
    assert [(row[1], row[3], row[4], row[6]) for row in rows] == [
        ("A", "21.5000", "32.0000", "nonconforming"),
        ("B", "21.5000", "32.0000", "nonconforming"),
    ]


def test_a_least_is_told_from_a_most_in_the_open_lists(content: PackageContent) -> None:
    limits = {row[3]: row[5] for row in rows_of(content, OPEN[Outcome.NONCONFORMING])}
    assert (limits["ORL-1550"], limits["SPLICE-GUARDED"]) == ("≥32.0000", "0.1000")


def test_a_stray_loss_and_a_bend_say_how_far_from_a_they_are(content: PackageContent) -> None:
    rows = [row for row in rows_of(content, "Stray losses and bends") if "nonconforming" in row]
    assert len(rows) == 2
    assert all(row[1] == "section S1" and f"{BEND_M:.2f} m from A" in row[-1] for row in rows)


def test_both_sides_of_a_connection_are_told_apart(content: PackageContent) -> None:
    rows = rows_of(content, "Connections and end faces")
    [side] = [row[1] for row in rows if row[0] == str(TROUBLED) and row[3] == "nonconforming" and row[1][0] == "A"]
    assert side == "A, towards b"


def test_crossed_fibres_are_named(content: PackageContent) -> None:
    told = [row[-1] for row in rows_of(content, "Continuity and dispersion") if "nonconforming" in row]
    assert told == ["fibre 3 lit at A, fibre 4 seen at B: fibres 3 and 4 are crossed"]


def test_workmanship_counts_the_splices_of_each_site(content: PackageContent) -> None:
    rows = rows_of(content, "Workmanship")
    assert len(rows) == 4 * 3
    [angles] = [row for row in rows if row[0] == "C1" and row[1] == "W-cleave_angle"]
    assert angles[2:] == ("cleave angle", "0.4000 to 1.2000", "1.0000", "deg", "1", "1", "1")
    counted = sum(int(cell) for row in rows for cell in row[-3:])
    assert counted == sum(one["quantity"] == Quantity.WORKMANSHIP for one in content.all_findings())


def test_a_finding_about_all_fibres_is_shown_and_listed(content: PackageContent) -> None:
    [finding] = content.verdict["findings"]
    came_to = (finding["outcome"], finding["detail"])
    bounds = f"{finding['low']} to {finding['high']}"
    [shown] = rows_of(content, "Statistics of joints")
    assert shown == ("all", "SEG1", "SHARE-1550", "12", bounds, "≥97.5000", finding["margin"], "%", *came_to)
    listed = rows_of(content, OPEN[Outcome(finding["outcome"])])[0]
    assert listed[:4] == ("all", "SEG1: A to B", UNKNOWN, "SHARE-1550")


def test_a_concession_for_all_fibres_together_shows_what_it_would_let_stand(content: PackageContent) -> None:
    [finding] = content.verdict["findings"]
    asked = Concession(criterion="SHARE-1550", reason="Old cable.")
    [row] = rows_of(replace(content, concessions=[asked]), "Concessions asked for")
    assert row[1:6] == ("SEG1", "all", "SEG1: A to B", UNKNOWN, "SHARE-1550")
    assert row[6] == f"{finding['low']} to {finding['high']}"


@pytest.mark.parametrize("names", [("section",), ("from_site", "to_site"), ("site", "side")], ids=str)
def test_a_concession_names_its_section_its_two_ends_or_its_side(
    content: PackageContent, names: tuple[str, ...]
) -> None:
    open_findings = [one for one in content.all_findings() if one["outcome"] != "conforming" and "fibre" in one]
    # Neither the first nor the last of its kind: what is shown is not merely what comes along.
    own = [one for one in open_findings if all(name in one for name in names) and one["fibre"] == UNTESTED]
    finding = own[len(own) // 2]
    named = {name: finding[name] for name in ("criterion", "fibre", "position", *names) if name in finding}  # type: ignore[literal-required]
    [row] = rows_of(replace(content, concessions=[Concession(**named, reason="Old.")]), "Concessions asked for")
    place = {
        "section": f"section {finding.get('section')}",
        "from_site": f"{finding.get('from_site')} to {finding.get('to_site')}",
        "site": f"{finding.get('site')}, {finding.get('side', '').replace('_', ' ')}",
    }[names[0]]
    assert (row[1], row[3], row[5]) == (", ".join(finding["segments"]), place, finding["criterion"])


def test_a_suspicion_is_shown_with_what_was_seen_and_decides_nothing(content: PackageContent) -> None:
    whole = with_verdict(content, suspicions=[SUSPICION])
    assert rows_of(whole, "Suspicions") == [
        ("same readings", "1 to 3", SUSPICION["detail"], "less than 1 in 1000000", "r-1, r-2")
    ]
    pages = printed_words(whole)
    assert "None decides by itself" in pages
    assert "1 suspicion, none of which decides by itself" in pages
    both = [[row[:4] for row in rows_of(one, title)] for one in (content, whole) for title in OPEN.values()]
    assert both[:2] == both[2:]


def test_a_suspicion_about_fibres_that_are_not_submitted_is_left_out(content: PackageContent) -> None:
    assert rows_of(with_verdict(content, suspicions=[{**SUSPICION, "fibres": [77]}]), "Suspicions") == []


def _measured(finding: FindingDocument) -> list[str]:
    own = [finding.get(member) for member in ("value", "low", "high", "limit", "margin")]
    if finding["quantity"] in SUMMED_UP:
        own = [finding.get("value"), finding.get("limit")]
    if finding["quantity"] in COUNTED_ONLY:
        own = []
    return [str(number) for number in own if number is not None]


def _values_with_units(content: PackageContent) -> Iterator[tuple[str, str]]:
    for section in build_view(content).sections:
        for table in (block for block in section.blocks if isinstance(block, Table)):
            headings = [column.heading for column in table.columns]
            for row in table.rows:
                if {"Value", "Unit"} <= set(headings):
                    yield row[headings.index("Value")], row[headings.index("Unit")]
                    continue
                yield from ((cell, column.unit) for cell, column in zip(row, table.columns, strict=True) if column.unit)
