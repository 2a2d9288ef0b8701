"""Tests that are there and of no use as they are: made again the way the clause says, or looked into before."""

from collections.abc import Collection, Iterator, Sequence, Set

from service.vocabulary.criteria.base import Criterion, Test
from service.vocabulary.criteria.words import Quantity
from service.vocabulary.findings.words import Act, Reason
from worker.judgement.fibre.findings import FibreFindings, Finding
from worker.judgement.fibre.link_tests import find_test
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.words import REASON_LABELS, at_wavelength
from worker.judgement.work.faults import clean_at_longer_nm
from worker.judgement.work.items import ActedOn, AskedTest, Cause, WorkItem, beyond_limit, cause_of
from worker.judgement.work.retests import BETTER_TEST, ask, asked_tests, tests_behind

# What is too much from end to end, though nothing at a joint is: what to look into before the next test.
_LOOKED_INTO = {
    Quantity.LINK_ATTENUATION: (
        "the loss from end to end",
        ", though no splice is: clean both ends, look for bends and test again",
    ),
    Quantity.REFERENCE_AGE: ("the age of the reference", ": take the reference again and measure again"),
    Quantity.LENGTH: (
        "the length's distance from the design's",
        ": check the group index and test again, or have the design revised",
    ),
}
_AS_AGREED = "test again as agreed, and have the record state what is asked for"
_NO_BEND = "a bend or damage would show there too, so test again at both wavelengths before anybody looks for it"
_CLEANED = "cleaning voids the tests through the connection"
# What one value says of a link holds its connections too.
_OF_WHOLE_LINK = {Quantity.LINK_ATTENUATION, Quantity.RETURN_LOSS}
_THROUGH_CONNECTIONS: Set[Test] = {"otdr", "attenuation", "return_loss"}
_DOUBTED = "by traces that show another joint better than any can be: test again before it is spliced again"
_IF_IT_STAYS = "test again from both ends; if it stays it is of the two fibres, and no splice mends it"
_BOUND_OF_RETURN_LOSS = "measure again with an instrument that reaches the limit"


def better_tests(
    fibre: FibreMeasured,
    still_open: Sequence[Finding],
    found: FibreFindings,
    acted_on: ActedOn,
    *,
    is_reworked: bool,
) -> Iterator[WorkItem]:
    """Return the tests to be made otherwise than before, or after something was looked into."""
    unclear: dict[tuple[str, Reason, int | None], list[Finding]] = {}
    is_damaged = any(one.is_bad and one.quantity is Quantity.STRAY_LOSS for one in still_open)
    for finding in still_open:
        nm, reason = finding.wavelength_nm, finding.reason
        if reason is Reason.WHOLE_UNLIKE_PARTS and is_damaged and is_reworked:
            # What is lost on no joint is no part of the sum of the parts: it is mended first.
            continue
        if reason is not None and reason in BETTER_TEST:
            unclear.setdefault((_advice(finding, reason), reason, nm), []).append(finding)
        elif acted_on.doubts(finding):
            clause = f"the loss at {finding.site}{at_wavelength(nm)} {beyond_limit(finding)}, {_DOUBTED}"
            yield ask(fibre, Act.RETEST, tests_behind(fibre, finding.criterion), cause_of(finding, clause))
        elif finding.is_bad and finding.quantity is Quantity.DIRECTION_DIFFERENCE:
            where = f"between the directions at {finding.site}{at_wavelength(nm)}"
            cause = cause_of(finding, f"the difference {where} {beyond_limit(finding)}: {_IF_IT_STAYS}")
            yield ask(fibre, Act.RETEST, tests_behind(fibre, finding.criterion), cause)
        elif finding.is_bad and finding.quantity in _LOOKED_INTO:
            name, advice = _LOOKED_INTO[finding.quantity]
            cause = cause_of(finding, f"{name}{at_wavelength(nm)} {beyond_limit(finding)}{advice}")
            is_cleaned = finding.quantity is Quantity.LINK_ATTENUATION
            ends = {finding.from_site, finding.to_site} if is_cleaned else set()
            tests = tests_behind(fibre, finding.criterion, *_voided_by_cleaning(fibre, found, ends))
            yield ask(fibre, Act.RETEST, tests, cause)
        elif (clean_nm := clean_at_longer_nm(fibre, finding)) is not None:
            said = f"{finding.judged.detail}, which {beyond_limit(finding)} at {nm} nm, and far less at {clean_nm} nm"
            needs = [finding.criterion.test_at(one, test="otdr") for one in (nm, clean_nm)]
            yield ask(fibre, Act.RETEST, asked_tests(fibre, needs), cause_of(finding, f"{said}: {_NO_BEND}"))
        elif finding.is_bad and finding.quantity is Quantity.TRACE_SETTINGS:
            cause = cause_of(finding, f"OTDR trace {finding.judged.detail}: {_AS_AGREED}")
            yield ask(fibre, Act.RETEST, tests_behind(fibre, finding.criterion), cause)
    for (advice, reason, nm), own in unclear.items():
        sites = ", ".join(dict.fromkeys(one.site for one in own if one.site is not None))
        where = f" at {sites}" if sites else ""
        clause = f"{REASON_LABELS[reason]}{where}{at_wavelength(nm)}: {advice}"
        records = tuple(reading.record for one in own for reading in one.judged.readings)
        cause = Cause(clause, tuple(dict.fromkeys(one.code for one in own)), records)
        tests = tests_behind(fibre, *(one.criterion for one in own))
        if reason is Reason.WHOLE_UNLIKE_PARTS:
            # Nobody knows which of both is wrong.
            kinds: tuple[Test, ...] = ("attenuation", "otdr")
            tests = asked_tests(fibre, [one.criterion.test_at(nm, test=kind) for kind in kinds for one in own])
        yield ask(fibre, Act.RETEST, tests, cause)


def cleaning_tests(fibre: FibreMeasured, found: FibreFindings, cleaned: Sequence[WorkItem]) -> list[WorkItem]:
    """Return the tests that stand and that cleaning connections voids."""
    criteria = _voided_by_cleaning(fibre, found, {site for item in cleaned for site in item.sites})
    standing = [one for one in tests_behind(fibre, *criteria) if _stands(fibre, one)] if criteria else []
    cause = Cause(_CLEANED, tuple(one.code for one in criteria))
    return [ask(fibre, Act.RETEST, standing, cause)] if standing else []


def _voided_by_cleaning(fibre: FibreMeasured, found: FibreFindings, sites: Collection[str | None]) -> list[Criterion]:
    """Return the criteria judged by tests of a link with connections at some sites, or by what traces show there."""
    if not (sites and fibre.criteria.cleaning_voids):
        return []
    by_code = {one.code: one.criterion for one in found.every if one.site in sites or one.quantity in _OF_WHOLE_LINK}
    return [one for one in by_code.values() if any(need.name in _THROUGH_CONNECTIONS for need in one.required_tests)]


def _stands(fibre: FibreMeasured, asked: AskedTest) -> bool:
    if asked.wavelength_nm is None:
        return False
    is_forward = asked.from_site == fibre.end_sites[0]
    return find_test(fibre, test=asked.test, wavelength_nm=asked.wavelength_nm, is_forward=is_forward).missing is None


def _advice(finding: Finding, reason: Reason) -> str:
    is_return_loss = finding.quantity is Quantity.RETURN_LOSS
    return _BOUND_OF_RETURN_LOSS if is_return_loss and reason is Reason.BOUND_TOO_WIDE else BETTER_TEST[reason]
