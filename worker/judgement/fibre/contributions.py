"""What one fibre contributes to its route beside its document: sums over its joints, tests in outline, what is odd."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from typing_extensions import TypedDict

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.findings.suspicion import Suspicion, SuspicionDocument, SuspicionKind
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.glass import GlassLosses
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.packed_losses import pack_losses
from worker.judgement.history.acts import LinkLoss, SpliceAct, TraceOutline
from worker.judgement.numbers.exact import TENTHS_PER_MDB
from worker.judgement.traces.sightings import SpanSightings

_SEALED_TWICE = "usual where one sealing was posted twice; no chance is reckoned"


class Tally(NamedTuple):
    """A population of joints counted: all `joints`, those of `unknown` loss, the bounds of the sum of all other losses.

    `inside` keep the limit for certain; `possible` may keep it: these and those whose bounds lie on both sides of it.
    `one_way` are read from one end only.
    """

    joints: int
    unknown: int
    low_tenth_mdb: int
    high_tenth_mdb: int
    inside: int
    possible: int
    one_way: int


class PartialSums(NamedTuple):
    """What one fibre adds to populations of several, as columns: at each site, or at `None` on the whole route.

    One row with columns for a criterion, as summing them so is many times faster than site by site.
    """

    criterion: str
    segment: str
    sites: tuple[str | None, ...]
    columns: tuple[tuple[int, ...], ...]


class EstimateSums(NamedTuple):
    """How far a splicer's estimates since one of its calibrations are above the measured means, in 0.0001 dB."""

    splicer: str
    calibration: str
    splices: int
    sum_tenth_mdb: int
    sum_of_squares: int


class LinkOutline(NamedTuple):
    """A loss by source and meter as its route compares it with other fibres'."""

    record: str
    is_forward: bool
    wavelength_nm: int
    loss_mdb: int


class Contributions(NamedTuple):
    """All that a fibre contributes; `suspicions` are about this fibre alone."""

    sums: tuple[PartialSums, ...] = ()
    traces: tuple[TraceOutline, ...] = ()
    links: tuple[LinkOutline, ...] = ()
    estimates: tuple[EstimateSums, ...] = ()
    suspicions: tuple[Suspicion, ...] = ()
    is_dark: bool = False
    glass: tuple[GlassLosses, ...] = ()
    sightings: tuple[SpanSightings, ...] = ()


class ContributionsDocument(TypedDict):
    """How `Contributions` are stored: rows, each a list in the order of its members; nothing hashes them."""

    parts: list[list[Any]]
    traces: list[list[Any]]
    links: list[list[Any]]
    estimates: list[list[Any]]
    seen: list[SuspicionDocument]
    is_dark: bool
    glass: list[list[Any]]
    sightings: list[list[Any]]


def trace_outlines(fibre: FibreMeasured) -> tuple[TraceOutline, ...]:
    """Return the traces that were neither replaced nor withdrawn, each with its losses by site."""
    sites = len(fibre.layout.design.sites)
    return tuple(
        [
            trace.outline._replace(packed_losses=pack_losses(fibre.aligned(trace), sites=sites))
            for trace in fibre.history.traces
            if not trace.is_ended
        ]
    )


def link_outlines(fibre: FibreMeasured) -> tuple[LinkOutline, ...]:
    """Return the latest loss by source and meter from end to end, for each direction and wavelength."""
    latest = {
        (test.wavelength_nm, test.is_forward): LinkOutline(
            test.stamp.id, test.is_forward, test.wavelength_nm, test.loss_mdb
        )
        for test in fibre.history.links_of(LinkLoss)
        if not test.is_ended and test.span == (0, fibre.prepared.last_index)
    }
    return tuple(latest.values())


def estimate_sums(fibre: FibreMeasured) -> list[EstimateSums]:
    """Return the sums of the splices in closures that the first bidirectional criterion measures exactly."""
    criteria = (one for one in fibre.criteria.criteria if isinstance(one, SpliceLossCriterion))
    wavelength_nm = next((one.wavelength_nm for one in criteria if one.is_mean_of_both), None)
    if wavelength_nm is None:
        return []
    above_mean: dict[tuple[str, str], list[int]] = {}
    splices, means_tenth_mdb = fibre.history.splices, fibre.losses_at(wavelength_nm).exact_means_tenth_mdb()
    for place, mean_tenth_mdb in zip(fibre.places, means_tenth_mdb, strict=True):
        if mean_tenth_mdb is None or place.is_group or place.pair is not None:
            continue
        attempts = splices.get(place.site)
        if attempts:
            splice = attempts[-1]
            key = splice.splicer_serial, _calibration_before(fibre, splice)
            above_mean.setdefault(key, []).append(splice.estimate_mdb * TENTHS_PER_MDB - mean_tenth_mdb)
    return [
        EstimateSums(*key, splices=len(own), sum_tenth_mdb=sum(own), sum_of_squares=sum(one * one for one in own))
        for key, own in sorted(above_mean.items())
    ]


def _calibration_before(fibre: FibreMeasured, splice: SpliceAct) -> str:
    serial, made_at = splice.splicer_serial, splice.stamp.made_at
    for one in reversed(fibre.history.calibrations):
        if one.stamp.made_at <= made_at and one.splicer_serial == serial:
            return one.stamp.id
    return ""


def unrecorded_openings(fibre: FibreMeasured) -> Iterator[Suspicion]:
    """Find closures that were sealed twice in a row, the second time after tests that would count."""
    validity = fibre.validity
    if not validity.final_after_sealing:
        return
    for index, lid in validity.closures.items():
        if lid is None or lid.sealed is None or lid.again is None:
            continue
        tests = [
            test
            for test in (*fibre.history.traces, *fibre.history.links)
            if test.low_index <= index <= test.high_index and validity.fault_of(test) is None
        ]
        if any(validity.fault_at(test, index) is Reason.OPENING_NOT_RECORDED for test in tests):
            site = fibre.layout.design.sites[index].id
            # In words that are the same for every fibre, so that it is said once of all.
            detail = (
                f"{site}, sealed at {lid.sealed.made_at}, was sealed again at {lid.again.made_at} after it was tested, "
                "and no opening is recorded between"
            )
            records = (lid.sealed.id, lid.again.id)
            yield Suspicion(SuspicionKind.UNRECORDED_OPENING, (fibre.number,), records, detail, _SEALED_TWICE)
