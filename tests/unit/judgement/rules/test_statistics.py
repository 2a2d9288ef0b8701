"""The mean of joints together, and the share of them that keeps a limit: in a span, at a site, on a route."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    in_two_segments,
    layout_of,
    make_design,
    make_otdr,
    only,
    sealed,
    statistic_criterion,
)
from tests.published.check_values import source_of
from tests.published.clauses import Clause
from tests.published.splice_rules import ATTENUATION_GRADES, LEASE
from tests.unit.judgement.judging import finding_by, judge
from tests.unit.judgement.routes import judge_fibres, only_finding, settle_route, verdict_of
from tests.unit.judgement.rules.test_applies_when import two_spans
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.judge import FibreJudgement, unjudged

Losses = Mapping[str, float | None]


def share(percent: float, **changes: object) -> Body:
    """Return a least share of a fibre's splices within 0.10 dB."""
    return statistic_criterion(code="SHARE", statistic="share_within", least_share_percent=percent, **changes)


def traces(losses_db: Losses, *, fibre: int = 1, back_db: Losses | None = None, design: Body) -> list[Body]:
    """Return both directions with what they read at some sites, the same unless said otherwise."""
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    there, _ = both_ways(fibre=fibre, losses_db=losses_db, design=design)
    _, back = both_ways(fibre=fibre, losses_db=back_db or losses_db, design=design)
    return [*sealed(sites=closures), there, back]


def on_one_fibre(
    criterion: Body, losses_db: Losses, *, back_db: Losses | None = None, design: Body | None = None
) -> FindingDocument:
    """Return the one finding of a criterion about one fibre."""
    design = cord_ended() if design is None else design
    return finding_by(criterion, traces(losses_db, back_db=back_db, design=design), design=design)


