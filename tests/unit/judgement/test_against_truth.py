"""The judge against a simulated route whose truth is known and whose arithmetic is not the judge's."""

from functools import cache

import numpy as np

from tests.judged_routes import judge_route
from tests.simulator.contract import demo_criteria
from tests.simulator.large import LargeRoute, simulate_large
from tests.simulator.route import demo_design
from tests.simulator.story import demo_batches
from tests.unit.judgement.judging import where
from tests.unit.judgement.routes import settle_route
from worker.judgement.judge import FibreJudgement
from worker.judgement.route.settle import Verdict

FIBRES, CLOSURES = 12, 6
# Two readings of 0.006 dB noise each: their mean has 0.0042 dB, and one in 10^6 is off by more than five of these.
MEAN_TOLERANCE_DB = 0.0213


@cache
def large_route() -> LargeRoute:
    """Return one simulated route for all tests."""
    return simulate_large(fibres=FIBRES, closures=CLOSURES, seed=7)


@cache
def judged() -> tuple[FibreJudgement, ...]:
    """Judge every fibre of the simulated route."""
    route = large_route()
    return tuple(judge_route(route.design, route.criteria, route.records()))


def test_every_mean_is_the_true_loss_within_its_noise() -> None:
    truth = large_route().truth
    checked = 0
    for judgement in judged():
        for finding in judgement.document["findings"]:
            if finding["quantity"] not in {"splice_loss", "termination_loss"}:
                continue
            wavelength = truth.wavelengths_nm.index(finding["wavelength_nm"])
            true_db = truth.joint_loss_db[wavelength, finding["fibre"] - 1, truth.sites.index(finding["site"])]
            low_db, high_db = (float(finding.get("value") or finding[end]) for end in ("low", "high"))
            assert low_db - MEAN_TOLERANCE_DB <= true_db <= high_db + MEAN_TOLERANCE_DB
            checked += 1
    assert checked == 2 * FIBRES * (CLOSURES + 2 + 2)


def test_no_joint_that_is_bad_beyond_the_noise_conforms_and_no_good_one_fails() -> None:
    truth = large_route().truth
    for judgement in judged():
        for finding in judgement.document["findings"]:
            if finding["quantity"] in {"splice_loss", "termination_loss"}:
                wavelength = truth.wavelengths_nm.index(finding["wavelength_nm"])
                true_db = truth.joint_loss_db[wavelength, finding["fibre"] - 1, truth.sites.index(finding["site"])]
                over_db = true_db - float(finding["limit"])
                assert not (finding["outcome"] == "conforming" and over_db > MEAN_TOLERANCE_DB)
                assert not (finding["outcome"] == "nonconforming" and over_db < -MEAN_TOLERANCE_DB)


def test_honest_work_leaves_nothing_undetermined_and_nothing_to_do() -> None:
    findings = [finding for own in judged() for finding in own.document["findings"]]
    assert [finding for finding in findings if finding["outcome"] == "undetermined"] == []
    assert [item for own in judged() for item in [*own.document["work"], *own.document["unexpected_events"]]] == []


def test_a_good_share_of_good_joints_is_unseen_from_some_side() -> None:
    # Otherwise the bounds above are never put to the test.
    readings = [reading for own in judged() for f in own.document["findings"] for reading in f["readings"]]
    assert 0.02 < np.mean(["within" in reading for reading in readings]) < 0.5


def settle_after(batches: int) -> tuple[Verdict, list[FibreJudgement]]:
    """Judge the demo route after its first batches."""
    records = [record for batch in list(demo_batches().values())[:batches] for record in batch]
    design, criteria = demo_design(), demo_criteria()
    fibres = judge_route(design, criteria, records)
    return settle_route(fibres, design=design, criteria=criteria), fibres


def outcomes(verdict: Verdict) -> dict[str, str]:
    """Return the outcome of each segment."""
    return {name: segment["outcome"] for name, segment in verdict.document["segments"].items()}


def asked(fibres: list[FibreJudgement], act: str) -> list[tuple[str, int, bool]]:
    """Return site, fibre and urgency of each item that asks for an act."""
    return [
        (where(item), own.fibre, item["is_urgent"])
        for own in fibres
        for item in own.document["work"]
        if item["act"] == act
    ]


def test_bad_estimates_ask_for_new_splices_while_the_closures_are_open() -> None:
    _, fibres = settle_after(1)
    assert asked(fibres, "re_splice") == [("C2", 7, True), ("C4", 18, True)]
    _, fibres = settle_after(2)
    assert asked(fibres, "re_splice") == []


def test_a_fibre_pinched_when_its_closure_was_shut_is_found_by_the_final_tests() -> None:
    verdict, fibres = settle_after(5)
    assert outcomes(verdict) == {"west": "conforming", "east": "nonconforming"}
    assert asked(fibres, "relieve_bend") == [("C5", 20, False)]
    assert asked(fibres, "re_splice") == []


def test_a_closure_opened_for_repair_voids_the_tests_of_all_its_fibres() -> None:
    verdict, fibres = settle_after(6)
    assert outcomes(verdict) == {"west": "undetermined", "east": "undetermined"}
    assert {item["act"] for own in fibres for item in own.document["work"]} == {"retest"}


def test_the_retested_route_conforms_with_nothing_left_to_do() -> None:
    verdict, fibres = settle_after(7)
    assert outcomes(verdict) == {"west": "conforming", "east": "conforming"}
    assert [item for own in fibres for item in own.document["work"]] == []
