"""What traces show and leave out: cases that an acceptance engineer who trusts nobody settles by hand."""

from collections.abc import Mapping
from typing import Any

import pytest

from tests.acceptance.by_hand import (
    LAUNCH_M,
    Losses,
    judge_fibres,
    make_route,
    outcome,
    there_and_back,
    trace,
    with_total,
)
from tests.factories import (
    Body,
    link_criterion,
    make_attenuation,
    make_section,
    only,
    splice_criterion,
    stray_criterion,
    termination_criterion,
    with_events,
    with_id,
)
from tests.unit.judgement.judging import finding_of, work_of
from worker.judgement.judge import FibreJudgement

SPLICE = splice_criterion(limit_db=0.15)
TERMINATION = termination_criterion(limit_db=0.5)
STRAY = stray_criterion(limit_db=0.05)


def one_fibre(design: Body, *records: Body, criteria: Body | None = None, sites: tuple[str, ...]) -> FibreJudgement:
    """Judge fibre 1 by its records, these closures sealed."""
    return judge_fibres({1: records}, design=design, criteria=criteria or only(SPLICE), sites=sites)[1]


def seen(design: Body, *, end_m: float, from_a: Losses, from_b: Losses, **changes: Any) -> list[Body]:
    """Return a trace from each end, of which each shows losses at metres from A of its own."""
    changes_a, changes_b = (changes.pop(name, {}) for name in ("a", "b"))
    return [
        trace(design, at_m=from_a, end_m=end_m, **{**changes, **changes_a}),
        trace(
            design,
            at_m={end_m - metre: loss for metre, loss in from_b.items()},
            end_m=end_m,
            is_forward=False,
            **{**changes, **changes_b},
        ),
    ]


def uncut(site: str) -> Body:
    """Return a plan by which fibre 1 runs through a site in one piece."""
    return {"site": site, "fibres": {"first": 1, "last": 1}, "action": "uncut"}


@pytest.mark.parametrize(("sum_db", "expected"), [(0.15, "conforming"), (0.16, "undetermined")])
def test_of_three_closures_in_one_zone_the_one_in_which_the_fibre_is_uncut_has_no_splice(
    sum_db: float, expected: str
) -> None:
    """C1, C2 and C3 lie 8 m apart and 100 ns see one event; fibre 1 is spliced in C1 and C3 only.

    Both together keep 0.15 dB, so each does. More than that says of neither which it was. Nobody asks about C2.
    """
    design = make_route(2000, 8, 8, 2000, splice_plan=[uncut("C2")])
    shown = seen(design, end_m=4016, from_a={2000: sum_db}, from_b={2016: sum_db}, pulse_ns=100)
    judged = one_fibre(design, *shown, sites=("C1", "C2", "C3"))
    found = {one["site"]: one["outcome"] for one in judged.document["findings"] if "site" in one}
    assert {site: found[site] for site in ("C1", "C3")} == {"C1": expected, "C3": expected}
    assert "C2" not in found


def test_what_was_found_at_a_joint_without_a_loss_is_not_a_loss_of_nothing() -> None:
    """From A the instrument marks C1 and states no loss; from B it reads 0.04 dB. One direction is missing."""
    design = make_route(2000, 2000)
    there, back = there_and_back(design, {2000: 0.04}, end_m=4000)

    def without_loss_at_c1(event: Body) -> Body:
        is_at_c1 = event["distance_m"] == LAUNCH_M + 2000
        return {name: value for name, value in event.items() if not (is_at_c1 and name == "loss_db")}

    there = with_events(there, without_loss_at_c1)
    # At C1, and at the end as ever.
    assert sum("loss_db" not in event for event in there["events"]) == 2
    judged = one_fibre(design, there, back, sites=("C1",))
    assert outcome(judged, "SPLICE-1550", site="C1") == "undetermined"


