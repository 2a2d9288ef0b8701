"""Routes on trial: what is listed, what is behind it, and that each fault is what it says."""

from dataclasses import replace

import numpy as np
import pytest

from service.vocabulary.design.design import Design
from service.vocabulary.design.rules import faults_in
from service.vocabulary.records.record import RECORD
from tests.simulator.course import draw_course
from tests.simulator.draws import start
from tests.simulator.faults import STRAYS, Fault, FaultKind, as_tested, build, draw_faults
from tests.simulator.instrument import Direction
from tests.simulator.listing import Listed, Spot, list_events
from tests.simulator.trial import Trial, faulty_trial, honest_trial

FIBRES = 4
PULSE_NS = 100
# The pulse is 10.2 m long: 100 ns at 0.102 m each, and three pulses behind a reflection are 30.6 m.
THRESHOLD_DB = 0.02


def listed(*spots: Spot) -> list[Listed]:
    """List spots as an instrument with a pulse of 100 ns does."""
    return list_events(spots, pulse_ns=PULSE_NS, threshold_db=THRESHOLD_DB)


@pytest.mark.parametrize(("apart_m", "events"), [(10.1, 1), (10.3, 2)])
def test_spots_within_a_pulse_are_one_event_with_the_loss_of_both(apart_m: float, events: int) -> None:
    found = listed(Spot(at_m=500, loss_db=0.05, site=1), Spot(at_m=500 + apart_m, loss_db=0.03, site=2))
    assert len(found) == events
    if events == 1:
        assert (found[0].loss_db, found[0].sites, found[0].is_alone) == (0.08, frozenset({1, 2}), False)


@pytest.mark.parametrize(("apart_m", "events"), [(30.5, 1), (30.7, 2)])
def test_behind_a_reflection_three_pulses_are_blind(apart_m: float, events: int) -> None:
    pair = Spot(at_m=500, loss_db=0.3, reflectance_db=-60.0, site=0)
    assert len(listed(pair, Spot(at_m=500 + apart_m, loss_db=0.05, site=1))) == events


def test_before_a_reflection_one_pulse_is_blind() -> None:
    pair = Spot(at_m=500, loss_db=0.3, reflectance_db=-60.0, site=0)
    assert len(listed(pair, Spot(at_m=480, loss_db=0.05, site=1))) == 2


def test_a_loss_before_a_reflection_is_part_of_its_event_which_lies_where_the_peak_rises() -> None:
    pair = Spot(at_m=500, loss_db=0.3, reflectance_db=-60.0, site=2)
    [found] = listed(Spot(at_m=492, loss_db=0.05, site=1), pair)
    assert (found.distance_m, found.loss_db, found.sites) == (500, 0.35, frozenset({1, 2}))


@pytest.mark.parametrize(("apart_m", "events"), [(16.3, 1), (16.4, 2)])
def test_an_instrument_that_parts_at_1_6_pulses_merges_what_is_nearer(apart_m: float, events: int) -> None:
    # 1.6 times 10.2 m are 16.32 m.
    spots = [Spot(at_m=500, loss_db=0.05, site=1), Spot(at_m=500 + apart_m, loss_db=0.05, site=2)]
    assert len(list_events(spots, pulse_ns=PULSE_NS, threshold_db=THRESHOLD_DB, merge_pulses=1.6)) == events


@pytest.mark.parametrize(("loss_db", "is_listed"), [(0.09, True), (0.089, False)])
def test_a_loss_is_listed_where_it_is_three_times_the_noise(loss_db: float, is_listed: bool) -> None:
    assert bool(listed(Spot(at_m=500, loss_db=loss_db, site=1, noise_db=0.03))) is is_listed


@pytest.mark.parametrize(("loss_db", "is_listed"), [(0.02, True), (0.019, False), (-0.02, True), (-0.019, False)])
def test_a_loss_or_gain_is_listed_from_the_threshold_on(loss_db: float, is_listed: bool) -> None:
    assert bool(listed(Spot(at_m=500, loss_db=loss_db, site=1))) is is_listed


