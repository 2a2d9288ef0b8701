"""Tests to make or to make again, asked for once the splicing before them is done and shut."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria import AnyCriterion, LinkAttenuationCriterion, RequiredTestCriterion
from service.vocabulary.finding import FindingDocument, WorkDocument
from service.vocabulary.words import Act, JointKind, Outcome, Quantity, Reason, SiteKind
from worker.judgement.end_to_end import Test, end_to_end_test
from worker.judgement.fibre_under_test import FibreUnderTest
from worker.judgement.joint_work import latest_splice
from worker.judgement.words import REASON_SPOKEN, SPOKEN, TEST_SPOKEN
from worker.judgement.work_items import Cause, write_item

# A test is there, but what it says is of no use as it is: it has to be made again, the way the clause says.
_BETTER_TEST = {
    Reason.NO_CORD: "test again with a cord before and behind the route",
    Reason.CORDS_CHANGED: "test again and leave the same cord at each end for both directions",
    Reason.REFERENCE_UNLIKE: "test again with the reference method that was agreed, the same in both directions",
    Reason.PAIR_NOT_SEEN: "check the cords' lengths, and test again with both connected",
    Reason.LENGTHS_DISAGREE: "look for a break, and test again from both ends",
    Reason.BELOW_ZERO: "test again from both ends",
    Reason.READINGS_DISAGREE: "test again, and have the traces that are wrong withdrawn",
    Reason.AMBIGUOUS_EVENT: "test again with a shorter pulse",
    Reason.BOUND_TOO_WIDE: "test again with a lower loss threshold or longer averaging",
    Reason.LOSS_NOT_STATED: "test again so that each event has its loss",
}


def retest_work(fibre: FibreUnderTest, findings: Sequence[FindingDocument]) -> Iterator[WorkDocument]:
    """Return the tests to be made on a fibre that is ready for them."""
    if not (fibre.is_continuous and _is_ready(fibre)):
        return
    causes: dict[tuple[Act, str], list[Cause]] = {}
    for (act, site), cause in (
        *_absent_tests(fibre, findings),
        *_tests_through(fibre, findings),
        *_better_tests(fibre, findings),
    ):
        causes.setdefault((act, site), []).append(cause)
    for (act, site), own in causes.items():
        yield write_item(fibre, act=act, site=site, causes=own)


def _is_ready(fibre: FibreUnderTest) -> bool:
    sites = fibre.layout.design.sites
    closures = [site.id for site in sites if site.kind is SiteKind.SPLICE_CLOSURE]
    if fibre.counting.final_after_sealing and not all(fibre.counting.is_sealed(site) for site in closures):
        return False
    splices = [joint for joint in fibre.joints if joint.kind is JointKind.SPLICE]
    if fibre.history.splices:
        return all(latest_splice(fibre, joint) is not None for joint in splices)
    # Nobody posts splices on this fibre: its closures, or the tests already there, have to tell that it is spliced.
    return fibre.counting.final_after_sealing or bool(fibre.history.traces or fibre.history.link_losses)


def _absent_tests(
    fibre: FibreUnderTest, findings: Sequence[FindingDocument]
) -> Iterator[tuple[tuple[Act, str], Cause]]:
    open_codes = {finding["criterion"] for finding in findings if finding["outcome"] == Outcome.UNDETERMINED}
    needs: dict[tuple[Test, int], list[str]] = {}
    for criterion in fibre.criteria.criteria:
        if criterion.code in open_codes:
            needs.setdefault((_test_for(criterion), criterion.wavelength_nm), []).append(criterion.code)
    for (test, nm), codes in needs.items():
        for is_forward, site in zip((True, False), fibre.end_sites, strict=True):
            found = end_to_end_test(fibre, test=test, wavelength_nm=nm, is_forward=is_forward)
            if found.missing is None:
                continue
            named = f"{TEST_SPOKEN[test]} {SPOKEN[is_forward]} at {nm} nm"
            if found.missing is Reason.NO_EVIDENCE:
                yield (Act.TEST_MISSING, site), Cause(clause=f"no {named}", criteria=tuple(codes))
            else:
                records = tuple(test.stamp.id for test, reason in found.void if reason is found.missing)
                clause = f"{named} does not count: {REASON_SPOKEN[found.missing]}"
                yield (Act.RETEST, site), Cause(clause=clause, criteria=tuple(codes), records=records)


def _tests_through(
    fibre: FibreUnderTest, findings: Sequence[FindingDocument]
) -> Iterator[tuple[tuple[Act, str], Cause]]:
    """Return the traces that are missing over sites where spans meet: each span sees one side of such a joint only."""
    places = {place.site: place for place in fibre.places}
    unproven = [one for one in findings if "site" in one and one.get("reason", "") not in {"", *_BETTER_TEST}]
    for nm in dict.fromkeys(finding["wavelength_nm"] for finding in unproven):
        for is_forward in (True, False):
            if end_to_end_test(fibre, test="otdr", wavelength_nm=nm, is_forward=is_forward).missing is not None:
                continue
            own = [
                finding
                for finding in unproven
                if finding["wavelength_nm"] == nm
                and fibre.one_way_loss_at(places[finding["site"]], wavelength_nm=nm, is_forward=is_forward).reason
            ]
            if own:
                sites = ", ".join(dict.fromkeys(finding["site"] for finding in own))
                named = f"no OTDR trace that counts runs over {sites} {SPOKEN[is_forward]} at {nm} nm"
                criteria = tuple(finding["criterion"] for finding in own)
                clause = f"{named}: test from a site before to a site behind"
                yield (Act.TEST_MISSING, own[0]["site"]), Cause(clause=clause, criteria=criteria)


def _test_for(criterion: AnyCriterion) -> Test:
    match criterion:
        case RequiredTestCriterion():
            return criterion.test
        case LinkAttenuationCriterion():
            return "attenuation"
        case _:
            return "otdr"


def _better_tests(
    fibre: FibreUnderTest, findings: Sequence[FindingDocument]
) -> Iterator[tuple[tuple[Act, str], Cause]]:
    unclear: dict[tuple[Reason, int], list[FindingDocument]] = {}
    for finding in findings:
        nm = finding["wavelength_nm"]
        if (reason := finding.get("reason")) in _BETTER_TEST:
            unclear.setdefault((Reason(reason), nm), []).append(finding)
        elif _is_bad_connection(fibre, finding):
            clause = f"the connection's loss at {nm} nm is above its limit: clean it and test again"
            yield (Act.RETEST, finding["site"]), Cause(clause=clause, criteria=(finding["criterion"],))
        elif (finding["quantity"], finding["outcome"]) == (Quantity.LINK_ATTENUATION, Outcome.NONCONFORMING):
            clause = f"{_too_much(finding)}, though no splice is: clean both ends, look for bends and test again"
            yield (Act.RETEST, finding["from_site"]), Cause(clause=clause, criteria=(finding["criterion"],))
    for (reason, nm), own in unclear.items():
        yield (Act.RETEST, fibre.end_sites[0]), _unclear_cause(reason, nm, own)


def _too_much(finding: FindingDocument) -> str:
    value, limit = finding.get("value_db"), finding.get("limit_db")
    return f"the loss from end to end at {finding['wavelength_nm']} nm is {value} dB, above the limit of {limit} dB"


def _unclear_cause(reason: Reason, wavelength_nm: int, findings: Sequence[FindingDocument]) -> Cause:
    sites = dict.fromkeys(finding["site"] for finding in findings if "site" in finding)
    where = f" at {', '.join(sites)}" if sites else ""
    return Cause(
        clause=f"{REASON_SPOKEN[reason]}{where} ({wavelength_nm} nm): {_BETTER_TEST[reason]}",
        criteria=tuple(finding["criterion"] for finding in findings),
        records=tuple(reading["record"] for finding in findings for reading in finding["readings"]),
    )


def _is_bad_connection(fibre: FibreUnderTest, finding: FindingDocument) -> bool:
    """Tell whether a connection without a splice behind it does not conform: there is nothing to splice again."""
    if (finding["quantity"], finding["outcome"]) != (Quantity.TERMINATION_LOSS, Outcome.NONCONFORMING):
        return False
    return all(joint.kind is JointKind.PAIR for joint in fibre.joints if joint.site == finding["site"])
