"""What many fibres contribute to their route, drawn without judging: readings by site, as instruments show them."""

from binascii import b2a_base64
from collections.abc import Mapping
from dataclasses import replace
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from tests.simulator.crew import Hand
from tests.simulator.draws import start
from tests.simulator.glass import draw_truth
from tests.simulator.instrument import Direction, read_power, take_traces
from tests.simulator.rounds import make_gear
from worker.judgement.fibre.contributions import Contributions, LinkOutline
from worker.judgement.fibre.packed_losses import UNREAD
from worker.judgement.history.acts import TraceOutline

# By wavelength and direction, then by fibre and site, in 0.001 dB.
Losses = dict[tuple[int, bool], NDArray[np.int64]]
_HAND = Hand(operator="p-3k7", device="tablet-31")
_THRESHOLD_MDB = 20


def draw_losses(*, fibres: int, closures: int, seed: int, noise_db: float = 0.006, times: int = 1) -> list[Losses]:
    """Draw what an honest route's fibres read, measured so many times over."""
    sites = ["A", *(f"C{number}" for number in range(1, closures + 1)), "B"]
    lengths_m = np.full(closures + 1, 2000.0)
    truth = draw_truth(sites=sites, section_lengths_m=lengths_m, fibre_count=fibres, uncut={}, seed=seed)
    gear = make_gear(hand_at_a=_HAND, hand_at_b=_HAND, loss_threshold_db=0.02, pulse_ns=100, range_m=160_000.0)
    measured: list[Losses] = [{} for _ in range(times)]
    for number, direction in enumerate(Direction):
        otdr, source = replace(gear.otdr(direction), reading_noise_db=noise_db), start(seed, 50, number)
        for losses in measured:
            cords = {"cord_at_a": gear.cord_at_a, "cord_at_b": gear.cord_at_b}
            traces = take_traces(truth, otdr=otdr, direction=direction, source=source, **cords)
            for wavelength, nm in enumerate(truth.wavelengths_nm):
                losses[nm, direction is Direction.A_TO_B] = _mdb(traces.readings_db[wavelength])
    return measured


def draw_powers(*, fibres: int, closures: int, seed: int) -> Losses:
    """Draw an honest route's losses by source and meter: each fibre's in place of those at its sites."""
    sites = ["A", *(f"C{number}" for number in range(1, closures + 1)), "B"]
    lengths_m = np.full(closures + 1, 2000.0)
    truth = draw_truth(sites=sites, section_lengths_m=lengths_m, fibre_count=fibres, uncut={}, seed=seed)
    gear = make_gear(hand_at_a=_HAND, hand_at_b=_HAND, loss_threshold_db=0.02, pulse_ns=100, range_m=160_000.0)
    powers: Losses = {}
    for number, instruments in enumerate((gear.power_from_a, gear.power_from_b)):
        read_db = read_power(truth, instruments=instruments, source=start(seed, 51, number))
        for wavelength, nm in enumerate(truth.wavelengths_nm):
            powers[nm, number == 0] = _mdb(read_db[wavelength])
    return powers


def traced(losses: Losses, *, step_mdb: int = 1) -> dict[int, Contributions]:
    """Return what fibres with these readings contribute; what is within the threshold of zero is not seen."""
    count = len(next(iter(losses.values())))
    return {
        fibre: Contributions(
            traces=tuple(
                _outline(f"{fibre}/{nm}/{is_forward}", nm, is_forward, read[fibre - 1], step_mdb)
                for (nm, is_forward), read in losses.items()
            )
        )
        for fibre in range(1, count + 1)
    }


def powered(powers: Losses) -> dict[int, Contributions]:
    """Return what fibres with these losses by source and meter contribute."""
    count = len(next(iter(powers.values())))
    return {
        fibre: Contributions(
            links=tuple(
                LinkOutline(f"{fibre}/{nm}/{is_forward}", is_forward, nm, int(read[fibre - 1]))
                for (nm, is_forward), read in powers.items()
            )
        )
        for fibre in range(1, count + 1)
    }


def edited(read_mdb: NDArray[np.int64], *, seed: int, digits: int, step_mdb: int = 1) -> NDArray[np.int64]:
    """Return readings as somebody types them who changes their last digits by so much at most."""
    return read_mdb + step_mdb * start(seed, 52).integers(-digits, digits + 1, read_mdb.shape)


def copied(losses: Mapping[tuple[int, bool], NDArray[np.int64]], *, fibre: int, read: Losses) -> Losses:
    """Return a route on which some of a fibre's readings are others."""
    changed = {side: own.copy() for side, own in losses.items()}
    for side, own in read.items():
        changed[side][fibre - 1] = own
    return changed


def _outline(record: str, nm: int, is_forward: bool, read_mdb: NDArray[np.int64], step_mdb: int) -> TraceOutline:
    stated = np.rint(read_mdb / step_mdb).astype(np.int64) * step_mdb
    is_unseen = np.abs(stated) < _THRESHOLD_MDB
    is_unseen[[0, -1]] = False
    packed = np.where(is_unseen, UNREAD, stated).astype("<i2").tobytes()
    digest = sha256(packed).hexdigest()[:16]
    return TraceOutline(
        record=record,
        is_forward=is_forward,
        wavelength_nm=nm,
        events_digest=f"{digest}{record}",
        losses_digest=digest,
        losses=int((~is_unseen).sum()),
        step_mdb=step_mdb,
        instrument=record,
        clock="",
        ended_at_us=0,
        averaging_us=0,
        labelled_fibre=None,
        packed_losses=b2a_base64(packed, newline=False).decode(),
    )


def _mdb(read_db: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.rint(read_db * 1000).astype(np.int64)
