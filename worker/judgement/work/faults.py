"""Faults of the fibre itself: where it stops, and where it is bent or damaged along its cable or at a connection."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.joints import BendCriterion
from service.vocabulary.criteria.words import From, Quantity
from service.vocabulary.findings.words import Act, Reason
from service.vocabulary.quantities import metres_text, to_um
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.unexpected_events import UnexpectedSpot, unexpected_loss, unexpected_spots
from worker.judgement.history.acts import Continuity
from worker.judgement.traces.distance_scale import share
from worker.judgement.traces.spots import locate
from worker.judgement.work.bends import MeanLoss, is_far_above, is_tested_twice
from worker.judgement.work.crossings import crossed_tests
from worker.judgement.work.items import Cause, WorkItem, beyond_limit, cause_of, merge_alike

_OF_BREAKS = {Reason.BEYOND_REACH, Reason.LENGTHS_DISAGREE}
_OF_FIBRE = {
    Quantity.ATTENUATION_COEFFICIENT: "the fibre's own loss",
    Quantity.REEL_DIFFERENCE: "what the fibre loses more than on its reel",
}
_BENT = {Quantity.STRAY_LOSS, Quantity.BEND, *_OF_FIBRE}


class _CableSpot(NamedTuple):
    """The site to go to, and how far along which cable from there; nothing more where it is at the site itself."""

    site: str
    said: str
    is_in_cable: bool


def break_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return where a fibre that stops is to be looked for, by its tests of continuity and its traces."""
    for finding in still_open:
        if finding.quantity is Quantity.CONTINUITY and finding.is_bad:
            yield from _dark_work(fibre, finding)
    criteria = tuple(dict.fromkeys(one.code for one in still_open if one.reason in _OF_BREAKS))
    # A trace that stops short leaves something open, or nothing here is worth looking for.
    for broken in fibre.traces.alignment.breaks.found if still_open else ():
        at_m, spot = metres_text(broken.from_a_um), _find_in_cable(fibre, from_a_um=broken.from_a_um)
        advice = "find the break there and splice the fibre"
        if spot.is_in_cable:
            advice += "; a joint that the design does not have yet is for it to be revised"
        clause = f"traces from both ends stop at {at_m} m of fibre from A{spot.said}: {advice}"
        cause = Cause(clause=clause, criteria=criteria, records=broken.records)
        yield WorkItem(Act.LOCATE_BREAK, (spot.site,), (cause,), is_in_cable=spot.is_in_cable)


def _dark_work(fibre: FibreMeasured, finding: Finding) -> Iterator[WorkItem]:
    told = {reading.record for reading in finding.judged.readings}
    dark = [one for one in fibre.history.links_of(Continuity) if one.stamp.id in told and one.seen_fibre is None]
    if dark and not crossed_tests(fibre, finding) and not fibre.traces.alignment.breaks.found:
        site = fibre.layout.design.sites[dark[0].ends[0]].id
        clause = f"{finding.judged.detail}: take traces from both ends to find where it stops"
        yield WorkItem(Act.LOCATE_BREAK, (site,), (cause_of(finding, clause),), is_in_cable=True)


def bend_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> list[WorkItem]:
    """Return what is to be done along the cable, and where the fibre is bent at a connection; joints are not its."""
    bends = [
        _item(fibre, finding)
        for finding in still_open
        if finding.is_bad and _is_of_fibre(fibre, finding) and clean_at_longer_nm(fibre, finding) is None
    ]
    return merge_alike(bends)


def clean_at_longer_nm(fibre: FibreMeasured, finding: Finding) -> int | None:
    """Return a longer wavelength at which a spot loses far less than a finding about it says, if there is one.

    A bend loses more at the longer one, and damage about the same: such a loss is none of both, and tested again before
    anybody looks for it. Shown twice with the same settings it is there, whatever it is.
    """
    nm = finding.wavelength_nm
    spot = _spot_of(fibre, finding) if finding.quantity is Quantity.STRAY_LOSS else None
    if nm is None or spot is None:
        return None
    spot = _by_all_traces(fibre, spot)
    longer = sorted({trace.wavelength_nm for trace in fibre.history.traces if trace.wavelength_nm > nm})
    here = _loss(fibre, spot, nm)
    for other_nm in longer:
        other = _loss(fibre, spot, other_nm)
        if here is not None and other is not None and is_far_above(here, other):
            tested = [one for one in fibre.history.traces if one.wavelength_nm in {nm, other_nm} and not one.is_ended]
            return None if is_tested_twice(tested) else other_nm
    return None


def _loss(fibre: FibreMeasured, spot: UnexpectedSpot, wavelength_nm: int) -> MeanLoss | None:
    loss = unexpected_loss(fibre, spot, From.BOTH, wavelength_nm=wavelength_nm)
    return None if loss.reason is not None else MeanLoss(wavelength_nm, loss.low_tenth_mdb, loss.high_tenth_mdb)


