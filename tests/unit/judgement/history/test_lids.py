"""What opened and shut a closure, for which fibres, and which tests that leaves standing."""

from collections.abc import Sequence

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    finished_fibre,
    make_closure_state,
    make_criteria,
    make_design,
    make_splice,
    only,
    required_record_criterion,
    sealed,
    splice_criterion,
    spliced,
    stored,
)
from tests.unit.judgement.judging import because, finding_of, judge, only_item, splice_at_c1, where, work_of
from worker.judgement.history.evidence import Evidence

# The tests of the factories are made on the 20th, the closures sealed on the 10th.
OPENED, SPLICED, RESEALED, RETESTED = (f"2025-03-{day}T08:00:00Z" for day in (22, 23, 24, 26))
JUST_BEFORE_TEST = "2025-03-20T07:59:59.999999Z"


def at_c1(records: Sequence[Body | Evidence], *, fibre: int = 1, **changes: Body) -> FindingDocument:
    """Return the finding about a fibre's splice in closure C1."""
    return finding_of(judge(records, fibre=fibre, **changes), "SPLICE-1550", site="C1")


def opened(**changes: object) -> Body:
    """Return C1 opened after the tests."""
    return make_closure_state(**{"state": "opened", "made_at": OPENED, **changes})  # type: ignore[arg-type]


def opened_for(fibre: int, section: str = "S1", **changes: object) -> Body:
    """Return C1 opened after the tests for one fibre of a cable."""
    return opened(opened_for=[{"section": section, "first": fibre, "last": fibre}], **changes)


def resealed(made_at: str = RESEALED) -> Body:
    """Return C1 sealed again."""
    return make_closure_state(made_at=made_at)


def at_c1_after(*later: Body | Evidence, **changes: Body) -> FindingDocument:
    """Return the finding about fibre 1, spliced, sealed and tested, with what came later."""
    return splice_at_c1([*spliced(), *sealed(), *both_ways(), *later], **changes)


def voiding(scope: str) -> Body:
    """Return criteria by which work reaches so far."""
    return make_criteria(rework_voids=scope)


def in_tubes_of_four() -> Body:
    """Return the usual route with four fibres in a tube."""
    return make_design(sections=[{**section, "fibres_per_tube": 4} for section in make_design()["sections"]])


def in_trays(*trays: tuple[int, int]) -> Body:
    """Return the usual route with fibres in trays of C1."""
    design = make_design()
    sites = [{**one, "trays": [{"number": n, "capacity": 12} for n in (1, 2)]} for one in design["sites"]]
    plan = [
        {"site": "C1", "fibres": {"first": fibre, "last": fibre}, "action": "spliced", "tray": tray}
        for fibre, tray in trays
    ]
    return {**design, "sites": sites, "splice_plan": plan}


def test_splicing_after_the_last_sealing_leaves_the_closure_open() -> None:
    records = [*finished_fibre(), make_splice(made_at=SPLICED, attempt=2), *both_ways(made_at=RETESTED)]
    assert at_c1(records)["reason"] == "closure_open"
    judgement = judge(records)
    item = only_item(judgement)
    assert (item["act"], where(item)) == ("seal", "C1")
    assert "No sealing after it is recorded" in because(item)


@pytest.mark.parametrize(("made_at", "reason"), [(RESEALED, "before_sealing"), ("2025-03-24T08:00:00.000001Z", None)])
def test_what_is_sealed_after_splicing_is_tested_after_that(made_at: str, reason: str | None) -> None:
    again = both_ways(made_at=made_at)
    assert at_c1_after(make_splice(made_at=SPLICED), resealed(), *again).get("reason") == reason


@pytest.mark.parametrize(
    ("made_at", "reason"),
    [("2025-03-10T08:00:00Z", None), ("2025-03-10T08:00:00.000001Z", "closure_open")],
)
def test_a_splice_at_the_instant_of_the_sealing_is_taken_for_the_one_before_it(
    made_at: str, reason: str | None
) -> None:
    assert at_c1([make_splice(made_at=made_at), *sealed(), *both_ways()]).get("reason") == reason


def test_splicing_before_a_first_sealing_opens_nothing() -> None:
    assert at_c1([*spliced(), *both_ways()])["reason"] == "sealing_not_recorded"


