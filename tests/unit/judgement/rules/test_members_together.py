"""Members of criteria that exclude each other, or that a route cannot meet: refused by name, or reported."""

from typing import Any

import pytest
from pydantic import ValidationError

from tests.factories import (
    Body,
    bend_criterion,
    connection_criterion,
    criteria_of,
    layout_of,
    link_criterion,
    make_design,
    only,
    reflectance_criterion,
    required_test_criterion,
    settings_criterion,
    splice_criterion,
    statistic_criterion,
)
from tests.unit.judgement.rules.test_applies_when import two_spans
from worker.judgement.rules.attainable import attainability

TRACES = "OTDR traces at 1550 nm"
POWERS = "attenuation tests at 1550 nm"
MISSING = "are not among the required tests"
FIXED = {"kind": "fixed", "limit_db": 1.5}
OTDR: Body = {"basis": "otdr", "least_attenuation_db_per_km": None}


def budget(**changes: Any) -> Body:
    return {"kind": "budget", "attenuation_db_per_km": 0.25, "splice_db": 0.2, "connection_db": 0.5, **changes}


def asked(test: str = "otdr", **changes: Any) -> Body:
    return required_test_criterion(code=f"ASKED-{test}", test=test, wavelength_nm=1550, **changes)


def reports(*criteria: Body, design: Body | None = None) -> list[tuple[str, str]]:
    found = attainability(layout_of(design), criteria_of(only(*criteria)))
    return [(report.severity.value, report.detail) for report in found]


@pytest.mark.parametrize(
    ("criterion", "test", "said"),
    [
        (splice_criterion(), asked(tested_from="a"), f"{TRACES} from both ends {MISSING}"),
        (splice_criterion(), asked(tested_from="either"), f"{TRACES} from both ends {MISSING}"),
        (connection_criterion(tested_from="b"), asked(tested_from="a"), f"{TRACES} from B {MISSING}"),
        (settings_criterion(tested_from="a"), asked(tested_from="b"), f"{TRACES} from A {MISSING}"),
        (link_criterion(limit=FIXED, **OTDR), asked(tested_from="a"), f"{TRACES} from both ends {MISSING}"),
        (link_criterion(limit=FIXED, **OTDR, tested_from="a"), asked(tested_from="b"), f"{TRACES} from A {MISSING}"),
        (link_criterion(limit=FIXED), asked("attenuation", over="span"), f"{POWERS} {MISSING}"),
        (link_criterion(limit=FIXED, over="span"), asked("attenuation"), f"{POWERS} of each span {MISSING}"),
    ],
)
def test_a_test_that_nobody_asks_for_is_reported(criterion: Body, test: Body, said: str) -> None:
    assert reports(criterion, test, design=two_spans()) == [("questionable", said)]


@pytest.mark.parametrize(
    ("criterion", "test"),
    [
        (connection_criterion(tested_from="a"), asked()),
        (connection_criterion(tested_from="either"), asked(tested_from="a")),
        (link_criterion(limit=FIXED, **OTDR, tested_from="either"), asked(tested_from="b")),
        (link_criterion(limit=FIXED, **OTDR, tested_from="b"), asked(over="span")),
    ],
)
def test_what_is_asked_for_as_widely_is_not(criterion: Body, test: Body) -> None:
    assert reports(criterion, test, design=two_spans()) == []


def test_a_route_without_panels_is_one_span_and_can_be_held_as_one() -> None:
    criteria = [link_criterion(limit=FIXED, over="span"), asked("attenuation", over="span")]
    assert reports(*criteria, design=make_design()) == []


@pytest.mark.parametrize(
    ("limit_db", "one_way_db", "said"),
    [
        (0.1, 0.101, []),
        (0.1, 0.1, []),
        (0.1, 0.099, ["one direction may show 0.099 dB, less than both together, 0.100 dB"]),
    ],
)
def test_one_direction_may_not_show_less_than_both(limit_db: float, one_way_db: float, said: list[str]) -> None:
    limits = {"limit_db": limit_db, "one_way_limit_db": one_way_db}
    criterion = connection_criterion(tested_from="either", **limits)
    assert reports(criterion) == [("contradictory", detail) for detail in said]


@pytest.mark.parametrize(
    ("unlike_db", "said"),
    [
        (0.201, []),
        (0.2, []),
        (0.199, ["a splice between two fibre types is allowed 0.199 dB, less than any other, 0.200 dB"]),
    ],
)
def test_a_splice_between_two_types_may_not_lose_less_than_others(unlike_db: float, said: list[str]) -> None:
    criterion = link_criterion(limit=budget(unlike_splice_db=unlike_db))
    assert reports(criterion) == [("contradictory", detail) for detail in said]


@pytest.mark.parametrize(
    ("criterion", "said"),
    [
        (splice_criterion(at=["C1", "X"]), "names X, which this route does not pass"),
        (connection_criterion(at="panels"), "holds nowhere on this route: it has no joint of those that it asks for"),
        (splice_criterion(splicing="ribbon"), "holds nowhere on this route: it has no joint of those that it asks for"),
        (
            statistic_criterion(joining=["G.655", "G.652"]),
            "holds nowhere on this route: it has no joint of those that it asks for",
        ),
        (reflectance_criterion(joint=None, at=["S7"]), "names S7, which this route does not pass"),
        (bend_criterion(at="panels"), "holds nowhere on this route: it has no joint of those that it asks for"),
    ],
)
def test_what_is_about_nothing_on_this_route_is_reported(criterion: Body, said: str) -> None:
    assert ("questionable", said) in reports(criterion)


@pytest.mark.parametrize(
    ("criterion", "named"),
    [
        (splice_criterion(one_way_limit_db=0.2), "one_way_limit_db"),
        (splice_criterion(tested_from="a", one_way_limit_db=0.2), "one_way_limit_db"),
        (splice_criterion(tested_from="a", combination="worse"), "combined"),
        (splice_criterion(basis="estimate", tested_from="a"), "estimate"),
        (link_criterion(limit=FIXED, **OTDR, reference_cords=1), "reference_cords"),
        (link_criterion(limit=budget(attenuation_db_per_km=None)), "by_fibre_type"),
        (statistic_criterion(least_share_percent=97.0), "least_share_percent"),
        (settings_criterion(least_range_ratio=2.0, most_range_ratio=1.5), "least_range_ratio"),
    ],
)
def test_members_that_exclude_each_other_are_refused_by_name(criterion: Body, named: str) -> None:
    with pytest.raises(ValidationError, match=named):
        criteria_of(only(criterion))
