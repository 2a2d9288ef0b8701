"""What crews post: records in their JSON form, with ids that are the same each run."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from hashlib import sha256
from typing import Any
from uuid import UUID, uuid5

import numpy as np

from tests.bodies import Body
from tests.bodies.records import (
    make_attenuation,
    make_closure_state,
    make_cord,
    make_instrument,
    make_splice,
    make_trace,
)
from tests.simulator.instrument import Cord, Direction, Otdr, PowerSet, Traces
from tests.simulator.truth import RouteTruth

_NAMESPACE = UUID("5b1f0c56-0d0a-4c8e-9a0b-6a1f5d3c7e21")


@dataclass(frozen=True, kw_only=True)
class Hand:
    """Who makes a record, and on which device."""

    operator: str
    device: str

    def head(self, name: str, made_at: datetime) -> Body:
        """Return what says of a record which it is, who made it, on what and when."""
        return {"id": id_of(name), "made_at": made_at.isoformat(), "operator": self.operator, "device": self.device}


@dataclass(frozen=True, kw_only=True)
class Splicer:
    """A fusion splicer and how it is used."""

    serial: str
    mode: str
    cleave_length_mm: float
    sleeve_length_mm: float


def id_of(name: str) -> str:
    """Return the id of the record with a name."""
    return str(uuid5(_NAMESPACE, name))


def splice_record(
    name: str, *, site: str, joints: Sequence[Body], attempt: int, splicer: Splicer, hand: Hand, made_at: datetime
) -> Body:
    """Record one fibre, or the fibres of a ribbon, fused, protected and proof-tested."""
    return make_splice(
        **hand.head(name, made_at),
        site=site,
        joints=joints,
        attempt=attempt,
        splicer_serial=splicer.serial,
        splice_mode=splicer.mode,
        cleave_length_mm=splicer.cleave_length_mm,
        sleeve_length_mm=splicer.sleeve_length_mm,
    )


def closure_record(name: str, *, site: str, state: str, photographs: int, hand: Hand, made_at: datetime) -> Body:
    """Record a closure opened or sealed; the photographs' digests stand for invented pictures."""
    digests = [sha256(f"{name}/photograph/{number}".encode()).hexdigest() for number in range(1, photographs + 1)]
    return make_closure_state(**hand.head(name, made_at), site=site, state=state, photographs_sha256=digests)


def trace_record(
    *,
    fibre: int,
    ends: tuple[str, str],
    wavelength_nm: int,
    otdr: Otdr,
    cords: tuple[Cord, Cord],
    head: Body,
    **shown: Any,
) -> Body:
    """Record a trace: taken between which ends, with which settings and cords, and what it shows."""
    launch, receive = (make_cord(one.serial, one.length_m, one.connector) for one in cords)
    stated_range = otdr.stated_range(wavelength_nm)
    of_noise: Body = {} if stated_range is None else {"dynamic_range": stated_range}
    # Without one the body's own would stand.
    of_index: Body = {"group_index": otdr.posted_index.get(wavelength_nm)}
    return make_trace(
        **head,
        **of_noise,
        **of_index,
        fibre=fibre,
        from_site=ends[0],
        to_site=ends[1],
        wavelength_nm=wavelength_nm,
        pulse_ns=otdr.pulse_ns,
        range_m=otdr.range_m,
        averaging_s=otdr.averaging_s,
        backscatter_db=otdr.backscatter_db[wavelength_nm],
        loss_threshold_db=otdr.loss_threshold_db,
        launch_cord=launch,
        receive_cord=receive,
        instrument_serial=otdr.serial,
        calibrated_until=otdr.calibrated_until,
        **shown,
    )


@dataclass(frozen=True, kw_only=True)
class TraceReporter:
    """Writes the traces of one direction down as records."""

    truth: RouteTruth
    otdr: Otdr
    traces: Traces

    def record(self, name: str, *, fibre: int, wavelength_nm: int, hand: Hand, made_at: datetime) -> Body:
        """Record one trace's events."""
        wavelength = self.truth.wavelengths_nm.index(wavelength_nm)
        launch, receive = self.traces.launch, self.traces.receive
        shown = {name: values[wavelength][fibre - 1] for name, values in self._shown.items()}
        end_m: float = shown["end_m"]
        to_m = round(end_m - receive.length_m, 2)
        return trace_record(
            fibre=fibre,
            ends=ends_of(self.truth, self.traces.direction),
            wavelength_nm=wavelength_nm,
            otdr=self.otdr,
            cords=(launch, receive),
            head=hand.head(name, made_at),
            events=list(self._events(shown)),
            length_m=end_m,
            total_loss={"loss_db": shown["totals_db"], "from_m": launch.length_m, "to_m": to_m},
        )

    @cached_property
    def _shown(self) -> dict[str, Any]:
        # Plain floats at once: taking 150,000 scalars out of an array one by one costs more than the simulation.
        return {name: value.tolist() for name, value in vars(self.traces).items() if isinstance(value, np.ndarray)}

    def _events(self, shown: Body) -> Iterator[Body]:
        """List the events in the order in which the light meets them, those under the threshold left out."""
        last = len(self.truth.sites) - 1
        sections: list[float] = shown["attenuations_db_per_km"]
        forward = self.traces.direction is Direction.A_TO_B
        for site in range(last + 1) if forward else range(last, -1, -1):
            reading, distance_m = shown["readings_db"][site], shown["distances_m"][site]
            is_start = site == (0 if forward else last)
            before = {} if is_start else {"attenuation_db_per_km": sections[site - 1 if forward else site]}
            if site in {0, last}:
                yield {
                    "distance_m": distance_m,
                    "kind": "reflective",
                    "loss_db": reading,
                    "reflectance_db": shown["reflectances_db"][0 if site == 0 else 1],
                    **before,
                }
            elif not math.isnan(reading) and abs(reading) >= self.otdr.loss_threshold_db:
                yield {"distance_m": distance_m, "kind": "non_reflective", "loss_db": reading, **before}
        yield {"distance_m": shown["end_m"], "kind": "end", "reflectance_db": -14.7}


def power_record(*, instruments: PowerSet, ends: tuple[str, str], head: Body, **shown: Any) -> Body:
    """Record an end-to-end loss: read by which instruments, between which ends, and what they show."""
    until = instruments.calibrated_until
    return make_attenuation(
        **head,
        from_site=ends[0],
        to_site=ends[1],
        reference_cords=instruments.reference_cords,
        source=make_instrument(instruments.source_serial, calibrated_until=until),
        meter=make_instrument(instruments.meter_serial, calibrated_until=until),
        **shown,
    )


def ends_of(truth: RouteTruth, direction: Direction) -> tuple[str, str]:
    """Return the ends of a route in the order in which the light meets them."""
    ends = truth.sites[0], truth.sites[-1]
    return ends if direction is Direction.A_TO_B else (ends[1], ends[0])
