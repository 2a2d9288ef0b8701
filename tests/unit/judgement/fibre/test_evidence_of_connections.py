"""What cleaning and terminations do to the tests before them: a connection's own readings, and no more.

That cleaning voids its connection and the link readings and a new connector the whole fibre is the design's rule, not
that of a standard: common practice, no source.
"""

from collections.abc import Sequence

import pytest

from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.words import Reason
from tests.factories import (
    TESTED_AT,
    Body,
    both_ways,
    criteria_of,
    finished_fibre,
    layout_of,
    make_attenuation,
    make_cleaning,
    make_continuity,
    make_criteria,
    make_dispersion,
    make_otdr,
    make_return_loss,
    make_site,
    make_termination,
    sealed,
    stored,
    termination_criterion,
    with_site,
)
from tests.unit.judgement.judging import finding_of, judge, work_of
from worker.judgement.history.evidence import Evidence
from worker.judgement.history.history import read_history
from worker.judgement.history.records import read_record
from worker.judgement.history.validity import judge_validity

AFTER_TEST = "2025-03-25T08:00:00Z"
AFTER_ALL = "2025-03-28T08:00:00Z"
JUST_BEFORE_TEST = "2025-03-20T07:59:59.999999Z"
CLOSURES = {"SPLICE-1550@C1", "SPLICE-1550@C2"}


def connection(site: str) -> set[str]:
    """Return what is held against the one reading of a pair and its pigtail's splice, which no trace tells apart."""
    return {f"TERM-1550@{site}", f"SPLICE-1550@{site}"}


EVERYTHING = connection("A") | connection("B") | CLOSURES | {"LINK-1550", "OTDR-1550"}


def undetermined(
    bodies: Sequence[Body | Evidence], *, design: Body | None = None, criteria: Body | None = None
) -> dict[str, str]:
    """Return the reason of each finding of fibre 1 that is not determined; all others conform."""
    findings = judge(bodies, design=design, criteria=criteria).document["findings"]
    assert {finding["outcome"] for finding in findings} <= {"conforming", "undetermined"}
    return {_named(finding): finding["reason"] for finding in findings if finding["outcome"] == "undetermined"}


def _named(finding: FindingDocument) -> str:
    return f"{finding['criterion']}@{finding['site']}" if "site" in finding else finding["criterion"]


def test_a_finished_fibre_conforms_whatever_was_cleaned_and_terminated_before_its_tests() -> None:
    before = [
        *(make_cleaning(site=site, made_at=JUST_BEFORE_TEST) for site in "AB"),
        *(make_termination(site=site, made_at=JUST_BEFORE_TEST) for site in "AB"),
    ]
    assert undetermined([*finished_fibre(), *before]) == {}


@pytest.mark.parametrize("site", ["A", "B"])
@pytest.mark.parametrize("made_at", [AFTER_TEST, TESTED_AT])
def test_a_connector_made_anew_voids_every_test_of_its_fibre(site: str, made_at: str) -> None:
    new = make_termination(site=site, made_at=made_at)
    assert undetermined([*finished_fibre(), new]) == dict.fromkeys(EVERYTHING, "before_rework")


@pytest.mark.parametrize("voids", Voiding)
def test_another_fibres_connector_voids_nothing_even_where_splices_void_their_closure(voids: Voiding) -> None:
    others = [make_termination(fibre=2, made_at=AFTER_TEST), make_cleaning(fibre=2, made_at=AFTER_TEST)]
    assert undetermined([*finished_fibre(), *others], criteria=make_criteria(rework_voids=voids)) == {}


def test_tests_after_a_new_connector_count() -> None:
    again = [*both_ways(made_at=AFTER_ALL), make_attenuation(made_at=AFTER_ALL), _back(make_attenuation)]
    assert undetermined([*finished_fibre(), make_termination(made_at=AFTER_TEST), *again]) == {}