def test_a_splice_at_a_terminal_opens_no_closure() -> None:
    again = [make_splice(site="A", made_at=SPLICED), *both_ways(made_at=RETESTED)]
    assert at_c1_after(*again)["outcome"] == "conforming"


@pytest.mark.parametrize("made_at", ["2025-03-12T08:00:00Z", JUST_BEFORE_TEST])
def test_a_second_sealing_before_the_tests_changes_nothing(made_at: str) -> None:
    judgement = judge([*finished_fibre(), resealed(made_at)])
    assert {one["outcome"] for one in judgement.document["findings"]} == {"conforming"}
    assert judgement.contributions is not None
    assert judgement.contributions.suspicions == ()


@pytest.mark.parametrize("made_at", ["2025-03-20T08:00:00Z", RESEALED])
def test_a_second_sealing_after_the_tests_leaves_them_unproven_and_is_said(made_at: str) -> None:
    # Nobody seals what is shut: either it was opened and nobody said so, or the second record is wrong.
    again = resealed(made_at)
    judgement = judge([*finished_fibre(), again])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "opening_not_recorded"
    assert finding_of(judgement, "SPLICE-1550", site="C2")["outcome"] == "conforming"
    for code in ("LINK-1550", "OTDR-1550"):
        assert finding_of(judgement, code)["reason"] == "opening_not_recorded"
    assert judgement.contributions is not None
    [suspicion] = judgement.contributions.suspicions
    assert suspicion.kind == "unrecorded_opening"
    assert again["id"] in suspicion.records
    assert {act for act, _ in work_of(judgement)} == {"retest"}


def test_tests_after_a_second_sealing_count() -> None:
    judgement = judge([*spliced(), *sealed(), resealed(), *both_ways(made_at=RETESTED)])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "conforming"
    assert judgement.contributions is not None
    assert judgement.contributions.suspicions == ()


@pytest.mark.parametrize("fibre", [1, 7])
def test_another_fibres_splice_explains_why_the_closure_was_sealed_again(fibre: int) -> None:
    # By the criteria work on fibre 5 voids the tests of fibre 5 alone, and it is why the lid was off.
    records = [*finished_fibre(fibre=fibre), make_splice(fibres=[5], made_at=SPLICED), resealed()]
    assert at_c1(records, fibre=fibre)["outcome"] == "conforming"
    assert at_c1(records, fibre=fibre, criteria=voiding("closure"))["reason"] == "before_rework"


@pytest.mark.parametrize(
    ("scope", "fibre", "reason"),
    [
        ("fibre", 1, None),
        ("fibre", 5, "closure_open"),
        ("tube", 4, None),
        ("tube", 6, "closure_open"),
        ("tube", 8, "closure_open"),
        ("tube", 9, None),
        ("closure", 1, "closure_open"),
        # Nobody says in which tray any of them lies.
        ("tray", 1, "closure_open"),
    ],
)
def test_a_closure_opened_for_one_fibre_is_open_for_as_many_as_was_agreed(
    scope: str, fibre: int, reason: str | None
) -> None:
    design, records = in_tubes_of_four(), [*finished_fibre(fibre=fibre), opened_for(5)]
    found = at_c1(records, fibre=fibre, design=design, criteria=voiding(scope))
    assert found.get("reason") == reason


@pytest.mark.parametrize("scope", ["fibre", "tray", "tube", "closure"])
def test_a_closure_opened_for_nobody_knows_which_fibre_is_open_for_all(scope: str) -> None:
    assert at_c1_after(opened(), criteria=voiding(scope))["reason"] == "closure_open"


@pytest.mark.parametrize(
    ("trays", "reason"),
    [
        (((1, 1), (5, 2)), None),
        (((1, 2), (5, 2)), "closure_open"),
        # What may lie in the same tray was moved with it.
        (((5, 2),), "closure_open"),
        (((1, 1),), "closure_open"),
    ],
)
def test_where_the_tray_decides_the_splice_plan_says_who_lies_in_it(
    trays: tuple[tuple[int, int], ...], reason: str | None
) -> None:
    design, criteria = in_trays(*trays), voiding("tray")
    assert at_c1_after(opened_for(5), design=design, criteria=criteria).get("reason") == reason
    rework = make_splice(fibres=[5], made_at=SPLICED)
    expected = None if reason is None else "before_rework"
    assert at_c1_after(rework, design=design, criteria=criteria).get("reason") == expected


