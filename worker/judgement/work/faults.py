"""Work where a fibre is crossed, dark, broken or bent."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.findings.words import Act, Reason
from service.vocabulary.quantities import metres_text
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Continuity
from worker.judgement.traces.spots import locate
from worker.judgement.work.items import Cause, WorkItem, beyond_limit, cause_of, merge_alike

_OF_FIBRE = {
    Quantity.ATTENUATION_COEFFICIENT: "the fibre's own loss",
    Quantity.REEL_DIFFERENCE: "what the fibre loses more than on its reel",
}
_BENT = {Quantity.STRAY_LOSS, Quantity.BEND, *_OF_FIBRE}
_OF_BREAKS = {Reason.BEYOND_REACH, Reason.LENGTHS_DISAGREE}


def fault_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return what is to be done about faults of the fibre itself, from end A on."""
    bad = [finding for finding in still_open if finding.is_bad]
    for finding in bad:
        if finding.quantity is Quantity.CONTINUITY:
            yield from _identity_work(fibre, finding)
    yield from _break_work(fibre, still_open)
    yield from _bend_work(fibre, bad)


def _identity_work(fibre: FibreMeasured, finding: Finding) -> Iterator[WorkItem]:
    told = {reading.record for reading in finding.judged.readings}
    tests = [one for one in fibre.history.links_of(Continuity) if one.stamp.id in told and one.fibre != one.seen_fibre]
    crossed = [test for test in tests if test.seen_fibre is not None]
    dark = [test for test in tests if test.seen_fibre is None]
    if crossed:
        site = fibre.layout.design.sites[crossed[0].ends[1]].id
        causes = tuple(cause_of(finding, _crossed_clause(fibre, test)) for test in crossed)
        yield WorkItem(Act.FIBRES_CROSSED, (site,), causes)
    elif dark and not fibre.traces.alignment.breaks.found:
        site = fibre.layout.design.sites[dark[0].ends[0]].id
        clause = f"{finding.judged.detail}: take traces from both ends to find where it stops"
        yield WorkItem(Act.LOCATE_BREAK, (site,), (cause_of(finding, clause),))


def _crossed_clause(fibre: FibreMeasured, test: Continuity) -> str:
    assert test.seen_fibre is not None
    near, far = (fibre.layout.design.sites[index].id for index in test.ends)
    lit, seen = (f"fibre {number} ({_colours(fibre, number, far)})" for number in (test.fibre, test.seen_fibre))
    return f"{lit} was lit at {near} and {seen} seen at {far}: re-splice, or the engineer approves an as-built revision"


def _colours(fibre: FibreMeasured, number: int, site: str) -> str:
    """Return what a crew sees of a route fibre at an end of the route."""
    before, after = fibre.layout.local_fibres(number, site)
    local = before or after
    assert local is not None
    in_tube = f"fibre {local.fibre_in_tube} {local.fibre_colour}"
    return f"section {local.section}, tube {local.tube} {local.tube_colour}, {in_tube}"


def _break_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    criteria = tuple(one.code for one in still_open if one.reason in _OF_BREAKS)
    # A trace that stops short leaves something open, or nothing here is worth looking for.
    for broken in fibre.traces.alignment.breaks.found if still_open else ():
        at_m, found = metres_text(broken.from_a_um), locate(fibre.layout, from_a_um=broken.from_a_um)
        where = "" if found is None else f", {metres_text(found.cable_um)} m of cable into section {found.section}"
        clause = (
            f"traces from both ends stop at {at_m} m of fibre from A{where}: find the break there and splice the fibre"
        )
        cause = Cause(clause=clause, criteria=criteria, records=broken.records)
        yield WorkItem(Act.LOCATE_BREAK, (_site_before(fibre, from_a_um=broken.from_a_um),), (cause,))


def _site_before(fibre: FibreMeasured, *, from_a_um: int) -> str:
    sites = fibre.layout.design.sites
    index = bisect_right(fibre.layout.site_offsets_um, from_a_um) - 1
    return sites[min(max(index, 0), len(sites) - 1)].id


def _bend_work(fibre: FibreMeasured, bad: Sequence[Finding]) -> Sequence[WorkItem]:
    bends = ((finding, _site_of(fibre, finding), _bend_cause(finding)) for finding in bad if _is_of_fibre(finding))
    return merge_alike(
        WorkItem(Act.RELIEVE_BEND, (site,), (cause,), finding.position) for finding, site, cause in bends
    )


def _is_of_fibre(finding: Finding) -> bool:
    """Tell whether a finding is about the fibre itself: what reflects on no joint too."""
    return finding.quantity in _BENT or (finding.quantity is Quantity.REFLECTANCE and finding.section is not None)


def _site_of(fibre: FibreMeasured, finding: Finding) -> str:
    """Return the place that a finding is about, or the site before what it is about."""
    if finding.section is not None:
        sections = [section.id for section in fibre.layout.design.sections]
        return fibre.layout.design.sites[sections.index(finding.section)].id
    site = finding.from_site if finding.site is None else finding.site
    assert site is not None
    return site


def _bend_cause(finding: Finding) -> Cause:
    section = "" if finding.section is None else f"section {finding.section}, "
    if finding.quantity in _OF_FIBRE:
        where = section or f"from {finding.from_site} to {finding.to_site}, "
        clause = f"{where}{_OF_FIBRE[finding.quantity]} at {finding.wavelength_nm} nm {beyond_limit(finding)}"
        return cause_of(finding, f"{clause}: look for strain and bends along the cable, then test again")
    if finding.quantity is Quantity.REFLECTANCE:
        clause = (
            f"{section}{finding.judged.detail}: the reflectance at {finding.wavelength_nm} nm {beyond_limit(finding)}"
        )
        return cause_of(finding, f"{clause}: find the damage there and mend it, then test again")
    if finding.quantity is Quantity.STRAY_LOSS:
        clause = f"{section}{finding.judged.detail}, which {beyond_limit(finding)}"
        return cause_of(finding, f"{clause}: relieve the bend or mend the damage there, then test again")
    clause = f"{section}{finding.judged.detail}: the difference {beyond_limit(finding)}"
    return cause_of(finding, f"{clause}: relieve the bend, then test again")