def pairs_of(clause: Clause, *, over_limit: int, of: int, near_db: float, far_db: float) -> list[FindingDocument]:
    """Return what a clause about pairs says of a route on which some read far_db and the others near_db."""
    design = cord_ended(fibres=of // 2)
    bodies: dict[int, Sequence[Body]] = {}
    for fibre in range(1, of // 2 + 1):
        losses_db = {
            site: far_db if 2 * fibre - 2 + end < over_limit else near_db for end, site in enumerate(("A", "B"))
        }
        bodies[fibre] = traces(losses_db, fibre=fibre, design=design)
    criteria = {"title": clause.source, "criteria": list(clause.criteria)}
    return verdict_of(bodies, design=design, criteria=criteria).document["findings"]


@pytest.mark.parametrize(
    ("is_both_ways", "losses_db", "outcome"),
    [
        (True, (0.2, 0.099), "conforming"),
        (True, (0.2, 0.1), "conforming"),
        (True, (0.2, 0.101), "nonconforming"),
        (True, (0.29, 0.01), "conforming"),
        (False, (0.4, 0.199), "conforming"),
        (False, (0.4, 0.2), "conforming"),
        (False, (0.4, 0.201), "nonconforming"),
    ],
)
def test_the_mean_of_a_span_keeps_the_lease_s_limit_for_how_it_was_tested(
    is_both_ways: bool, losses_db: tuple[float, float], outcome: str
) -> None:
    design = cord_ended()
    bodies = traces({"C1": losses_db[0], "C2": losses_db[1]}, design=design)
    finding = finding_by(LEASE.criteria[0], bodies if is_both_ways else bodies[:-1], design=design)
    assert finding["outcome"] == outcome
    assert finding["limit"] == ("0.1500" if is_both_ways else "0.3000")
    assert (finding["population"], finding["count"], finding["fibre"]) == ("span", 2, 1)
    assert (finding["from_site"], finding["to_site"], finding["segments"]) == ("A", "B", ["SEG1"])


def test_one_way_takes_the_worse_direction_of_each_splice() -> None:
    # Means of 0.05 and 0.05 dB, whose worse directions are 0.20 and 0.10 dB.
    ahead, back = {"C1": 0.2, "C2": 0.0}, {"C1": -0.1, "C2": 0.1}
    assert (
        on_one_fibre(statistic_criterion(tested_from="either", combination="worse"), ahead, back_db=back)["value"]
        == "0.1500"
    )
    assert on_one_fibre(statistic_criterion(), ahead, back_db=back)["value"] == "0.0500"


def test_the_finding_names_its_population_and_the_records_behind_it() -> None:
    finding = on_one_fibre(statistic_criterion(), {"C1": 0.1, "C2": 0.05})
    assert finding["detail"] == "mean of 2 splices on fibre 1 from A to B"
    assert (finding["value"], finding["limit"]) == ("0.0750", "0.1000")
    assert (finding["margin"], finding["unit"]) == ("0.0250", "dB")
    assert sorted(reading["direction"] for reading in finding["readings"]) == ["a_to_b", "b_to_a"]


@pytest.mark.parametrize(
    ("seen_db", "outcome", "low", "high"),
    # Unseen from both sides: within the threshold of 0.020 dB either way.
    [(0.18, "conforming", "0.0800", "0.1000"), (0.181, "undetermined", "0.0805", "0.1005")],
)
def test_a_mean_with_a_splice_not_seen_lies_between_bounds(seen_db: float, outcome: str, low: str, high: str) -> None:
    finding = on_one_fibre(statistic_criterion(), {"C1": seen_db, "C2": None})
    assert (finding["outcome"], finding["low"], finding["high"]) == (outcome, low, high)
    assert finding.get("reason") == (None if outcome == "conforming" else "bound_too_wide")


def test_a_mean_of_which_a_member_is_not_known_is_undetermined() -> None:
    design = cord_ended()
    bodies = [body for body in traces({}, design=design) if body.get("site") != "C2"]
    [finding] = judge(bodies, design=design, criteria=only(statistic_criterion())).document["findings"]
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "members_unknown")
    assert finding["detail"] == "mean of 2 splices on fibre 1 from A to B, of which 1 is not known"
    assert "value" not in finding


@pytest.mark.parametrize(
    ("percent", "known_db", "outcome"),
    # The other splice may be within or not: between 50 and 100 % are, or between 0 and 50 %.
    [
        (50.0, 0.1, "conforming"),
        (50.01, 0.1, "undetermined"),
        (50.0, 0.101, "undetermined"),
        (50.01, 0.101, "nonconforming"),
    ],
)
def test_a_member_that_is_not_known_leaves_a_share_open_only_where_it_matters(
    percent: float, known_db: float, outcome: str
) -> None:
    design = cord_ended()
    bodies = [body for body in traces({"C1": known_db}, design=design) if body.get("site") != "C2"]
    [finding] = judge(bodies, design=design, criteria=only(share(percent))).document["findings"]
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("members_unknown" if outcome == "undetermined" else None)


def test_a_share_counts_what_is_at_the_limit_as_within() -> None:
    finding = on_one_fibre(share(100.0), {"C1": 0.1, "C2": 0.1})
    assert (finding["outcome"], finding["value"]) == ("conforming", "100.0000")
    assert (finding["limit_is"], finding["unit"]) == ("least", "%")
    assert finding["detail"] == "2 of 2 splices on fibre 1 from A to B within 0.1000 dB"
    beyond = on_one_fibre(share(100.0), {"C1": 0.1, "C2": 0.101})
    assert (beyond["outcome"], beyond["value"], beyond["margin"]) == ("nonconforming", "50.0000", "-50.0000")


def test_under_a_guarded_rule_only_what_keeps_the_limit_by_the_guard_band_is_within() -> None:
    guard = {"decision": "guarded", "uncertainty_db": 0.02}
    assert on_one_fibre(share(100.0, **guard), {"C1": 0.08, "C2": 0.08})["outcome"] == "conforming"
    assert on_one_fibre(share(100.0, **guard), {"C1": 0.081, "C2": 0.08})["outcome"] == "nonconforming"
    assert on_one_fibre(statistic_criterion(**guard), {"C1": 0.1, "C2": 0.06})["outcome"] == "conforming"
    assert on_one_fibre(statistic_criterion(**guard), {"C1": 0.1, "C2": 0.061})["outcome"] == "nonconforming"


def test_a_splice_behind_a_connector_has_between_nothing_and_all_of_their_loss() -> None:
    # Four splices: 0.04 dB in two closures, and one in each termination of 0.30 dB.
    finding = on_one_fibre(statistic_criterion(limit_db=0.17), {}, design=make_design())
    assert (finding["outcome"], finding["count"]) == ("conforming", 4)
    assert (finding["low"], finding["high"]) == ("0.0200", "0.1700")
    assert on_one_fibre(statistic_criterion(limit_db=0.169), {}, design=make_design())["outcome"] == "undetermined"


def test_a_panel_s_splices_belong_each_to_the_span_on_its_side() -> None:
    design = two_spans()
    found = judge([], design=design, criteria=only(statistic_criterion(over="span"))).document["findings"]
    # A pigtail at each end of a span, and one closure in it.
    assert [(one["from_site"], one["to_site"], one["count"]) for one in found] == [("A", "P", 3), ("P", "B", 3)]
    pairs = judge([], design=design, criteria=only(statistic_criterion(over="span", joint="pair"))).document["findings"]
    assert [one["count"] for one in pairs] == [2, 2]
    [whole] = judge([], design=design, criteria=only(statistic_criterion())).document["findings"]
    assert whole["count"] == 6


def test_a_criterion_for_some_spans_counts_no_joints_of_others() -> None:
    applies_when = {"least_span_m": 2000.01}
    for over, count in (("span", 3), ("fibre", 4)):
        criteria = only(statistic_criterion(over=over, applies_when=applies_when))
        [finding] = judge([], design=two_spans(), criteria=criteria).document["findings"]
        # The panel is an end of the longer span too, and holds two splices.
        assert finding["count"] == count


def test_what_is_paid_for_alone_is_proven_alone() -> None:
    design = {**cord_ended(), "segments": in_two_segments()["segments"]}
    bodies = traces({"C1": 0.101, "C2": 0.01}, design=design)
    for over in ("fibre", "span", "route"):
        criteria = only(statistic_criterion(over=over))
        judged = judge(bodies, design=design, criteria=criteria)
        together = settle_route([judged], design=design, criteria=criteria)
        found = [*judged.document["findings"], *together.document["findings"]]
        assert [(one["segments"], one["outcome"]) for one in found] == [
            (["SEG1"], "nonconforming"),
            (["SEG2"], "conforming"),
        ]


@pytest.mark.parametrize(("percent", "outcome"), [(50.0, "conforming"), (50.01, "undetermined")])
def test_a_splice_of_which_traces_of_one_direction_disagree_is_not_known_one_way(percent: float, outcome: str) -> None:
    design = cord_ended()
    disagreeing = make_otdr(losses_db={"C1": 0.3}, pulse_ns=100, design=design)
    bodies = [*traces({"C1": 0.05, "C2": 0.05}, design=design), disagreeing]
    criteria = only(share(percent, tested_from="either", combination="worse"))
    [finding] = judge(bodies, design=design, criteria=criteria).document["findings"]
    assert (finding["outcome"], finding["low"], finding["high"]) == (outcome, "50.0000", "100.0000")


@pytest.mark.parametrize("clause", ATTENUATION_GRADES, ids=source_of)
def test_a_grade_s_share_of_pairs_is_exact_at_97_percent(clause: Clause) -> None:
    most_db = clause.criteria[1]["limit_db"]
    for over_limit, outcome in ((3, "conforming"), (4, "nonconforming")):
        _, finding = pairs_of(clause, over_limit=over_limit, of=100, near_db=most_db, far_db=round(most_db + 0.001, 3))
        assert (finding["outcome"], finding["count"]) == (outcome, 100)
        assert finding["detail"] == f"{100 - over_limit} of 100 mated pairs on 50 fibres from A to B within " + (
            f"{most_db:.4f} dB"
        )


@pytest.mark.parametrize("clause", ATTENUATION_GRADES, ids=source_of)
def test_a_grade_s_mean_of_pairs_is_exact_at_the_limit(clause: Clause) -> None:
    mean_db = clause.criteria[0]["limit_db"]
    below_db = round(mean_db - 0.1, 3)
    at_it, _ = pairs_of(clause, over_limit=5, of=10, near_db=below_db, far_db=round(mean_db + 0.1, 3))
    above, _ = pairs_of(clause, over_limit=5, of=10, near_db=below_db, far_db=round(mean_db + 0.101, 3))
    assert (at_it["outcome"], at_it["value"]) == ("conforming", f"{mean_db:.4f}")
    assert (above["outcome"], above["value"]) == ("nonconforming", f"{mean_db + 0.0005:.4f}")


def test_a_site_s_population_is_that_of_all_fibres_there() -> None:
    design, criteria = cord_ended(), only(statistic_criterion(over="site"))
    bodies = {fibre: traces({"C1": 50 * fibre / 1000, "C2": 0.02}, fibre=fibre, design=design) for fibre in (1, 2, 3)}
    verdict = verdict_of(bodies, design=design, criteria=criteria)
    found = {one["site"]: one for one in verdict.document["findings"]}
    assert list(found) == ["C1", "C2"]
    assert (found["C1"]["value"], found["C2"]["value"]) == ("0.1000", "0.0200")
    assert found["C1"]["detail"] == "mean of 3 splices on 3 fibres at C1"
    assert not any("fibre" in one for one in found.values())


def test_a_finding_about_several_fibres_counts_in_its_segment() -> None:
    design = cord_ended()
    bodies = {fibre: traces({"C1": 0.101, "C2": 0.1}, fibre=fibre, design=design) for fibre in (1, 2)}
    for force, counted in (("required", 1), ("advisory", 0)):
        criteria = only(statistic_criterion(over="route", force=force))
        segment = verdict_of(bodies, design=design, criteria=criteria).document["segments"]["SEG1"]
        assert segment["counts"] == {"conforming": 0, "nonconforming": counted, "undetermined": 0}


def test_the_digest_moves_with_a_finding_about_several_fibres() -> None:
    design, criteria = cord_ended(), only(statistic_criterion(over="route"))
    judged = judge_fibres({1: traces({"C1": 0.1}, design=design)}, design=design, criteria=criteria)
    verdict = settle_route(judged, design=design, criteria=criteria)
    contributions = judged[0].contributions
    assert contributions is not None
    [sums] = contributions.sums
    count, unknown, low, *rest = sums.columns
    moved = Contributions(sums=(sums._replace(columns=(count, unknown, (low[0] + 1,), *rest)),))
    other = settle_route([replace(judged[0], contributions=moved)], design=design, criteria=criteria)
    assert verdict.document["fibres"] == other.document["fibres"]
    assert verdict.digest != other.digest


def test_the_order_of_the_fibres_does_not_matter() -> None:
    design, criteria = cord_ended(), only(statistic_criterion(over="route"), share(90.0, over="site"))
    bodies = {fibre: traces({"C1": 20 * fibre / 1000}, fibre=fibre, design=design) for fibre in (1, 2, 3)}
    judged = judge_fibres(bodies, design=design, criteria=criteria)
    one, other = (settle_route(order, design=design, criteria=criteria) for order in (judged, judged[::-1]))
    assert one.content == other.content


def test_a_fibre_that_could_not_be_judged_is_one_of_whose_joints_nothing_is_known() -> None:
    design = cord_ended()
    bodies = {1: traces({}, design=design)}
    for criterion, said in (
        (statistic_criterion(over="route"), "mean of 4 splices on 2 fibres from A to B, of which 2 are not known"),
        (share(51.0, over="route"), "2 to 4 of 4 splices on 2 fibres from A to B within 0.1000 dB"),
    ):
        criteria = only(criterion)
        judged: list[FibreJudgement] = judge_fibres(bodies, design=design, criteria=criteria)
        judged.append(unjudged(layout_of(design), fibre=2, problem="ValueError in somewhere"))
        finding = only_finding(settle_route(judged, design=design, criteria=criteria))
        assert (finding["outcome"], finding["reason"]) == ("undetermined", "members_unknown")
        assert finding["detail"] == said


def test_fibres_that_are_joined_at_other_sites_are_added_up_site_by_site() -> None:
    design, criteria = cord_ended(), only(statistic_criterion(over="site"))
    design["splice_plan"] = [{"site": "C2", "fibres": {"first": 2, "last": 2}, "action": "uncut"}]
    bodies = {
        1: traces({"C1": 0.02, "C2": 0.04}, design=design),
        2: traces({"C1": 0.06, "C2": None}, fibre=2, design=design),
    }
    found = verdict_of(bodies, design=design, criteria=criteria).document["findings"]
    assert [(one["site"], one["count"], one["value"]) for one in found] == [("C1", 2, "0.0400"), ("C2", 1, "0.0400")]


def test_a_population_of_nothing_gives_no_finding() -> None:
    design = cord_ended(closures=0)
    for over in ("fibre", "span", "site", "route"):
        criteria = only(statistic_criterion(over=over))
        judged = judge([], design=design, criteria=criteria)
        assert judged.document["findings"] == []
        assert settle_route([judged], design=design, criteria=criteria).document["findings"] == []


@given(
    losses_mdb=st.lists(st.integers(0, 300), min_size=2, max_size=6).filter(lambda losses: len(losses) % 2 == 0),
    limit_mdb=st.integers(0, 300),
    hundredths=st.integers(0, 10_000),
)
def test_what_is_said_of_a_route_is_what_exact_arithmetic_says(
    losses_mdb: list[int], limit_mdb: int, hundredths: int
) -> None:
    design, limit_db = cord_ended(), limit_mdb / 1000
    criteria = only(
        statistic_criterion(over="route", limit_db=limit_db),
        share(hundredths / 100, over="route", limit_db=limit_db),
    )
    bodies = {
        fibre: traces({"C1": first / 1000, "C2": second / 1000}, fibre=fibre, design=design)
        for fibre, (first, second) in enumerate(zip(losses_mdb[::2], losses_mdb[1::2], strict=True), start=1)
    }
    mean, within = verdict_of(bodies, design=design, criteria=criteria).document["findings"]
    keeps_mean = Fraction(sum(losses_mdb), len(losses_mdb)) <= limit_mdb
    keeps_share = 10_000 * sum(loss <= limit_mdb for loss in losses_mdb) >= hundredths * len(losses_mdb)
    assert mean["outcome"] == ("conforming" if keeps_mean else "nonconforming")
    assert within["outcome"] == ("conforming" if keeps_share else "nonconforming")