def test_without_a_launch_cord_one_way_the_near_connection_alone_is_unproven() -> None:
    """Tested from A without a cord: A's connection lies in the port's dead zone. Splice and far end are as seen."""
    design = make_route(2000, 2000)
    there, back = there_and_back(design, {2000: 0.04}, end_m=4000)
    # Whoever tests without the cord has its 500 m nowhere on the trace, nor a connection at the port.
    behind = [event for event in there["events"] if event["distance_m"] > LAUNCH_M]
    kept = {name: value for name, value in there.items() if name not in {"id", "launch_cord", "events"}}
    moved = [{**event, "distance_m": event["distance_m"] - LAUNCH_M} for event in behind]
    bare = with_id({**kept, "events": moved})
    judged = one_fibre(design, bare, back, criteria=only(SPLICE, TERMINATION), sites=("C1",))
    assert outcome(judged, "TERM-1550", site="A") == "undetermined"
    assert outcome(judged, "SPLICE-1550", site="C1") == "conforming"


def test_a_loss_seen_one_way_at_the_shorter_wavelength_alone_is_that_wavelengths() -> None:
    """0.20 dB from A at 1310 nm, nothing from B and nothing at 1550 nm: 0.09 to 0.11 dB at 1310 nm, above 0.05 dB.

    A bend would show at 1550 nm first, which stays as clean as it was seen.
    """
    design = make_route(2000, 2000)
    records = [
        record
        for nm in (1310, 1550)
        for record in seen(
            design,
            end_m=4000,
            from_a={2000: 0.05, **({1000: 0.20} if nm == 1310 else {})},
            from_b={2000: 0.05},
            wavelength_nm=nm,
        )
    ]
    criteria = only(STRAY, stray_criterion(code="STRAY-1310", wavelength_nm=1310, limit_db=0.05))
    judged = one_fibre(design, *records, criteria=criteria, sites=("C1",))
    at_1310 = [one for one in judged.document["findings"] if one["criterion"] == "STRAY-1310"]
    assert "nonconforming" in {one["outcome"] for one in at_1310}
    assert {one["outcome"] for one in judged.document["findings"] if one["criterion"] == "STRAY-1550"} == {"conforming"}


@pytest.mark.parametrize(("half_db", "expected"), [(1.137, "conforming"), (1.138, "undetermined")])
def test_a_pair_at_the_allowance_of_its_glass_is_possible_and_one_step_beyond_is_not(
    half_db: float, expected: str
) -> None:
    """G.652.D at 1550 nm, 9.4 to 11.4 um: 10 log10(11.4/9.4) is 0.8378 dB, and 0.3 dB of scattering are agreed.

    So 1.1378 dB at most. Such mode fields lose 0.160 dB and the mean, 0.14 dB, may be 0.05 dB off: Marcuse's formula,
    from memory, computed by hand: 20 log10((1 + r^2) / 2r) with r = 10^0.0837.
    """
    design = make_route(2000, 2000)
    mean_db = 0.14
    shown = seen(
        design,
        end_m=4000,
        from_a={2000: round(mean_db + half_db, 3)},
        from_b={2000: round(mean_db - half_db, 3)},
    )
    assert outcome(one_fibre(design, *shown, sites=("C1",)), "SPLICE-1550", site="C1") == expected


def test_a_gain_and_a_loss_that_two_ordinary_reels_explain_are_a_good_splice() -> None:
    """+0.35 and -0.25 dB: mode fields 7 % apart, as tolerances of one type leave them; the splice loses 0.05 dB."""
    design = make_route(2000, 2000)
    shown = seen(design, end_m=4000, from_a={2000: 0.35}, from_b={2000: -0.25})
    assert outcome(one_fibre(design, *shown, sites=("C1",)), "SPLICE-1550", site="C1") == "conforming"


@pytest.mark.parametrize(
    ("off_db", "expected"),
    [(0.104, "conforming"), (-0.104, "conforming"), (0.105, "undetermined"), (-0.105, "undetermined")],
)
def test_a_total_may_be_as_far_from_its_parts_as_was_agreed(off_db: float, expected: str) -> None:
    """Two connections of 0.301 dB, a splice of 0.041 and 4 km at 0.191 dB/km are 1.407 dB; 0.1 dB off are agreed.

    Beside that each of four losses is known to half a thousandth, and so is each kilometre: 0.004 dB.
    """
    design = make_route(2000, 2000)
    shown = [
        with_total(one, loss_db=round(1.407 + off_db, 3), slope_db_per_km=0.191)
        for one in there_and_back(design, {2000: 0.041}, end_m=4000, pair_db=0.301)
    ]
    criteria = only(SPLICE, consistency={"total_db": 0.1})
    assert outcome(one_fibre(design, *shown, criteria=criteria, sites=("C1",)), "SPLICE-1550", site="C1") == expected


