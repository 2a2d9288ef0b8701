"""Cases that a good engineer settles at a glance: each says what the answer is, and why."""

from collections.abc import Callable

import pytest

from tests.acceptance.by_hand import Losses, judge_fibres, make_route, outcome, there_and_back, trace, with_total
from tests.factories import Body, only, splice_criterion, stray_criterion, termination_criterion
from tests.unit.judgement.judging import finding_of
from worker.judgement.judge import FibreJudgement

SPLICE = splice_criterion(limit_db=0.15)
SPLICE_1310 = splice_criterion(code="SPLICE-1310", wavelength_nm=1310, limit_db=0.15)
TERMINATION = termination_criterion(limit_db=0.5)
STRAY = stray_criterion(limit_db=0.05)
FIBRES = range(1, 13)


def laid_m(fibre: int) -> float:
    """Return by how much fibres of one tube lie apart at one closure: a metre or less, common practice."""
    return ((7 * fibre) % 5 - 2) * 0.4


def judge_cable(
    design: Body,
    losses_of: Callable[[int, int], Losses],
    *,
    end_m: float,
    criteria: Body,
    fibres: range = FIBRES,
    **changes: object,
) -> dict[int, FibreJudgement]:
    """Judge a cable's fibres at both wavelengths; losses at metres from A follow from fibre and wavelength."""
    traces = {
        fibre: [
            record
            for nm in (1310, 1550)
            for record in there_and_back(
                design,
                {metre + laid_m(fibre): loss for metre, loss in losses_of(fibre, nm).items()},
                end_m=end_m,
                fibre=fibre,
                wavelength_nm=nm,
                **changes,
            )
        ]
        for fibre in fibres
    }
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    return judge_fibres(traces, design=design, criteria=criteria, sites=closures)


def two_closures_28_m_farther_out(fibre: int, _: int) -> Losses:
    """Return the losses of two closures 28 m apart and 28 m farther out; the first fibre's second splice is bad."""
    return {2028: 0.05, 2056: 0.60 if fibre == 1 else 0.06}


def test_two_closures_farther_out_keep_their_own_events_on_every_fibre() -> None:
    """The cable's other fibres show where its closures are: the event at 2028 m is C1, that at 2056 m C2.

    Each design spot of C2 is taken by C1. Who goes by the design alone reads C1 as C2 and finds damage behind it.
    """
    design = make_route(2000, 28, 2000)
    judged = judge_cable(design, two_closures_28_m_farther_out, end_m=4028, criteria=only(SPLICE, STRAY, TERMINATION))
    assert outcome(judged[1], "SPLICE-1550", site="C2") == "nonconforming"
    assert outcome(judged[1], "SPLICE-1550", site="C1") == "conforming"
    for fibre in FIBRES[1:]:
        assert {one["outcome"] for one in judged[fibre].document["findings"]} == {"conforming"}
        assert judged[fibre].document["work"] == []


def test_two_closures_farther_out_on_one_fibre_alone_prove_nothing_good() -> None:
    """One fibre does not say which of its two events is C2: 0.60 dB may be, so that C2 is not accepted."""
    design = make_route(2000, 28, 2000)
    judged = judge_cable(
        design, two_closures_28_m_farther_out, end_m=4028, criteria=only(SPLICE, STRAY), fibres=range(1, 2)
    )
    assert outcome(judged[1], "SPLICE-1550", site="C2") != "conforming"


def test_a_closure_60_m_off_where_all_fibres_show_it_is_no_damage() -> None:
    """Twelve fibres lose a splice's loss at one spot and nothing at the designed one: the closure was built there."""
    design = make_route(2000, 2000)
    judged = judge_cable(design, lambda *_: {2060: 0.07}, end_m=4000, criteria=only(SPLICE, STRAY, TERMINATION))
    for fibre in FIBRES:
        assert {one["outcome"] for one in judged[fibre].document["findings"]} == {"conforming"}


