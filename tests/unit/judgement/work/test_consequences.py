"""What may only be a consequence is not asked before its cause, and what no work mends is not asked of a crew."""

from typing import Any

import pytest

from service.vocabulary.findings.words import Act
from tests.factories import (
    SCRATCHED,
    Body,
    both_ways,
    continuity_criterion,
    end_face_criterion,
    finished_fibre,
    link_criterion,
    make_attenuation,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_criteria,
    make_end_face,
    make_return_loss,
    make_splice,
    only,
    return_loss_criterion,
    sealed,
    splice_criterion,
    spliced,
    stray_criterion,
    termination_criterion,
    with_event_from_a,
)
from tests.unit.judgement.judging import because, criteria_behind, judge, where
from tests.unit.judgement.story import RESEALED, RETESTED, REWORKED, SIDES, finished

IDENTITY, SPLICE, TERMINATION = continuity_criterion(), splice_criterion(), termination_criterion()
BEND_M = 1400.0


def all_of(records: list[Body], criteria: Body, **changes: Any) -> list[tuple[str, str]]:
    """Return act and place of everything on a fibre's list, what waits too."""
    work = judge(records, criteria=criteria, **changes).document["work"]
    return [(item["act"], where(item)) for item in work]


def test_crossed_fibres_are_put_right_before_a_splice_that_their_traces_show_is_made_again() -> None:
    """0.2 dB in C1 by traces of two fibres is no loss of either: uncross, test again, and splice if it stays."""
    criteria = only(SPLICE, TERMINATION, IDENTITY)
    bad = both_ways(losses_db={"C1": 0.2})
    assert all_of(finished(make_continuity(seen=3), *bad), criteria) == [("fibres_crossed", "B"), ("retest", "A-B")]
    again = [make_splice(site="B", attempt=2, made_at=REWORKED), make_continuity(made_at=RETESTED)]
    right = finished(make_continuity(seen=3), *bad, *again, *both_ways(losses_db={"C1": 0.2}, made_at=RETESTED))
    assert all_of(right, criteria)[0] == ("re_splice", "C1")


def test_both_crossed_fibres_hear_the_same_once_for_all_tests_of_them() -> None:
    """Lit from both ends and each in its turn: four tests of one crossing, and one sentence."""
    tests = [
        make_continuity(fibre=lit, seen=seen, from_site=start, to_site=end)
        for lit, seen in ((1, 2), (2, 1))
        for start, end in (("A", "B"), ("B", "A"))
    ]
    told = [
        item
        for fibre in (1, 2)
        for item in judge(finished(*tests), fibre=fibre, criteria=only(IDENTITY)).document["work"]
        if item["act"] == Act.FIBRES_CROSSED
    ]
    assert [where(item) for item in told] == ["B", "B"]
    assert because(told[0]) == because(told[1])
    assert because(told[0]).count("was lit at") == 1


def test_what_records_say_of_crossed_fibres_is_done_all_the_same() -> None:
    """A sleeve that is not shrunk and a failed proof test are this splice's, whichever fibre was tested."""
    records = [
        make_splice(sleeve_shrunk=False),
        make_splice(site="C2", proof_test_passed=False),
        make_splice(site="A"),
        make_splice(site="B"),
        *sealed(),
        make_continuity(seen=3),
        *both_ways(losses_db={"C1": 0.2}),
    ]
    acts = all_of(records, only(SPLICE, IDENTITY))
    assert {("shrink_sleeve", "C1"), ("re_splice", "C2"), ("fibres_crossed", "B")} <= set(acts)
    assert ("re_splice", "C1") not in acts


def test_crossed_fibres_are_cleaned_by_what_was_seen_and_not_by_what_their_traces_show() -> None:
    """A connection's loss is the mean of both directions; an end face was looked at."""
    criteria = only(termination_criterion(), end_face_criterion(), IDENTITY)
    crossed = finished(make_continuity(seen=3), *both_ways(losses_db={"A": 0.9}))
    sides = [(site, side) for site in ("A", "B") for side in SIDES]
    clean = [make_end_face(site=site, side=side) for site, side in sides]
    assert ("clean_and_inspect", "A") not in all_of([*crossed, *clean], criteria)
    scratched = make_end_face(site=sides[0][0], side=sides[0][1], zones=SCRATCHED)
    assert ("clean_and_inspect", "A") in all_of([*crossed, scratched, *clean[1:]], criteria)