@pytest.mark.parametrize(("totals", "expected"), [((True, True), "undetermined"), ((False, False), "conforming")])
def test_an_event_deleted_from_both_traces_is_told_by_the_total_that_was_left_in(
    totals: tuple[bool, bool], expected: str
) -> None:
    """0.30 dB of C1 are taken out of both traces and their totals forgotten: each is 0.30 dB more than its parts.

    Without a total nothing contradicts the silence of one fibre: that is why totals can be demanded, and why the
    slope is held against the neighbours'.
    """
    design = make_route(2000, 2000)
    shown = there_and_back(design, {}, end_m=4000)
    for record, has_total in zip(shown, totals, strict=True):
        if has_total:
            with_total(record, loss_db=0.60 + 0.30 + 0.76)
    assert outcome(one_fibre(design, *shown, sites=("C1",)), "SPLICE-1550", site="C1") == expected


@pytest.mark.parametrize(("far_db", "expected"), [(0.05, "conforming"), (0.20, "undetermined")])
def test_what_one_end_parts_and_the_other_merges_is_known_together_only(far_db: float, expected: str) -> None:
    """12 m apart: 30 ns from A show 0.03 dB and another loss behind it, 100 ns from B show their sum at C2.

    A mean of both directions there is of the group alone: 0.08 dB prove both, 0.23 dB neither.
    """
    design = make_route(2000, 12, 2000)
    shown = seen(
        design,
        end_m=4012,
        from_a={2000: 0.03, 2012: far_db},
        from_b={2012: round(0.03 + far_db, 3)},
        a={"pulse_ns": 30},
        b={"pulse_ns": 100},
    )
    judged = one_fibre(design, *shown, sites=("C1", "C2"))
    for site in ("C1", "C2"):
        assert outcome(judged, "SPLICE-1550", site=site) == expected


@pytest.mark.parametrize("index", [1.368, 1.4, 1.42, 1.52, 1.568])
def test_an_index_typed_wrong_accuses_no_fibre_and_proves_none(index: float) -> None:
    """1.368 for 1.468: every distance is 7 % off. Nothing lies where it should, so the crew tests again, no more."""
    design = make_route(2000, 2000, 2000)
    shown = there_and_back(design, {2000: 0.05, 4000: 0.30}, end_m=6000, group_index=index)
    judged = one_fibre(design, *shown, criteria=only(SPLICE, STRAY), sites=("C1", "C2"))
    assert {one["outcome"] for one in judged.document["findings"]} == {"undetermined"}
    assert not any(act in ("resplice", "relieve_bend") for act, _ in work_of(judged))


def test_an_index_stated_by_one_instrument_and_not_by_the_other_parts_nothing() -> None:
    """6 km at 1.468, from B shown 0.2 % longer by an index that nobody wrote down: both reach the end."""
    design = make_route(2000, 2000, 2000)
    there = trace(design, at_m={2000: 0.05, 4000: 0.05}, end_m=6000)
    back = trace(design, at_m={2000: 0.05, 4000: 0.05}, end_m=6000, is_forward=False, scale=1.002, group_index=None)
    judged = one_fibre(design, there, back, criteria=only(SPLICE, STRAY, TERMINATION), sites=("C1", "C2"))
    assert {one["outcome"] for one in judged.document["findings"]} == {"conforming"}


def test_a_bad_reading_one_way_beside_a_void_one_convicts_nobody() -> None:
    """+0.90 dB from A; B's instrument had run out. One direction is no splice loss, however bad it looks."""
    design = make_route(2000, 2000)
    shown = seen(design, end_m=4000, from_a={2000: 0.9}, from_b={2000: 0.9}, b={"calibrated_until": "2025-01-31"})
    assert outcome(one_fibre(design, *shown, sites=("C1",)), "SPLICE-1550", site="C1") == "undetermined"


