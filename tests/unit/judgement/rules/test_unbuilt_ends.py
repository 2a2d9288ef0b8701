"""A route that ends where no fibre is connected yet: one end to test from, and nothing asked of the other."""

import pytest

from tests.factories import (
    Body,
    finished_fibre,
    make_design,
    make_otdr,
    make_site,
    make_terminal,
    only,
    splice_criterion,
)
from tests.unit.judgement.judging import finding_of, judge, work_of
from worker.judgement.judge import FibreJudgement

KINDS = ("stub", "splice_closure")


def ending(kind: str, *, at: int = -1) -> Body:
    """Return the usual route with another end, which is not connected yet."""
    design = make_design()
    design["sites"][at] = make_site(design["sites"][at]["id"], kind=kind)
    return design


def from_a(design: Body) -> list[Body]:
    """Return all that can be done on fibre 1: nothing at B, nothing from there, and nothing with a meter there."""
    return [
        one
        for one in finished_fibre(design=design)
        if "B" not in {one.get("site"), one.get("from_site")} and one["kind"] != "attenuation"
    ]


def reasons(judgement: FibreJudgement) -> dict[tuple[str, str | None], str | None]:
    return {(one["criterion"], one.get("site")): one.get("reason") for one in judgement.document["findings"]}


@pytest.mark.parametrize("kind", KINDS)
def test_where_all_is_done_that_can_be_the_unbuilt_end_is_the_reason_and_a_question(kind: str) -> None:
    design = ending(kind)
    judgement = judge(from_a(design), design=design)
    # At B there is no joint, and so no finding.
    assert reasons(judgement) == {
        ("SPLICE-1550", "A"): "end_not_built",
        ("SPLICE-1550", "C1"): "end_not_built",
        ("SPLICE-1550", "C2"): "end_not_built",
        ("TERM-1550", "A"): "end_not_built",
        ("LINK-1550", None): "end_not_built",
        ("OTDR-1550", None): "end_not_built",
    }
    assert finding_of(judgement, "OTDR-1550")["detail"] == (
        "no OTDR trace B to A at 1550 nm; at B no fibre is connected yet"
    )
    assert {one["outcome"] for one in judgement.document["findings"]} == {"undetermined"}
    assert work_of(judgement) == [("ask_engineer", "B")]


def test_a_test_that_can_be_made_is_asked_for_and_is_the_reason_until_it_is_there() -> None:
    design = ending("stub")
    judgement = judge([one for one in from_a(design) if one["kind"] != "otdr"], design=design)
    assert reasons(judgement)["SPLICE-1550", "C1"] == reasons(judgement)["OTDR-1550", None] == "no_evidence"
    assert reasons(judgement)["LINK-1550", None] == "end_not_built"
    assert work_of(judgement) == [("test", "A"), ("ask_engineer", "B")]


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.299, "conforming"), (0.3, "conforming"), (0.301, "nonconforming")])
def test_where_one_direction_was_agreed_to_be_enough_it_decides(loss_db: float, outcome: str) -> None:
    design, criterion = ending("stub"), splice_criterion(tested_from="either", combination="worse", limit_db=0.3)
    bodies = [one for one in from_a(design) if one["kind"] != "otdr"]
    bodies.append(make_otdr(design=design, losses_db={"C1": loss_db}))
    finding = finding_of(judge(bodies, design=design, criteria=only(criterion)), criterion["code"], site="C1")
    assert (finding["outcome"], finding.get("reason")) == (outcome, None)


@pytest.mark.parametrize("kind", KINDS)
def test_who_tests_from_the_bare_fibre_all_the_same_proves_it(kind: str) -> None:
    design = ending(kind)
    bodies = [one for one in finished_fibre(design=design) if one.get("site") != "B"]
    assert set(reasons(judge(bodies, design=design)).values()) == {None}


def test_the_route_may_begin_there_as_well() -> None:
    design = ending("stub", at=0)
    bodies = [
        one
        for one in finished_fibre(design=design)
        if "A" not in {one.get("site"), one.get("from_site")} and one["kind"] != "attenuation"
    ]
    judgement = judge(bodies, design=design)
    assert set(reasons(judgement).values()) == {"end_not_built"}
    assert ("TERM-1550", "B") in reasons(judgement)
    assert work_of(judgement) == [("ask_engineer", "A")]


def test_a_route_with_two_terminals_never_gives_this_reason() -> None:
    judgement = judge([one for one in finished_fibre() if one.get("from_site") != "B"])
    assert "end_not_built" not in reasons(judgement).values()
    assert ("test", "A-B") in work_of(judgement)


def test_what_was_recorded_at_a_site_that_a_revision_leaves_out_is_passed_over() -> None:
    left_out = make_design(closures=1)
    left_out["sections"][0]["cable_length_m"] = 2000.0
    left_out["sites"][1] = make_site("C2")
    left_out["segments"][0]["sites"] = ["A", "C2", "B"]
    before = finished_fibre()
    judged, alone = (
        judge(bodies, design=left_out) for bodies in (before, [one for one in before if one.get("site") != "C1"])
    )
    assert "C1" in {one.get("site") for one in before}
    assert judged.content == alone.content
    assert make_terminal("A")["id"] in {one.get("site") for one in judged.document["findings"]}
