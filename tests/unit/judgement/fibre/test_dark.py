"""Dark fibres: as many as the criteria tolerate keep no segment from conforming, and one more does."""

from collections.abc import Mapping, Sequence

import pytest

from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    make_continuity,
    make_design,
    only,
    sealed,
    splice_criterion,
    statistic_criterion,
)
from tests.unit.judgement.judging import judge
from tests.unit.judgement.routes import verdict_of
from worker.judgement.route.settle import Verdict

CONTINUITY = {"code": "CONTINUITY", "quantity": "continuity"}


def is_dark(*bodies: Body) -> bool:
    """Tell whether these records make fibre 1 dark."""
    return judge([*sealed(), *bodies]).document.get("is_dark", False)


def test_a_fibre_is_dark_where_no_light_comes_out() -> None:
    assert is_dark(make_continuity(seen=None))
    assert not is_dark(make_continuity(seen=1))
    assert not is_dark(make_continuity(seen=2))
    assert not is_dark()


def test_light_seen_from_one_end_is_light() -> None:
    dark, lit = make_continuity(seen=None), make_continuity(from_site="B", to_site="A", seen=1)
    assert not is_dark(dark, lit)


def test_a_fibre_that_was_mended_and_tested_again_is_no_longer_dark() -> None:
    dark, lit = make_continuity(seen=None), make_continuity(seen=1, made_at="2025-03-27T08:00:00Z")
    assert not is_dark(dark, lit)
    assert is_dark(lit, make_continuity(seen=None, made_at="2025-03-28T08:00:00Z"))


def test_a_test_that_does_not_count_makes_nothing_dark() -> None:
    assert not judge([make_continuity(seen=None)]).document.get("is_dark", False)


def settled(dark: Sequence[int], *, tolerated: int, criteria: Sequence[Body] = ()) -> Verdict:
    """Settle a route of four fibres, some of them dark and nothing else known of these."""
    design = cord_ended(fibres=4)
    agreed = {**only(splice_criterion(), CONTINUITY, *criteria), "dark_fibres_tolerated": tolerated}
    bodies: Mapping[int, Sequence[Body]] = {
        fibre: [make_continuity(fibre=fibre, seen=None)]
        if fibre in dark
        else [make_continuity(fibre=fibre, seen=fibre), *both_ways(fibre=fibre, design=design)]
        for fibre in range(1, 5)
    }
    return verdict_of({fibre: [*sealed(), *own] for fibre, own in bodies.items()}, design=design, criteria=agreed)


@pytest.mark.parametrize(
    ("dark", "tolerated", "listed", "outcome"),
    [
        ([], 0, None, "conforming"),
        ([2], 0, None, "nonconforming"),
        ([2], 1, [2], "conforming"),
        ([2, 4], 2, [2, 4], "conforming"),
        ([2, 4], 1, None, "nonconforming"),
    ],
)
def test_as_many_dark_fibres_as_are_tolerated_leave_a_segment_conforming(
    dark: list[int], tolerated: int, listed: list[int] | None, outcome: str
) -> None:
    verdict = settled(dark, tolerated=tolerated)
    assert verdict.document.get("tolerated_dark") == listed
    assert verdict.document["segments"]["SEG1"]["outcome"] == outcome


def test_a_tolerated_dark_fibre_is_no_member_of_what_is_judged_together() -> None:
    mean = statistic_criterion(over="route", limit_db=0.25)
    [found] = settled([2], tolerated=1, criteria=[mean]).document["findings"]
    assert (found["outcome"], found["count"]) == ("conforming", 6)
    [found] = settled([2], tolerated=0, criteria=[mean]).document["findings"]
    assert found["outcome"] == "undetermined"


def test_a_segment_of_dark_fibres_alone_proves_nothing() -> None:
    assert settled([1, 2, 3, 4], tolerated=4).document["segments"]["SEG1"]["outcome"] == "undetermined"


def test_darkness_needs_no_criterion_of_its_own() -> None:
    document = judge([*sealed(), make_continuity(seen=None)], design=make_design()).document
    assert document["is_dark"]
    assert all(finding["criterion"] != "CONTINUITY" for finding in document["findings"])
