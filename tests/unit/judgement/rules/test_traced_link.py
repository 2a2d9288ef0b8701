"""Link loss by OTDR: what traces of both directions lose from before one end to behind the other."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    cord_ended,
    criteria_of,
    link_criterion,
    make_attenuation,
    make_otdr,
    only,
    sealed,
    with_events,
)
from tests.unit.judgement.judging import finding_by, judge

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


def test_one_direction_also_shows_how_the_ends_scatter_and_is_no_loss_unless_that_is_agreed() -> None:
    assert link(two_way(1.0, 1.0)[:-1])["reason"] == "one_direction_only"
    assert link(two_way(1.0, 1.0)[:-1], combination="worse")["reason"] == "one_direction_only"


# The one limit of 1.5 dB, whatever it is read by.
@pytest.mark.parametrize(
    ("tested_from", "there_db", "back_db", "value_db", "outcome"),
    [
        ("a", 1.499, 9.0, "1.4990", "conforming"),
        ("a", 1.5, 9.0, "1.5000", "conforming"),
        ("a", 1.501, 0.9, "1.5010", "nonconforming"),
        ("b", 9.0, 1.499, "1.4990", "conforming"),
        ("b", 9.0, 1.5, "1.5000", "conforming"),
        ("b", 0.9, 1.501, "1.5010", "nonconforming"),
        # Where both are there their mean counts.
        ("either", 1.6, 1.399, "1.4995", "conforming"),
        ("either", 1.6, 1.4, "1.5000", "conforming"),
        ("either", 1.6, 1.401, "1.5005", "nonconforming"),
    ],
)
def test_from_one_end_its_own_total_is_held_where_that_is_agreed(
    tested_from: str, there_db: float, back_db: float, value_db: str, outcome: str
) -> None:
    finding = link(two_way(there_db, back_db), tested_from=tested_from)
    assert (finding["value"], finding["outcome"]) == (value_db, outcome)


@pytest.mark.parametrize("kept", [0, 1])
@pytest.mark.parametrize(
    ("total_db", "outcome"), [(1.499, "conforming"), (1.5, "conforming"), (1.501, "nonconforming")]
)
def test_either_end_is_enough_and_says_what_one_way_holds(kept: int, total_db: float, outcome: str) -> None:
    *seals, forward, backward = two_way(total_db, total_db)
    finding = link([*seals, (forward, backward)[kept]], tested_from="either")
    assert (finding["outcome"], len(finding["readings"])) == (outcome, 1)
    assert "with what the glass at both ends scatters unlike" in finding["detail"]


@pytest.mark.parametrize(
    ("there_db", "back_db", "outcome"),
    [
        (1.499, 1.0, "conforming"),
        (1.0, 1.5, "conforming"),
        (1.501, 1.0, "nonconforming"),
        (1.0, 1.501, "nonconforming"),
    ],
)
def test_each_way_by_itself_is_the_worse_of_both_with_whatever_cords(
    there_db: float, back_db: float, outcome: str
) -> None:
    cord = {"serial": "CORD-X", "length_m": 300.0, "fibre_type": "G.652.D", "connector": "connector-x"}
    bodies = [*sealed(), trace("A", "B", there_db), trace("B", "A", back_db, launch_cord=cord)]
    assert link(bodies, combination="worse")["outcome"] == outcome


@pytest.mark.parametrize(
    ("there_db", "outcome", "reason"),
    # 0.3 dB of the total at A's connection, which shows; B's has no cord behind it.
    [(1.5, "undetermined", "no_cord"), (1.501, "nonconforming", None)],
)
def test_from_one_end_too_a_connection_not_seen_only_adds(there_db: float, outcome: str, reason: str | None) -> None:
    finding = link([*sealed(), trace("A", "B", there_db, receive_m=0.0)], tested_from="a")
    assert (finding["outcome"], finding.get("reason")) == (outcome, reason)


@pytest.mark.parametrize(
    ("there_db", "back_db", "outcome"),
    # The trace from A has no cord behind B; with B's alone, which sees both ends, one is enough.
    [(1.2, 1.499, "conforming"), (1.2, 1.5, "conforming"), (1.2, 1.501, "nonconforming")],
)
def test_beside_a_trace_that_misses_an_end_the_one_that_sees_both_is_enough(
    there_db: float, back_db: float, outcome: str
) -> None:
    finding = link(without_far(there_db, back_db), tested_from="either")
    assert (finding["outcome"], len(finding["readings"])) == (outcome, 1)


def test_the_crew_is_asked_for_the_end_that_is_agreed() -> None:
    criterion = link_criterion(limit=FIXED, **BY_OTDR, tested_from="b")
    judged = judge(sealed(), design=cord_ended(), criteria=only(criterion))
    [item] = [one for one in judged.document["work"] if one["act"] == "test"]
    assert [asked["from_sites"] for asked in item["tests"]] == [["B"]]


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


@pytest.mark.parametrize("changes", [{"reference_cords": 1}, {"least_attenuation_db_per_km": 0.16}])
def test_what_belongs_to_source_and_meter_is_refused(changes: Body) -> None:
    with pytest.raises(ValueError, match="source_and_meter"):
        criteria_of(only(link_criterion(**{**BY_OTDR, **changes})))


def test_the_crew_is_asked_for_traces() -> None:
    judged = judge(sealed(), design=cord_ended(), criteria=only(link_criterion(limit=FIXED, **BY_OTDR)))
    [item] = [one for one in judged.document["work"] if one["act"] == "test"]
    assert {asked["test"] for asked in item.get("tests", [])} == {"otdr"}
