"""Acts at connections played through: clean and inspect first, a new connector where that does not help."""

from functools import partial
from typing import Any

import pytest

from service.vocabulary.findings.words import Act
from tests.factories import (
    SCRATCHED,
    Body,
    both_ways,
    connection_criterion,
    end_face_criterion,
    make_cleaning,
    make_end_face,
    make_return_loss,
    make_site,
    make_splice,
    make_terminal,
    make_termination,
    reflectance_criterion,
    return_loss_criterion,
    sealed,
    splice_criterion,
    spliced,
    termination_criterion,
    with_events,
    with_site,
)
from tests.unit.judgement.judging import because, criteria_behind, where
from tests.unit.judgement.story import CLEANED, INSPECTED, RESEALED, RETESTED, REWORKED, SIDES, Story, finished

AGAIN = "2025-04-01T08:00:00Z"
END_FACE: Body = end_face_criterion()
RETURN_LOSS: Body = return_loss_criterion()


def test_a_bad_reflectance_is_cleaned_away() -> None:
    story = Story(reflectance_criterion(), END_FACE).add(*finished(*reflecting(-40.0)))
    [item] = story.asked(Act.CLEAN_AND_INSPECT)
    assert (where(item), item["position"], criteria_behind(item)) == ("A", 1, ["REFL-1550"])
    assert because(item).startswith("The reflectance at 1550 nm is -40.0000 dB, above the limit of -50.0000 dB")
    assert story.asked(Act.RE_TERMINATE) == []
    story.add(*clean_at_a(), *(make_end_face(site="B", side=side) for side in SIDES))
    assert {(item["act"], where(item)) for item in story.work} == {("retest", "A-B")}
    assert story.add(*reflecting(-60.0, made_at=RETESTED)).work == []


def test_what_cleaning_does_not_help_gets_a_new_connector() -> None:
    story = Story(reflectance_criterion()).add(*finished(*reflecting(-40.0)), *clean_at_a())
    story.add(*reflecting(-41.0, made_at=RETESTED))
    [item] = story.asked(Act.RE_TERMINATE)
    assert (where(item), item["position"], criteria_behind(item)) == ("A", 1, ["REFL-1550"])
    assert "give the fibre a new connector" in because(item)
    assert story.asked(Act.CLEAN_AND_INSPECT) == []
    story.add(make_termination(made_at="2025-04-01T08:00:00Z"))
    assert {item["act"] for item in story.work} == {"retest"}
    assert story.add(*reflecting(-60.0, made_at="2025-04-03T08:00:00Z")).work == []


def test_a_new_connector_is_cleaned_before_it_is_replaced_in_its_turn() -> None:
    story = Story(reflectance_criterion()).add(*finished(), *clean_at_a())
    story.add(make_termination(made_at=RETESTED), *(make_end_face(side=side, made_at=AGAIN) for side in SIDES))
    story.add(*reflecting(-42.0, made_at="2025-04-03T08:00:00Z"))
    assert [(item["act"], where(item)) for item in story.work] == [("clean_and_inspect", "A")]


def test_a_connection_that_passes_but_was_never_cleaned_is_cleaned_first() -> None:
    story = Story(reflectance_criterion()).add(*finished(*reflecting(-40.0)))
    story.add(*(make_end_face(side=side) for side in SIDES))
    assert [(item["act"], where(item)) for item in story.work] == [("clean_and_inspect", "A")]


def test_cleaning_another_connection_or_the_other_side_does_not_count() -> None:
    fail = make_end_face(side="towards_a", zones=SCRATCHED, made_at=INSPECTED)
    for elsewhere in ({"side": "towards_b"}, {"side": "towards_a", "position": 2}, {"side": "towards_a", "site": "B"}):
        twice: list[Body] = [make_cleaning(**elsewhere, made_at=at) for at in (REWORKED, RESEALED)]
        assert [item["act"] for item in Story(END_FACE).add(*finished(fail, *twice)).asked(Act.RE_TERMINATE)] == []


def test_a_cleaning_after_the_inspection_does_not_prove_a_scratch() -> None:
    fail = make_end_face(side="towards_a", zones=SCRATCHED, made_at=INSPECTED)
    cleaned = [make_cleaning(side="towards_a", made_at=at) for at in (REWORKED, RETESTED)]
    assert Story(END_FACE).add(*finished(fail, *cleaned)).asked(Act.RE_TERMINATE) == []


def test_at_a_panel_with_a_cord_only_the_first_connection_is_cleaned_for_the_splice() -> None:
    design = with_site(make_site("C2", kind="patch_panel", termination="pigtail", patch_cord=True), at=2)
    panel = [make_splice(site="C2", joints=[{"fibre": 1, "estimate_db": 0.02, "position": one}]) for one in (1, 4)]
    others = [one for one in spliced() if one["site"] != "C2"]
    story = Story(splice_criterion(), termination_criterion(), design=design)
    story.add(*others, *panel, *sealed(sites=["C1"]), *both_ways(design=design, losses_db={"C2": 0.9}))
    assert [(where(item), item["position"]) for item in story.asked(Act.CLEAN_AND_INSPECT)] == [("C2", 2)]