def test_a_reflection_is_listed_without_a_loss() -> None:
    [echo] = listed(Spot(at_m=500, loss_db=0.0, reflectance_db=-60.0))
    assert (echo.sites, echo.is_alone) == (frozenset(), True)


@pytest.mark.parametrize("seed", range(30))
def test_a_course_is_as_far_from_its_design_as_honest_routes_are(seed: int) -> None:
    course = draw_course(seed=seed, fibres=FIBRES)
    assert faults_in(Design.model_validate(course.design)) == []
    truth, gear = course.truth, course.gear
    sheath_m = np.array([section["cable_length_m"] for section in course.design["sections"]])
    # Of the 20 m of slack stated there are 10 to 30, and the fibre is up to 3 percent longer than all of it.
    assert (truth.section_lengths_m >= sheath_m + 10).all()
    assert (truth.section_lengths_m <= (sheath_m + 30) * 1.03).all()
    assert len(course.sites) == 24
    errors = [gear.otdr_at_a.group_index[nm] - truth.group_index[at] for at, nm in enumerate(truth.wavelengths_nm)]
    assert max(map(abs, errors)) <= 0.00501
    assert gear.otdr_at_a.group_index == gear.otdr_at_b.group_index


def test_courses_differ_in_what_they_are_drawn_for() -> None:
    courses = [draw_course(seed=seed, fibres=FIBRES) for seed in range(60)]
    shortest_m = [float(course.designed_lengths_m.min()) for course in courses]
    assert 5 < sum(length_m < 175 for length_m in shortest_m) < 40
    assert 5 < sum(not course.design["sections"][0]["excess_percent"] for course in courses) < 40
    assert {course.pulses_ns[0] for course in courses} == {30, 100, 300}
    assert any(course.uncut for course in courses)


def test_records_of_a_trial_are_valid_and_their_events_have_what_is_behind_them() -> None:
    trial = honest_trial(seed=5, fibres=FIBRES)
    for record in [*trial.site_records(), *trial.continuity_records()]:
        RECORD.validate_python(record)
    traces = list(trial.traces())
    assert len(traces) == FIBRES * 4
    for record, shown in traces:
        RECORD.validate_python(record)
        distances = [f"{event['distance_m']:.2f}" for event in record["events"]]
        assert distances[:-1] == list(shown.events)
        assert shown.record == record["id"]
        assert all(one.sites for one in shown.events.values())


def test_the_same_seed_gives_the_same_trial() -> None:
    one, again, other = (list(honest_trial(seed=seed, fibres=FIBRES).traces()) for seed in (5, 5, 6))
    assert one == again != other


@pytest.mark.parametrize("kind", FaultKind)
def test_records_with_every_fault_are_valid(kind: FaultKind) -> None:
    trial = faulty_trial(seed=8, fibres=FIBRES, kind=kind)
    assert all(fault.kind is kind for fault in trial.faults)
    for record, _ in trial.traces():
        RECORD.validate_python(record)


def test_crossed_fibres_share_their_glass_and_light_up_at_each_others_number() -> None:
    course = draw_course(seed=3, fibres=FIBRES)
    fault = Fault(kind=FaultKind.CROSSED_FIBRES, fibre=1, other=2, site=4)
    trial = Trial(course=course, faults=(fault,), truth=build(course.truth, [fault]), seed=3)
    own, crossed, from_b = (
        course.truth.mode_field_um,
        trial.truth.mode_field_um,
        as_tested(trial.truth, [fault], Direction.B_TO_A),
    )
    np.testing.assert_array_equal(crossed[:, 0, :4], own[:, 0, :4])
    np.testing.assert_array_equal(crossed[:, 0, 4:], own[:, 1, 4:])
    np.testing.assert_array_equal(from_b.mode_field_um[:, 0, 4:], own[:, 0, 4:])
    seen = {record["fibre"]: record["seen_fibre"] for record in trial.continuity_records()}
    assert seen == {1: 2, 2: 1, 3: 3, 4: 4}


