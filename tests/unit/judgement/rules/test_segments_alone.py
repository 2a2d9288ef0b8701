"""Segments that are proven alone: what is asked of them before their link is joined, and of whom all the rest is."""

from collections.abc import Iterable, Sequence

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    in_three_segments,
    length_criterion,
    link_criterion,
    make_attenuation,
    make_closure_state,
    make_criteria,
    make_otdr,
    make_return_loss,
    make_site,
    make_splice,
    required_record_criterion,
    required_test_criterion,
    return_loss_criterion,
    settings_criterion,
    splice_criterion,
    stored,
    stray_criterion,
    termination_criterion,
)
from tests.unit.judgement.judging import judge, work_of
from worker.judgement.history.evidence import Evidence
from worker.judgement.judge import FibreJudgement

# Up to a bare fibre in a closure there is no connection, and so no cord.
BARE = {"C2", "C4"}
FIRST, SECOND, THIRD = ("A", "C1"), ("C2", "C3"), ("C4", "B")


def alone(*criteria: Body, **changes: Body | str) -> Body:
    """Return criteria by which each segment is proven alone: what is usual, or these."""
    asked = criteria or (splice_criterion(), termination_criterion(), required_test_criterion(), stray_criterion())
    return make_criteria(criteria=list(asked), segments_proven="alone", **changes)


def traces(near: str, far: str, **changes: object) -> list[Body]:
    """Return both traces between two sites of the route."""
    design = in_three_segments()
    bare = {"launch_m": near, "receive_m": far}, {"launch_m": far, "receive_m": near}
    return [
        make_otdr(
            from_site=start,
            to_site=end,
            design=design,
            **{name: 0 for name, site in cords.items() if site in BARE},  # type: ignore[arg-type]
            **changes,  # type: ignore[arg-type]
        )
        for (start, end), cords in zip(((near, far), (far, near)), bare, strict=True)
    ]


def made(sites: Sequence[str], **changes: object) -> list[Body]:
    """Return a fibre spliced at sites, their closures sealed."""
    lids = [make_closure_state(site=site) for site in sites if site.startswith("C")]
    return [*(make_splice(site=site, **changes) for site in sites), *lids]  # type: ignore[arg-type]


def judged(
    *bodies: Iterable[Body | Evidence], criteria: Body | None = None, design: Body | None = None
) -> FibreJudgement:
    """Judge fibre 1 of the route in three segments."""
    return judge(
        [one for own in bodies for one in own],
        design=in_three_segments() if design is None else design,
        criteria=alone() if criteria is None else criteria,
    )


def outcomes(judgement: FibreJudgement) -> dict[str, str]:
    """Return what each segment comes to on this fibre."""
    return {segment: counts.outcome.value for segment, counts in judgement.counts.items()}


def over(judgement: FibreJudgement, code: str) -> dict[tuple[str, str], FindingDocument]:
    """Return the findings of a criterion about the fibre from one site to another."""
    found = judgement.document["findings"]
    return {(one["from_site"], one["to_site"]): one for one in found if one["criterion"] == code and "from_site" in one}


def test_a_segment_conforms_by_tests_between_its_own_ends_before_the_next_is_built() -> None:
    judgement = judged(made(FIRST), traces("A", "C2"))
    assert outcomes(judgement) == {"SEG1": "conforming", "SEG2": "undetermined", "SEG3": "undetermined"}


def test_what_is_about_the_whole_link_is_asked_of_the_segments_that_are_not_made() -> None:
    found = over(judged(made(FIRST), traces("A", "C2")), "OTDR-1550")["A", "B"]
    assert found["segments"] == ["SEG2", "SEG3"]
    assert found["reason"] == "link_not_joined"
    assert found["detail"].endswith("; nothing is joined yet at C2, C3, C4 and on")


def test_with_the_route_no_segment_conforms_before_the_link_is_joined() -> None:
    judgement = judged(made(FIRST), traces("A", "C2"), criteria=alone() | {"segments_proven": "with_route"})
    assert outcomes(judgement)["SEG1"] == "undetermined"
    assert over(judgement, "OTDR-1550")["A", "B"]["segments"] == ["SEG1", "SEG2", "SEG3"]


