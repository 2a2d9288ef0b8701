"""Joints that a pulse may show as one event although they seem apart: what a good engineer says of them, and why."""

import pytest

from tests.acceptance.by_hand import judge_fibres, make_route, there_and_back, trace
from tests.factories import Body, only, splice_criterion, stray_criterion
from tests.unit.judgement.judging import finding_of

SPLICE = splice_criterion(limit_db=0.15)
STRAY = stray_criterion(limit_db=0.05)
FIBRES = range(1, 13)


def outcomes(design: Body, traces: dict[int, list[Body]], *sites: str) -> list[str]:
    """Return how the first fibre's splices were decided."""
    judged = judge_fibres(traces, design=design, criteria=only(SPLICE), sites=sites)
    return [str(finding_of(judged[1], "SPLICE-1550", site=site)["outcome"]) for site in sites]


def seen_first(sum_db: float, *, apart_m: float, end_m: float, fibre: int = 1, pulse_ns: int = 100) -> list[Body]:
    """Return traces that show the joints behind 2000 m as one event, from either end at the first one met."""
    met_first_m = {True: 2000.0, False: end_m - 2000.0 - apart_m}
    return [
        trace(
            make_route(2000, apart_m, end_m - 2000 - apart_m),
            at_m={met_first_m[is_forward]: sum_db},
            end_m=end_m,
            is_forward=is_forward,
            fibre=fibre,
            pulse_ns=pulse_ns,
        )
        for is_forward in (True, False)
    ]


# 100 ns certainly part what lies 2.2 pulses of 10.2 m apart, and a closure may be 10 m off its design.
@pytest.mark.parametrize(("apart_m", "is_apart"), [(32.4, False), (32.5, True)])
def test_joints_that_a_coil_may_bring_within_the_pulse_are_not_accepted_for_each_other(
    apart_m: float, is_apart: bool
) -> None:
    """0.24 dB at C1 from A, 0.24 dB at C2 from B, each silent on the other: one event of both, met from two ends.

    Who takes the silence for a splice that loses nothing sees two of 0.12 dB. If the closures are surely farther apart
    than the pulse merges, that is what they are.
    """
    design = make_route(2000, apart_m, 2000)
    traces = {1: seen_first(0.24, apart_m=apart_m, end_m=4000 + apart_m)}
    assert (outcomes(design, traces, "C1", "C2") == ["conforming"] * 2) is is_apart


def test_joints_that_may_be_merged_are_accepted_where_both_together_keep_the_limit() -> None:
    design = make_route(2000, 32, 2000)
    assert outcomes(design, {1: seen_first(0.12, apart_m=32, end_m=4032)}, "C1", "C2") == ["conforming"] * 2


def test_what_is_merged_from_one_end_alone_is_known_together_alone() -> None:
    """C1 gains 0.30 and loses 0.42 dB, C2 0.20 dB: one event of -0.10 dB from A, and from B 0.42 and nothing seen.

    Half of the gain is no part of C2: of it no more is known than that both lose 0.16 dB or less together.
    """
    design = make_route(2000, 32, 2000)
    there, back = seen_first(0.0, apart_m=32, end_m=4032)
    there["events"][1]["loss_db"] = -0.10
    back["events"][1] |= {"loss_db": 0.42, "distance_m": 300.0 + 2032.0}
    assert outcomes(design, {1: [there, back]}, "C1", "C2")[1] == "undetermined"


def test_closures_whose_spot_is_known_together_are_not_apart_from_the_next_one() -> None:
    """C1 45 m C2 60 m C3, and 300 ns that part at 67 m: one event, at C1 from A and at C3 from B, on every fibre.

    Nobody sees which of C1 and C2 shows, so that their spot is known to half of 45 m and C3 seems 80 m behind it. The
    first fibre's C2 loses 0.16 dB of 0.25: half of that, and silence from B, are no reading of it.
    """
    design = make_route(2000, 45, 60, 2000)
    traces = {
        fibre: seen_first(0.25 if fibre == 1 else 0.12, apart_m=105, end_m=4105, fibre=fibre, pulse_ns=300)
        for fibre in FIBRES
    }
    assert "conforming" not in outcomes(design, traces, "C1", "C2", "C3")


