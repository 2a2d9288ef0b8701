"""A joint that was not seen has at most threshold and noise; where nothing is said of noise, only near the port."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    criteria_of,
    layout_of,
    make_criteria,
    make_design,
    make_otdr,
    make_sections,
    only,
    reflectance_criterion,
    sealed,
    splice_criterion,
    stored,
    stray_criterion,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import because, finding_of, judge, ready_items, where
from worker.judgement.history.acts import Trace
from worker.judgement.judge import FibreJudgement, Rules
from worker.judgement.traces.noise import TraceNoise

# Behind a cord of 500 m, 10 km of fibre and a splice of 0.04 dB for each of three closures, and 10 km more.
DESIGN = make_design(closures=3, sections=make_sections([10_000.0] * 4))
CLOSURES = ("C1", "C2", "C3")
# 500 m + 30 km at 0.22 dB/km (customary at 1550 nm) are 6.71 dB; a connection of 0.3 dB, two splices of 0.04 dB.
TO_C3_DB = 6.71 + 0.3 + 0.08
RANGE: Body = {"range_db": 20.0, "pulse_ns": 30, "averaging_s": 30.0}


def read(body: Body) -> Trace:
    """Return a posted trace as it is judged."""
    [trace] = Rules(layout_of(DESIGN), criteria_of()).read([stored(body)])
    assert isinstance(trace, Trace)
    return trace


def noise_of(body: Body, *, within_db: float = 15.0) -> TraceNoise:
    """Return the noise along a posted trace."""
    return TraceNoise(read(body), unseen_within_db=within_db)


def judge_unseen(*, within_db: float = 15.0, there: Body | None = None, **criteria: Any) -> FibreJudgement:
    """Judge a route whose last closure no trace shows; `there` is what the trace from A says beside."""
    forward, backward = both_ways(design=DESIGN, losses_db={"C3": None})
    agreed = make_criteria(placing={"unseen_within_db": within_db}, **{"criteria": [splice_criterion()], **criteria})
    records = [*sealed(sites=CLOSURES), with_events({**forward, **(there or {})}, dict), backward]
    return judge(records, design=DESIGN, criteria=agreed)


def at_c3(judgement: FibreJudgement) -> FindingDocument:
    """Return the finding about the last splice."""
    return finding_of(judgement, "SPLICE-1550", site="C3")


def test_the_loss_from_the_port_is_that_of_the_fibre_and_of_what_lies_before() -> None:
    noise = noise_of(make_otdr(design=DESIGN, losses_db={"C3": None}))
    assert noise.loss_from_port_pdb(0) == 0
    assert noise.loss_from_port_pdb(500_000_000) == 110_000_000_000
    assert noise.loss_from_port_pdb(30_500_000_000) == round(TO_C3_DB * 1000) * 1_000_000_000


def test_a_stated_coefficient_goes_before_what_is_customary_and_none_below_zero_counts() -> None:
    trace = make_otdr(design=DESIGN)
    stated = with_events(trace, lambda event: {**event, "attenuation_db_per_km": 0.3})
    below = with_events(trace, lambda event: {**event, "attenuation_db_per_km": -0.3})
    # 500 m and 10 km to C1, the connection behind the cord 0.3 dB.
    at_c1_um = 10_500_000_000
    losses = [noise_of(one).loss_from_port_pdb(at_c1_um) // 1_000_000_000 for one in (trace, stated, below)]
    assert losses == [2310 + 300, 3150 + 300, 2310 + 300]


def test_an_event_without_a_loss_counts_as_what_is_planned_for_it() -> None:
    def without_loss(event: Body) -> Body:
        return {name: value for name, value in event.items() if name != "loss_db"}

    noise = noise_of(with_events(make_otdr(design=DESIGN), without_loss))
    # A connection 0.5 dB and two splices 0.15 dB (FOA), where 0.3 and twice 0.04 dB were stated.
    assert noise.loss_from_port_pdb(30_500_000_000) // 1_000_000_000 == 6710 + 500 + 300


@pytest.mark.parametrize(
    ("within_db", "outcome"),
    [(TO_C3_DB - 0.001, "undetermined"), (TO_C3_DB, "conforming"), (TO_C3_DB + 0.001, "conforming")],
)
def test_without_a_word_on_noise_silence_counts_up_to_a_loss_from_the_port(within_db: float, outcome: str) -> None:
    finding = at_c3(judge_unseen(within_db=round(within_db, 3)))
    assert finding["outcome"] == outcome
    if outcome == "undetermined":
        assert finding["reason"] == "noise_not_known"
        assert finding["detail"] == ("A to B: nothing is seen, so far from the instrument that noise may hide it")
    else:
        assert [reading["within"] for reading in finding["readings"]] == ["0.020", "0.020"]


# 20 dB less 7.09 dB: 12.91 dB above the noise, and 10^(0.6 - 12.91/5) = 0.01042 dB.
@pytest.mark.parametrize(
    ("stated", "noise_db"),
    [
        ({}, 0.011),
        # A pulse ten times as long as stated for: 5 dB more. A fourth of the averaging: 1.505 dB less.
        ({"pulse_ns": 3}, 0.001),
        ({"averaging_s": 120.0}, 0.021),
        # 0.39811 dB at 5 dB above it.
        ({"range_db": 12.09}, 0.399),
        # Beyond the range: no more than a loss can be.
        ({"range_db": 1.0}, 60.0),
    ],
)
def test_with_a_stated_range_noise_is_added_to_the_threshold(stated: Body, noise_db: float) -> None:
    trace = make_otdr(design=DESIGN, losses_db={"C3": None}, dynamic_range={**RANGE, **stated})
    noise = noise_of(trace, within_db=0.0)
    assert noise.at_mdb(30_500_000_000) == round(noise_db * 1000)
    assert noise.unseen_mdb(30_500_000_000) == round(noise_db * 1000) + 20


def test_a_stated_range_lets_silence_count_where_the_criteria_alone_would_not() -> None:
    finding = at_c3(judge_unseen(within_db=5.0, there={"dynamic_range": RANGE}))
    # From B it is 500 m less of cord and 20 km less: 2.566 dB, within what the criteria allow.
    assert [reading["within"] for reading in finding["readings"]] == ["0.031", "0.020"]
    assert (finding["low"], finding["high"], finding["outcome"]) == ("-0.0255", "0.0255", "conforming")
    assert "within 0.031 dB of zero, 0.011 dB of that noise (A to B)" in finding["detail"]


def test_noise_widens_the_bound_until_it_decides_nothing() -> None:
    finding = at_c3(judge_unseen(there={"dynamic_range": {**RANGE, "range_db": 12.09}}))
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "bound_too_wide")
    assert finding["high"] == "0.2195"


@pytest.mark.parametrize(("loss_db", "noise_mdb"), [(60.0, 60_000), (-60.0, 0)])
def test_whatever_events_state_noise_is_a_number(loss_db: float, noise_mdb: int) -> None:
    trace = make_otdr(design=DESIGN, dynamic_range=RANGE)
    many = [{"distance_m": 1.0 + number, "kind": "non_reflective", "loss_db": loss_db} for number in range(1900)]
    assert noise_of(with_events(trace, dict, added=many)).at_mdb(30_500_000_000) == noise_mdb


def test_without_averaging_a_range_says_nothing() -> None:
    noise = noise_of(make_otdr(design=DESIGN, dynamic_range=RANGE, averaging_s=0.0), within_db=5.0)
    assert noise.at_mdb(30_500_000_000) is None
    assert noise.unseen_mdb(30_500_000_000) is None


def test_a_reading_that_is_seen_stands_however_far() -> None:
    judgement = judge_unseen(within_db=0.0)
    assert finding_of(judgement, "SPLICE-1550", site="C2")["value"] == "0.0400"


def test_the_work_list_asks_for_what_is_missing() -> None:
    judgement = judge_unseen(within_db=5.0)
    item, question = ready_items(judgement)
    # The pigtails' splices, which nothing parts from their connectors, are for the engineer.
    assert question["act"] == "ask_engineer"
    assert (item["act"], where(item)) == ("retest", "A-B")
    assert because(item) == (
        "Nothing is seen, so far from the instrument that noise may hide it at C3 at 1550 nm: state the instrument's "
        "dynamic range in a record that replaces it, or test from nearer."
    )


def test_what_an_unseen_splice_may_reflect_grows_with_noise() -> None:
    criterion = reflectance_criterion(joint="splice", limit_db=-60.0)
    near, far = (
        finding_of(judge_unseen(there=there, criteria=[criterion]), criterion["code"], site="C3")
        for there in ({}, {"dynamic_range": RANGE})
    )
    assert float(near["high"]) < float(far["high"])


def judge_strays(within_db: float, changes: Body, *, stray_db: float | None = None) -> list[FindingDocument]:
    """Judge losses on no joint, by traces from both ends that say so much beside; one is seen from B alone at 39 km."""
    there, back = (with_events({**trace, **changes}, dict) for trace in both_ways(design=DESIGN))
    if stray_db is not None:
        back = with_event_from_a(back, 39_000.0, loss_db=stray_db)
    agreed = make_criteria(placing={"unseen_within_db": within_db}, criteria=[stray_criterion(limit_db=0.1)])
    return judge([*sealed(sites=CLOSURES), there, back], design=DESIGN, criteria=agreed).document["findings"]


def test_between_joints_silence_is_bounded_by_noise_too() -> None:
    [silent] = judge_strays(15.0, {})
    assert (silent["outcome"], silent["high"]) == ("conforming", "0.0200")
    [unknown_far] = judge_strays(9.0, {})
    # To B it is 40.5 km at 0.22 dB/km, a connection and three splices: 9.33 dB.
    assert (unknown_far["outcome"], unknown_far["reason"]) == ("undetermined", "noise_not_known")
    [stated] = judge_strays(0.0, {"dynamic_range": RANGE})
    # The far port's trace is 10.67 dB above its noise at B and 10.71 dB at A, 0.0292 and 0.0287 dB, the near port's
    # nearly 20 dB: (0.021 + 0.050) / 2 at B, (0.021 + 0.049) / 2 at A.
    assert (stated["outcome"], stated["high"]) == ("conforming", "0.0355")


def test_a_loss_on_no_joint_that_one_end_does_not_show_is_held_by_what_noise_hides_there() -> None:
    near, _ = judge_strays(15.0, {}, stray_db=0.16)
    assert (near["low"], near["high"], near["outcome"]) == ("0.0700", "0.0900", "conforming")
    [far] = judge_strays(8.9, {}, stray_db=0.16)
    assert (far["outcome"], far["reason"]) == ("undetermined", "noise_not_known")


def long_route(section_m: float) -> FibreJudgement:
    """Judge an honest route of 24 sections without a word on noise, of which no trace shows a third of the splices."""
    closures = tuple(f"C{number}" for number in range(1, 24))
    design = make_design(closures=23, sections=make_sections([section_m] * 24))
    unseen: dict[str, float | None] = dict.fromkeys(closures[2::3])
    traces = both_ways(design=design, losses_db=unseen, pulse_ns=1000)
    return judge([*sealed(sites=closures), *traces], design=design, criteria=only(splice_criterion()))


def unknown(judgement: FibreJudgement) -> list[str]:
    """Return the splices whose noise is not known."""
    findings = judgement.document["findings"]
    return [one["site"] for one in findings if one.get("reason") == "noise_not_known"]


def test_an_ordinary_route_is_judged_without_a_word_on_noise_and_one_of_120_km_is_not() -> None:
    assert unknown(long_route(2500.0)) == []
    # 15 dB are 66 km less what joints lose: only C12 in the middle, at 60 km, is as near to both ends.
    assert unknown(long_route(5000.0)) == ["C3", "C6", "C9", "C15", "C18", "C21"]