def test_a_test_from_one_end_over_it_proves_a_segment_too() -> None:
    judgement = judged(made((*FIRST, "C2")), traces("A", "C3"))
    assert outcomes(judgement)["SEG1"] == "conforming"
    assert outcomes(judgement)["SEG2"] == "undetermined"


@pytest.mark.parametrize("way", [0, 1])
def test_one_direction_proves_no_segment_where_both_are_asked_for(way: int) -> None:
    assert outcomes(judged(made(FIRST), [traces("A", "C2")[way]]))["SEG1"] == "undetermined"


def test_one_direction_proves_it_where_that_was_agreed_to_be_enough() -> None:
    criteria = alone(splice_criterion(tested_from="either", limit_db=0.3), termination_criterion(force="advisory"))
    assert outcomes(judged(made(FIRST), traces("A", "C2")[:1], criteria=criteria))["SEG1"] == "conforming"


def test_segments_that_are_not_neighbours_are_proven_each_for_itself() -> None:
    judgement = judged(made(FIRST), traces("A", "C2"), made(("B",)), traces("C4", "B"))
    # The joint in C4 is named by the third segment, and not made yet.
    assert outcomes(judgement) == {"SEG1": "conforming", "SEG2": "undetermined", "SEG3": "undetermined"}
    assert over(judgement, "OTDR-1550")["A", "B"]["segments"] == ["SEG2", "SEG3"]


def test_the_next_segment_asks_for_tests_over_the_splice_that_joins_it() -> None:
    joined = [*made(FIRST), *traces("A", "C2"), *made(SECOND)]
    between_its_ends, over_both = traces("C2", "C4"), traces("A", "C4")
    judgement = judged(joined, between_its_ends)
    assert outcomes(judgement) == {"SEG1": "undetermined", "SEG2": "undetermined", "SEG3": "undetermined"}
    assert over(judgement, "STRAY-1550")["A", "C4"]["segments"] == ["SEG1", "SEG2"]
    assert outcomes(judged(joined, over_both)) == {
        "SEG1": "conforming",
        "SEG2": "conforming",
        "SEG3": "undetermined",
    }


def test_once_the_link_is_joined_all_of_it_is_asked_of_every_segment() -> None:
    everything = [*made((*FIRST, *SECOND, *THIRD)), *traces("A", "C2"), *traces("A", "C4")]
    judgement = judged(everything)
    assert over(judgement, "OTDR-1550")["A", "B"]["segments"] == ["SEG1", "SEG2", "SEG3"]
    assert over(judgement, "OTDR-1550")["A", "B"]["reason"] == "no_evidence"
    assert set(outcomes(judged(everything, traces("A", "B"))).values()) == {"conforming"}


def test_withdrawing_what_joined_a_link_takes_it_apart_no_more() -> None:
    withdrawn = [stored(body, is_ended=True) for body in made(SECOND) if body["kind"] == "splice"]
    found = over(judged(made((*FIRST, *THIRD)), withdrawn), "OTDR-1550")["A", "B"]
    assert found["segments"] == ["SEG1", "SEG2", "SEG3"]
    annulled = [stored(body, is_annulled=True) for body in made(SECOND) if body["kind"] == "splice"]
    assert over(judged(made((*FIRST, *THIRD)), annulled), "OTDR-1550")["A", "B"]["segments"] == ["SEG2"]


def test_a_crew_that_posts_no_splices_shows_by_its_tests_how_far_the_link_is_joined() -> None:
    lids = [make_closure_state(site="C1")]
    judgement = judged(lids, traces("A", "C2"))
    assert outcomes(judgement) == {"SEG1": "conforming", "SEG2": "undetermined", "SEG3": "undetermined"}
    assert over(judged(lids, traces("A", "B")), "OTDR-1550")["A", "B"]["segments"] == ["SEG1", "SEG2", "SEG3"]


def test_a_loss_on_no_joint_is_looked_for_as_far_as_the_link_is_joined() -> None:
    judgement = judged(made(FIRST), traces("A", "C2"))
    found = over(judgement, "STRAY-1550")
    assert (found["A", "C2"]["outcome"], found["A", "C2"]["segments"]) == ("conforming", ["SEG1"])
    assert found["A", "B"]["segments"] == ["SEG2", "SEG3"]