def test_an_annulled_connector_and_a_withdrawn_cleaning_were_never_made() -> None:
    withdrawn = [
        stored(make_termination(made_at=AFTER_TEST), is_annulled=True),
        stored(make_cleaning(made_at=AFTER_TEST), is_ended=True),
    ]
    assert undetermined([*finished_fibre(), *withdrawn]) == {}


def test_a_connector_withdrawn_without_the_engineers_word_revives_no_test() -> None:
    withdrawn = stored(make_termination(made_at=AFTER_TEST), is_ended=True)
    assert undetermined([*finished_fibre(), withdrawn]) == dict.fromkeys(EVERYTHING, "withdrawn_work")


def test_whether_cleaning_voids_is_agreed() -> None:
    cleaning, criteria = make_cleaning(made_at=AFTER_TEST), make_criteria(cleaning_voids=False)
    assert undetermined([*finished_fibre(), cleaning], criteria=criteria) == {}


@pytest.mark.parametrize("site", ["A", "B"])
@pytest.mark.parametrize("side", ["towards_a", "towards_b"])
@pytest.mark.parametrize("made_at", [AFTER_TEST, TESTED_AT])
def test_cleaning_voids_its_connection_and_the_links_loss_but_no_other_joint_and_no_trace(
    site: str, side: str, made_at: str
) -> None:
    cleaning = make_cleaning(site=site, side=side, made_at=made_at)
    voided = connection(site) | {"LINK-1550"}
    assert undetermined([*finished_fibre(), cleaning]) == dict.fromkeys(voided, "before_cleaning")


def test_cleaning_voids_alike_where_no_lid_has_to_be_shut() -> None:
    cleaning, criteria = make_cleaning(made_at=AFTER_TEST), make_criteria(final_after_sealing=False)
    voided = connection("A") | {"LINK-1550"}
    assert undetermined([*finished_fibre(), cleaning], criteria=criteria) == dict.fromkeys(voided, "before_cleaning")


def test_what_cleaning_voids_is_listed_and_asked_for_again() -> None:
    forward, backward = both_ways()
    fibre = finished_fibre()
    judgement = judge([*fibre, make_cleaning(made_at=AFTER_TEST)])
    term = finding_of(judgement, "TERM-1550", site="A")
    assert term["void"] == [
        {"record": id_, "reason": "before_cleaning"} for id_ in sorted([forward["id"], backward["id"]])
    ]
    link = finding_of(judgement, "LINK-1550")
    assert {void["record"] for void in link["void"]} == {one["id"] for one in fibre if one["kind"] == "attenuation"}
    assert ("retest", "A-B") in work_of(judgement)


def test_tests_after_cleaning_count_and_those_before_stay_void() -> None:
    again = [*both_ways(made_at=AFTER_ALL), make_attenuation(made_at=AFTER_ALL), _back(make_attenuation)]
    assert undetermined([*finished_fibre(), make_cleaning(made_at=AFTER_TEST), *again]) == {}
    alone = [make_attenuation(made_at=AFTER_ALL), make_otdr(made_at=AFTER_ALL)]
    voided = connection("A") | {"LINK-1550"}
    reasons = undetermined([*finished_fibre(), make_cleaning(made_at=AFTER_TEST), *alone])
    assert reasons == dict.fromkeys(voided, "before_cleaning")


@pytest.mark.parametrize("termination", ["factory_cord", "pigtail"])
@pytest.mark.parametrize(("made_at", "reason"), [(AFTER_TEST, "before_cleaning"), (JUST_BEFORE_TEST, None)])
def test_a_panel_cleaned_on_the_way_voids_its_own_reading_and_that_of_no_other_site(
    termination: str, made_at: str, reason: str | None
) -> None:
    design = with_site(make_site("P", kind="patch_panel", termination=termination), at=1)
    cleaning = make_cleaning(site="P", made_at=made_at)
    bodies = [*sealed(sites=["C2"]), *both_ways(design=design), make_attenuation(), _back(make_attenuation), cleaning]
    own = connection("P") if termination == "pigtail" else {"TERM-1550@P"}
    expected = {} if reason is None else dict.fromkeys(own | {"LINK-1550"}, reason)
    assert undetermined(bodies, design=design, criteria=_three_connections()) == expected