@pytest.mark.parametrize(
    ("threshold_db", "from_a_db", "expected"),
    [
        # Unseen both ways: within the threshold.
        (0.15, None, "conforming"),
        (0.151, None, "undetermined"),
        # Seen from A as a: (a - t)/2 to (a + t)/2.
        (0.02, 0.28, "conforming"),
        (0.02, 0.281, "undetermined"),
        (0.02, 0.32, "undetermined"),
        (0.02, 0.321, "nonconforming"),
    ],
)
def test_silence_counts_for_what_it_can_hide_and_no_more(
    threshold_db: float, from_a_db: float | None, expected: str
) -> None:
    """The limit is 0.15 dB; values at the limit conform, the whole of what may be there has to lie beyond to fail."""
    design = make_route(2000, 2000)
    from_a: Mapping[int, float] = {} if from_a_db is None else {2000: from_a_db}
    shown = seen(design, end_m=4000, from_a=from_a, from_b={}, loss_threshold_db=threshold_db)
    assert outcome(one_fibre(design, *shown, sites=("C1",)), "SPLICE-1550", site="C1") == expected


def test_a_sharp_trace_that_is_void_leaves_the_joint_to_the_duller_one_that_counts() -> None:
    """30 ns of an instrument out of calibration part C1 and C2; what counts are 300 ns, which see one event.

    What is void parts nothing: only the sum is proven, and it is above what one splice may lose.
    """
    design = make_route(2000, 20, 2000)
    records = [
        *seen(
            design,
            end_m=4020,
            from_a={2000: 0.05, 2020: 0.11},
            from_b={2000: 0.05, 2020: 0.11},
            pulse_ns=30,
            calibrated_until="2025-01-31",
        ),
        *seen(design, end_m=4020, from_a={2000: 0.16}, from_b={2020: 0.16}, pulse_ns=300),
    ]
    judged = one_fibre(design, *records, sites=("C1", "C2"))
    for site in ("C1", "C2"):
        assert outcome(judged, "SPLICE-1550", site=site) == "undetermined"


def test_a_splice_beside_a_panels_reflection_is_proven_where_the_pulse_parts_them() -> None:
    """A closure 40 m behind A: 30 ns part them (dead zone about 9 m), so that it has a reading of its own."""
    design = make_route(40, 4000)
    shown = there_and_back(design, {40: 0.12}, end_m=4040, pulse_ns=30)
    judged = one_fibre(design, *shown, criteria=only(SPLICE, TERMINATION), sites=("C1",))
    assert outcome(judged, "SPLICE-1550", site="C1") == "conforming"
    assert outcome(judged, "TERM-1550", site="A") == "conforming"
    bad = there_and_back(design, {40: 0.16}, end_m=4040, pulse_ns=30)
    assert outcome(one_fibre(design, *bad, sites=("C1",)), "SPLICE-1550", site="C1") == "nonconforming"


def test_two_instruments_whose_thresholds_differ_each_hide_their_own() -> None:
    """Unseen from A at 0.05 dB and from B at 0.02 dB: the mean is within half of the sum, 0.035 dB."""
    design = make_route(2000, 2000)
    shown = seen(design, end_m=4000, from_a={}, from_b={}, a={"loss_threshold_db": 0.05})
    for limit_db, expected in ((0.035, "conforming"), (0.034, "undetermined")):
        criteria = only(splice_criterion(limit_db=limit_db))
        assert (
            outcome(one_fibre(design, *shown, criteria=criteria, sites=("C1",)), "SPLICE-1550", site="C1") == expected
        )