def test_a_kink_that_hits_all_fibres_of_a_cable_is_no_closure() -> None:
    """Each fibre loses 0.03 dB at 1310 and 0.15 dB at 1550 nm at 2060 m, and has its splice at 2000 m: a bent cable."""
    design = make_route(2000, 2000)
    judged = judge_cable(
        design,
        lambda _, nm: {2000: 0.05, 2060: 0.03 if nm == 1310 else 0.15},
        end_m=4000,
        criteria=only(SPLICE, STRAY),
    )
    for fibre in FIBRES:
        assert outcome(judged[fibre], "STRAY-1550") == "nonconforming"
        assert outcome(judged[fibre], "SPLICE-1550", site="C1") == "conforming"


def test_a_kink_beside_unseen_splices_is_no_closure_either() -> None:
    """As above, but every splice loses nothing that shows: a loss that rises with wavelength is still no splice."""
    design = make_route(2000, 2000)
    judged = judge_cable(
        design, lambda _, nm: {2060: 0.03 if nm == 1310 else 0.15}, end_m=4000, criteria=only(SPLICE, STRAY)
    )
    for fibre in FIBRES:
        assert outcome(judged[fibre], "STRAY-1550") != "conforming"


def test_a_bend_40_m_from_an_unseen_splice_is_a_bend() -> None:
    """Eleven fibres show their splice at 2000 m; one shows nothing there and 0.12 dB at 2040 m: that is no splice."""
    design = make_route(2000, 2000)

    def losses(fibre: int, nm: int) -> Losses:
        return ({2040: 0.03} if nm == 1310 else {2040: 0.12}) if fibre == 5 else {2000: 0.06}

    judged = judge_cable(design, losses, end_m=4000, criteria=only(SPLICE, SPLICE_1310, STRAY))
    assert outcome(judged[5], "STRAY-1550") == "nonconforming"
    finding = finding_of(judged[5], "SPLICE-1550", site="C1")
    assert not any("distance_m" in reading for reading in finding["readings"])


def test_a_closure_beside_a_dead_zone_keeps_its_event() -> None:
    """30 ns part C3 from C2, 8 m before it: the event 8 m behind theirs is C3's, and 0.26 dB is too much.

    C1 and C2, 3 m apart, are one event for this pulse of 3.06 m; that zone ends where another joint is as near.
    """
    design = make_route(2000, 3, 8, 2000)
    judged = judge_cable(
        design, lambda *_: {2000: 0.06, 2011: 0.26}, end_m=4011, criteria=only(SPLICE), fibres=range(1, 2)
    )
    assert outcome(judged[1], "SPLICE-1550", site="C3") != "conforming"


@pytest.mark.parametrize("apart", [0.0, 0.0034])
def test_instruments_that_state_different_indices_agree(apart: float) -> None:
    """Distance times index is what was measured: 4000 m at 1.468 are 3986 m at 1.473."""
    design, indices = make_route(2000, 2000, 2000), (1.468, 1.468 * (1 + apart))
    there, back = (
        trace(
            design,
            at_m={2000: 0.05, 4000: 0.05},
            end_m=6000,
            is_forward=is_forward,
            scale=1.468 / index,
            group_index=round(index, 5),
        )
        for is_forward, index in zip((True, False), indices, strict=True)
    )
    judged = judge_fibres({1: [there, back]}, design=design, criteria=only(SPLICE, STRAY, TERMINATION))
    assert {one["outcome"] for one in judged[1].document["findings"]} == {"conforming"}


@pytest.mark.parametrize("built_longer", [1.0, 1.01])
def test_instruments_without_a_stated_index_agree_by_their_far_ends(built_longer: float) -> None:
    """6 km measured 0.17 % longer and shorter, no index stated: both show the far connection and the cord behind it.

    Metres of a trace without an index are its own; that it reached the end, and where its joints lie, it still proves,
    on a cable with 1 % more fibre than designed too.
    """
    design = make_route(2000, 2000, 2000)
    traces = [
        trace(
            design,
            at_m={2000: 0.05, 4000: 0.05},
            end_m=6000,
            is_forward=is_forward,
            scale=scale * built_longer,
            group_index=None,
        )
        for is_forward, scale in ((True, 1.0017), (False, 0.9983))
    ]
    judged = judge_fibres({1: traces}, design=design, criteria=only(SPLICE, STRAY, TERMINATION))
    assert {one["outcome"] for one in judged[1].document["findings"]} == {"conforming"}


