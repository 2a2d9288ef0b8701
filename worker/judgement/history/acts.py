"""What was done to one fibre and measured on it, as values; site indices count from A."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from worker.judgement.numbers.clocks import Stamp

Body = Mapping[str, Any]


class SpliceAct(NamedTuple):
    """One fibre's part in a splice record; `joint` is that part of its `body`."""

    stamp: Stamp
    site: str
    position: int | None
    estimate_mdb: int
    sleeve_is_shrunk: bool
    proof_test_passed: bool | None
    body: Body
    joint: Body


class TerminationAct(NamedTuple):
    """A fibre given its connector."""

    stamp: Stamp
    site: str
    position: int | None
    body: Body


class ConnectionAct(NamedTuple):
    """One side of a connection cleaned, or inspected."""

    stamp: Stamp
    site: str
    position: int | None
    side: str
    body: Body


class CalibrationAct(NamedTuple):
    """A splicer's arc calibrated, or not."""

    stamp: Stamp
    splicer_serial: str
    body: Body


class ClosureAct(NamedTuple):
    """A closure opened or sealed."""

    stamp: Stamp
    site: str
    is_sealed: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """What all tests have in common; site indices are those of its two ends, the smaller first."""

    stamp: Stamp
    is_ended: bool
    calibration_has_run_out: bool
    is_forward: bool
    low_index: int
    high_index: int
    wavelength_nm: int | None
    body: Body

    @property
    def ends(self) -> tuple[int, int]:
        """Site indices of its near and its far end."""
        return (self.low_index, self.high_index) if self.is_forward else (self.high_index, self.low_index)


@dataclass(frozen=True, kw_only=True, slots=True)
class Cord:
    """A launch or receive cord."""

    serial: str
    length_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Trace(Measurement):
    """One trace; its events stay as posted until they are placed."""

    wavelength_nm: int
    pulse_ns: int
    threshold_mdb: int
    launch: Cord | None
    receive: Cord | None
    events: tuple[Body, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkLoss(Measurement):
    """One end-to-end loss by source and meter."""

    wavelength_nm: int
    loss_mdb: int
    reference_cords: int


@dataclass(frozen=True, kw_only=True, slots=True)
class ReturnLoss(Measurement):
    """The return loss seen from the near end; by its qualifier the value itself, or only a bound."""

    wavelength_nm: int
    return_loss_mdb: int
    qualifier: str
    far_end: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Dispersion(Measurement):
    """Chromatic dispersion in 0.01 ps/nm and polarization mode dispersion in 0.001 ps, where stated."""

    wavelength_nm: int
    chromatic_cps_per_nm: int | None
    pmd_fs: int | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Continuity(Measurement):
    """The fibre lit at the near end and the one seen at the far end; None where all stayed dark."""

    lit_fibre: int
    seen_fibre: int | None


@dataclass(frozen=True, kw_only=True, slots=True)
class History:
    """One fibre's acts by site and its measurements, each in order of time.

    Ended acts are left out, ended measurements kept to be shown. `reworks` are what voids the tests before it;
    `links` are the tests that are one value from end to end, by the kind of record they came as.
    """

    splices: Mapping[str, tuple[SpliceAct, ...]]
    terminations: Mapping[str, tuple[TerminationAct, ...]]
    cleanings: Mapping[str, tuple[ConnectionAct, ...]]
    end_faces: Mapping[str, tuple[ConnectionAct, ...]]
    calibrations: tuple[CalibrationAct, ...]
    reworks: tuple[Stamp, ...]
    closure_acts: Mapping[str, tuple[ClosureAct, ...]]
    traces: tuple[Trace, ...]
    links: Mapping[str, tuple[Measurement, ...]]
