"""Connections and the splices behind them, which a trace shows as one."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    make_otdr,
    make_site,
    make_terminal,
    sealed,
    splice_criterion,
    termination_criterion,
    with_site,
)
from tests.unit.judgement.judging import finding_by, finding_of, judge


def ends(loss_db: float | None, **changes: Any) -> list[Body]:
    """Return both directions with a loss at the connection at A."""
    return [*sealed(), *both_ways(losses_db={"A": loss_db}, **changes)]


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.1, "conforming"), (0.101, "undetermined")])
def test_a_group_that_keeps_the_splices_own_limit_proves_the_splice_or_nothing(loss_db: float, outcome: str) -> None:
    finding = finding_by(splice_criterion(), ends(loss_db), site="A")
    assert (finding["outcome"], finding["limit"], finding["position"]) == (outcome, "0.1000", 2)
    assert finding.get("reason") == ("group_only" if outcome == "undetermined" else None)


@pytest.mark.parametrize(("loss_db", "outcome"), [(0.5, "conforming"), (0.501, "nonconforming")])
def test_the_groups_criterion_decides_for_its_connection_and_for_a_splice_above_its_own_limit(
    loss_db: float, outcome: str
) -> None:
    judgement = judge(ends(loss_db))
    connection = finding_of(judgement, "TERM-1550", site="A")
    assert (connection["outcome"], connection["position"]) == (outcome, 1)
    finding = finding_of(judgement, "SPLICE-1550", site="A")
    assert (finding["outcome"], finding["limit"]) == (outcome, "0.5000")
    assert finding["detail"].startswith("decided by TERM-1550")


def test_the_groups_criterion_at_another_wavelength_decides_nothing() -> None:
    other = termination_criterion(wavelength_nm=1310)
    assert finding_by(splice_criterion(), ends(0.3), beside=[other], site="A")["reason"] == "group_only"


@pytest.mark.parametrize("cord", ["launch_m", "receive_m"])
def test_an_end_without_a_cord_is_not_measured(cord: str) -> None:
    bare_trace: dict[str, Any] = {cord: 0.0}
    judgement = judge([*sealed(), make_otdr(**bare_trace), make_otdr(from_site="B", to_site="A")])
    bare, other = ("A", "B") if cord == "launch_m" else ("B", "A")
    assert finding_of(judgement, "TERM-1550", site=bare)["reason"] == "no_cord"
    assert finding_of(judgement, "TERM-1550", site=other)["outcome"] == "conforming"
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == "conforming"


def test_an_end_whose_cord_was_changed_is_not_measured() -> None:
    backward = make_otdr(from_site="B", to_site="A")
    backward["receive_cord"] = {**backward["receive_cord"], "serial": "CORD-X"}
    judgement = judge([*sealed(), make_otdr(), backward])
    assert finding_of(judgement, "TERM-1550", site="A")["reason"] == "cords_changed"
    assert finding_of(judgement, "TERM-1550", site="B")["outcome"] == "conforming"


def test_a_factory_cord_has_a_connection_and_no_splice() -> None:
    judgement = judge(ends(0.3), design=with_site(make_terminal("A", termination="factory_cord"), at=0))
    assert finding_of(judgement, "TERM-1550", site="A")["position"] == 1
    splices = [f["site"] for f in judgement.document["findings"] if f["quantity"] == "splice_loss"]
    assert splices == ["C1", "C2", "B"]


def test_joints_that_a_short_pulse_sees_apart_are_added_up() -> None:
    forward = make_otdr(losses_db={"A": 0.2})
    forward["events"].insert(1, {"distance_m": 503.0, "kind": "non_reflective", "loss_db": 0.15})
    backward = make_otdr(from_site="B", to_site="A", losses_db={"A": 0.35})
    finding = finding_of(judge([*sealed(), forward, backward]), "TERM-1550", site="A")
    assert finding["value"] == "0.3500"


@pytest.mark.parametrize(("patch_cord", "positions"), [(False, [1, 3]), (True, [1, 4])])
def test_a_patch_panel_is_one_group_named_after_its_first_pair(patch_cord: bool, positions: list[int]) -> None:
    design = with_site(make_site("C1", kind="patch_panel", termination="pigtail", patch_cord=patch_cord), at=1)
    bodies = [
        *sealed(),
        make_otdr(design=design, losses_db={"C1": 0.45}),
        make_otdr(design=design, from_site="B", to_site="A", losses_db={"C1": 0.47}),
    ]
    judgement = judge(bodies, design=design)
    finding = finding_of(judgement, "TERM-1550", site="C1")
    assert (finding["value"], finding["outcome"], finding["position"]) == ("0.4600", "conforming", 2)
    splices = [f for f in judgement.document["findings"] if f["quantity"] == "splice_loss" and f["site"] == "C1"]
    assert [splice["position"] for splice in splices] == positions