def _three_connections() -> Body:
    criteria = make_criteria()
    others = [one for one in criteria["criteria"] if one["code"] != "TERM-1550"]
    return {**criteria, "criteria": [*others, termination_criterion(limit_db=0.6)]}


def test_a_wrong_clock_leaves_cleaning_and_test_in_no_proven_order() -> None:
    for made_at in (AFTER_TEST, "2025-03-01T08:00:00Z"):
        cleaning = stored(make_cleaning(made_at=made_at, device="tablet-9"), clock_is_flagged=True)
        unproven = connection("A") | {"LINK-1550"}
        assert undetermined([*finished_fibre(), cleaning]) == dict.fromkeys(unproven, "order_not_proven")


def test_a_wrong_clock_leaves_a_new_connector_and_the_tests_in_no_proven_order() -> None:
    new = stored(make_termination(made_at="2025-03-01T08:00:00Z", device="tablet-9"), clock_is_flagged=True)
    assert undetermined([*finished_fibre(), new]) == dict.fromkeys(EVERYTHING, "order_not_proven")


def test_a_wrong_clock_orders_the_cleaning_and_the_tests_that_it_stamped_itself() -> None:
    one_device = [{**body, "device": "one-device"} for body in finished_fibre()]
    cleaning = make_cleaning(made_at=JUST_BEFORE_TEST, device="one-device")
    assert undetermined([stored(body, clock_is_flagged=True) for body in (*one_device, cleaning)]) == {}


def test_cleaning_that_is_provably_later_decides_whatever_another_connections_clock_says() -> None:
    unsure = stored(make_cleaning(site="A", device="tablet-9"), clock_is_flagged=True)
    reasons = undetermined([*finished_fibre(), unsure, make_cleaning(site="B", made_at=AFTER_TEST)])
    later = dict.fromkeys(connection("B") | {"LINK-1550"}, "before_cleaning")
    assert reasons == {**dict.fromkeys(connection("A"), "order_not_proven"), **later}


@pytest.mark.parametrize(
    ("test", "cleaned", "fault"),
    [
        (make_attenuation(), ["B"], Reason.BEFORE_CLEANING),
        (make_return_loss(), ["B"], Reason.BEFORE_CLEANING),
        (make_return_loss(from_site="C1", to_site="A"), ["A"], Reason.BEFORE_CLEANING),
        # A test of a part of the route holds only the connections of that part.
        (make_attenuation(from_site="A", to_site="C1"), ["B"], None),
        (make_attenuation(from_site="B", to_site="C1"), ["A"], None),
        # Neither depends on a clean connection, and a trace shows each connection apart from the rest.
        (make_dispersion(), ["A", "B"], None),
        (make_continuity(), ["A", "B"], None),
        (make_otdr(), ["A", "B"], None),
    ],
    ids=lambda one: one["kind"] if isinstance(one, dict) else None,
)
def test_cleaning_voids_over_the_whole_only_what_holds_that_connection_in_one_value(
    test: Body, cleaned: list[str], fault: Reason | None
) -> None:
    cleanings = [make_cleaning(site=site, made_at=AFTER_TEST) for site in cleaned]
    layout = layout_of()
    read = [read_record(layout, stored(body)) for body in (*sealed(), *cleanings, test)]
    records = [record for record in read if record is not None]
    history = read_history(layout, fibre=1, rework_voids=Voiding.FIBRE, records=records)
    validity = judge_validity(layout, history, fibre=1, criteria=criteria_of())
    measured = max([*history.traces, *history.links], key=lambda one: one.stamp)
    assert (validity.fault_of(measured), validity.fault_over(measured)) == (None, fault)


def _back(make: object) -> Body:
    """Return the usual test from B to A, made after all."""
    body: Body = make(from_site="B", to_site="A", made_at=AFTER_ALL)  # type: ignore[operator]
    return body
