"""The loss of each mated pair, alone and beside its pigtail's splice."""

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    SCRATCHED,
    Body,
    connection_criterion,
    end_face_criterion,
    make_end_face,
    make_otdr,
    make_site,
    make_terminal,
    only,
    sealed,
    termination_criterion,
    with_site,
)
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import finding_by, judge


def bare_pair() -> Body:
    """Return a route whose fibres come with a connector at A: a pair with no splice behind it."""
    return with_site(make_terminal("A", termination="factory_cord"), at=0)


def pair_at_a(
    forward_db: float | None, backward_db: float | None, *, design: Body | None = None, **changes: object
) -> FindingDocument:
    """Return what one connection criterion, changed so, says of the pair at A."""
    bodies = traces(forward_db, backward_db, site="A", design=design)
    return finding_by(connection_criterion(**changes), bodies, site="A", design=design)


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "outcome"),
    [(0.5, 0.5, "conforming"), (0.6, 0.4, "conforming"), (0.6, 0.401, "nonconforming"), (0.499, 0.5, "conforming")],
)
def test_the_mean_of_a_pair_is_held_against_its_limit(forward_db: float, backward_db: float, outcome: str) -> None:
    assert pair_at_a(forward_db, backward_db, design=bare_pair())["outcome"] == outcome


@pytest.mark.parametrize(
    ("forward_db", "backward_db", "outcome"),
    [
        (0.2, 0.2, "conforming"),
        (0.201, 0.0, "nonconforming"),
        (0.0, 0.201, "nonconforming"),
        (0.2, 0.1, "conforming"),
    ],
)
def test_each_way_both_directions_have_to_keep_it(forward_db: float, backward_db: float, outcome: str) -> None:
    finding = pair_at_a(forward_db, backward_db, design=bare_pair(), combination="worse", limit_db=0.2)
    assert (finding["outcome"], finding["value"]) == (outcome, f"{max(forward_db, backward_db):.4f}")


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.2, "undetermined"), (0.201, "nonconforming")])
def test_each_way_one_direction_may_break_it_and_never_keeps_it(loss_db: float, outcome: str) -> None:
    criterion = connection_criterion(combination="worse", limit_db=0.2)
    trace = make_otdr(losses_db={"A": loss_db}, design=bare_pair())
    finding = finding_by(criterion, [*sealed(), trace], site="A", design=bare_pair())
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("one_direction_only" if outcome == "undetermined" else None)


@pytest.mark.parametrize("combination", ["mean", "worse"])
def test_a_pair_whose_cord_was_changed_is_not_measured(combination: str) -> None:
    backward = make_otdr(from_site="B", to_site="A")
    backward["receive_cord"] = {**backward["receive_cord"], "serial": "CORD-X"}
    finding = finding_by(connection_criterion(combination=combination), [*sealed(), make_otdr(), backward], site="A")
    assert finding["reason"] == "cords_changed"


@pytest.mark.parametrize("combination", ["mean", "worse"])
def test_a_pair_that_no_trace_shows_is_undetermined(combination: str) -> None:
    finding = pair_at_a(None, None, combination=combination)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "pair_not_seen")


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.2, "conforming"), (0.201, "undetermined")])
@pytest.mark.parametrize("combination", ["mean", "worse"])
def test_a_group_that_keeps_the_pairs_own_limit_proves_the_pair(loss_db: float, outcome: str, combination: str) -> None:
    finding = pair_at_a(loss_db, loss_db, combination=combination, limit_db=0.2)
    assert (finding["outcome"], finding["position"]) == (outcome, 1)
    assert finding.get("reason") == ("group_only" if outcome == "undetermined" else None)


def test_each_way_a_group_whose_mean_alone_keeps_the_limit_proves_nothing() -> None:
    assert pair_at_a(0.25, 0.1, limit_db=0.2)["outcome"] == "conforming"
    assert pair_at_a(0.25, 0.1, limit_db=0.2, combination="worse")["reason"] == "group_only"


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.5, "conforming"), (0.501, "nonconforming")])
def test_the_groups_criterion_decides_for_a_pair_above_its_own_limit(loss_db: float, outcome: str) -> None:
    bodies = traces(loss_db, loss_db, site="A")
    finding = finding_by(connection_criterion(limit_db=0.2), bodies, beside=[termination_criterion()], site="A")
    assert (finding["outcome"], finding["limit"]) == (outcome, "0.5000")
    assert finding["detail"].startswith("decided by TERM-1550 for the whole connection")


def test_the_strictest_group_criterion_decides_and_an_advisory_one_never() -> None:
    wide = termination_criterion(code="WIDE", limit_db=0.7)
    advisory = termination_criterion(code="ADVICE", limit_db=0.3, force="advisory")
    beside = [wide, termination_criterion(), advisory]
    finding = finding_by(connection_criterion(limit_db=0.2), traces(0.4, 0.4, site="A"), beside=beside, site="A")
    assert (finding["outcome"], finding["limit"]) == ("conforming", "0.5000")


@pytest.mark.parametrize(("patch_cord", "positions"), [(False, [2]), (True, [2, 3])])
def test_a_panel_has_a_finding_for_each_of_its_pairs(patch_cord: bool, positions: list[int]) -> None:
    design = with_site(make_site("C1", kind="patch_panel", termination="pigtail", patch_cord=patch_cord), at=1)
    judgement = judge(traces(0.5, 0.5, design=design), design=design, criteria=only(connection_criterion()))
    pairs = [finding for finding in judgement.document["findings"] if finding["site"] == "C1"]
    assert [(pair["position"], pair["outcome"]) for pair in pairs] == [(p, "conforming") for p in positions]


def test_a_closure_has_no_pair() -> None:
    judgement = judge([], criteria=only(connection_criterion()))
    assert [finding["site"] for finding in judgement.document["findings"]] == ["A", "B"]


@pytest.mark.parametrize("combination", ["mean", "worse"])
def test_a_pair_whose_end_face_fails_is_not_measured(combination: str) -> None:
    read, criterion = traces(0.1, 0.1, site="A"), connection_criterion(combination=combination)
    faces = [end_face_criterion()]
    finding = finding_by(criterion, [*read, make_end_face(zones=SCRATCHED)], beside=faces, site="A")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "end_face_failed")
    assert finding_by(criterion, [*read, make_end_face()], beside=faces, site="A")["outcome"] == "conforming"