def strays(short_db: float | None, long_db: float | None, *, made_at: str = "2025-03-20T08:00:00Z") -> list[Body]:
    """Return traces at both wavelengths that show so much on no joint, 1400 m from A."""
    return [
        trace if loss_db is None else with_event_from_a(trace, BEND_M, loss_db=loss_db)
        for nm, loss_db in ((1310, short_db), (1550, long_db))
        for trace in both_ways(wavelength_nm=nm, made_at=made_at)
    ]


STRAYS = only(stray_criterion(code="STRAY-1310", wavelength_nm=1310), stray_criterion())


@pytest.mark.parametrize(
    ("short_db", "long_db", "acts"),
    [
        # A bend shows more at the longer wavelength: what 1550 nm does not show is none.
        (0.3, None, ["retest"]),
        # Damage loses about the same at both: an offset of the cores (0.3 dB by 1.27 times the mode field's area).
        (0.3, 0.24, ["relieve_bend", "retest"]),
        (0.3, 0.9, ["relieve_bend", "retest"]),
    ],
)
def test_a_loss_that_only_the_shorter_wavelength_shows_is_tested_again_before_anybody_looks_for_a_bend(
    short_db: float, long_db: float | None, acts: list[str]
) -> None:
    work = judge(finished(*strays(short_db, long_db)), criteria=STRAYS).document["work"]
    assert [item["act"] for item in work] == acts
    if acts == ["retest"]:
        [item] = work
        assert item["tests"] == [{"test": "otdr", "wavelengths_nm": [1310, 1550], "from_sites": ["A", "B"]}]
        assert criteria_behind(item) == ["STRAY-1310"]


def test_what_the_shorter_wavelength_shows_again_is_looked_for() -> None:
    twice = finished(*strays(0.3, None), *strays(0.3, None, made_at=RETESTED))
    assert all_of(twice, STRAYS)[0] == ("relieve_bend", "C1")


def test_a_bend_in_the_cable_opens_no_closure() -> None:
    """400 m behind C1 there is no lid to open, and so none to seal."""
    bent = [with_event_from_a(trace, BEND_M, loss_db=0.4) for trace in both_ways()]
    [item, tests] = judge(finished(*bent), criteria=only(stray_criterion())).document["work"]
    assert (item["act"], where(item), item["opens"], tests["act"]) == ("relieve_bend", "C1", False, "retest")


LOSSY = [{**body, "loss_db": 2.2} if body["kind"] == "attenuation" else body for body in finished_fibre()]


@pytest.mark.parametrize(
    ("cleaning_voids", "tests"),
    [
        # Cleaning an end voids what was read of its connection: the traces' too.
        (True, {("otdr", 1550), ("attenuation", 1550)}),
        (False, {("attenuation", 1550)}),
    ],
)
def test_where_both_ends_are_cleaned_all_that_cleaning_voids_is_tested_again(
    cleaning_voids: bool, tests: set[tuple[str, int]]
) -> None:
    """2.2 dB is above the budget of 2.15 dB (3 km at 0.25, 4 splices at 0.1, 2 connections at 0.5)."""
    criteria = make_criteria(cleaning_voids=cleaning_voids)
    [item] = judge(LOSSY, criteria=criteria).document["work"]
    assert {(one["test"], nm) for one in item["tests"] for nm in one["wavelengths_nm"]} == tests
    assert all(one["from_sites"] == ["A", "B"] for one in item["tests"])


def test_done_as_told_nothing_is_void_after_the_ends_were_cleaned() -> None:
    clean = [make_cleaning(site=site, side=side, made_at=RESEALED) for site in ("A", "B") for side in SIDES]
    again = [make_attenuation(made_at=RETESTED), make_attenuation(from_site="B", to_site="A", made_at=RETESTED)]
    assert judge([*LOSSY, *clean, *again]).document["work"] != []
    assert judge([*LOSSY, *clean, *again, *both_ways(made_at=RETESTED)]).document["work"] == []


