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

from tests.simulator.draws import Floats
from tests.simulator.instrument import Cord, Direction, Otdr, PowerSet, Traces
from tests.simulator.truth import RouteTruth

Json = dict[str, Any]

_NAMESPACE = UUID("5b1f0c56-0d0a-4c8e-9a0b-6a1f5d3c7e21")


@dataclass(frozen=True, kw_only=True)
class Hand:
    """Who makes a record, and on which device."""

    operator: str
    device: str


@dataclass(frozen=True, kw_only=True)
class Splicer:
    """A fusion splicer and how it is used."""

    serial: str
    mode: str
    cleave_length_mm: float
    sleeve_length_mm: float


@dataclass(frozen=True, kw_only=True)
class Fused:
    """One fibre of a splice as the splicer's screen shows it; `position` only where the site has more joints."""

    fibre: int
    position: int | None
    estimate_db: float
    cleave_left_deg: float
    cleave_right_deg: float


def id_of(name: str) -> str:
    """Return the id of the record with a name."""
    return str(uuid5(_NAMESPACE, name))


def splice_record(
    name: str, *, site: str, fused: Sequence[Fused], attempt: int, splicer: Splicer, hand: Hand, made_at: datetime
) -> Json:
    """Record one fibre, or the fibres of a ribbon, fused, protected and proof-tested."""
    return _head(name, "splice", hand=hand, made_at=made_at) | {
        "site": site,
        "joints": [_joint(one) for one in fused],
        "attempt": attempt,
        "splicer_serial": splicer.serial,
        "splice_mode": splicer.mode,
        "cleave_length_mm": splicer.cleave_length_mm,
        "sleeve_length_mm": splicer.sleeve_length_mm,
        "sleeve_shrunk": True,
        "proof_test_passed": True,
    }


def closure_record(name: str, *, site: str, state: str, photographs: int, hand: Hand, made_at: datetime) -> Json:
    """Record a closure opened or sealed; the photographs' digests stand for invented pictures."""
    digests = [sha256(f"{name}/photograph/{number}".encode()).hexdigest() for number in range(1, photographs + 1)]
    return _head(name, "closure_state", hand=hand, made_at=made_at) | {
        "site": site,
        "state": state,
        "photographs_sha256": digests,
    }


def trace_without_events(
    name: str,
    *,
    fibre: int,
    ends: tuple[str, str],
    wavelength_nm: int,
    otdr: Otdr,
    cords: tuple[Cord, Cord],
    hand: Hand,
    made_at: datetime,
) -> Json:
    """Record how a trace was taken: between which ends, with which settings and with which cords before and behind."""
    from_site, to_site = ends
    launch, receive = cords
    return _head(name, "otdr", hand=hand, made_at=made_at) | {
        "fibre": fibre,
        "from_site": from_site,
        "to_site": to_site,
        "wavelength_nm": wavelength_nm,
        "pulse_ns": otdr.pulse_ns,
        "range_m": otdr.range_m,
        "averaging_s": otdr.averaging_s,
        "group_index": otdr.group_index[wavelength_nm],
        "backscatter_db": otdr.backscatter_db[wavelength_nm],
        "loss_threshold_db": otdr.loss_threshold_db,
        "launch_cord": _cord(launch),
        "receive_cord": _cord(receive),
        "instrument_serial": otdr.serial,
        "calibrated_until": otdr.calibrated_until,
    }


def continuity_record(
    name: str, *, fibre: int, seen: int, ends: tuple[str, str], hand: Hand, made_at: datetime
) -> Json:
    """Record which number lit up at the second end when a fibre was lit at the first."""
    return _head(name, "continuity", hand=hand, made_at=made_at) | {
        "fibre": fibre,
        "from_site": ends[0],
        "to_site": ends[1],
        "seen_fibre": seen,
    }


@dataclass(frozen=True, kw_only=True)
class TraceReporter:
    """Writes the traces of one direction down as records."""

    truth: RouteTruth
    otdr: Otdr
    traces: Traces

    def record(self, name: str, *, fibre: int, wavelength_nm: int, hand: Hand, made_at: datetime) -> Json:
        """Record one trace's events."""
        wavelength, launch, receive = (
            self.truth.wavelengths_nm.index(wavelength_nm),
            self.traces.launch,
            self.traces.receive,
        )
        shown = {name: values[wavelength][fibre - 1] for name, values in self._shown.items()}
        end_m: float = shown["end_m"]
        trace = trace_without_events(
            name,
            fibre=fibre,
            ends=_ends(self.truth, self.traces.direction),
            wavelength_nm=wavelength_nm,
            otdr=self.otdr,
            cords=(launch, receive),
            hand=hand,
            made_at=made_at,
        )
        return trace | {
            "events": list(self._events(shown)),
            "length_m": end_m,
            "total_loss": {
                "loss_db": shown["totals_db"],
                "from_m": launch.length_m,
                "to_m": round(end_m - receive.length_m, 2),
            },
        }

    @cached_property
    def _shown(self) -> dict[str, Any]:
        # Plain floats at once: taking 150,000 scalars out of an array one by one costs more than the simulation.
        return {name: value.tolist() for name, value in vars(self.traces).items() if isinstance(value, np.ndarray)}

    def _events(self, shown: Json) -> Iterator[Json]:
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


@dataclass(frozen=True, kw_only=True)
class PowerReporter:
    """Writes the readings of source and meter down as records."""

    truth: RouteTruth
    instruments: PowerSet
    direction: Direction
    readings_db: Floats
    referenced_at: datetime

    def record(self, name: str, *, fibre: int, wavelength_nm: int, hand: Hand, made_at: datetime) -> Json:
        """Record one end-to-end loss."""
        from_site, to_site = _ends(self.truth, self.direction)
        wavelength = self.truth.wavelengths_nm.index(wavelength_nm)
        until = self.instruments.calibrated_until
        return _head(name, "attenuation", hand=hand, made_at=made_at) | {
            "fibre": fibre,
            "from_site": from_site,
            "to_site": to_site,
            "wavelength_nm": wavelength_nm,
            "loss_db": float(self.readings_db[wavelength, fibre - 1]),
            "reference_cords": self.instruments.reference_cords,
            "referenced_at": self.referenced_at.isoformat(),
            "source": {"serial": self.instruments.source_serial, "calibrated_until": until},
            "meter": {"serial": self.instruments.meter_serial, "calibrated_until": until},
        }


def _head(name: str, kind: str, *, hand: Hand, made_at: datetime) -> Json:
    return {
        "id": id_of(name),
        "kind": kind,
        "made_at": made_at.isoformat(),
        "operator": hand.operator,
        "device": hand.device,
    }


def _joint(one: Fused) -> Json:
    joint: Json = {
        "fibre": one.fibre,
        "estimate_db": one.estimate_db,
        "cleave_left_deg": one.cleave_left_deg,
        "cleave_right_deg": one.cleave_right_deg,
    }
    return joint if one.position is None else joint | {"position": one.position}


def _cord(cord: Cord) -> Json:
    return {
        "serial": cord.serial,
        "length_m": cord.length_m,
        "fibre_type": cord.fibre_type,
        "connector": cord.connector,
    }


def _ends(truth: RouteTruth, direction: Direction) -> tuple[str, str]:
    ends = truth.sites[0], truth.sites[-1]
    return ends if direction is Direction.A_TO_B else (ends[1], ends[0])
