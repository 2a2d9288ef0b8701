"""Link loss by OTDR: what traces of both directions lose from before one end to behind the other."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    cord_ended,
    criteria_of,
    layout_of,
    link_criterion,
    make_attenuation,
    make_design,
    make_otdr,
    make_section,
    only,
    sealed,
    with_events,
)
from tests.unit.judgement.judging import finding_by, judge
from worker.judgement.route.attainable import attainability

FIXED = {"kind": "fixed", "limit_db": 1.5}
BY_OTDR = {"basis": "otdr", "least_attenuation_db_per_km": None}
# Of fibre behind its launch cord, by direction: 500 m and 300 m.
STARTS_M = {"A": 500.0, "B": 300.0}


def trace(near: str, far: str, total_db: float | None, **changes: Any) -> Body:
    """Return a trace of 3 km between cord-ended terminals with its own total, 0.3 dB at each end."""
    start_m = changes.get("launch_m", STARTS_M[near])
    total = None if total_db is None else {"loss_db": total_db, "from_m": start_m, "to_m": start_m + 3000.0}
    stated: Body = {} if total is None else {"total_loss": total}
    return make_otdr(from_site=near, to_site=far, design=cord_ended(), **stated, **changes)


def two_way(there_db: float | None, back_db: float | None, **changes: Any) -> list[Body]:
    return [*sealed(), trace("A", "B", there_db, **changes), trace("B", "A", back_db, **changes)]


def link(bodies: list[Body], **changes: Any) -> FindingDocument:
    return finding_by(link_criterion(limit=FIXED, **BY_OTDR, **changes), bodies, design=cord_ended())


@pytest.mark.parametrize(
    ("there_db", "back_db", "value_db", "outcome"),
    [
        (1.5, 1.499, "1.4995", "conforming"),
        (1.6, 1.4, "1.5000", "conforming"),
        (1.5, 1.501, "1.5005", "nonconforming"),
    ],
)
def test_the_mean_of_both_totals_is_the_loss(there_db: float, back_db: float, value_db: str, outcome: str) -> None:
    finding = link(two_way(there_db, back_db))
    assert (finding["value"], finding["outcome"]) == (value_db, outcome)
    assert [(one["direction"], one["value"]) for one in finding["readings"]] == [
        ("a_to_b", f"{there_db:.3f}"),
        ("b_to_a", f"{back_db:.3f}"),
    ]


def test_its_budget_counts_both_end_connections() -> None:
    # 3 km at 0.25 dB/km, 2 splices at 0.1 and 2 connections at 0.5, as a reference by one cord holds them.
    limit = {"kind": "budget", "attenuation_db_per_km": 0.25, "splice_db": 0.1, "connection_db": 0.5}
    found = finding_by(link_criterion(limit=limit, **BY_OTDR), two_way(1.5, 1.5), design=cord_ended())
    assert found["limit"] == "1.9500"


def test_one_direction_also_shows_how_the_ends_scatter_and_is_no_loss() -> None:
    assert link(two_way(1.0, 1.0)[:-1])["reason"] == "one_direction_only"


def without_far(there_db: float, back_db: float) -> list[Body]:
    """Return traces of which the one from A has no cord behind B."""
    return [*sealed(), trace("A", "B", there_db, receive_m=0.0), trace("B", "A", back_db)]


@pytest.mark.parametrize(
    ("there_db", "outcome", "reason"),
    # From B 1.8 dB are read, 0.3 of them at B's connection: with 1.5 dB from A the rest is 1.5 dB, the limit itself.
    [(1.5, "undetermined", "no_cord"), (1.501, "nonconforming", None)],
)
def test_an_end_not_seen_from_both_only_adds_so_that_a_breach_is_proven_and_nothing_else(
    there_db: float, outcome: str, reason: str | None
) -> None:
    finding = link(without_far(there_db, 1.8))
    assert (finding["outcome"], finding.get("reason")) == (outcome, reason)
    assert "the connection at B left out" in finding["detail"]


def test_what_keeps_the_limit_without_an_end_is_not_proven_to_keep_it_with_it() -> None:
    finding = link(without_far(0.9, 1.2))
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_cord")
    assert "at least 0.900 dB" in finding["detail"]


def test_another_cord_at_an_end_for_each_direction_measures_another_connection() -> None:
    cord = {"serial": "CORD-X", "length_m": 300.0, "fibre_type": "G.652.D", "connector": "connector-x"}
    bodies = [*sealed(), trace("A", "B", 1.2), trace("B", "A", 1.2, launch_cord=cord)]
    finding = link(bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "cords_changed")


def steep(body: Body, db_per_km: float | None) -> Body:
    return with_events(body, lambda event: {**event, **({"attenuation_db_per_km": db_per_km} if db_per_km else {})})


def test_without_totals_the_parts_are_the_loss_and_what_is_not_seen_is_a_bound() -> None:
    # 3 km at 0.2 dB/km, 0.3 dB at each end and 0.04 dB in each closure: 1.28 dB.
    shown = [*sealed(), steep(trace("A", "B", None), 0.2), steep(trace("B", "A", None), 0.2)]
    assert link(shown)["value"] == "1.2800"
    # Not seen from A, a splice of at most 0.02 dB either way: the mean is within 0.01 dB of what is left.
    unseen = [*sealed(), steep(trace("A", "B", None, losses_db={"C1": None}), 0.2), shown[-1]]
    finding = link(unseen)
    assert (finding["low"], finding["high"]) == ("1.2500", "1.2700")
    unstated = [*sealed(), trace("A", "B", None), shown[-1]]
    assert link(unstated)["reason"] == "loss_not_stated"


def test_source_and_meter_that_show_another_loss_leave_nothing_proven() -> None:
    powers = [make_attenuation(from_site=near, to_site=far, loss_db=2.5) for near, far in (("A", "B"), ("B", "A"))]
    assert link([*two_way(1.2, 1.2), *powers])["reason"] == "whole_unlike_parts"


@pytest.mark.parametrize(
    "changes", [{"combination": "worse"}, {"reference_cords": 1}, {"least_attenuation_db_per_km": 0.16}]
)
def test_what_belongs_to_source_and_meter_is_refused(changes: Body) -> None:
    with pytest.raises(ValueError, match=r"otdr|source_and_meter"):
        criteria_of(only(link_criterion(**{**BY_OTDR, **changes})))


def test_the_crew_is_asked_for_traces() -> None:
    judged = judge(sealed(), design=cord_ended(), criteria=only(link_criterion(limit=FIXED, **BY_OTDR)))
    [item] = [one for one in judged.document["work"] if one["act"] == "test"]
    assert {asked["test"] for asked in item.get("tests", [])} == {"otdr"}


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
