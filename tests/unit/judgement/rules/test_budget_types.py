"""The budget of a link over several fibre types: coefficients by type, and splices between two types."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    criteria_of,
    layout_of,
    link_criterion,
    make_attenuation,
    make_design,
    make_section,
    make_site,
    make_terminal,
    only,
    sealed,
)
from tests.unit.judgement.judging import finding_by
from worker.judgement.rules.attainable import attainability


def of_two_types(second: str = "G.655") -> Body:
    """Return 1 km of G.652.D up to C1 and 2 km of another type behind it."""
    return make_design(
        termination="factory_cord",
        sections=[make_section("S1"), make_section("S2", fibre_type=second), make_section("S3", fibre_type=second)],
    )


def budget(**changes: Any) -> Body:
    own = [{"fibre_type": "G.655", "attenuation_db_per_km": 0.3}]
    return {
        "kind": "budget",
        "attenuation_db_per_km": 0.25,
        "by_fibre_type": own,
        "splice_db": 0.1,
        "connection_db": 0.5,
        **changes,
    }


# 1 km at 0.25 and 2 km at 0.3 dB/km, 2 splices at 0.1 or one at 0.4, 2 connections at 0.5 dB: 2.05 and 2.35 dB.
@pytest.mark.parametrize(
    ("unlike_db", "loss_db", "outcome"),
    [
        (None, 2.049, "conforming"),
        (None, 2.05, "conforming"),
        (None, 2.051, "nonconforming"),
        (0.4, 2.349, "conforming"),
        (0.4, 2.35, "conforming"),
        (0.4, 2.351, "nonconforming"),
    ],
)
def test_a_budget_over_two_fibre_types_counts_each_by_its_own(
    unlike_db: float | None, loss_db: float, outcome: str
) -> None:
    bodies = [make_attenuation(from_site=near, to_site=far, loss_db=loss_db) for near, far in (("A", "B"), ("B", "A"))]
    criterion = link_criterion(limit=budget(unlike_splice_db=unlike_db))
    found = finding_by(criterion, [*sealed(), *bodies], design=of_two_types())
    assert (found["limit"], found["outcome"]) == ("2.0500" if unlike_db is None else "2.3500", outcome)


# 1 km of G.652.D by what is nearest to its name, 2 km of G.655: 2 splices at 0.1, 2 connections at 0.5 dB.
@pytest.mark.parametrize(
    ("own", "limit_db"),
    [
        ([("G.652", 0.3), ("G.655", 0.3)], "2.1000"),
        ([("G.652", 0.3), ("G.652.D", 0.2), ("G.655", 0.3)], "2.0000"),
        ([("G.652.D", 0.2), ("G.652", 0.3), ("G.655", 0.3)], "2.0000"),
        # What begins alike is not therefore a kind of it: 0.25 dB/km for all others.
        ([("G.65", 0.9)], "1.9500"),
        ([("G.652.D.1", 0.9)], "1.9500"),
    ],
)
def test_a_budget_knows_a_type_by_what_stands_before_a_point(own: list[tuple[str, float]], limit_db: str) -> None:
    bodies = [make_attenuation(from_site=near, to_site=far) for near, far in (("A", "B"), ("B", "A"))]
    types = [{"fibre_type": name, "attenuation_db_per_km": value} for name, value in own]
    criterion = link_criterion(limit=budget(by_fibre_type=types))
    assert finding_by(criterion, [*sealed(), *bodies], design=of_two_types())["limit"] == limit_db


# 3 km at 0.25 dB/km, 2 connections at 0.5, 2 closures and 2 pigtails at 0.1 dB or, between two types, 0.4 dB.
@pytest.mark.parametrize(
    ("pigtails", "second", "limit_db"),
    [
        (None, "G.652.D", "2.1500"),
        ("G.652.D", "G.652.D", "2.1500"),
        # Of the same type as far as both names go.
        ("G.652", "G.652.D", "2.1500"),
        ("G.657.A2", "G.652.D", "2.7500"),
        # C1 and the pigtail at A; behind C1 the cable is the pigtails' own.
        ("G.657.A2", "G.657.A2", "2.7500"),
        (None, "G.657.A2", "2.4500"),
    ],
)
def test_a_splice_between_two_types_is_told_as_the_criterion_about_splices_tells_it(
    pigtails: str | None, second: str, limit_db: str
) -> None:
    said = {} if pigtails is None else {"pigtail_fibre_type": pigtails}
    design = {
        **of_two_types(second),
        "sites": [make_terminal("A", **said), make_site("C1"), make_site("C2"), make_terminal("B", **said)],
    }
    bodies = [make_attenuation(from_site=near, to_site=far) for near, far in (("A", "B"), ("B", "A"))]
    criterion = link_criterion(limit=budget(by_fibre_type=[], unlike_splice_db=0.4))
    assert finding_by(criterion, [*sealed(), *bodies], design=design)["limit"] == limit_db


def test_a_type_of_which_the_budget_says_nothing_has_no_limit_and_is_told_when_it_meets_the_route() -> None:
    criterion = link_criterion(limit=budget(attenuation_db_per_km=None))
    bodies = [make_attenuation(from_site=near, to_site=far) for near, far in (("A", "B"), ("B", "A"))]
    found = finding_by(criterion, [*sealed(), *bodies], design=of_two_types())
    assert (found["outcome"], found["reason"]) == ("undetermined", "limit_not_stated")
    [report] = attainability(layout_of(of_two_types()), criteria_of(only(criterion)))
    assert (report.severity.value, report.criteria) == ("unmeetable", ("LINK-1550",))
    assert "G.652.D" in report.detail


@pytest.mark.parametrize(
    "changes",
    [
        {"attenuation_db_per_km": None, "by_fibre_type": []},
        {"by_fibre_type": [{"fibre_type": "G.655", "attenuation_db_per_km": one} for one in (0.3, 0.4)]},
    ],
)
def test_a_budget_that_allows_the_fibre_nothing_or_two_things_is_refused(changes: Body) -> None:
    with pytest.raises(ValueError, match="by_fibre_type"):
        criteria_of(only(link_criterion(limit=budget(**changes))))
