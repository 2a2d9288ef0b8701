"""People who write down what no instrument showed: each does what it says, and the rest of the trace is honest."""

from dataclasses import replace

import numpy as np
import pytest

from service.vocabulary.records.record import RECORD
from tests.simulator.faults import MUTUAL, PEOPLE, FaultKind
from tests.simulator.instrument import Direction
from tests.simulator.trial import Shown, Trial, faulty_trial

FIBRES = 4


def shown_of(trial: Trial) -> dict[tuple[int, int, Direction], Shown]:
    """Return what each trace lists, by fibre, wavelength and direction."""
    return {(one.fibre, one.wavelength_nm, one.direction): one for _, one in trial.traces()}


@pytest.mark.parametrize("kind", sorted(PEOPLE))
def test_records_with_everything_that_people_do_are_valid(kind: FaultKind) -> None:
    trial = faulty_trial(seed=8, fibres=FIBRES, kind=kind)
    for record in [*(record for record, _ in trial.traces()), *trial.power_records()]:
        RECORD.validate_python(record)


def test_a_deleted_event_is_gone_from_both_ends_and_hides_in_the_slope() -> None:
    trial = faulty_trial(seed=8, fibres=FIBRES, kind=FaultKind.DELETED_EVENT)
    honest = replace(trial, faults=())
    for (with_fault, shown), (without, whole) in zip(trial.traces(), honest.traces(), strict=True):
        fault = trial.fault_of(shown.fibre)
        assert fault is not None
        assert not any(fault.site in one.sites for one in shown.events.values())
        gone = [one for one in whole.events.values() if fault.site in one.sites]
        assert with_fault["total_loss"] == without["total_loss"]
        slopes = [
            max(event.get("attenuation_db_per_km", 0) for event in record["events"]) for record in (with_fault, without)
        ]
        assert not gone or gone[0].loss_db < 0.1 or slopes[0] > slopes[1]


def test_an_inverted_reading_is_negative_one_way_and_nothing_else_changes() -> None:
    trial = faulty_trial(seed=8, fibres=FIBRES, kind=FaultKind.INVERTED_SIGN)
    honest = shown_of(replace(trial, faults=()))
    for key, shown in shown_of(trial).items():
        fault = trial.fault_of(key[0])
        assert fault is not None
        for distance_m, event in shown.events.items():
            sign = -1 if fault.site in event.sites and key[2] is Direction.A_TO_B else 1
            assert event.loss_db == sign * honest[key].events[distance_m].loss_db


@pytest.mark.parametrize(
    ("kind", "copied"),
    [(FaultKind.NEAR_COPY, set(Direction)), (FaultKind.ONE_DIRECTION_COPIED, {Direction.B_TO_A})],
)
def test_a_near_copy_differs_from_its_neighbour_in_the_last_digits_only(
    kind: FaultKind, copied: set[Direction]
) -> None:
    shown = shown_of(faulty_trial(seed=8, fibres=FIBRES, kind=kind))
    for (fibre, nm, direction), one in shown.items():
        if fibre % 2:
            continue
        losses_db, others_db = (
            [event.loss_db for event in trace.events.values()] for trace in (one, shown[fibre - 1, nm, direction])
        )
        is_alike = len(losses_db) == len(others_db) and np.allclose(losses_db, others_db, atol=0.0021)
        assert is_alike is (direction in copied)
        assert losses_db != others_db


@pytest.mark.parametrize("kind", [FaultKind.MEASURED_AGAIN, FaultKind.SWAPPED_FROM_B])
def test_a_neighbours_glass_under_another_number_has_its_losses_and_noise_of_its_own(kind: FaultKind) -> None:
    trial = faulty_trial(seed=8, fibres=FIBRES, kind=kind)
    honest, shown = shown_of(replace(trial, faults=())), shown_of(trial)
    for (fibre, nm, direction), one in shown.items():
        is_changed = direction is Direction.B_TO_A if kind in MUTUAL else fibre % 2 == 0
        other = {1: 2, 2: 1, 3: 4, 4: 3}[fibre] if is_changed else fibre
        theirs_db, own_db = (
            {next(iter(event.sites)): event.loss_db for event in trace.events.values() if event.is_alone}
            for trace in (honest[other, nm, direction], one)
        )
        both = theirs_db.keys() & own_db.keys()
        # Two readings of 0.006 dB noise each.
        assert max(abs(theirs_db[site] - own_db[site]) for site in both) < 6 * 0.0085
        assert theirs_db != own_db or not is_changed


def test_repeated_power_is_the_neighbours_to_the_last_digit() -> None:
    trial = faulty_trial(seed=8, fibres=FIBRES, kind=FaultKind.POWER_REPEATED)
    losses_db: dict[int, list[float]] = {}
    for record in trial.power_records():
        losses_db.setdefault(record["fibre"], []).append(record["loss_db"])
    assert losses_db[1] == losses_db[2] != losses_db[3] == losses_db[4]