def test_a_connection_that_was_cleaned_but_not_inspected_is_cleaned_and_inspected_again() -> None:
    story = Story(reflectance_criterion()).add(*finished(*reflecting(-40.0)))
    story.add(*(make_cleaning(side=side, made_at=CLEANED) for side in SIDES), *reflecting(-41.0, made_at=RETESTED))
    assert [(item["act"], where(item)) for item in story.work] == [("clean_and_inspect", "A")]


@pytest.mark.parametrize("side", SIDES)
def test_a_failed_end_face_is_cleaned_and_after_two_cleanings_gets_a_new_connector(side: str) -> None:
    fail: dict[str, Any] = {"side": side, "zones": SCRATCHED}
    story = Story(END_FACE).add(*finished(make_end_face(**fail, made_at="2025-03-21T08:00:00Z")))
    [item] = story.asked(Act.CLEAN_AND_INSPECT)
    assert f"The end face towards {side[-1].upper()}: zone A: scratches" in because(item)
    story.add(make_cleaning(side=side, made_at=REWORKED), make_end_face(**fail, made_at=RESEALED))
    assert story.asked(Act.RE_TERMINATE) == []
    story.add(make_cleaning(side=side, made_at=CLEANED), make_end_face(**fail, made_at=INSPECTED))
    assert [(item["act"], where(item)) for item in story.work] == [("re_terminate", "A")]
    story.add(make_termination(made_at=RETESTED))
    assert story.asked(Act.RE_TERMINATE) == []


def test_end_faces_are_inspected_before_any_test_is_asked_for() -> None:
    story = Story(END_FACE, splice_criterion()).add(*finished())
    assert [(item["act"], where(item)) for item in story.work] == [
        ("clean_and_inspect", "A"),
        ("clean_and_inspect", "B"),
    ]
    story.add(*(make_end_face(site=site, side=side) for site in ("A", "B") for side in SIDES))
    assert {item["act"] for item in story.work} == {"test"}


def test_a_connection_without_a_splice_is_cleaned_then_gets_a_new_connector() -> None:
    design = with_site(make_terminal("A", termination="splice_on_connector"), at=0)
    story = Story(connection_criterion(), design=design)
    story.add(*(one for one in finished() if one["site"] != "A"), *both_ways(losses_db={"A": 0.7}))
    assert [item["act"] for item in story.work] == ["clean_and_inspect"]
    story.add(*clean_at_a(), *both_ways(losses_db={"A": 0.65}, made_at=RETESTED))
    assert [item["act"] for item in story.work] == ["re_terminate"]


def test_a_pigtail_whose_connection_is_clean_is_spliced_again_before_it_is_replaced() -> None:
    story = Story(splice_criterion(), termination_criterion()).add(*finished(*both_ways(losses_db={"A": 0.7})))
    assert [item["act"] for item in story.work] == ["clean_and_inspect"]
    story.add(*clean_at_a(), *both_ways(losses_db={"A": 0.65}, made_at=RETESTED))
    assert [(item["act"], item["position"]) for item in story.work] == [("re_splice", 2)]


def test_a_low_return_loss_is_cleaned_at_its_own_end() -> None:
    low = make_return_loss(from_site="B", to_site="A", return_loss_db=25.0)
    story = Story(RETURN_LOSS).add(*finished(make_return_loss(), low))
    [item] = story.asked(Act.CLEAN_AND_INSPECT)
    assert where(item) == "B"
    assert "is 25.0000 dB, below the least of 32.0000 dB" in because(item)
    story.add(*(make_cleaning(site="B", side=side, made_at=CLEANED) for side in SIDES))
    assert story.asked(Act.CLEAN_AND_INSPECT) == []
    ways: tuple[Body, ...] = ({}, {"from_site": "B", "to_site": "A"})
    assert story.add(*(make_return_loss(made_at=RETESTED, **way) for way in ways)).work == []


def reflecting(reflectance_db: float, **changes: Any) -> list[Body]:
    """Return traces whose connection at A sends so much back, and that at B very little."""
    return [
        with_events(trace, partial(with_reflectance, trace, reflectance_db=reflectance_db))
        for trace in both_ways(**changes)
    ]


def with_reflectance(trace: Body, event: Body, *, reflectance_db: float) -> Body:
    """Return a trace's event with what the connection at A sends back, or the one at B."""
    if event["kind"] != "reflective":
        return event
    return {**event, "reflectance_db": reflectance_db if is_at_a(trace, event) else -65.0}


def is_at_a(trace: Body, event: Body) -> bool:
    """Tell whether an event of a trace lies nearer to A than to B."""
    along_m = event["distance_m"] - trace["launch_cord"]["length_m"]
    return bool((along_m < 1500.0) is (trace["from_site"] == "A"))


def clean_at_a() -> list[Body]:
    """Return both sides of the connection at A cleaned, then inspected without a mark."""
    return [
        *(make_cleaning(side=side, made_at=CLEANED) for side in SIDES),
        *(make_end_face(side=side, made_at=INSPECTED) for side in SIDES),
    ]
