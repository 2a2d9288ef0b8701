"""What an engineer weighs: losses on no joint, concessions by number, tests set aside or repeated."""

from dataclasses import replace
from typing import Any
from uuid import UUID

import pytest

from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.finding import (
    FibreDocument,
    FindingDocument,
    ReadingDocument,
    UnexpectedEventDocument,
    WhereDocument,
)
from service.vocabulary.findings.words import Outcome
from tests.package_factories import (
    make_content,
    make_link_record,
    with_design,
    with_findings,
    with_members,
    with_unexpected_events,
    with_void,
)
from tests.package_reading import draw_content, page_texts, printed_words, rows_of
from worker.package.data.content import PackageContent
from worker.package.view import build_view

STRAYS, SET_ASIDE, CONCESSIONS = "Losses on no joint", "Tests set aside and tests repeated", "Concessions asked for"
RECORD = str(UUID(int=101))
BEND: UnexpectedEventDocument = {
    "record": RECORD,
    "direction": "a_to_b",
    "wavelength_nm": 1550,
    "from_a_m": "2000.25",
    "section": "S02",
    "cable_m": "117.82",
    "loss_db": "0.410",
}
# Sections of 1840.50 m and 30 m of slack, longer by 0.6 %: sites at 0, 1881.723, 3763.446, 5645.169 and 7526.892 m.


def test_a_loss_on_no_joint_is_listed_with_all_that_is_known_of_it() -> None:
    content = with_unexpected_events(make_content(), fibre=3, events=[BEND])
    assert rows_of(content, STRAYS) == [
        ("3", "2000.25", "C01 to C02", "S02", "117.82", "A to B", "1550", "0.410", RECORD)
    ]


@pytest.mark.parametrize(
    ("from_a_m", "lies"),
    [
        ("-0.01", "before T-A"),
        ("0.00", "T-A to C01"),
        ("1881.72", "T-A to C01"),
        ("1881.73", "C01 to C02"),
        ("7526.89", "C03 to T-B"),
        ("7526.90", "beyond T-B"),
    ],
)
def test_a_loss_on_no_joint_lies_between_the_sites_that_the_design_puts_around_it(from_a_m: str, lies: str) -> None:
    content = with_unexpected_events(make_content(), fibre=3, events=[{**BEND, "from_a_m": from_a_m}])
    assert [row[2] for row in rows_of(content, STRAYS)] == [lies]


def test_a_loss_on_no_joint_without_a_figure_is_listed_all_the_same() -> None:
    event: UnexpectedEventDocument = {
        "record": RECORD,
        "direction": "b_to_a",
        "wavelength_nm": 1310,
        "from_a_m": "12.00",
    }
    row = rows_of(with_unexpected_events(make_content(), fibre=3, events=[event]), STRAYS)[0]
    assert (row[3], row[4], row[7]) == ("–", "–", "–")  # noqa: RUF001


def test_breaks_short_traces_and_strange_traces_are_told_below_the_losses() -> None:
    content, other = make_content(), str(UUID(int=102))
    where: WhereDocument = {"from_a_m": "2000.25", "section": "S02", "cable_m": "117.82"}
    side = {"record": RECORD, "direction": "b_to_a", "wavelength_nm": 1550}
    told = {
        "breaks": [{**where, "records": [RECORD, other]}],
        "short_traces": [{**where, **side}],
        "unlike_traces": [{**side, "reason": "other_fibre_likelier", "fibres": [{"first": 7, "last": 12}]}],
    }
    fibres: list[Any] = [{**one, **told} if one["fibre"] == 3 else one for one in content.fibres]
    content, there = replace(content, fibres=fibres), ("2000.25", "S02", "117.82")
    assert rows_of(content, STRAYS) == [
        ("3", "the fibre is broken", *there, f"{RECORD}, {other}"),
        ("3", "B to A at 1550 nm reaches no farther", *there, RECORD),
        ("3", "other fibre likelier: 7 to 12", "–", "–", "–", RECORD),  # noqa: RUF001
    ]
    assert "the fibre is broken" in printed_words(content)


def test_a_loss_on_no_joint_of_a_fibre_that_is_not_submitted_is_left_out() -> None:
    content = with_unexpected_events(make_content(), fibre=3, events=[BEND])
    [west, east] = content.design.segments
    [scope] = west.fibres
    without_third = west.model_copy(update={"fibres": (scope.model_copy(update={"last": 2}),)})
    narrowed = with_design(content, segments=(without_third, east))
    assert rows_of(replace(narrowed, segments=["SEG-1"]), STRAYS) == []
    assert len(rows_of(replace(narrowed, segments=["SEG-2"]), STRAYS)) == 1


def test_the_first_page_counts_what_nobody_may_miss() -> None:
    content = with_unexpected_events(make_content(), fibre=3, events=[BEND, {**BEND, "wavelength_nm": 1310}])
    findings = [finding for fibre in content.fibres for finding in fibre["findings"]]
    over = sum(finding["outcome"] == Outcome.NONCONFORMING for finding in findings)
    assert over == 1
    facts = {fact.label: (fact.value, fact.is_warning) for fact in build_view(content).cover.summary.facts}
    assert facts == {
        "Nonconforming": ("1 required finding", True),
        "Undetermined": ("1 required finding", True),
        STRAYS: ("2 readings on 1 fibre: 3", True),
        "Concessions asked": ("1 concession: number 1", True),
    }
    first_page = page_texts(draw_content(content))[0]
    assert all(value in first_page for value, _ in facts.values())


