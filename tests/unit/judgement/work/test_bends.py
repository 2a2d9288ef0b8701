"""A loss in a closure that is far larger at the longer wavelength is a bend before it is a splice."""

import pytest

from tests.factories import (
    Body,
    bend_criterion,
    both_ways,
    make_closure_state,
    make_criteria,
    make_otdr,
    make_splice,
    splice_criterion,
)
from tests.unit.judgement.judging import because, criteria_behind, judge, ready_items, where
from tests.unit.judgement.story import RESEALED, RETESTED, REWORKED, finished, opened_and_sealed

LIMIT_DB = 0.15
CRITERIA = make_criteria(
    criteria=[splice_criterion(code=f"SPLICE-{nm}", wavelength_nm=nm, limit_db=LIMIT_DB) for nm in (1310, 1550)]
)

BOTH = make_criteria(criteria=[*CRITERIA["criteria"], bend_criterion()])


def shown(short_db: float, long_db: float, *, made_at: str = "2025-03-20T08:00:00Z", site: str = "C1") -> list[Body]:
    """Return traces at both wavelengths from both ends, with what they show in a closure."""
    both = ((1310, short_db), (1550, long_db))
    return [
        trace
        for nm, loss_db in both
        for trace in both_ways(wavelength_nm=nm, losses_db={site: loss_db}, made_at=made_at)
    ]


def asked(records: list[Body], criteria: Body = CRITERIA) -> list[tuple[str, str]]:
    """Return what is to be done in closures now."""
    items = ready_items(judge(records, criteria=criteria))
    return [(item["act"], where(item)) for item in items if item["act"] != "ask_engineer"]


# By how much the longer wavelength has to lose more is common practice, no source: 0.05 dB and half as much again.
@pytest.mark.parametrize(
    ("short_db", "long_db", "act"),
    [
        # The demo's fibre: no splice loses three times as much at 1550 nm.
        (0.0685, 0.2375, "relieve_bend"),
        (0.1, 0.151, "relieve_bend"),
        (0.102, 0.151, "re_splice"),
        (0.104, 0.156, "relieve_bend"),
        (0.105, 0.156, "re_splice"),
        # A bend loses something at the shorter wavelength too: what the splice loses is known once it is relieved.
        (0.15, 0.6, "relieve_bend"),
        (0.151, 0.6, "relieve_bend"),
        (0.3, 0.45, "relieve_bend"),
        # What loses a little more at the longer wavelength is a splice.
        (0.3, 0.449, "re_splice"),
        # What loses more at the shorter wavelength is no bend.
        (0.2, 0.1, "re_splice"),
    ],
)
def test_a_bend_is_relieved_before_the_splice_is_made_again(short_db: float, long_db: float, act: str) -> None:
    assert asked(finished(*shown(round(short_db, 3), round(long_db, 3)))) == [(act, "C1")]


def test_the_order_says_that_it_is_a_bend() -> None:
    [item] = [one for one in ready_items(judge(finished(*shown(0.07, 0.24)), criteria=CRITERIA)) if where(one) == "C1"]
    assert because(item) == (
        "The mean of both directions at 1550 nm is 0.2400 dB, above the limit of 0.1500 dB, "
        "and at 1310 nm far less: a bend before it is a splice."
    )
    assert item["opens"]


def test_relieved_and_tested_it_is_done_and_spliced_only_if_it_stays() -> None:
    before = finished(*shown(0.07, 0.24), *opened_and_sealed("C1"))
    assert asked(before) == [("retest", "A-B")]
    assert asked(before[:-1]) == [("relieve_bend", "C1")]
    assert asked([*before, *shown(0.03, 0.03, made_at=RETESTED)]) == []
    assert asked([*before, *shown(0.07, 0.24, made_at=RETESTED)]) == [("re_splice", "C1")]


def test_a_bend_beyond_the_limit_at_both_wavelengths_is_one_order_and_a_splice_only_if_it_stays() -> None:
    bent = finished(*shown(0.25, 1.0))
    [item] = [one for one in ready_items(judge(bent, criteria=BOTH)) if where(one) == "C1"]
    assert (item["act"], criteria_behind(item)) == ("relieve_bend", ["SPLICE-1310", "SPLICE-1550", "BEND"])
    relieved = [*bent, *opened_and_sealed("C1")]
    for short_db, long_db, told in ((0.03, 0.03, []), (0.2, 0.21, ["re_splice"]), (0.25, 1.0, ["re_splice"])):
        tested = [*relieved, *shown(short_db, long_db, made_at=RETESTED)]
        acts = [one["act"] for one in ready_items(judge(tested, criteria=BOTH)) if one["act"] != "ask_engineer"]
        assert acts == told


def test_a_bend_of_a_splice_that_is_made_again_anyway_is_no_order_of_its_own() -> None:
    records = finished(make_splice(proof_test_passed=False, attempt=2, made_at="2025-03-04T08:00:00Z"))
    told = asked([*records, *shown(0.25, 1.0)], criteria=BOTH)
    assert told == [("re_splice", "C1")]


def test_a_bend_within_the_splices_limit_is_spliced_only_if_relieving_does_not_help() -> None:
    """0.02 and 0.145 dB keep 0.15 dB; agreed is a difference of 0.1 dB."""
    criteria = make_criteria(criteria=[*CRITERIA["criteria"], bend_criterion(limit_db=0.1)])
    bent = finished(*shown(0.02, 0.145))
    assert asked(bent, criteria=criteria) == [("relieve_bend", "C1")]
    stayed = [*bent, *opened_and_sealed("C1"), *shown(0.02, 0.145, made_at=RETESTED)]
    assert asked(stayed, criteria=criteria) == [("re_splice", "C1")]


def test_an_opening_before_the_first_test_relieved_nothing_that_anybody_knew_of() -> None:
    early = opened_and_sealed("C1")
    assert asked(finished(*early, *shown(0.07, 0.24, made_at=RETESTED))) == [("relieve_bend", "C1")]


def test_after_a_new_splice_a_bend_is_a_bend_again() -> None:
    opened = make_closure_state(state="opened", made_at=REWORKED)
    again = [opened, make_splice(attempt=2, made_at=REWORKED), make_closure_state(made_at=RESEALED)]
    told = asked(finished(*shown(0.07, 0.24), *again, *shown(0.07, 0.24, made_at=RETESTED)))
    assert told == [("relieve_bend", "C1")]


def test_one_wavelength_alone_tells_no_bend() -> None:
    traces = both_ways(losses_db={"C1": 0.24})
    assert ("re_splice", "C1") in asked(finished(*traces))


def test_while_the_closure_is_open_a_bend_is_relieved_at_once() -> None:
    interim = [
        make_otdr(wavelength_nm=nm, losses_db={"C1": loss_db}, made_at="2025-03-04T08:00:00Z", from_site=a, to_site=b)
        for nm, loss_db in ((1310, 0.05), (1550, 0.2))
        for a, b in (("A", "B"), ("B", "A"))
    ]
    [item] = [one for one in ready_items(judge([make_splice(), *interim], criteria=CRITERIA)) if where(one) == "C1"]
    assert (item["act"], item["is_urgent"], item["opens"]) == ("relieve_bend", True, False)
