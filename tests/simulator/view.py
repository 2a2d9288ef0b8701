"""What one instrument with one pulse shows of every fibre from its end: events, slopes between them, the total."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tests.bodies import Body
from tests.simulator.draws import Floats, draw_around
from tests.simulator.faults import STRAYS, Fault, FaultKind, stray_losses_db
from tests.simulator.instrument import Direction, Otdr, Traces
from tests.simulator.listing import M_PER_NS_OF_PULSE, Listed, Spot, list_events
from tests.simulator.rounds import Gear
from tests.simulator.truth import RouteTruth

# Each of the echo's turns at a connector costs, the one at the port next to nothing: well below what made it.
_ECHO_WEAKER_DB = 18.0
# A line through a stretch of fibre: 0.001 dB/km from the scale, and what noise at both its ends turns it by.
_SLOPE_NOISE_DB_PER_KM, _SLOPE_NOISE_DB = 0.001, 0.003
# No instrument fits a line to a stretch shorter than some pulses.
_LEAST_STRETCH_PULSES = 3


@dataclass(frozen=True, kw_only=True)
class Screen:
    """What a trace lists, the attenuation before each event where one is shown, where it ends and the loss to there."""

    listed: Sequence[Listed]
    slopes_db_per_km: Sequence[float | None]
    end_m: float
    total_db: float
    total_from_m: float
    total_to_m: float

    def events(self) -> Iterator[Body]:
        """Give the events as they are posted, without the end."""
        for one, slope in zip(self.listed, self.slopes_db_per_km, strict=True):
            event: Body = {"distance_m": one.distance_m, "loss_db": one.loss_db, "kind": "non_reflective"}
            if one.reflectance_db is not None:
                event |= {"kind": "reflective", "reflectance_db": one.reflectance_db}
            yield event if slope is None else event | {"attenuation_db_per_km": slope}


@dataclass(frozen=True, kw_only=True)
class View:
    """One end's view of every fibre."""

    direction: Direction
    traces: Traces
    otdr: Otdr
    truth: RouteTruth
    stray_noise: Floats
    slope_noise: Floats

    @classmethod
    def look(
        cls, gear: Gear, truth: RouteTruth, *, otdr: Otdr, direction: Direction, source: np.random.Generator
    ) -> "View":
        """Measure every fibre; the truth is that of the fibres as somebody plugged them."""
        traces = gear.take_traces(truth, otdr, direction, source)
        wavelengths, fibres, sections = truth.attenuation_db_per_km.shape
        return cls(
            direction=direction,
            traces=traces,
            otdr=otdr,
            truth=truth,
            stray_noise=draw_around(source, (fibres, wavelengths), centre=0, deviation=1.0),
            slope_noise=draw_around(source, (wavelengths, fibres, sections + 1), centre=0, deviation=1.0),
        )

    def screen(self, fibre: int, wavelength: int, fault: Fault | None, *, deleted: int | None = None) -> Screen:
        """Return what the trace of a fibre shows; what lies at the site that somebody `deleted` is not in its list."""
        spots = sorted(
            [*self._joints(fibre, wavelength), *self._strays(fibre, wavelength, fault)], key=lambda spot: spot.lies_m
        )
        end_m = float(self.traces.end_m[wavelength, fibre - 1])
        to_m = end_m - self.traces.receive.length_m
        if fault is not None and fault.kind is FaultKind.BREAK and fault.at_m is not None:
            end_m = to_m = round(self._on_trace_m(fibre, fault.at_m, wavelength), 2)
            spots = [spot for spot in spots if spot.at_m < end_m]
        listed = [
            one
            for one in list_events(
                spots,
                pulse_ns=self.otdr.pulse_ns,
                threshold_db=self.otdr.loss_threshold_db,
                merge_pulses=self.otdr.merge_pulses,
            )
            if deleted is None or deleted not in one.sites
        ]
        # A total is taken from the first connection's event to the last one's, wherever these were put.
        at_m = [self.traces.launch.length_m, to_m, *(one.distance_m for one in listed)]
        from_m, to_m = round(min(at_m), 2), round(max(at_m), 2)
        fibre_db = float(np.diff(self._fibre_loss_db(fibre, wavelength, np.array([from_m, to_m])))[0])
        return Screen(
            listed=listed,
            slopes_db_per_km=self._slopes(fibre, wavelength, listed, spots),
            end_m=end_m,
            total_db=round(fibre_db + sum(spot.loss_db for spot in spots), 3),
            total_from_m=from_m,
            total_to_m=to_m,
        )

    def _joints(self, fibre: int, wavelength: int) -> Iterator[Spot]:
        readings = self.traces.readings_db[wavelength, fibre - 1].tolist()
        distances = self.traces.distances_m[wavelength, fibre - 1].tolist()
        noises = self.traces.noise_db[wavelength, fibre - 1].tolist()
        reflectances = self.traces.reflectances_db[wavelength, fibre - 1].tolist()
        offsets_m, last = self.truth.site_offsets_m[fibre - 1].tolist(), len(readings) - 1
        for site, (reading_db, distance_m) in enumerate(zip(readings, distances, strict=True)):
            if not np.isnan(reading_db):
                reflectance_db = {0: reflectances[0], last: reflectances[1]}.get(site)
                yield Spot(
                    at_m=distance_m,
                    loss_db=reading_db,
                    reflectance_db=reflectance_db,
                    site=site,
                    noise_db=noises[site] if self.otdr.dynamic_range_db else 0.0,
                    true_m=self._on_trace_m(fibre, offsets_m[site], wavelength),
                )

    def _strays(self, fibre: int, wavelength: int, fault: Fault | None) -> Iterator[Spot]:
        if fault is None:
            return
        noise_db = float(self.stray_noise[fibre - 1, wavelength]) * self.otdr.reading_noise_db
        if fault.kind is FaultKind.ECHO:
            yield self._echo(fibre, wavelength, noise_db=noise_db)
        elif fault.kind in STRAYS and fault.at_m is not None:
            loss_db = stray_losses_db(self.truth, fault)[wavelength] + noise_db
            yield Spot(at_m=self._on_trace_m(fibre, fault.at_m, wavelength), loss_db=loss_db)

    def _echo(self, fibre: int, wavelength: int, *, noise_db: float) -> Spot:
        """Return the light that the near connector and the port sent to and fro: twice as far, and lossless."""
        near = 0 if self.direction is Direction.A_TO_B else -1
        at_m = 2 * float(self.traces.distances_m[wavelength, fibre - 1, near])
        made_by_db = float(self.traces.reflectances_db[wavelength, fibre - 1, near])
        return Spot(at_m=at_m, loss_db=noise_db / 2, reflectance_db=round(made_by_db - _ECHO_WEAKER_DB, 1))

    def _slopes(
        self, fibre: int, wavelength: int, listed: Sequence[Listed], spots: Sequence[Spot]
    ) -> list[float | None]:
        """Return the slope of each stretch before an event: of its fibre, and of what no event of the list says."""
        least_m = _LEAST_STRETCH_PULSES * self.otdr.pulse_ns * M_PER_NS_OF_PULSE
        at_m = np.array([one.distance_m for one in listed])
        fibre_db = np.diff(self._fibre_loss_db(fibre, wavelength, at_m)).tolist()
        slopes: list[float | None] = [None] * min(len(listed), 1)
        for number, (before, here, glass_db) in enumerate(zip(listed, listed[1:], fibre_db, strict=False)):
            length_m = here.distance_m - before.distance_m
            hidden_db = sum(spot.loss_db for spot in spots if before.last_m < spot.lies_m < here.first_m)
            if length_m < least_m:
                slopes.append(None)
                continue
            noise = float(self.slope_noise[wavelength, fibre - 1, number % self.slope_noise.shape[2]])
            noise_db = noise * (_SLOPE_NOISE_DB_PER_KM + 1000 * _SLOPE_NOISE_DB / length_m)
            slopes.append(max(round(1000 * (glass_db + hidden_db) / length_m + noise_db, 3), 0.0))
        return slopes

    def _fibre_loss_db(self, fibre: int, wavelength: int, on_trace_m: Floats) -> Floats:
        """Return the loss of the glass between A and spots of the trace, growing the way the light goes."""
        along_m = on_trace_m / self._scale[wavelength] - self.traces.launch.length_m
        offsets_m = self.truth.site_offsets_m[fibre - 1]
        losses_db = np.concatenate([[0.0], np.cumsum(self._section_losses_db[wavelength, fibre - 1])])
        if self.direction is Direction.B_TO_A:
            return np.asarray(-np.interp(offsets_m[-1] - along_m, offsets_m, losses_db))
        return np.asarray(np.interp(along_m, offsets_m, losses_db))

    def _on_trace_m(self, fibre: int, from_a_m: float, wavelength: int) -> float:
        along_m = from_a_m
        if self.direction is Direction.B_TO_A:
            along_m = float(self.truth.lengths_m[fibre - 1]) - from_a_m
        return (self.traces.launch.length_m + along_m) * self._scale[wavelength]

    @cached_property
    def _scale(self) -> list[float]:
        used = (self.otdr.group_index[nm] for nm in self.truth.wavelengths_nm)
        return [float(own) / index for own, index in zip(self.truth.group_index, used, strict=True)]

    @cached_property
    def _section_losses_db(self) -> Floats:
        return np.asarray(self.truth.attenuation_db_per_km * self.truth.section_lengths_m / 1000)