def test_a_gain_seen_one_way_beside_silence_is_no_bad_splice() -> None:
    """-0.10 dB from A and nothing over 0.02 dB from B: -0.06 to -0.04 dB, a loss below zero: one of both is wrong."""
    design = make_route(2000, 2000)
    shown = seen(design, end_m=4000, from_a={2000: -0.10}, from_b={})
    criteria = only(SPLICE, mean_below_zero_db=0.03)
    assert (
        outcome(one_fibre(design, *shown, criteria=criteria, sites=("C1",)), "SPLICE-1550", site="C1") == "undetermined"
    )


def test_fibres_of_a_cable_built_shorter_keep_their_closures_in_order() -> None:
    """Two closures 40 m apart, both 50 m nearer than designed, on twelve fibres: none is read as the other."""
    design = make_route(2000, 40, 2000)
    traces = {
        fibre: there_and_back(design, {1950: 0.05, 1990: 0.30 if fibre == 3 else 0.06}, end_m=3990, fibre=fibre)
        for fibre in range(1, 13)
    }
    judged = judge_fibres(traces, design=design, criteria=only(SPLICE))
    assert outcome(judged[3], "SPLICE-1550", site="C2") == "nonconforming"
    assert outcome(judged[3], "SPLICE-1550", site="C1") == "conforming"
    assert outcome(judged[1], "SPLICE-1550", site="C2") == "conforming"


def test_source_and_meter_above_what_the_traces_add_up_to_prove_nothing() -> None:
    """4 km at 0.19 dB/km, 0.04 dB of splices and 0.60 dB of connections are 1.40 dB; the meter says 2.40 dB.

    A dirty reference cord or a bend at the test is likelier than a decibel that two traces both missed.
    """
    design = make_route(2000, 2000)
    shown = [with_total(one, loss_db=1.40) for one in there_and_back(design, {2000: 0.04}, end_m=4000)]
    limit = {"kind": "fixed", "limit_db": 3.0}
    criteria = only(link_criterion(limit=limit, reference_cords=1, uncertainty_db=0.2))
    for loss_db, expected in ((1.40, "conforming"), (2.40, "undetermined")):
        link = [
            make_attenuation(from_site=near, to_site=far, loss_db=loss_db) for near, far in (("A", "B"), ("B", "A"))
        ]
        judged = one_fibre(design, *shown, *link, criteria=criteria, sites=("C1",))
        assert outcome(judged, "LINK-1550") == expected


def test_a_reel_of_other_glass_in_the_middle_makes_no_splice_bad() -> None:
    """G.652.D to G.657.A and back: +0.20/-0.10 dB at the one end, -0.10/+0.20 dB at the other are 0.05 dB each."""
    design = make_route(2000, 2000, 2000)
    design["sections"][1] = make_section("S2", cable_length_m=2000.0, fibre_type="G.657.A1")
    shown = seen(design, end_m=6000, from_a={2000: 0.20, 4000: -0.10}, from_b={2000: -0.10, 4000: 0.20})
    judged = one_fibre(design, *shown, sites=("C1", "C2"))
    for site in ("C1", "C2"):
        assert outcome(judged, "SPLICE-1550", site=site) == "conforming"
        assert finding_of(judged, "SPLICE-1550", site=site)["value"] == "0.0500"


def test_a_bend_beside_an_unseen_splice_within_the_tolerance_is_not_called_a_good_splice() -> None:
    """8 m behind C1 one event of 0.02 dB at 1310 and 0.20 dB at 1550 nm: as C1's it is too much, as a bend it is bad.

    Either way this fibre is not accepted at 1550 nm, and its joint at 1310 nm is.
    """
    design = make_route(2000, 2000)
    records = [
        record
        for nm, loss in ((1310, 0.03), (1550, 0.20))
        for record in there_and_back(design, {2008: loss}, end_m=4000, wavelength_nm=nm)
    ]
    criteria = only(SPLICE, splice_criterion(code="SPLICE-1310", wavelength_nm=1310, limit_db=0.15), STRAY)
    judged = one_fibre(design, *records, criteria=criteria, sites=("C1",))
    assert outcome(judged, "SPLICE-1310", site="C1") == "conforming"
    at_1550 = {one["outcome"] for one in judged.document["findings"] if one["criterion"] != "SPLICE-1310"}
    assert at_1550 != {"conforming"}