@pytest.mark.parametrize(("threshold_db", "outcome"), [(0.01, "conforming"), (0.011, "nonconforming")])
def test_how_traces_are_taken_is_held_as_far_as_the_link_is_joined(threshold_db: float, outcome: str) -> None:
    own = traces("A", "C2", loss_threshold_db=threshold_db)
    found = over(judged(made(FIRST), own, criteria=alone(settings_criterion())), "SETTINGS-1550")
    assert {found[ends]["outcome"] for ends in (("A", "C2"), ("C2", "A"))} == {outcome}
    assert found["A", "B"]["segments"] == ["SEG2", "SEG3"]


def test_a_required_test_is_asked_for_as_far_as_the_link_is_joined() -> None:
    criteria = alone(required_test_criterion(over="joined"))
    found = over(judged(made(FIRST), traces("A", "C2"), criteria=criteria), "OTDR-1550")
    assert (found["A", "C2"]["outcome"], found["A", "C2"]["segments"]) == ("conforming", ["SEG1"])
    assert (found["A", "B"]["reason"], found["A", "B"]["segments"]) == ("link_not_joined", ["SEG2", "SEG3"])
    one_way = over(judged(made(FIRST), traces("A", "C2")[1:], criteria=criteria), "OTDR-1550")
    assert one_way["A", "C2"]["detail"] == "no OTDR trace from A to C2 at 1550 nm"


def meters(near: str, far: str, loss_db: float) -> list[Body]:
    """Return source and meter both ways between two sites."""
    ends = (near, far), (far, near)
    return [make_attenuation(from_site=start, to_site=end, loss_db=loss_db) for start, end in ends]


# By hand: 2 km at 0.25 dB/km, the splices at A and in C1 at 0.1 dB each, and the one pair at A at 0.5 dB.
@pytest.mark.parametrize(("loss_db", "outcome"), [(1.199, "conforming"), (1.2, "conforming"), (1.201, "nonconforming")])
def test_a_budget_is_that_of_what_is_joined(loss_db: float, outcome: str) -> None:
    criteria = alone(link_criterion(over="joined", least_attenuation_db_per_km=None))
    found = over(judged(made(FIRST), meters("A", "C2", loss_db), criteria=criteria), "LINK-1550")["A", "C2"]
    assert (found["outcome"], found["limit"], found["segments"]) == (outcome, "1.2000", ["SEG1"])


@pytest.mark.parametrize(("value_db", "outcome"), [(31.9, "nonconforming"), (32.0, "conforming"), (32.1, "conforming")])
def test_return_loss_is_asked_for_where_what_is_joined_has_a_connection(value_db: float, outcome: str) -> None:
    measured = make_return_loss(from_site="A", to_site="C2", return_loss_db=value_db, far_end="open")
    judgement = judged(made(FIRST), [measured], criteria=alone(return_loss_criterion(over="joined")))
    found = [one for one in judgement.document["findings"] if one["segments"] == ["SEG1"]]
    # Nothing comes back at the bare fibre in C2, where no instrument can be connected.
    assert [(one["site"], one["outcome"]) for one in found] == [("A", outcome)]


def test_the_next_part_is_held_to_what_is_joined_by_then() -> None:
    criteria = alone(link_criterion(over="joined", least_attenuation_db_per_km=None))
    own = [*made((*FIRST, *SECOND)), *meters("A", "C2", 1.2), *meters("C2", "C4", 0.1)]
    found = over(judged(own, criteria=criteria), "LINK-1550")["A", "C4"]
    assert (found["segments"], found["reason"]) == (["SEG1", "SEG2"], "no_evidence")
    # 4 km, the splices at A, C1, C2 and C3, and the pair at A.
    found = over(judged(own, meters("A", "C4", 1.9), criteria=criteria), "LINK-1550")["A", "C4"]
    assert (found["limit"], found["outcome"]) == ("1.9000", "conforming")


def test_a_length_is_held_as_far_as_the_link_is_joined() -> None:
    found = over(judged(made(FIRST), traces("A", "C2"), criteria=alone(length_criterion())), "LENGTH")
    assert (found["A", "C2"]["outcome"], found["A", "C2"]["segments"]) == ("conforming", ["SEG1"])
    assert found["A", "B"]["segments"] == ["SEG2", "SEG3"]