@pytest.mark.parametrize(("tray", "reason"), [(1, "closure_open"), (2, None)])
def test_a_closure_opened_for_a_tray_is_open_for_the_fibres_in_it(tray: int, reason: str | None) -> None:
    record = opened(opened_for=[{"tray": tray}])
    assert at_c1_after(record, design=in_trays((1, 1), (5, 2))).get("reason") == reason


def test_a_fibre_is_named_by_the_cable_it_is_in() -> None:
    # Route fibre 1 goes on as cable fibre 9 in S2.
    plan = [
        {"site": "C1", "fibres": {"first": 1, "last": 1}, "action": "spliced", "to_cable_fibre": 9},
        {"site": "C1", "fibres": {"first": 9, "last": 9}, "action": "spliced", "to_cable_fibre": 1},
    ]
    design = make_design(splice_plan=plan)
    assert at_c1_after(opened_for(9, section="S1"), design=design)["outcome"] == "conforming"
    assert at_c1_after(opened_for(9, section="S2"), design=design)["reason"] == "closure_open"
    # A cable that this route does not pass has none of its fibres.
    assert at_c1_after(opened_for(1, section="S9"), design=design)["outcome"] == "conforming"


def test_what_was_sealed_after_an_opening_for_others_keeps_their_tests_and_voids_its_own() -> None:
    records = [opened_for(5), resealed()]
    assert at_c1_after(*records)["outcome"] == "conforming"
    assert at_c1([*finished_fibre(fibre=5), *records], fibre=5)["reason"] == "before_sealing"


@pytest.mark.parametrize("is_flagged", [False, True])
def test_a_wrong_clock_leaves_open_whether_the_closure_is_shut(is_flagged: bool) -> None:
    record = stored(opened_for(1, device="tablet-2"), clock_is_flagged=is_flagged)
    reason = "order_not_proven" if is_flagged else None
    assert at_c1_after(record, resealed(), *both_ways(made_at=RETESTED)).get("reason") == reason
    # Of another fibre it decides nothing.
    other = stored(opened_for(5, device="tablet-2"), clock_is_flagged=is_flagged)
    assert at_c1_after(other, resealed())["outcome"] == "conforming"


@pytest.mark.parametrize(
    ("work", "reason"),
    [
        (make_splice(made_at=SPLICED), "withdrawn_work"),
        (make_splice(site="B", made_at=SPLICED), "withdrawn_work"),
        (opened(), "withdrawn_work"),
        (opened_for(1), "withdrawn_work"),
        (opened_for(5), None),
        (make_splice(fibres=[5], made_at=SPLICED), None),
        # That it was sealed again is no work: without that record, nothing is left that would say so.
        (resealed(), None),
    ],
)
def test_work_withdrawn_without_the_engineers_word_revives_no_test(work: Body, reason: str | None) -> None:
    assert at_c1_after(stored(work, is_ended=True)).get("reason") == reason
    assert at_c1_after(stored(work, is_annulled=True))["outcome"] == "conforming"


@pytest.mark.parametrize("made_at", ["2025-03-19T08:00:00Z", JUST_BEFORE_TEST])
def test_work_before_a_test_voids_nothing_of_it_whoever_withdrew_it(made_at: str) -> None:
    splice = make_splice(site="A", made_at=made_at)
    assert at_c1_after(stored(splice, is_ended=True))["outcome"] == "conforming"


def test_a_correction_of_a_splice_is_that_splice() -> None:
    wrong, right = (make_splice(made_at=SPLICED, estimate_db=value) for value in (0.2, 0.02))
    judgement = judge([*finished_fibre(), stored(wrong, is_ended=True), right])
    assert finding_of(judgement, "SPLICE-1550", site="C1")["reason"] == "before_rework"


@pytest.mark.parametrize(
    ("later", "reason"),
    [
        ([], "withdrawn_work"),
        ([resealed()], "withdrawn_work"),
        ([*both_ways(made_at=RETESTED)], "withdrawn_work"),
        ([resealed(), *both_ways(made_at=RETESTED)], None),
    ],
)
def test_a_withdrawn_opening_asks_for_sealing_and_tests_as_any(later: list[Body], reason: str | None) -> None:
    withdrawn = stored(opened(), is_ended=True)
    assert at_c1_after(withdrawn, *later).get("reason") == reason


