"""Criteria that contradict themselves, leave nothing or decide nothing are told whatever the route, and only those."""

from typing import Any

import pytest

from service.vocabulary.criteria.review import Severity, contradictions_in
from tests.factories import (
    Body,
    bend_criterion,
    coefficient_criterion,
    criteria_of,
    link_criterion,
    only,
    required_test_criterion,
    return_loss_criterion,
    splice_criterion,
    statistic_criterion,
    termination_criterion,
)

UNMEETABLE, QUESTIONABLE, CONTRADICTORY = Severity.UNMEETABLE, Severity.QUESTIONABLE, Severity.CONTRADICTORY


def told(*criteria: Body) -> list[tuple[tuple[str, ...], Severity]]:
    """Return whom criteria by themselves are told of, and how severe it is."""
    return [(one.criteria, one.severity) for one in contradictions_in(criteria_of(only(*criteria)))]


@pytest.mark.parametrize(
    ("fallback_db", "expected"),
    [(0.099, [(("SPLICE-1550",), CONTRADICTORY)]), (0.1, [(("SPLICE-1550",), CONTRADICTORY)]), (0.101, [])],
)
def test_a_fallback_has_to_be_wider_than_the_limit(fallback_db: float, expected: object) -> None:
    assert told(splice_criterion(limit_db=0.1, fallback={"attempts": 3, "limit_db": fallback_db})) == expected


@pytest.mark.parametrize(("action_db", "is_late"), [(0.099, False), (0.1, False), (0.101, True)])
def test_an_action_limit_above_the_limit_warns_too_late(action_db: float, is_late: bool) -> None:
    expected = [(("SPLICE-1550",), CONTRADICTORY)] if is_late else []
    assert told(splice_criterion(limit_db=0.1, estimate_action_limit_db=action_db)) == expected


def test_a_one_way_action_limit_may_be_wider_than_a_bidirectional_limit_and_not_than_a_one_way_one() -> None:
    assert told(splice_criterion(one_way_action_limit_db=0.3)) == []
    one_way = splice_criterion(tested_from="either", combination="worse", one_way_action_limit_db=0.3)
    assert told(one_way) == [(("SPLICE-1550",), CONTRADICTORY)]


@pytest.mark.parametrize(
    ("decision", "uncertainty_db", "expected"),
    [
        ("guarded", 0.1, []),
        ("guarded", 0.101, [(("SPLICE-1550",), UNMEETABLE)]),
        ("four_way", 0.1, []),
        ("four_way", 0.101, [(("SPLICE-1550",), QUESTIONABLE)]),
        ("simple", 0.101, []),
    ],
)
def test_a_guard_band_wider_than_the_limit_leaves_nothing(
    decision: str, uncertainty_db: float, expected: object
) -> None:
    assert told(splice_criterion(limit_db=0.1, decision=decision, uncertainty_db=uncertainty_db)) == expected


def test_a_guard_band_counts_in_the_unit_of_its_limit() -> None:
    guarded = {"decision": "guarded", "uncertainty_db_per_km": 0.201}
    coefficient = coefficient_criterion(over="span", limit_db_per_km=0.2, **guarded)
    assert told(coefficient) == [(("COEFF",), UNMEETABLE)]
    fixed = link_criterion(limit={"kind": "fixed", "limit_db": 0.2}, decision="guarded", uncertainty_db=0.201)
    assert told(fixed) == [(("LINK-1550",), UNMEETABLE)]


@pytest.mark.parametrize(("together_db", "is_told"), [(0.299, True), (0.3, False)])
def test_a_termination_may_not_lose_less_than_the_splice_in_it_may_alone(together_db: float, is_told: bool) -> None:
    expected = [(("TERM-1550", "SPLICE-1550"), CONTRADICTORY)] if is_told else []
    assert told(termination_criterion(limit_db=together_db), splice_criterion(limit_db=0.3)) == expected


@pytest.mark.parametrize(
    "splice",
    [
        splice_criterion(limit_db=0.3, wavelength_nm=1310),
        splice_criterion(limit_db=0.3, force="advisory"),
        splice_criterion(limit_db=0.3, tested_from="either", combination="worse"),
    ],
    ids=["other wavelength", "advisory", "one way"],
)
def test_a_termination_is_not_held_against_what_it_does_not_include(splice: Body) -> None:
    assert told(termination_criterion(limit_db=0.2), splice) == []


