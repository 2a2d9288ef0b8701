"""Large routes: valid, complete, and the same each time."""

from collections import Counter
from datetime import datetime
from itertools import pairwise

import pytest

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.design.rules import faults_in
from service.vocabulary.records.record import RECORD
from tests.simulator.large import simulate_large


@pytest.mark.parametrize("fibres", [12, 48])
def test_a_large_route_is_valid_and_every_fibre_is_spliced_and_tested(fibres: int) -> None:
    route = simulate_large(fibres=fibres, closures=41, seed=3)
    assert faults_in(Design.model_validate(route.design)) == []
    Criteria.model_validate(route.criteria)
    records = list(route.records())
    for record in records:
        RECORD.validate_python(record)
    ribbons = fibres // 12 * 43
    tests = fibres * 2 * 2
    counts = Counter(record["kind"] for record in records)
    assert counts == {"splice": ribbons, "closure_state": 41, "otdr": tests, "attenuation": tests}
    assert len({record["id"] for record in records}) == len(records)


def test_work_comes_before_sealing_and_sealing_before_tests() -> None:
    records = list(simulate_large(fibres=12, closures=3, seed=3).records())
    last = {
        kind: max(datetime.fromisoformat(one["made_at"]) for one in records if one["kind"] == kind)
        for kind in ("closure_state", "otdr", "attenuation")
    }
    assert last["closure_state"] < last["otdr"] < last["attenuation"]
    splicing = [
        datetime.fromisoformat(one["made_at"]) for one in simulate_large(fibres=24, closures=3, seed=3).splicing()
    ]
    assert all(earlier < later for earlier, later in pairwise(splicing))


def test_with_a_fine_threshold_nearly_every_joint_shows_on_every_trace() -> None:
    traces = list(simulate_large(fibres=12, closures=40, seed=3, loss_threshold_db=0.001).otdr())
    assert sum(len(trace["events"]) for trace in traces) >= 0.98 * len(traces) * 43


def test_the_same_seed_gives_the_same_route_and_another_seed_another() -> None:
    one, again, other = (list(simulate_large(fibres=12, closures=5, seed=seed).otdr()) for seed in (3, 3, 4))
    assert one == again
    assert [trace["events"] for trace in one] != [trace["events"] for trace in other]
