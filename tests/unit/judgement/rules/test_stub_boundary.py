"""A segment proven alone whose far part is not built: its route ends in a stub, or in a closure joined later."""

from collections.abc import Sequence

import pytest

from tests.factories import (
    Body,
    in_three_segments,
    length_criterion,
    link_criterion,
    make_attenuation,
    make_return_loss,
    required_record_criterion,
    required_test_criterion,
    return_loss_criterion,
    splice_criterion,
    statistic_criterion,
    stray_criterion,
    termination_criterion,
)
from tests.unit.judgement.judging import judge
from tests.unit.judgement.rules.test_segments_alone import alone, made, outcomes, over, traces
from worker.judgement.judge import FibreJudgement

KINDS = ("stub", "splice_closure")
FIRST = ("A", "C1")


def ending(kind: str, *, at_a: bool = False) -> Body:
    """Return 2 km from A over C1 to an end in C2 that is not built, or the same seen from there."""
    design = in_three_segments()
    sites = [dict(one) for one in design["sites"][:3]]
    sites[2]["kind"] = kind
    sections, segment = design["sections"][:2], {**design["segments"][0], "sites": ["A", "C1", "C2"]}
    if at_a:
        sites, sections = sites[::-1], sections[::-1]
    return {**design, "sites": sites, "sections": sections, "segments": [segment]}


def judged(kind: str, bodies: Sequence[Body], *criteria: Body, at_a: bool = False) -> FibreJudgement:
    return judge(list(bodies), design=ending(kind, at_a=at_a), criteria=alone(*criteria))


@pytest.mark.parametrize("at_a", [False, True])
@pytest.mark.parametrize("kind", KINDS)
def test_it_conforms_by_traces_of_both_directions_up_to_the_bare_fibre(kind: str, at_a: bool) -> None:
    asked = splice_criterion(), termination_criterion(), required_test_criterion(over="joined"), stray_criterion()
    judgement = judged(kind, [*made(FIRST), *traces("A", "C2")], *asked, at_a=at_a)
    assert outcomes(judgement) == {"SEG1": "conforming"}
    # Nothing lies at the bare fibre that could be judged.
    assert "C2" not in {one.get("site") for one in judgement.document["findings"]}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("way", "start"), [(0, "C2"), (1, "A")])
def test_one_direction_leaves_it_open_and_the_other_is_asked_for(kind: str, way: int, start: str) -> None:
    judgement = judged(kind, [*made(FIRST), traces("A", "C2")[way]], splice_criterion())
    assert outcomes(judgement) == {"SEG1": "undetermined"}
    assert {one["reason"] for one in judgement.document["findings"]} == {"one_direction_only"}
    [item] = judgement.document["work"]
    assert (item["act"], [asked["from_sites"] for asked in item["tests"]]) == ("test", [[start]])


# The contract's 0.10 dB, by the mean of both directions.
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("loss_db", "outcome"), [(0.099, "conforming"), (0.1, "conforming"), (0.101, "nonconforming")])
def test_its_last_splice_keeps_its_own_limit(kind: str, loss_db: float, outcome: str) -> None:
    judgement = judged(
        kind, [*made(FIRST), *traces("A", "C2", losses_db={"C1": loss_db})], splice_criterion(at="line_closures")
    )
    found = [(one["site"], one["outcome"]) for one in judgement.document["findings"]]
    assert found == [("C1", outcome)]


# By hand: 2 km at 0.25 dB/km, the splices at A and in C1 at 0.1 dB each, and the one pair at A at 0.5 dB.
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("loss_db", "outcome"), [(1.199, "conforming"), (1.2, "conforming"), (1.201, "nonconforming")])
def test_its_budget_has_neither_joint_nor_connection_at_the_unbuilt_end(
    kind: str, loss_db: float, outcome: str
) -> None:
    ends = ("A", "C2"), ("C2", "A")
    meters = [make_attenuation(from_site=near, to_site=far, loss_db=loss_db) for near, far in ends]
    criterion = link_criterion(over="joined", least_attenuation_db_per_km=None)
    found = over(judged(kind, [*made(FIRST), *meters], criterion), "LINK-1550")
    assert (found["A", "C2"]["outcome"], found["A", "C2"]["limit"]) == (outcome, "1.2000")
    assert found["A", "C2"]["segments"] == ["SEG1"]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("value_db", "outcome"), [(32.001, "conforming"), (32.0, "conforming"), (31.999, "nonconforming")]
)
def test_its_return_loss_is_that_of_its_one_connection(kind: str, value_db: float, outcome: str) -> None:
    measured = make_return_loss(from_site="A", to_site="C2", return_loss_db=value_db, far_end="open")
    judgement = judged(kind, [*made(FIRST), measured], return_loss_criterion(over="joined"))
    own = [one for one in judgement.document["findings"] if one["segments"] == ["SEG1"]]
    assert [(one["site"], one["outcome"]) for one in own] == [("A", outcome)]


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_over_the_route_waits_for_a_later_design_and_is_asked_of_nobody(kind: str) -> None:
    judgement = judged(kind, [*made(FIRST), *traces("A", "C2")], required_test_criterion(over="route"))
    [found] = judgement.document["findings"]
    assert (found["outcome"], found["segments"]) == ("conforming", [])
    judgement = judged(kind, made(FIRST), required_test_criterion(over="route"))
    [found] = judgement.document["findings"]
    assert (found["reason"], found["segments"]) == ("link_not_joined", [])


@pytest.mark.parametrize("kind", KINDS)
def test_its_length_and_the_mean_of_its_splices_are_its_own(kind: str) -> None:
    asked = length_criterion(), statistic_criterion(over="fibre", at="line_closures")
    judgement = judged(kind, [*made(FIRST), *traces("A", "C2")], *asked)
    assert over(judgement, "LENGTH")["A", "C2"]["segments"] == ["SEG1"]
    [mean] = [one for one in judgement.document["findings"] if one["criterion"] == "MEAN"]
    assert (mean["count"], mean["outcome"]) == (1, "conforming")


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_to_be_made_or_sealed_at_the_boundary(kind: str) -> None:
    # Sealed or not, nothing is joined in C2; a seal that is missing in C1 is asked for there alone.
    asked = splice_criterion(at="line_closures"), required_record_criterion()
    unsealed = [one for one in made(FIRST) if one["kind"] != "closure_state"]
    judgement = judged(kind, [*unsealed, *traces("A", "C2")], *asked)
    assert outcomes(judgement) == {"SEG1": "undetermined"}
    acts = [(item["act"], item["sites"]) for item in judgement.document["work"]]
    assert ("seal", ["C1"]) in acts
    assert [sites for act, sites in acts if "C2" in sites and act not in {"test", "retest"}] == []


@pytest.mark.parametrize("kind", KINDS)
def test_proven_with_its_route_it_says_that_the_end_is_not_built(kind: str) -> None:
    criteria = alone(splice_criterion()) | {"segments_proven": "with_route"}
    judgement = judge([*made(FIRST), traces("A", "C2")[0]], design=ending(kind), criteria=criteria)
    assert {one["reason"] for one in judgement.document["findings"]} == {"end_not_built"}