def test_a_trace_that_takes_a_neighbours_event_says_nothing_where_the_others_contradict_it() -> None:
    """Four closures 26 m farther out than designed, on one fibre of 26.8 km, where 53 m are no wonder.

    At 1310 nm from A C3 does not show: C1's and C2's events lie at C2's and C3's designed spots. From B C3 shows, 61 m
    behind C2. Who reads C2's event as C3's from A has half of 0.30 dB for it.
    """
    design = make_route(10_483.3, 29, 61.4, 33.6, 16_191.3)
    end_m = 26_798.6
    from_a = {1310: {10_512.2: 0.020, 10_538.5: 0.021, 10_630.8: 0.032}, 1550: {10_511.0: 0.027, 10_631.6: 0.031}}
    from_b = {10_630.6: 0.09, 10_599.0: 0.27, 10_538.5: 0.065}
    traces = [
        one
        for nm in (1310, 1550)
        for one in (
            trace(design, at_m=from_a[nm], end_m=end_m, pulse_ns=30, wavelength_nm=nm),
            trace(
                design,
                at_m={end_m - metre: loss for metre, loss in from_b.items()},
                end_m=end_m,
                pulse_ns=30,
                wavelength_nm=nm,
                is_forward=False,
            ),
        )
    ]
    criteria = only(splice_criterion(code="SPLICE-1310", wavelength_nm=1310, limit_db=0.15))
    judged = judge_fibres({1: traces}, design=design, criteria=criteria, sites=["C1", "C2", "C3", "C4"])
    assert finding_of(judged[1], "SPLICE-1310", site="C3")["outcome"] == "undetermined"


@pytest.mark.parametrize(("fibres", "outcome"), [(2, "undetermined"), (3, "conforming")])
def test_a_loss_that_may_be_a_joint_built_elsewhere_is_no_damage(fibres: int, outcome: str) -> None:
    """A closure 40 m from its design, and no loss there: two fibres may have a bend in common, three show the joint."""
    design = make_route(2000, 2000)
    traces = {fibre: there_and_back(design, {2040.0: 0.08}, end_m=4000, fibre=fibre) for fibre in range(1, fibres + 1)}
    judged = judge_fibres(traces, design=design, criteria=only(SPLICE, STRAY), sites=["C1"])
    for fibre in traces:
        assert finding_of(judged[fibre], "STRAY-1550")["outcome"] == outcome


def test_a_loss_in_reach_of_two_unseen_joints_leaves_neither_unseen() -> None:
    """Closures 29 m apart, on eleven fibres within 3 m of their spots; the first fibre's one loss lies between both.

    It is no nearer to C1 than slack that explains the one explains the other: 0.3 dB may be C2's as well.
    """
    design = make_route(2000, 29, 2000)
    traces = {
        fibre: there_and_back(
            design,
            {at_m + ((7 * fibre) % 5 - 2) * 1.5: 0.06 for at_m in (2000, 2029)} if fibre > 1 else {2013.5: 0.3},
            end_m=4029,
            fibre=fibre,
            pulse_ns=30,
        )
        for fibre in FIBRES
    }
    assert "conforming" not in outcomes(design, traces, "C1", "C2")


@pytest.mark.parametrize(("apart_m", "is_apart"), [(8.5, False), (2.0, True)])
def test_closures_known_together_may_be_merged_into_the_end_beside_them(apart_m: float, is_apart: bool) -> None:
    """C1 7 m C2 29 m B, C2 really 30 m before B; 100 ns see nothing for 30.6 m beside B's connection.

    From A both show as one loss at C1, which is taken for the middle between them, so that C2 seems to lie 34 m before
    B. 0.20 dB from A and silence from B are then no splices of 0.10 dB: B's event holds theirs.
    """
    end_m = 2036.0
    first_m = end_m - 30.0 - apart_m
    traces = {
        fibre: [
            trace(
                make_route(2000, 7, 29),
                at_m={first_m: 0.2} if is_forward else {},
                end_m=end_m,
                is_forward=is_forward,
                fibre=fibre,
                pulse_ns=100,
            )
            for is_forward in (True, False)
        ]
        for fibre in FIBRES
    }
    assert "conforming" not in outcomes(make_route(2000, 7, 29), traces, "C1", "C2")


def test_a_group_built_elsewhere_takes_no_neighbours_events_on_fibres_that_locate_nothing() -> None:
    """C1 30 m C2 38 m C3 36 m C4, all built 32 m farther out, on two fibres: nobody knows where they are.

    C1's 0.33 dB shows where C2 is designed, C2's where C3 is, and C4's where nothing is: it alone is left over. If C4
    lies off by that much the others do too: C1 is not the good splice that shows nothing.
    """
    design = make_route(2586, 30, 38, 36, 2000)
    losses = {2618.0: 0.33, 2648.0: 0.12, 2722.0: 0.10}
    traces = {fibre: there_and_back(design, losses, end_m=4690.0, fibre=fibre, pulse_ns=30) for fibre in (1, 2)}
    assert outcomes(design, traces, "C1", "C2", "C3", "C4") == ["undetermined"] * 4