def test_of_two_required_limits_on_the_same_thing_the_wider_one_never_decides() -> None:
    wide = splice_criterion(code="WIDE", limit_db=0.15)
    assert told(splice_criterion(), wide) == [(("WIDE", "SPLICE-1550"), QUESTIONABLE)]
    # A return loss is the stricter the higher it is.
    low, high = return_loss_criterion(code="LOW", limit_db=26.0), return_loss_criterion(code="HIGH", limit_db=28.0)
    assert told(high, low) == [(("LOW", "HIGH"), QUESTIONABLE)]


@pytest.mark.parametrize(
    "changes",
    [
        {"wavelength_nm": 1310},
        {"force": "advisory"},
        {"tested_from": "either", "combination": "worse", "one_way_action_limit_db": 0.15},
        {"decision": "guarded", "uncertainty_db": 0.02},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_a_wider_limit_on_something_else_decides(changes: Body) -> None:
    assert told(splice_criterion(), splice_criterion(code="WIDE", limit_db=0.15, **changes)) == []


LINE, ENDS, SITES = {"at": "line_closures"}, {"at": "terminal_splices"}, {"at": ["C1", "C2"]}


@pytest.mark.parametrize(
    ("strict", "wide"),
    [
        ({}, LINE),
        ({}, SITES),
        ({}, {"splicing": "ribbon"}),
        ({}, {"applies_when": {"least_span_m": 60_000.0}}),
        (LINE, LINE),
        (ENDS, {"at": "panels"}),
        (SITES, {"at": ["C2"]}),
        ({"joining": ["G.652", "G.657"]}, {"joining": ["G.657", "G.652"]}),
    ],
)
def test_a_wider_limit_never_decides_where_a_stricter_one_holds_too(strict: Body, wide: Body) -> None:
    both = splice_criterion(**strict), splice_criterion(code="WIDE", limit_db=0.15, **wide)
    assert told(*both) == [(("WIDE", "SPLICE-1550"), QUESTIONABLE)]


@pytest.mark.parametrize(
    ("strict", "wide"),
    [
        (LINE, {}),
        (LINE, ENDS),
        (LINE, SITES),
        (SITES, LINE),
        ({"at": ["C1"]}, SITES),
        ({"at": "panels"}, ENDS),
        ({"splicing": "single"}, {"splicing": "ribbon"}),
        ({"joining": ["G.652", "G.657"]}, {"joining": ["G.657", "G.657"]}),
        ({"applies_when": {"most_span_m": 60_000.0}}, {}),
    ],
)
def test_a_wider_limit_decides_where_the_stricter_one_does_not_hold(strict: Body, wide: Body) -> None:
    assert told(splice_criterion(**strict), splice_criterion(code="WIDE", limit_db=0.15, **wide)) == []


@pytest.mark.parametrize(
    ("together", "alone", "is_told"),
    [
        ({}, LINE, False),
        ({}, ENDS, True),
        ({"at": "terminals"}, {"at": "panels"}, False),
        ({"at": ["A"]}, {"at": ["B"]}, False),
        ({"at": ["A"]}, {"at": ["A", "B"]}, True),
        ({"at": ["A"]}, {}, True),
        # Which kind of place A is nobody can tell before criteria meet a route.
        ({"at": ["A"]}, ENDS, False),
    ],
)
def test_a_termination_is_held_against_the_splices_that_can_be_in_it(
    together: Body, alone: Body, is_told: bool
) -> None:
    expected = [(("TERM-1550", "SPLICE-1550"), CONTRADICTORY)] if is_told else []
    assert told(termination_criterion(limit_db=0.2, **together), splice_criterion(limit_db=0.3, **alone)) == expected


def test_a_mean_over_line_splices_is_kept_only_by_limits_that_hold_in_line() -> None:
    mean = statistic_criterion(at="line_closures", limit_db=0.15)
    for at, is_told in ((None, True), ("line_closures", True), ("terminal_splices", False), (["C1"], False)):
        every = splice_criterion(limit_db=0.15, **({} if at is None else {"at": at}))
        assert told(every, mean) == ([(("MEAN", "SPLICE-1550"), QUESTIONABLE)] if is_told else [])


def test_beside_a_limit_with_a_fallback_a_limit_in_between_decides() -> None:
    with_fallback = splice_criterion(fallback={"attempts": 3, "limit_db": 0.2})
    assert told(with_fallback, splice_criterion(code="BETWEEN", limit_db=0.15)) == []


def span_statistic(**changes: Any) -> Body:
    return statistic_criterion(**{"over": "span", "limit_db": 0.15, **changes})


def share_criterion(**changes: Any) -> Body:
    return span_statistic(**{"code": "SHARE", "statistic": "share_within", "least_share_percent": 100.0, **changes})


def test_a_mean_that_every_splice_keeps_by_itself_never_decides() -> None:
    every = splice_criterion(limit_db=0.15)
    assert told(every, span_statistic()) == [(("MEAN", "SPLICE-1550"), QUESTIONABLE)]
    assert told(every, share_criterion(least_share_percent=97.0)) == [(("SHARE", "SPLICE-1550"), QUESTIONABLE)]
    # The rule of a mean of 0.15 and at most 0.30 each, seen in a public specification: both decide.
    assert told(splice_criterion(limit_db=0.3), span_statistic()) == []


def test_a_share_of_all_joints_is_a_limit_for_each_of_them() -> None:
    assert told(share_criterion(limit_db=0.15), span_statistic()) == [(("MEAN", "SHARE"), QUESTIONABLE)]
    assert told(share_criterion(limit_db=0.151), span_statistic()) == []
    assert told(share_criterion(limit_db=0.15, least_share_percent=99.99), span_statistic()) == []


@pytest.mark.parametrize(
    "every",
    [
        splice_criterion(wavelength_nm=1310),
        splice_criterion(basis="estimate"),
        splice_criterion(fallback={"attempts": 3, "limit_db": 0.2}),
        splice_criterion(applies_when={"most_span_m": 5000.0}),
        splice_criterion(force="advisory"),
        {**termination_criterion(limit_db=0.1), "quantity": "connection_loss"},
    ],
    ids=["wavelength", "basis", "fallback", "elsewhere", "advisory", "pairs"],
)
def test_a_mean_decides_beside_limits_on_other_joints(every: Body) -> None:
    assert told(every, span_statistic()) == []


def test_of_two_means_over_the_same_joints_the_wider_never_decides() -> None:
    wide = span_statistic(code="WIDE", limit_db=0.2)
    assert told(span_statistic(), wide) == [(("WIDE", "MEAN"), QUESTIONABLE)]
    assert told(span_statistic(), {**wide, "over": "route"}) == []


def test_what_no_required_test_asks_for_is_told_once_for_each_test_that_is_left_out() -> None:
    asked = required_test_criterion()
    # No list of tests leaves nothing out.
    assert told(splice_criterion(), link_criterion()) == []
    other = splice_criterion(code="SPLICE-1625", wavelength_nm=1625)
    also = termination_criterion(code="TERM-1625", wavelength_nm=1625)
    assert told(asked, splice_criterion(), other, also) == [(("SPLICE-1625", "TERM-1625"), QUESTIONABLE)]
    assert told(asked, link_criterion()) == [(("LINK-1550",), QUESTIONABLE)]
    assert told(asked, required_test_criterion(code="POWER", test="attenuation"), link_criterion()) == []
    assert told(required_test_criterion(force="advisory"), other) == []


def test_a_bend_needs_traces_required_at_both_wavelengths() -> None:
    bend = bend_criterion()
    long, short = required_test_criterion(), required_test_criterion(code="OTDR-1310", wavelength_nm=1310)
    assert told(bend) == told(bend, long) == told(bend, short) == [(("BEND",), QUESTIONABLE)]
    assert told(bend, long, short) == []
    assert told(bend, long, {**short, "force": "advisory"}) == [(("BEND",), QUESTIONABLE)]


def test_a_budget_that_allows_less_than_the_fibre_alone_has_is_doubted() -> None:
    limit = {"kind": "budget", "attenuation_db_per_km": 0.159, "splice_db": 0.1, "connection_db": 0.5}
    assert told(link_criterion(limit=limit)) == [(("LINK-1550",), QUESTIONABLE)]
    assert told(link_criterion(limit={**limit, "attenuation_db_per_km": 0.16})) == []