@pytest.mark.parametrize(("sum_db", "is_accepted"), [(0.22, False), (0.12, True)])
def test_two_splices_that_merge_from_both_sides_are_one_group(sum_db: float, is_accepted: bool) -> None:
    """15 m apart at 100 ns, a pulse of 10 m that parts at 16 to 22 m: from either end both lie at the first one met.

    Both losses are in each event. What both lose together is known, what each does is not, and half to each is a guess:
    each is proven where both together are within its limit, and nothing else is.
    """
    design = make_route(2000, 15, 2000)
    traces = [
        trace(design, at_m={2000: sum_db}, end_m=4015, pulse_ns=100, is_forward=is_forward)
        for is_forward in (True, False)
    ]
    judged = judge_fibres({1: traces}, design=design, criteria=only(SPLICE))
    for site in ("C1", "C2"):
        assert (outcome(judged[1], "SPLICE-1550", site=site) == "conforming") is is_accepted


def test_a_loss_seen_from_one_end_lies_within_half_a_threshold_of_half_of_it() -> None:
    """0.11 dB from A, nothing over 0.02 dB from B: the loss is (0.11 - 0.02) / 2 to (0.11 + 0.02) / 2 dB."""
    design = make_route(2000, 2000)
    for limit_db, expected in ((0.04, "nonconforming"), (0.06, "undetermined"), (0.07, "conforming")):
        traces = [
            trace(design, at_m={1000: 0.11, 2000: 0.05}, end_m=4000),
            trace(design, at_m={2000: 0.05}, end_m=4000, is_forward=False),
        ]
        judged = judge_fibres(
            {1: traces}, design=design, criteria=only(stray_criterion(limit_db=limit_db)), sites=["C1"]
        )
        [there] = [one for one in judged[1].document["findings"] if "section" in one]
        assert there["outcome"] == expected


def test_silence_at_the_shorter_wavelength_weakens_no_bend_at_the_longer_one() -> None:
    """A bend shows at 1550 nm and not at 1310: that is what bends do."""
    design = make_route(2000, 2000)
    judged = judge_cable(
        design,
        lambda _, nm: {2000: 0.05} if nm == 1310 else {1000: 0.2, 2000: 0.05},
        end_m=4000,
        criteria=only(STRAY),
        fibres=range(1, 2),
    )
    assert outcome(judged[1], "STRAY-1550") == "nonconforming"


@pytest.mark.parametrize(("pulse_ns", "at_m", "loss_db"), [(1000, 150, 0.30), (10_000, 2500, 0.33)])
def test_a_closure_in_the_dead_zone_of_a_panel_is_not_proven_by_the_panels_limit(
    pulse_ns: int, at_m: float, loss_db: float
) -> None:
    """The pair's 0.15 dB and the splice's are one event of less than a termination may lose: of the splice alone this
    says only that it loses no more than both, which is more than a splice may.
    """
    design = make_route(at_m, 20_000)
    end_m = 20_000 + at_m
    there = trace(design, at_m={}, end_m=end_m, pulse_ns=pulse_ns, pair_db=0.15)
    back = trace(design, at_m={}, end_m=end_m, pulse_ns=pulse_ns, pair_db=0.15, is_forward=False)
    there["events"][0]["loss_db"] = back["events"][1]["loss_db"] = round(0.15 + loss_db, 3)
    judged = judge_fibres({1: [there, back]}, design=design, criteria=only(SPLICE, TERMINATION), sites=["C1"])
    assert outcome(judged[1], "SPLICE-1550", site="C1") == "undetermined"


def test_a_long_pulse_that_merges_what_a_short_one_parts_helps_nobody() -> None:
    """30 ns show C1 with 0.05 and C2 with 0.20 dB, 20 m apart; 300 ns show 0.25 dB at the first they meet."""
    design = make_route(2000, 20, 2000)
    traces = []
    for is_forward, shown in ((True, {2000: 0.05, 2020: 0.20}), (False, {2000: 0.20, 2020: 0.05})):
        traces.append(trace(design, at_m=shown, end_m=4020, is_forward=is_forward, pulse_ns=30))
        traces.append(trace(design, at_m={2000: 0.25}, end_m=4020, is_forward=is_forward, pulse_ns=300))
    judged = judge_fibres({1: traces}, design=design, criteria=only(SPLICE))
    assert outcome(judged[1], "SPLICE-1550", site="C1") == "conforming"
    assert outcome(judged[1], "SPLICE-1550", site="C2") == "nonconforming"