def test_the_first_page_of_a_package_without_trouble_says_none_four_times() -> None:
    facts = build_view(_conforming_content()).cover.summary.facts
    assert [(fact.value, fact.is_warning) for fact in facts] == [("none", False)] * 4


def test_an_advisory_finding_is_counted_apart() -> None:
    content = _conforming_content()
    [first, *others] = content.fibres
    findings = [{**f, "outcome": "undetermined", "force": "advisory"} for f in first["findings"][:1]]
    advised: FibreDocument = {**first, "findings": [*findings, *first["findings"][1:]]}  # type: ignore[list-item]
    facts = build_view(replace(content, fibres=[advised, *others])).cover.summary.facts
    assert facts[1].value == "1 advisory finding"


def test_a_concession_shows_its_number_the_segment_that_needs_it_and_the_value_it_would_let_stand() -> None:
    asked = [
        Concession(criterion="TST-1310", fibre=2, reason="Trace lost."),
        Concession(criterion="SPL-1550", fibre=1, site="C01", position=1, reason="The pit floods."),
    ]
    assert rows_of(make_content(concessions=asked), CONCESSIONS) == [
        ("1", "SEG-1, SEG-2", "2", "T-A to T-B", "–", "TST-1310", "–", "–", "–", "Trace lost."),  # noqa: RUF001
        ("2", "SEG-1", "1", "C01", "1", "SPL-1550", "0.1045", "0.100", "dB", "The pit floods."),
    ]
    [link, _] = rows_of(make_content(concessions=asked, segments=["SEG-2"]), CONCESSIONS)
    assert link[1] == "SEG-2"


def test_a_concession_that_covers_several_findings_shows_the_one_that_needs_it() -> None:
    content = make_content(concessions=[Concession(criterion="STRAY", fibre=1, reason="Known bend.")])
    [first, *others] = content.fibres
    [link] = [finding for finding in first["findings"] if finding["criterion"] == "LNK-1550"]
    spots: list[FindingDocument] = [
        {**link, "criterion": "STRAY", "outcome": outcome, "value": value}
        for outcome, value in (("nonconforming", "0.3100"), ("conforming", "0.0500"))
    ]
    told = replace(content, fibres=[{**first, "findings": [*first["findings"], *spots]}, *others])
    [row] = rows_of(told, CONCESSIONS)
    assert row[6] == "0.3100"


def test_more_concessions_than_there_can_be_fibres_are_numbered_to_the_last() -> None:
    asked = [Concession(criterion="TST-1310", fibre=2, reason="Trace lost.")] * 2000
    facts = build_view(make_content(concessions=asked)).cover.summary.facts
    assert facts[3].value == "2000 concessions: numbers 1 to 2000"


def test_a_test_set_aside_is_listed_with_its_reason_and_what_it_does_not_count_for() -> None:
    content = with_void(make_content(), fibre=1, site="C02", void=[{"record": RECORD, "reason": "before_sealing"}])
    [row] = rows_of(content, SET_ASIDE)
    named = "counts; before sealing: SPL-1310 at C02, SPL-1550 at C02"
    made = "2026-03-14 09:41:00"
    assert row == ("1", "OTDR 1550 nm, 30 ns", "T-A to T-B", made, "–", named, RECORD)  # noqa: RUF001


def test_a_test_set_aside_at_many_sites_counts_them() -> None:
    content = make_content(closure_count=5)
    for site in ("C01", "C02", "C03", "C04"):
        content = with_void(content, fibre=1, site=site, void=[{"record": RECORD, "reason": "before_rework"}])
    [row] = rows_of(content, SET_ASIDE)
    assert row[5] == "counts; before rework: SPL-1310 at 4 sites, SPL-1550 at 4 sites"


def test_a_test_made_three_times_shows_all_three_losses_and_which_one_counts() -> None:
    content = _with_repeats()
    rows = rows_of(content, SET_ASIDE)
    assert [(row[4], row[5]) for row in rows] == [
        ("2.950 dB", "no finding rests on it"),
        ("2.910 dB", "replaced or withdrawn: LNK-1550"),
        ("2.200 dB", "counts"),
    ]
    assert len({row[6] for row in rows}) == 3


def test_tests_with_another_pulse_or_of_another_fibre_are_no_repetition() -> None:
    content = make_content()
    traces = [record for record in content.records if record.body["kind"] == "otdr"]
    other = with_members(traces[0], id=str(UUID(int=900)), pulse_ns=100)
    assert rows_of(replace(content, records=[*content.records, other]), SET_ASIDE) == []


def _conforming_content() -> PackageContent:
    return with_findings(make_content(concessions=[]), lambda one: one if one["outcome"] == "conforming" else None)


def _with_repeats() -> PackageContent:
    content = make_content()
    tests = [
        make_link_record(201, fibre=4, loss_db=2.95),
        make_link_record(202, fibre=4, loss_db=2.91, is_ended=True),
        make_link_record(203, fibre=4, loss_db=2.2),
    ]
    _, second, last = (test.body["id"] for test in tests)

    def retested(finding: FindingDocument) -> FindingDocument:
        if (finding["fibre"], finding["criterion"]) != (4, "LNK-1550"):
            return finding
        readings: list[ReadingDocument] = [{**reading, "record": last} for reading in finding["readings"]]
        return {**finding, "void": [{"record": second, "reason": "replaced_or_withdrawn"}], "readings": readings}

    return with_findings(replace(content, records=[*content.records, *tests]), retested)
