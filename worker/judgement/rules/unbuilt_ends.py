"""What cannot be tested yet: a route that ends in a stub, or in a closure not built yet, has one end to test from."""

from collections.abc import Iterable

from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.findings import Finding, PlainFindings
from worker.judgement.fibre.link_tests import can_be_made, find_test, stretches_of
from worker.judgement.fibre.measured import FibreMeasured

_ABSENT = {Reason.NO_EVIDENCE, Reason.ONE_DIRECTION_ONLY}


def explain_unbuilt_ends(
    fibre: FibreMeasured, found: Iterable[Finding | PlainFindings]
) -> list[Finding | PlainFindings]:
    """Say of findings that lack nothing but tests from or to an unbuilt end that it is so.

    They stay undetermined: one direction proves what it proves, whichever end is built. Where a crew has tested from
    there all the same, with an adapter on the bare fibre, nothing is missing.
    """
    site = ", ".join(fibre.layout.design.sites[index].id for index in sorted(fibre.layout.unbuilt_ends))
    return [
        _explained(one, site) if isinstance(one, Finding) and _lacks_only_that(fibre, one) else one for one in found
    ]


def _lacks_only_that(fibre: FibreMeasured, finding: Finding) -> bool:
    needs = finding.criterion.required_tests
    return (
        finding.reason in _ABSENT
        and bool(needs)
        and all(
            find_test(fibre, test=test, wavelength_nm=nm, is_forward=is_forward, between=span).missing is None
            for test, nm, over, tested_from in needs
            for span in stretches_of(fibre, over)
            for is_forward in tested_from.directions
            if can_be_made(fibre, test, is_forward=is_forward, between=span)
        )
    )


def _explained(finding: Finding, site: str) -> Finding:
    detail = f"{finding.judged.detail}; at {site} no fibre is connected yet"
    return finding._replace(judged=finding.judged._replace(reason=Reason.END_NOT_BUILT, detail=detail))