def test_a_trace_whose_calibration_had_run_out_accuses_nobody_of_a_bend() -> None:
    """What proves no splice good proves none bad either, nor a loss beside it."""
    design = make_route(2000, 2000)
    judged = judge_cable(
        design,
        lambda *_: {1000: 0.4, 2000: 0.05},
        end_m=4000,
        criteria=only(SPLICE, STRAY),
        fibres=range(1, 2),
        calibrated_until="2025-01-31",
    )
    assert outcome(judged[1], "STRAY-1550") == "undetermined"
    assert not any(item["act"] == "relieve_bend" for item in judged[1].document["work"])


def test_a_pair_of_readings_that_no_two_fibres_explain_is_not_accepted() -> None:
    """+1.20 and -1.10 dB are 0.05 dB on average and 1.15 dB apart from it: no two mode fields of one type differ so."""
    design = make_route(2000, 2000)
    traces = [
        trace(design, at_m={2000: loss_db}, end_m=4000, is_forward=is_forward)
        for is_forward, loss_db in ((True, 1.20), (False, -1.10))
    ]
    judged = judge_fibres({1: traces}, design=design, criteria=only(SPLICE), sites=["C1"])
    assert outcome(judged[1], "SPLICE-1550", site="C1") == "undetermined"


def test_a_sign_typed_wrong_is_seen_by_the_total_of_the_same_trace() -> None:
    """0.30 dB typed as a gain from A: parts and total of that trace are 0.60 dB apart, so that it proves nothing."""
    design = make_route(2000, 2000)
    # 0.60 dB of connections, 0.30 dB of the splice and 4 km at 0.19 dB/km.
    true_total_db = 0.60 + 0.30 + 0.76
    traces = [
        with_total(trace(design, at_m={2000: loss_db}, end_m=4000, is_forward=is_forward), loss_db=true_total_db)
        for is_forward, loss_db in ((True, -0.30), (False, 0.30))
    ]
    judged = judge_fibres({1: traces}, design=design, criteria=only(SPLICE), sites=["C1"])
    assert outcome(judged[1], "SPLICE-1550", site="C1") == "undetermined"


def test_a_splice_that_merges_with_a_bend_before_it_is_not_unseen() -> None:
    """A bend of 0.06 dB 25 m before C1, within the pulse of 31 m: from A both are one event of 0.28 dB at the bend.

    From B they are one at C1. The other fibres show C1 at 2000 m, where from A nothing is listed: but an event that no
    other joint explains lies within what the pulse merges, so that the splice is not unseen. Its 0.22 dB stay unproven:
    half of 0.28 dB is no reading of it.
    """
    design = make_route(2000, 2000)
    traces: dict[int, list[Body]] = {
        fibre: there_and_back(design, {2000: 0.06}, end_m=4000, fibre=fibre, pulse_ns=300) for fibre in FIBRES[1:]
    }
    traces[1] = [
        trace(design, at_m={1975: 0.28}, end_m=4000, pulse_ns=300),
        trace(design, at_m={2000: 0.28}, end_m=4000, pulse_ns=300, is_forward=False),
    ]
    judged = judge_fibres(traces, design=design, criteria=only(SPLICE, STRAY, TERMINATION), sites=["C1"])
    assert outcome(judged[1], "SPLICE-1550", site="C1") != "conforming"
    assert outcome(judged[2], "SPLICE-1550", site="C1") == "conforming"


def test_two_events_three_metres_apart_at_one_joint_are_that_joints() -> None:
    """No other joint is within kilometres: 0.09 and 0.10 dB beside each other are one splice of 0.19 dB."""
    design = make_route(2000, 2000)
    judged = judge_cable(
        design, lambda *_: {2000: 0.09, 2003: 0.10}, end_m=4000, criteria=only(SPLICE), fibres=range(1, 2)
    )
    assert outcome(judged[1], "SPLICE-1550", site="C1") == "nonconforming"
