"""What was done to fibres and measured on them, as values: integers of the last place, site indices counted from A."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from service.vocabulary.criteria.voiding import Work
from service.vocabulary.records.words import Qualifier, Side, SpliceMethod
from service.vocabulary.words import FarEnd
from worker.judgement.history.events import TraceEvent, TraceEvents
from worker.judgement.history.inspections import InspectionAct
from worker.judgement.history.lids import LidAct
from worker.judgement.numbers.clocks import Stamp

# Light goes there and back: a pulse of 1 ns covers 0.102 m of fibre at a group index of 1.468.
UM_PER_NS_OF_PULSE = 102_000
# Behind an event an instrument sees nothing apart for about three pulses, common practice, no source.
_MERGED_PULSES = 3


class SpliceAct(NamedTuple):
    """One fibre's part in a splice record."""

    stamp: Stamp
    fibre: int
    site: str
    position: int | None
    attempt: int
    splicer_serial: str
    method: SpliceMethod
    estimate_mdb: int
    cleave_left_cdeg: int | None
    cleave_right_cdeg: int | None
    cleave_length_tenth_mm: int | None
    sleeve_length_tenth_mm: int | None
    sleeve_is_shrunk: bool
    proof_test_passed: bool | None
    certified_until: str | None
    splicer_sequence: int | None


class SplicedRibbon(NamedTuple):
    """A splice record: one fibre, or several at once, each with its part."""

    stamp: Stamp
    site: str
    by_fibre: Mapping[int, tuple[SpliceAct, ...]]
    is_ended: bool = False


class OtherSplicing(NamedTuple):
    """Splicing that another route recorded in a closure which both pass: which fibres it is of is not known here."""

    stamp: Stamp
    site: str
    is_ended: bool = False


class TerminationAct(NamedTuple):
    """A fibre given its connector; with a pigtail, what the splicer estimated of the splice behind it, if stated."""

    stamp: Stamp
    fibre: int
    site: str
    position: int | None
    is_ended: bool = False
    pigtail_mdb: int | None = None


class CleaningAct(NamedTuple):
    """One side of a connection cleaned."""

    stamp: Stamp
    fibre: int
    site: str
    position: int | None
    side: Side


class CalibrationAct(NamedTuple):
    """A splicer's arc calibrated for a type of fibre, or not."""

    stamp: Stamp
    splicer_serial: str
    fibre_type: str
    site: str | None
    passed: bool


class ClosureAct(NamedTuple):
    """A closure opened or sealed; where it is not said for which fibres it was opened, for all."""

    stamp: Stamp
    site: str
    is_sealed: bool
    opened_for: Work | None = None
    is_ended: bool = False


class Rework(NamedTuple):
    """Work that voids the tests of a fibre before it, as far as they run through its site."""

    stamp: Stamp
    site: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """What all tests have in common; site indices are those of its two ends, the smaller first."""

    stamp: Stamp
    is_ended: bool
    calibration_has_run_out: bool
    fibre: int
    is_forward: bool
    low_index: int
    high_index: int
    wavelength_nm: int | None

    @property
    def span(self) -> tuple[int, int]:
        """Site indices of its two ends, the smaller first."""
        return self.low_index, self.high_index

    @property
    def ends(self) -> tuple[int, int]:
        """Site indices of its near and its far end."""
        return self.span if self.is_forward else (self.high_index, self.low_index)


class Cord(NamedTuple):
    """A launch or receive cord."""

    serial: str
    length_um: int


class DynamicRange(NamedTuple):
    """The one-way loss at which an instrument's backscatter is as large as its noise, at a pulse and an averaging."""

    range_mdb: int
    pulse_ns: int
    averaging_us: int


class TotalLoss(NamedTuple):
    """A trace's loss between two of its points."""

    loss_mdb: int
    from_um: int
    to_um: int


