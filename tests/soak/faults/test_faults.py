"""A short run of what `make soak` does for long; and its checks see what they are there to see."""

from typing import Any
from uuid import UUID, uuid4

import pytest

from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.records.record import RECORD, canonical_record
from tests.factories import make_splice
from tests.integration.faults.processes import LEASES
from tests.soak.faults.checks import Check, against_records, check_judged
from tests.soak.faults.fresh import Judged
from tests.soak.faults.outcome import Outcome
from tests.soak.faults.plan import Fault, Plan
from tests.soak.faults.run import run_faults


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_whatever_is_killed_nothing_is_lost_doubled_or_judged_otherwise() -> None:
    said: list[str] = []
    plan = Plan(records=400, kills=len(Fault) + 2, seed=5, environment=LEASES)
    outcome = run_faults(plan, say=said.append)
    assert outcome.problems == []
    assert [check for check in outcome.all_checks() if not check.holds] == []
    assert outcome.is_good
    assert sum(outcome.killed.values()) == plan.kills


def test_a_plan_kills_each_kind_about_as_often_and_the_same_again_by_its_seed() -> None:
    order = Plan(records=1, kills=21, seed=3).order()
    counts = {fault: order.count(fault) for fault in Fault}
    assert set(counts.values()) == {2, 3}
    assert order == Plan(records=1, kills=21, seed=3).order() != Plan(records=1, kills=21, seed=4).order()


def row_of(record: Any) -> tuple[UUID, str, str]:
    body = canonical_json(canonical_record(RECORD.validate_python(record)))
    return UUID(record["id"]), sha256_hex(body), body.decode()


def test_a_record_lost_doubled_foreign_or_changed_is_found() -> None:
    first, second = make_splice(id=str(uuid4())), make_splice(id=str(uuid4()))
    answered = {UUID(one["id"]): one for one in (first, second)}
    rows = [row_of(first), row_of(second)]
    assert list(against_records(rows, answered)) == []
    assert list(against_records(rows[:1], answered)) == [f"record {second['id']} is there 0 times"]
    assert list(against_records([*rows, rows[0]], answered)) == [f"record {first['id']} is there 2 times"]
    foreign = row_of(make_splice(id=str(uuid4())))
    assert "never answered" in "".join(against_records([*rows, foreign], answered))
    changed = row_of({**second, "operator": "op-9"})
    assert list(against_records([rows[0], changed], answered)) == [f"record {second['id']} is not as it was sent"]


def test_a_document_that_is_other_or_not_there_is_found() -> None:
    route = uuid4()
    held = Judged(fibres={(route, 1): "a", (route, 2): "b"}, verdicts={route: "v"})
    assert check_judged(held, held).holds
    for other in (
        Judged(fibres={(route, 1): "a", (route, 2): "c"}, verdicts={route: "v"}),
        Judged(fibres={(route, 1): "a"}, verdicts={route: "v"}),
        Judged(fibres=held.fibres, verdicts={route: "w"}),
        Judged(fibres=held.fibres, verdicts={}),
    ):
        assert not check_judged(held, other).holds
        assert not check_judged(other, held).holds
    unjudged = Judged(fibres={(route, 1): None}, verdicts={route: "v"})
    assert not check_judged(unjudged, unjudged).holds


@pytest.mark.parametrize(
    "change",
    [
        {"problems": ["crew 0 failed"]},
        {"judged_after_s": 31.0},
        {"killed": {Fault.API: 1}},
        {"checks": []},
        {"checks": [Check(claim="looked at nothing", count=0, against=())]},
        {"checks": [Check(claim="does not hold", count=1, against=("this",))]},
    ],
)
def test_a_run_is_good_only_if_all_of_it_is(change: dict[str, Any]) -> None:
    good = {"killed": {Fault.API: 2}, "checks": [Check(claim="holds", count=1, against=())], "judged_after_s": 30.0}
    plan = Plan(records=1, kills=2, seed=0)
    assert Outcome(plan=plan, **good).is_good  # type: ignore[arg-type]
    assert not Outcome(plan=plan, **{**good, **change}).is_good