def test_an_end_face_that_is_cleaned_first_has_the_tests_through_it_made_again() -> None:
    """Everything is tested and nobody looked at B's end faces: cleaned, its connection is another one."""
    looked = [make_end_face(side=side) for side in SIDES]
    criteria = only(SPLICE, termination_criterion(), link_criterion(), end_face_criterion())
    work = judge([*finished_fibre(), *looked], criteria=criteria).document["work"]
    assert [(item["act"], where(item)) for item in work] == [("clean_and_inspect", "B"), ("retest", "A-B")]
    assert not work[1]["is_ready"]
    assert {one["test"] for one in work[1]["tests"]} == {"otdr", "attenuation"}


# 5 km of fibre leave 33.7 dB of return loss at 1310 nm by their backscatter alone, and 3 km not 4 dB more (trade table:
# 1 km 39.4 dB); 60 dB is beyond what any work can reach.
HOPELESS = return_loss_criterion(code="ORL-60", wavelength_nm=1310, limit_db=60.0)


def test_of_a_criterion_that_the_route_cannot_meet_the_engineer_is_asked_from_the_first_day() -> None:
    work = judge([], criteria=only(SPLICE, HOPELESS)).document["work"]
    asked = [item for item in work if item["act"] == Act.ASK_ENGINEER]
    [item] = asked
    assert (where(item), criteria_behind(item), item["is_ready"]) == ("A", ["ORL-60"], True)
    assert "no work of a crew mends it" in because(item)
    assert "the backscatter of 3000.00 m of fibre alone leaves" in because(item)
    # What the fibre has is measured all the same, for the engineer to decide by.
    assert any(one["test"] == "return_loss" for test in work for one in test.get("tests", ()))


def test_nothing_is_done_again_for_a_criterion_that_the_route_cannot_meet() -> None:
    """34 dB at both ends is what 3 km of good fibre have: nobody cleans or tests again for 60 dB."""
    ends = (("A", "B"), ("B", "A"))
    returned = [
        make_return_loss(wavelength_nm=1310, return_loss_db=34.0, from_site=near, to_site=far) for near, far in ends
    ]
    work = judge(
        [*spliced(), *sealed(), *both_ways(), *returned], criteria=only(SPLICE, TERMINATION, HOPELESS)
    ).document["work"]
    assert [(item["act"], criteria_behind(item)) for item in work] == [("ask_engineer", ["ORL-60"])]


def test_a_splice_is_not_made_again_for_a_limit_below_its_guard_band() -> None:
    """0.03 dB less a guard band of 0.05 dB is below zero, which no loss is: every splice of the route would be cut."""
    hopeless = splice_criterion(code="TIGHT", limit_db=0.03, decision="guarded", uncertainty_db=0.05)
    for records in (finished_fibre(), [*spliced(), make_closure_state(), *both_ways()]):
        work = judge(records, criteria=only(hopeless)).document["work"]
        assert not [item for item in work if item["act"] == Act.RE_SPLICE]
        assert [criteria_behind(item) for item in work if item["act"] == Act.ASK_ENGINEER] == [["TIGHT"]]


def test_a_splice_is_not_made_again_by_traces_that_cannot_be_right() -> None:
    """-0.1 dB in C2 is below what any joint can have, so that the traces are not of one fibre; C1's 0.2 dB are theirs.

    Tested again, and C1 still at 0.2 dB, it is spliced; so it is where the traces show the same a second time.
    """
    criteria = only(SPLICE, TERMINATION)
    doubted = finished(*both_ways(losses_db={"C1": 0.2, "C2": -0.1}))
    assert all_of(doubted, criteria) == [("retest", "A-B")]
    for second in ({"C1": 0.2}, {"C1": 0.2, "C2": -0.1}):
        again = [*doubted, *both_ways(losses_db=second, made_at=RETESTED)]
        assert ("re_splice", "C1") in all_of(again, criteria)
