"""What one fibre contributes to its route beside its document: sums of its joints, and its tests from outside."""

from collections.abc import Iterable
from typing import Any, NamedTuple

from typing_extensions import TypedDict

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.findings.suspicion import Suspicion, SuspicionDocument
from service.vocabulary.words import Basis
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct, Trace
from worker.judgement.numbers.clocks import instant_us

_US_PER_AVERAGING_PLACE = 100_000
_TENTHS = 10


class Tally(NamedTuple):
    """What is known of a population of joints: how many, of how many nothing, the bounds of the others' sum.

    `inside` are those that keep the limit for certain, `possible` those of which it is not certain that they do not.
    """

    joints: int
    unknown: int
    low_tenth_mdb: int
    high_tenth_mdb: int
    inside: int
    possible: int


class PartialSums(NamedTuple):
    """What one fibre adds to populations of several, as columns: at each site, or at `None` on the whole route.

    One row with columns for a criterion, as summing them so is many times faster than site by site.
    """

    criterion: str
    segment: str
    sites: tuple[str | None, ...]
    columns: tuple[tuple[int, ...], ...]


class TraceOutline(NamedTuple):
    """One trace from outside: digests of its events and of their losses alone, who measured it, and when it ended.

    `clock` is empty where the instrument's own clock says when. `step_mdb` is the last place of its losses.
    """

    record: str
    is_forward: bool
    events_digest: str
    losses_digest: str
    losses: int
    step_mdb: int
    instrument: str
    clock: str
    ended_at_us: int
    averaging_us: int
    labelled_fibre: int | None


class EstimateSums(NamedTuple):
    """How far a splicer's estimates since one of its calibrations are above the measured means, in 0.0001 dB."""

    splicer: str
    calibration: str
    splices: int
    sum_tenth_mdb: int
    sum_of_squares: int


class Contributions(NamedTuple):
    """All that a fibre contributes; `suspicions` are about this fibre alone."""

    sums: tuple[PartialSums, ...] = ()
    traces: tuple[TraceOutline, ...] = ()
    estimates: tuple[EstimateSums, ...] = ()
    suspicions: tuple[Suspicion, ...] = ()
    is_dark: bool = False


class ContributionsDocument(TypedDict):
    """How `Contributions` are stored: rows, each a list in the order of its members; nothing hashes them."""

    parts: list[list[Any]]
    traces: list[list[Any]]
    estimates: list[list[Any]]
    seen: list[SuspicionDocument]
    is_dark: bool


def contributions_of(
    fibre: FibreMeasured, *, sums: Iterable[PartialSums], suspicions: Iterable[Suspicion], is_dark: bool
) -> Contributions:
    """Return what a fibre contributes beside its sums, what is suspected of it, and whether it is dark."""
    return Contributions(
        sums=tuple(sums),
        traces=tuple(_outline_of(trace) for trace in fibre.history.traces if not trace.is_ended),
        estimates=tuple(_estimate_sums(fibre)),
        suspicions=tuple(suspicions),
        is_dark=is_dark,
    )


def _outline_of(trace: Trace) -> TraceOutline:
    outside = trace.outside
    clock = f"{trace.stamp.device}{', wrong' if trace.stamp.clock_is_flagged else ''}"
    return TraceOutline(
        record=trace.stamp.id,
        is_forward=trace.is_forward,
        events_digest=outside.events_digest,
        losses_digest=outside.losses_digest,
        losses=outside.losses,
        step_mdb=outside.step_mdb,
        instrument=outside.instrument_serial,
        clock=clock if outside.instrument_time is None else "",
        ended_at_us=instant_us(outside.instrument_time or trace.stamp.made_at),
        averaging_us=outside.averaging_tenth_s * _US_PER_AVERAGING_PLACE,
        labelled_fibre=outside.labelled_fibre,
    )


def _estimate_sums(fibre: FibreMeasured) -> list[EstimateSums]:
    """Return the sums of the splices in closures that the first bidirectional criterion measures exactly."""
    wavelength_nm = _wavelength_of_means(fibre)
    if wavelength_nm is None:
        return []
    above_mean: dict[tuple[str, str], list[int]] = {}
    for place in fibre.places:
        attempts = fibre.history.splices.get(place.site)
        if not attempts or place.is_group or place.pair is not None:
            continue
        loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
        if loss.reason is None and loss.low_tenth_mdb == loss.high_tenth_mdb:
            splice = attempts[-1]
            key = (splice.splicer_serial, _calibration_before(fibre, splice))
            above_mean.setdefault(key, []).append(splice.estimate_mdb * _TENTHS - loss.low_tenth_mdb)
    return [
        EstimateSums(*key, splices=len(own), sum_tenth_mdb=sum(own), sum_of_squares=sum(one * one for one in own))
        for key, own in sorted(above_mean.items())
    ]


def _wavelength_of_means(fibre: FibreMeasured) -> int | None:
    for criterion in fibre.criteria.criteria:
        if isinstance(criterion, SpliceLossCriterion) and criterion.basis is Basis.BIDIRECTIONAL:
            return criterion.wavelength_nm
    return None


def _calibration_before(fibre: FibreMeasured, splice: SpliceAct) -> str:
    serial, made_at = splice.splicer_serial, splice.stamp.made_at
    return next(
        (
            one.stamp.id
            for one in reversed(fibre.history.calibrations)
            if one.stamp.made_at <= made_at and one.splicer_serial == serial
        ),
        "",
    )