def _spot_of(fibre: FibreMeasured, finding: Finding) -> UnexpectedSpot | None:
    """Return the spot that a finding names, as its own wavelengths show it; None of what is about no spot."""
    criterion, own = finding.criterion, [nm for nm in (finding.wavelength_nm,) if nm is not None]
    if isinstance(criterion, BendCriterion):
        own = [criterion.short_wavelength_nm, criterion.long_wavelength_nm]
    spots = unexpected_spots(fibre, wavelengths_nm=own)
    return next((spot for spot in spots if finding.judged.detail.startswith(spot.said)), None)


def _by_all_traces(fibre: FibreMeasured, spot: UnexpectedSpot) -> UnexpectedSpot:
    """Return a spot as traces at all wavelengths show it."""
    wavelengths = sorted({trace.wavelength_nm for trace in fibre.history.traces})
    own = list(spot.events.values())
    spots = unexpected_spots(fibre, wavelengths_nm=wavelengths)
    return next((one for one in spots if any(event in own for event in one.events.values())), spot)


def _is_of_fibre(fibre: FibreMeasured, finding: Finding) -> bool:
    """Tell whether a finding is about the fibre itself: what reflects on no joint too, but no joint in a closure."""
    if finding.site is not None and fibre.layout.is_closure(finding.site):
        return False
    return finding.quantity in _BENT or (finding.quantity is Quantity.REFLECTANCE and finding.section is not None)


def _item(fibre: FibreMeasured, finding: Finding) -> WorkItem:
    spot = _spot_of(fibre, finding)
    if spot is not None:
        found = _find_in_cable(fibre, from_a_um=spot.from_a_um)
        cause = cause_of(
            finding, f"{finding.judged.detail.replace(spot.said, spot.said + found.said)}{_advice(finding)}"
        )
        return WorkItem(Act.RELIEVE_BEND, (found.site,), (cause,), is_in_cable=found.is_in_cable)
    if finding.site is not None:
        cause = cause_of(finding, f"{finding.judged.detail}{_advice(finding)}")
        return WorkItem(Act.RELIEVE_BEND, (finding.site,), (cause,), finding.position)
    site, along = _along(fibre, finding)
    cause = cause_of(finding, f"{along}, {_advice(finding)}")
    return WorkItem(Act.RELIEVE_BEND, (site,), (cause,), is_in_cable=True)


def _advice(finding: Finding) -> str:
    beyond = beyond_limit(finding)
    match finding.quantity:
        case Quantity.REFLECTANCE:
            said = f": the reflectance at {finding.wavelength_nm} nm {beyond}: find the damage there and mend it"
        case Quantity.STRAY_LOSS:
            said = f", which {beyond}: relieve the bend or mend the damage there"
        case Quantity.BEND:
            said = f": the difference {beyond}: relieve the bend"
        case quantity:
            name = f"{_OF_FIBRE[quantity]} at {finding.wavelength_nm} nm"
            said = f"{name} {beyond}: look for strain and bends along the cable"
    return f"{said}, then test again"


def _along(fibre: FibreMeasured, finding: Finding) -> tuple[str, str]:
    """Return the site before the cable that a finding is about, and the cable's name."""
    if finding.section is not None:
        sections = [section.id for section in fibre.layout.design.sections]
        return fibre.layout.design.sites[sections.index(finding.section)].id, f"section {finding.section}"
    assert finding.from_site is not None
    return finding.from_site, f"from {finding.from_site} to {finding.to_site}"


def _find_in_cable(fibre: FibreMeasured, *, from_a_um: int) -> _CableSpot:
    """Return where a spot of the fibre is: at a site within the tolerance of placing, else behind the one before it."""
    offsets_um, sites = fibre.layout.site_offsets_um, fibre.layout.design.sites
    nearest = min(range(len(sites)), key=lambda index: abs(offsets_um[index] - from_a_um))
    placing = fibre.criteria.placing
    # As events are placed: where it may be of the site, the site is looked at first.
    tolerance_um = max(to_um(placing.tolerance_m), share(offsets_um[-1], placing.tolerance_percent))
    if abs(offsets_um[nearest] - from_a_um) <= tolerance_um:
        return _CableSpot(sites[nearest].id, f", beside {sites[nearest].id}", is_in_cable=False)
    before = min(max(bisect_right(offsets_um, from_a_um) - 1, 0), len(sites) - 1)
    found = locate(fibre.layout, from_a_um=from_a_um)
    said = "" if found is None else f", {metres_text(found.cable_um)} m of cable into section {found.section}"
    return _CableSpot(sites[before].id, said, is_in_cable=True)