def test_a_broken_fibre_ends_at_one_spot_from_both_ends() -> None:
    trial = faulty_trial(seed=9, fibres=FIBRES, kind=FaultKind.BREAK)
    truth, gear = trial.truth, trial.course.gear
    for record, shown in trial.traces():
        fault = trial.fault_of(shown.fibre)
        assert fault is not None
        assert fault.at_m is not None
        scale = truth.group_index[truth.wavelengths_nm.index(shown.wavelength_nm)] / record["group_index"]
        along_m = record["length_m"] / scale - record["launch_cord"]["length_m"]
        length_m = float(truth.lengths_m[shown.fibre - 1])
        true_m = fault.at_m if record["from_site"] == "A" else length_m - fault.at_m
        assert along_m == pytest.approx(true_m, abs=0.02)
        assert all(float(distance_m) < record["length_m"] for distance_m in shown.events)
    assert gear.cord_at_a.serial != gear.cord_at_b.serial


def test_an_echo_is_lossless_weaker_than_what_made_it_and_twice_as_far() -> None:
    for _, shown in faulty_trial(seed=9, fibres=FIBRES, kind=FaultKind.ECHO).traces():
        near = next(iter(shown.events.values()))
        echoes = [one for one in shown.events.values() if one.reflectance_db is not None and not one.sites]
        for echo in echoes:
            assert echo.distance_m == pytest.approx(2 * near.distance_m, abs=0.02)
            assert near.reflectance_db is not None
            assert echo.reflectance_db is not None
            assert echo.reflectance_db < near.reflectance_db
            assert abs(echo.loss_db) < THRESHOLD_DB


@pytest.mark.parametrize("kind", sorted(STRAYS))
def test_a_stray_loss_shows_on_the_traces_of_both_ends(kind: FaultKind) -> None:
    trial = faulty_trial(seed=10, fibres=24, kind=kind)
    shown_by: dict[int, int] = {}
    for _, shown in trial.traces():
        fault = trial.fault_of(shown.fibre)
        assert fault is not None
        if shown.wavelength_nm == 1550 and fault.size_db > 0.1:
            strays = [one for one in shown.events.values() if not one.sites]
            shown_by[shown.fibre] = shown_by.get(shown.fibre, 0) + len(strays)
    assert shown_by
    # One that lies on a joint is part of that joint's event.
    assert np.mean([count == 2 for count in shown_by.values()]) > 0.7


def test_a_copied_fibre_has_the_readings_of_another_to_the_last_digit() -> None:
    trial = faulty_trial(seed=11, fibres=FIBRES, kind=FaultKind.COPIED_FIBRE)
    events: dict[int, list[object]] = {}
    for record, shown in trial.traces():
        events.setdefault(shown.fibre, []).append(record["events"])
    assert events[1] == events[2] != events[3] == events[4]


def test_a_missing_event_is_missing_from_one_end_only() -> None:
    trial = faulty_trial(seed=12, fibres=FIBRES, kind=FaultKind.MISSING_EVENT)
    honest = replace(trial, faults=())
    for (with_fault, shown), (without, _) in zip(trial.traces(), honest.traces(), strict=True):
        fault = trial.fault_of(shown.fibre)
        assert fault is not None
        assert not any(fault.site in one.sites for one in shown.events.values()) or with_fault["from_site"] == "B"
        if with_fault["from_site"] == "B":
            assert with_fault["events"] == without["events"]


@pytest.mark.parametrize("kind", [FaultKind.BAD_SPLICE, FaultKind.BEND_IN_CLOSURE, FaultKind.DIRTY_CONNECTOR])
def test_a_fault_of_a_joint_adds_its_size_to_the_true_loss(kind: FaultKind) -> None:
    course = draw_course(seed=13, fibres=FIBRES)
    faults = draw_faults(start(1), course, kind)
    more_db = build(course.truth, faults).joint_loss_db - course.truth.joint_loss_db
    for fault in faults:
        assert more_db[1, fault.fibre - 1, fault.site] == pytest.approx(fault.size_db)
    assert np.count_nonzero(more_db[1]) == FIBRES