def test_a_withdrawn_opening_of_what_nobody_had_shut_is_none() -> None:
    withdrawn = stored(make_closure_state(state="opened", made_at="2025-03-05T08:00:00Z"), is_ended=True)
    assert splice_at_c1([withdrawn, *both_ways()])["reason"] == "sealing_not_recorded"
    assert at_c1_after(withdrawn)["outcome"] == "conforming"


def test_the_work_list_says_whose_word_is_missing() -> None:
    item = only_item(judge([*finished_fibre(), stored(opened(), is_ended=True)]))
    assert (item["act"], where(item)) == ("seal", "C1")
    assert "without the engineer's word" in because(item)
    retests = judge([*finished_fibre(), stored(opened(), is_ended=True), resealed()]).document["work"]
    assert {item["act"] for item in retests} == {"retest"}
    assert all("without the engineer's word" in because(item) for item in retests)


def of_other(splice: Body, **said: bool) -> Evidence:
    """Return a splice that another route recorded, of fibre 1 by its own numbers."""
    return stored(splice, is_of_other_route=True, **said)


@pytest.mark.parametrize(
    ("scope", "reason"),
    [("fibre", None), ("tray", "closure_open"), ("tube", "closure_open"), ("closure", "closure_open")],
)
def test_splicing_of_another_route_opens_a_shut_closure_as_far_as_was_agreed(scope: str, reason: str | None) -> None:
    # Nobody says here which of the closure's fibres it was, and fibre 1 of that route is none of this one's.
    other = of_other(make_splice(made_at=SPLICED))
    assert at_c1_after(other, criteria=voiding(scope)).get("reason") == reason
    sealed_again: list[Body | Evidence] = [other, resealed(), *both_ways(made_at=RETESTED)]
    assert at_c1_after(*sealed_again, criteria=voiding(scope)).get("reason") is None


@pytest.mark.parametrize("made_at", ["2025-03-10T08:00:00Z", "2025-03-04T08:00:00Z"])
def test_splicing_of_another_route_before_the_sealing_opens_nothing(made_at: str) -> None:
    other = of_other(make_splice(made_at=made_at))
    assert at_c1_after(other, criteria=voiding("closure"))["outcome"] == "conforming"


@pytest.mark.parametrize(("fibre", "reason"), [(1, "before_sealing"), (5, None)])
def test_under_a_lid_that_was_opened_what_another_route_splices_reaches_no_farther_than_was_said(
    fibre: int, reason: str | None
) -> None:
    acts: list[Body | Evidence] = [opened_for(1), of_other(make_splice(made_at=SPLICED)), resealed()]
    records = [*finished_fibre(fibre=fibre), *acts]
    design = in_tubes_of_four()
    assert at_c1(records, fibre=fibre, design=design, criteria=voiding("tube")).get("reason") == reason


def test_splicing_of_another_route_explains_why_the_closure_was_sealed_again() -> None:
    other = of_other(make_splice(made_at=SPLICED))
    assert at_c1_after(resealed())["reason"] == "opening_not_recorded"
    assert at_c1_after(other, resealed())["outcome"] == "conforming"


@pytest.mark.parametrize(("said", "reason"), [({"is_ended": True}, "withdrawn_work"), ({"is_annulled": True}, None)])
def test_splicing_of_another_route_withdrawn_revives_no_test_without_the_engineers_word(
    said: dict[str, bool], reason: str | None
) -> None:
    other = of_other(make_splice(made_at=SPLICED), **said)
    assert at_c1_after(other, criteria=voiding("closure")).get("reason") == reason


def test_splicing_of_another_route_is_no_attempt_and_no_record_of_a_joint_here() -> None:
    criteria = only(splice_criterion(basis="estimate"), required_record_criterion())
    other = of_other(make_splice(made_at="2025-03-11T08:00:00Z"))
    outcomes = {one["outcome"] for one in judge([*sealed(), other], criteria=criteria).document["findings"]}
    assert outcomes == {"undetermined"}