class TraceOutline(NamedTuple):
    """One trace as its route compares it with others: what was measured in short, by whom, and when it ended.

    The digests are of its events and of their losses alone, `step_mdb` is the last place of its losses. `clock` is
    empty where the instrument's own clock says when. `packed_losses` are those of its sites, once they are known.
    """

    record: str
    is_forward: bool
    wavelength_nm: int
    events_digest: str
    losses_digest: str
    losses: int
    step_mdb: int
    instrument: str
    clock: str
    ended_at_us: int
    averaging_us: int
    labelled_fibre: int | None
    packed_losses: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Trace(Measurement):
    """One trace: its events up to the fibre's end and those behind it, in order of distance.

    `ends_shown` are the events that say that the fibre ends, as they were posted: the nearest of them is its end.
    `actual_dnm` is the actual wavelength in 0.1 nm, the nominal one where it is not stated.
    """

    wavelength_nm: int
    actual_dnm: int
    pulse_ns: int
    range_um: int
    threshold_mdb: int
    backscatter_cdb: int
    group_index_e5: int | None
    dynamic_range: DynamicRange | None
    launch: Cord | None
    receive: Cord | None
    events: TraceEvents
    behind_end: tuple[TraceEvent, ...]
    ends_shown: tuple[TraceEvent, ...]
    total_loss: TotalLoss | None
    outline: TraceOutline

    @property
    def end_um(self) -> int | None:
        """Where the fibre ends on the trace, if it shows that."""
        ends = self.ends_shown
        return ends[0].at_um if len(ends) == 1 else min((event.at_um for event in ends), default=None)

    def is_merged(self, event: TraceEvent, first: TraceEvent) -> bool:
        """Tell whether an event without a loss is so near behind another that its loss is part of that one's."""
        reach_um = _MERGED_PULSES * UM_PER_NS_OF_PULSE * self.pulse_ns
        return first.loss_mdb is not None and 0 <= event.at_um - first.at_um <= reach_um


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkLoss(Measurement):
    """One loss by source and meter, at the source's wavelength in 0.1 nm: the nominal one if not stated."""

    wavelength_nm: int
    actual_dnm: int
    loss_mdb: int
    reference_cords: int
    referenced_at: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class ReturnLoss(Measurement):
    """The return loss seen from the near end; by its qualifier the value itself, or only a bound."""

    wavelength_nm: int
    return_loss_mdb: int
    qualifier: Qualifier
    far_end: FarEnd


@dataclass(frozen=True, kw_only=True, slots=True)
class Dispersion(Measurement):
    """Chromatic dispersion in 0.01 ps/nm and polarization mode dispersion in 0.001 ps, where stated."""

    wavelength_nm: int
    chromatic_cps_per_nm: int | None
    pmd_fs: int | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Continuity(Measurement):
    """The fibre that was seen at the far end when `fibre` was lit at the near end; None where all stayed dark."""

    seen_fibre: int | None


Link = LinkLoss | ReturnLoss | Dispersion | Continuity
Act = SplicedRibbon | OtherSplicing | TerminationAct | CleaningAct | InspectionAct | CalibrationAct | ClosureAct
Record = Act | Trace | Link
LinkT = TypeVar("LinkT", bound=Link)


@dataclass(frozen=True, kw_only=True, slots=True)
class History:
    """One fibre's acts by site and its measurements, each in order of time.

    `worked_at` are the sites at which the fibre itself was spliced or terminated, withdrawn work among it.
    Ended acts are left out, ended measurements kept to be shown. `reworks` are what voids the tests before it, as does
    what is left in `withdrawn`, work that ended without the engineer's word, and in `withdrawn_terminations`; `links`
    are the tests that are one value between two sites.
    """

    worked_at: frozenset[str]
    splices: Mapping[str, tuple[SpliceAct, ...]]
    terminations: Mapping[str, tuple[TerminationAct, ...]]
    cleanings: Mapping[str, tuple[CleaningAct, ...]]
    end_faces: Mapping[str, tuple[InspectionAct, ...]]
    calibrations: tuple[CalibrationAct, ...]
    reworks: tuple[Rework, ...]
    withdrawn: tuple[Rework, ...]
    withdrawn_terminations: Mapping[str, tuple[TerminationAct, ...]]
    lid_acts: Mapping[str, tuple[LidAct, ...]]
    traces: tuple[Trace, ...]
    links: tuple[Link, ...]

    def links_of(self, kind: type[LinkT]) -> list[LinkT]:
        """Return the tests of one kind that are one value."""
        return [test for test in self.links if isinstance(test, kind)]
