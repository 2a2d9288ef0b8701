"""What instruments show of a true route: an OTDR at either end, and a light source with a power meter."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tests.simulator.draws import Floats, draw_around, draw_between, rounded
from tests.simulator.truth import RouteTruth, mode_field_offset_db

# A dynamic range is stated for these, common practice.
_RANGE_PULSE_NS, _RANGE_AVERAGING_S = 10_000, 180.0
# What fitting lines to some hundred samples on either side of a step leaves of the noise of one sample.
_FITTED = 0.3


class Direction(StrEnum):
    """Which way the light goes."""

    A_TO_B = "a_to_b"
    B_TO_A = "b_to_a"


@dataclass(frozen=True, kw_only=True)
class Cord:
    """A launch or receive cord; its mode field is that of its glass at each wavelength."""

    serial: str
    length_m: float
    fibre_type: str
    connector: str
    mode_field_um: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Otdr:
    """An instrument with its settings.

    `group_index` is what it computes distances with, `stated_index` what its records state where that is another one,
    or none. It parts two events that lie `merge_pulses` apart. Losses are placed to within `position_noise_m`,
    reflections to within `edge_noise_m`: their rise is sharp whatever the pulse. `reading_noise_db` is the noise near
    the port; what comes to it farther off follows from `dynamic_range_db` by wavelength, stated as is customary for
    10 us of pulse and 3 minutes of averaging; without it, nothing does.
    """

    serial: str
    calibrated_until: str
    pulse_ns: int
    averaging_s: float
    range_m: float
    loss_threshold_db: float
    reading_noise_db: float
    position_noise_m: float
    group_index: Mapping[int, float]
    backscatter_db: Mapping[int, float]
    stated_index: Mapping[int, float] | None = None
    merge_pulses: float = 1.0
    edge_noise_m: float | None = None
    dynamic_range_db: Mapping[int, float] | None = None

    @property
    def posted_index(self) -> Mapping[int, float]:
        """The index that its records state, by wavelength, where they state one."""
        return self.group_index if self.stated_index is None else self.stated_index

    def range_db(self, wavelength_nm: int) -> float | None:
        """Return the loss behind which noise is as strong as the backscatter: less for shorter pulse and averaging."""
        if self.dynamic_range_db is None:
            return None
        # Backscatter grows with the pulse, noise falls with the root of the time; an OTDR shows half of either in dB.
        by_pulse_db = 5 * np.log10(self.pulse_ns / _RANGE_PULSE_NS)
        by_time_db = 2.5 * np.log10(self.averaging_s / _RANGE_AVERAGING_S)
        return float(self.dynamic_range_db[wavelength_nm] + by_pulse_db + by_time_db)

    def stated_range(self, wavelength_nm: int) -> dict[str, float] | None:
        """Return what its records state of its dynamic range."""
        if self.dynamic_range_db is None:
            return None
        range_db = self.dynamic_range_db[wavelength_nm]
        return {"range_db": range_db, "pulse_ns": _RANGE_PULSE_NS, "averaging_s": _RANGE_AVERAGING_S}

    def noise_db(self, losses_db: Floats, *, wavelength_nm: int) -> Floats:
        """Return the noise of a reading behind so much loss."""
        range_db = self.range_db(wavelength_nm)
        if range_db is None:
            return np.full_like(losses_db, self.reading_noise_db)
        # A ratio of one in power is 5 / ln 10 dB on the screen; a step is fitted to many samples on both of its sides.
        far_db = _FITTED * 5 / np.log(10) * 10 ** ((losses_db - range_db) / 5)
        return np.asarray(np.hypot(self.reading_noise_db, far_db))


@dataclass(frozen=True, kw_only=True)
class Traces:
    """One direction of every fibre at every wavelength, as displayed; sites stand in route order from A.

    Distances count from the instrument's port, and a reading is NaN where there is nothing to read. `noise_db` is the
    standard deviation of each reading.
    """

    direction: Direction
    launch: Cord
    receive: Cord
    readings_db: Floats
    noise_db: Floats
    reflectances_db: Floats
    attenuations_db_per_km: Floats
    distances_m: Floats
    end_m: Floats
    totals_db: Floats


@dataclass(frozen=True, kw_only=True)
class PowerSet:
    """A light source and a power meter, referenced together; two or three cords have mated pairs of their own."""

    source_serial: str
    meter_serial: str
    calibrated_until: str
    reference_cords: int
    reference_pair_loss_db: float
    noise_db: float


def take_traces(
    truth: RouteTruth,
    *,
    otdr: Otdr,
    cord_at_a: Cord,
    cord_at_b: Cord,
    direction: Direction,
    source: np.random.Generator,
) -> Traces:
    """Measure every fibre in one direction, with the cords that stay on both ends."""
    forward = direction is Direction.A_TO_B
    launch, receive = (cord_at_a, cord_at_b) if forward else (cord_at_b, cord_at_a)
    offsets = site_offsets_db(truth, cord_at_a=cord_at_a, cord_at_b=cord_at_b, direction=direction)
    shape = offsets.shape

    def noise(shape: tuple[int, ...], deviation: float) -> Floats:
        return draw_around(source, shape, centre=0, deviation=deviation)

    noise_db = site_noise_db(truth, otdr, forward=forward)
    seen = truth.joint_loss_db + offsets + noise_db * noise(shape, 1.0)
    scale = truth.group_index / np.array([otdr.group_index[nm] for nm in truth.wavelengths_nm])
    from_a = truth.site_offsets_m
    route = from_a if forward else from_a[:, -1:] - from_a
    within_m = np.full(shape[2], otdr.position_noise_m)
    if otdr.edge_noise_m is not None:
        within_m[[0, -1]] = otdr.edge_noise_m
    places = launch.length_m + route + within_m * draw_between(source, shape, low=-1, high=1)
    end = launch.length_m + from_a[:, -1] + receive.length_m
    return Traces(
        direction=direction,
        launch=launch,
        receive=receive,
        noise_db=noise_db,
        readings_db=rounded(np.where(_has_joint(truth), seen, np.nan), 3),
        reflectances_db=rounded(truth.pair_reflectance_db + noise((2, *shape[:2]), 0.4).transpose(1, 2, 0), 1),
        attenuations_db_per_km=rounded(
            truth.attenuation_db_per_km + noise(truth.attenuation_db_per_km.shape, 0.001), 3
        ),
        distances_m=rounded(places * scale[:, None, None], 2),
        end_m=rounded(end * scale[:, None], 2),
        totals_db=rounded(truth.fibre_loss_db + seen.sum(axis=2), 3),
    )


def site_noise_db(truth: RouteTruth, otdr: Otdr, *, forward: bool) -> Floats:
    """Return the noise at each site: by what the light has lost on its way there."""
    behind = np.cumsum(truth.attenuation_db_per_km * truth.section_lengths_m / 1000, axis=2)
    from_a = np.concatenate([np.zeros((*behind.shape[:2], 1)), behind], axis=2) + np.cumsum(truth.joint_loss_db, axis=2)
    losses = from_a if forward else from_a[:, :, -1:] - from_a
    return np.stack([otdr.noise_db(losses[at], wavelength_nm=nm) for at, nm in enumerate(truth.wavelengths_nm)])


def site_offsets_db(truth: RouteTruth, *, cord_at_a: Cord, cord_at_b: Cord, direction: Direction) -> Floats:
    """Return what the changes of mode field add to the reading at each site.

    An end has two changes, cord to pigtail and pigtail to cable, too close together to be seen apart.
    """
    shape = truth.pigtail_mode_field_um.shape[:2]
    cords = [
        np.broadcast_to(np.asarray(cord.mode_field_um)[:, None], shape)[..., None] for cord in (cord_at_a, cord_at_b)
    ]
    pigtails = truth.pigtail_mode_field_um
    glass = np.concatenate([cords[0], pigtails[..., :1], truth.mode_field_um, pigtails[..., 1:], cords[1]], axis=2)
    towards_a, towards_b = glass[..., :-1], glass[..., 1:]
    if direction is Direction.A_TO_B:
        steps = mode_field_offset_db(from_um=towards_a, to_um=towards_b)
    else:
        steps = mode_field_offset_db(from_um=towards_b, to_um=towards_a)
    ends = steps[..., :1] + steps[..., 1:2], steps[..., -2:-1] + steps[..., -1:]
    return np.concatenate([ends[0], steps[..., 2:-2], ends[1]], axis=2)


def read_power(truth: RouteTruth, *, instruments: PowerSet, source: np.random.Generator) -> Floats:
    """Measure every fibre's end-to-end loss.

    The pairs inside the reference are referenced away: one cord leaves both end connections in the reading, two cords
    one, three cords neither.
    """
    referenced_away = (instruments.reference_cords - 1) * instruments.reference_pair_loss_db
    seen = truth.link_loss_db - referenced_away
    return rounded(seen + draw_around(source, seen.shape, centre=0, deviation=instruments.noise_db), 2)


def _has_joint(truth: RouteTruth) -> NDArray[np.bool_]:
    joints = truth.has_splice.copy()
    joints[:, [0, -1]] = True
    return joints
