"""Each fibre comes out under its own number."""

from collections.abc import Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    continuity_criterion,
    make_cleaning,
    make_continuity,
    make_design,
    make_splice,
    only,
    sealed,
    stored,
)
from tests.unit.judgement.judging import finding_by, judge
from worker.judgement.history.evidence import Evidence

BEFORE, LATER = "2025-03-19T08:00:00Z", "2025-03-25T08:00:00Z"
BACK: Body = {"from_site": "B", "to_site": "A"}


def continuity(bodies: Sequence[Body | Evidence], *, design: Body | None = None) -> FindingDocument:
    """Return the finding about fibre 1."""
    return finding_by(continuity_criterion(), [*sealed(), *bodies], design=design)


@pytest.mark.parametrize("ends", [{}, BACK])
@pytest.mark.parametrize(
    ("seen", "outcome", "said"),
    [
        (1, "conforming", "seen at"),
        (2, "nonconforming", "fibres 1 and 2 are crossed"),
        (None, "nonconforming", "all dark at"),
    ],
)
def test_one_direction_is_enough(ends: Any, seen: int | None, outcome: str, said: str) -> None:
    finding = continuity([make_continuity(seen=seen, **ends)])
    assert finding["outcome"] == outcome
    assert said in finding["detail"]
    assert "reason" not in finding


def test_nothing_lit_is_not_proven() -> None:
    finding = continuity([])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")
    assert finding["detail"] == "no continuity test A to B; no continuity test B to A"


def test_two_directions_that_contradict_each_other_prove_nothing() -> None:
    finding = continuity([make_continuity(), make_continuity(seen=None, **BACK)])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "readings_disagree")
    assert finding["detail"] == "fibre 1 lit at A, seen at B; fibre 1 lit at B, all dark at A"


def test_the_latest_of_a_direction_counts_whatever_came_first() -> None:
    dark, right = make_continuity(seen=None), make_continuity(made_at=LATER)
    for order in ([dark, right], [right, dark]):
        assert continuity(order)["outcome"] == "conforming"


@pytest.mark.parametrize(
    ("own", "outcome"),
    [
        ([], "nonconforming"),
        ([make_continuity(made_at=BEFORE)], "nonconforming"),
        ([make_continuity()], "nonconforming"),
        ([make_continuity(made_at=LATER)], "conforming"),
        ([make_continuity(made_at=LATER, **BACK)], "conforming"),
        ([make_continuity(seen=None, made_at=LATER)], "nonconforming"),
        ([stored(make_continuity(made_at=LATER), clock_is_flagged=True)], "nonconforming"),
    ],
)
def test_a_number_seen_while_another_was_lit_is_crossed_unless_later_proven_right(own: list[Any], outcome: str) -> None:
    finding = continuity([make_continuity(fibre=7, seen=1), *own])
    assert finding["outcome"] == outcome
    assert ("fibres 7 and 1 are crossed" in finding["detail"]) is (outcome == "nonconforming")


@pytest.mark.parametrize("seen", [1, 2])
def test_a_splice_after_it_voids_it(seen: int) -> None:
    finding = continuity([make_continuity(seen=seen), make_splice(site="C1", made_at=LATER)])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "before_rework")


@pytest.mark.parametrize(
    ("bodies", "void"),
    [
        ([stored(make_continuity(fibre=7, seen=1), is_ended=True)], "replaced_or_withdrawn"),
        ([make_continuity(fibre=7, seen=1), make_splice(site="C1", made_at=LATER)], "before_rework"),
        ([make_continuity(fibre=7, seen=1, made_at="2025-03-05T08:00:00Z")], "before_sealing"),
    ],
)
def test_what_another_fibre_said_that_does_not_count_leaves_nothing_known_of_this_one(
    bodies: list[Any], void: str
) -> None:
    finding = continuity(bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")
    assert [one["reason"] for one in finding["void"]] == [void]


def test_a_wrong_clock_does_not_prove_a_fibre_right_later() -> None:
    own = stored(make_continuity(made_at=LATER, device="meter-app-9"), clock_is_flagged=True)
    criteria = only(continuity_criterion(), final_after_sealing=False)
    [finding] = judge([make_continuity(fibre=7, seen=1), own], criteria=criteria).document["findings"]
    assert finding["outcome"] == "nonconforming"


def test_cleaning_crosses_no_fibres() -> None:
    assert continuity([make_continuity(), make_cleaning(made_at=LATER)])["outcome"] == "conforming"


def test_a_test_of_a_part_says_nothing_of_the_whole() -> None:
    part = [make_continuity(fibre=fibre, to_site="C1") for fibre in (1, 7)]
    assert continuity(part)["reason"] == "no_evidence"


def test_a_stored_fibre_comes_out_nowhere() -> None:
    design = make_design(splice_plan=[{"site": "C1", "fibres": {"first": 1, "last": 1}, "action": "stored"}])
    assert judge([make_continuity()], design=design, criteria=only(continuity_criterion())).document["findings"] == []