def with_cable_alone() -> Body:
    """Return the route with another segment, the cable from C4 to B: its joints are the second's and the last one's."""
    design = in_three_segments()
    first, second, third = design["segments"]
    cable = {**third, "id": "CABLE", "sites": []}
    return {
        **design,
        "segments": [first, {**second, "sites": ["C2", "C3", "C4"]}, cable, {**third, "sites": ["B"], "sections": []}],
    }


def test_cable_without_a_joint_of_its_own_is_there_when_it_is_joined_or_tested() -> None:
    def unmade(*bodies: Iterable[Body | Evidence]) -> list[str]:
        found = over(judged(*bodies, design=with_cable_alone()), "OTDR-1550")["A", "B"]
        return found["segments"] if found.get("reason") == "link_not_joined" else []

    up_to_c4 = made((*FIRST, *SECOND, "C4"))
    assert unmade(up_to_c4) == ["CABLE", "SEG3"]
    assert unmade(up_to_c4, made(("B",))) == []
    assert unmade(made((*FIRST, *SECOND)), traces("C4", "B")) == ["SEG2"]


def work(*bodies: Iterable[Body | Evidence], criteria: Body | None = None) -> list[tuple[str, str]]:
    """Return act and sites of each item that can be done now, without what is done for the first time."""
    return work_of(judged(*bodies, criteria=criteria))


def test_the_crew_is_asked_for_the_tests_of_what_is_joined_and_no_others() -> None:
    assert ("test", "A-C2") in work(made(FIRST))
    assert {act for act, _ in work(made(FIRST), traces("A", "C2"))} <= {"seal"}


def test_the_crew_is_asked_for_tests_of_the_joined_link_once_the_next_segment_is_made() -> None:
    said = work(made(FIRST), traces("A", "C2"), made(SECOND), traces("C2", "C4"))
    assert said == [("test", "A-C4")]


def test_at_the_end_it_is_asked_for_tests_from_end_to_end() -> None:
    said = work(made((*FIRST, *SECOND, *THIRD)), traces("A", "C2"), traces("A", "C4"))
    assert said == [("test", "A-B")]


def test_a_record_is_asked_for_where_a_joint_is_tested_over_and_nowhere_beyond() -> None:
    criteria = alone(required_record_criterion(joint="splice"))
    told = work(traces("A", "C2"), criteria=criteria)
    assert [where for act, where in told if act == "post_record"] == ["A", "C1"]


def unfinished_route() -> Body:
    """Return the first segment alone, its last closure not built yet."""
    design = in_three_segments()
    sites, sections = design["sites"][:3], design["sections"][:2]
    [first, *_] = design["segments"]
    return {**design, "sites": sites, "sections": sections, "segments": [{**first, "sites": ["A", "C1", "C2"]}]}


def test_where_the_design_goes_no_farther_yet_the_whole_link_is_asked_of_nobody() -> None:
    criteria = alone(splice_criterion(), termination_criterion(), link_criterion())
    judgement = judged(made(FIRST), traces("A", "C2"), design=unfinished_route(), criteria=criteria)
    assert outcomes(judgement) == {"SEG1": "conforming"}
    found = over(judgement, "LINK-1550")["A", "C2"]
    assert (found["segments"], found["outcome"], found.get("reason")) == ([], "undetermined", "link_not_joined")


def test_at_an_end_that_is_not_built_tests_from_the_bare_fibre_are_asked_for() -> None:
    judgement = judged(made(FIRST), traces("A", "C2")[:1], design=unfinished_route())
    reasons = {one.get("reason") for one in judgement.document["findings"] if one.get("site") == "C1"}
    assert reasons == {"one_direction_only"}


def test_the_same_tests_count_on_when_the_design_is_extended() -> None:
    proven = [*made(FIRST), *traces("A", "C2")]
    before, after = judged(proven, design=unfinished_route()), judged(proven)
    assert before.counts["SEG1"].outcome == after.counts["SEG1"].outcome
    assert make_site("C2")["id"] in {one.get("site") for one in after.document["findings"]}
