"""Work that nobody has begun is on the list from the first day, and what no work helps is asked of the engineer."""

import pytest

from service.vocabulary.findings.words import Act
from tests.factories import (
    Body,
    both_ways,
    length_criterion,
    make_closure_state,
    make_criteria,
    make_design,
    make_otdr,
    make_splice,
    make_terminal,
    make_termination,
    only,
    required_test_criterion,
    sealed,
    splice_criterion,
    spliced,
    with_site,
)
from tests.unit.judgement.judging import because, criteria_behind, judge, where

SPLICE_ON: Body = with_site(make_terminal("A", termination="splice_on_connector"), at=0)


def acts(records: list[Body], **changes: Body) -> list[tuple[str, str, bool]]:
    """Return act, sites and readiness of all work on fibre 1."""
    work = judge(records, **changes).document["work"]  # type: ignore[arg-type]
    return [(item["act"], where(item), item["is_ready"]) for item in work]


def test_what_is_spliced_is_not_asked_for_and_its_closure_may_be_sealed() -> None:
    left = acts([make_splice(site="A"), make_splice(site="C1")])
    assert (Act.SPLICE, "C2", True) in left
    assert [one for one in left if one[0] == Act.SEAL] == [(Act.SEAL, "C1", True), (Act.SEAL, "C2", False)]
    assert not any(ready for act, _, ready in left if act == Act.TEST)


def test_what_is_shut_or_tested_is_spliced_even_if_nobody_recorded_it() -> None:
    assert Act.SPLICE not in {act for act, _, _ in acts(both_ways())}
    shut = acts([make_splice(site="A"), make_splice(site="B"), make_closure_state(), make_closure_state(site="C2")])
    assert Act.SPLICE not in {act for act, _, _ in shut}


def test_a_trace_taken_while_the_route_is_built_does_not_splice_the_rest() -> None:
    assert (Act.SPLICE, "C2", True) in acts([make_splice(site="A"), make_splice(site="C1"), make_otdr()])


def test_a_connector_that_is_spliced_on_is_made_and_a_factory_cord_is_not() -> None:
    assert (Act.TERMINATE, "A", True) in acts([], design=SPLICE_ON)
    made = acts([make_termination(how="splice_on_connector", connector="SC-APC")], design=SPLICE_ON)
    assert Act.TERMINATE not in {act for act, _, _ in made}
    cord = with_site(make_terminal("A", termination="factory_cord"), at=0)
    assert "A" not in {site for _, site, _ in acts([], design=cord)}


def test_no_sealing_is_asked_for_where_it_was_not_agreed() -> None:
    assert Act.SEAL not in {act for act, _, _ in acts([], criteria=make_criteria(final_after_sealing=False))}


def test_a_fibre_outside_every_segment_has_no_work() -> None:
    design = make_design()
    design["segments"][0]["fibres"] = [{"first": 2, "last": 12}]
    assert acts([], design=design) == []


def test_work_under_a_shut_lid_opens_it_and_seals_and_tests_again() -> None:
    bad = judge([*spliced(), *sealed(), *both_ways(losses_db={"C1": 0.2})]).document["work"]
    told = [(item["act"], where(item), item["opens"], item["is_ready"]) for item in bad]
    assert told[:2] == [("re_splice", "C1", True, True), ("seal", "C1", False, False)]
    assert {one[0] for one in told[2:]} == {"test", "retest"}
    assert because(bad[1]) == "It is opened for other work."


def test_a_pigtail_that_nothing_parts_from_its_connector_is_a_question_to_the_engineer() -> None:
    [item] = judge([*spliced(), *sealed(), *both_ways()], criteria=only(splice_criterion())).document["work"]
    assert (item["act"], where(item)) == (Act.ASK_ENGINEER, "A-B")
    assert "no pulse parts a pigtail's splice from its connector" in because(item)


@pytest.mark.parametrize(("beside", "wavelengths_nm"), [([], []), ([required_test_criterion()], [1550])])
def test_a_length_that_nobody_measured_is_tested_from_the_first_day(
    beside: list[Body], wavelengths_nm: list[int]
) -> None:
    items = judge([], criteria=only(length_criterion(), *beside)).document["work"]
    [test] = [item for item in items if "LENGTH" in criteria_behind(item)]
    assert (test["act"], where(test), test["is_ready"]) == (Act.TEST, "A-B", False)
    assert test["tests"] == [{"test": "otdr", "wavelengths_nm": wavelengths_nm, "from_sites": ["A", "B"]}]


def test_a_length_is_measured_again_where_other_work_voids_it() -> None:
    in_line = splice_criterion(at="line_closures")
    bad = [*spliced(), *sealed(), *both_ways(losses_db={"C1": 0.2})]
    items = judge(bad, criteria=only(in_line, length_criterion())).document["work"]
    assert [(item["act"], where(item)) for item in items if "LENGTH" in criteria_behind(item)] == [("retest", "A-B")]


def test_what_no_test_parts_is_asked_at_once_and_not_when_other_work_is_done() -> None:
    bad = [*spliced(), *sealed(), *both_ways(losses_db={"C1": 0.2})]
    asked = [one[:2] for one in acts(bad, criteria=only(splice_criterion()))]
    assert asked == [("re_splice", "C1"), ("seal", "C1"), ("retest", "A-B"), ("ask_engineer", "A-B")]
