"""What was done when: cases of lids, splicing, cleaning and attempts that an acceptance engineer settles by hand."""

from collections.abc import Sequence
from typing import Any

import pytest
from pydantic import ValidationError

from service.vocabulary.records.record import RECORD
from tests.factories import (
    Body,
    both_ways,
    finished_fibre,
    make_attenuation,
    make_cleaning,
    make_closure_state,
    make_criteria,
    make_design,
    make_otdr,
    make_splice,
    make_termination,
    only,
    required_record_criterion,
    sealed,
    splice_criterion,
    spliced,
    stored,
)
from tests.unit.judgement.judging import finding_of, judge, work_of
from worker.judgement.history.evidence import Evidence

# The factories splice on the 3rd, seal on the 10th and test on the 20th of March.
OPENED, SPLICED, RESEALED, RETESTED = (f"2025-03-{day}T08:00:00Z" for day in (22, 23, 24, 26))
LOW_ID, HIGH_ID = (f"{digit * 8}-0000-4000-8000-000000000000" for digit in "1e")
Records = Sequence[Body | Evidence]


def found(records: Records, code: str = "SPLICE-1550", *, site: str | None = None, **changes: Any) -> tuple[str, Any]:
    """Return outcome and reason of a finding."""
    finding = finding_of(judge(records, **changes), code, site=site)
    return str(finding["outcome"]), finding.get("reason")


def at_c1(records: Records, **changes: Any) -> tuple[str, Any]:
    """Return outcome and reason of the splice in C1."""
    return found(records, site="C1", **changes)


def test_two_records_of_one_sealing_at_one_instant_are_one_sealing() -> None:
    """Two tablets say the same of one lid: nothing was opened, and the tests are later."""
    twice = make_closure_state(device="tablet-2")
    judged = judge([*finished_fibre(), twice])
    assert {one["outcome"] for one in judged.document["findings"]} == {"conforming"}
    assert judged.document["work"] == []


@pytest.mark.parametrize("ids", [(LOW_ID, HIGH_ID), (HIGH_ID, LOW_ID)])
def test_a_lid_opened_and_sealed_at_one_instant_leaves_no_earlier_test_standing(ids: tuple[str, str]) -> None:
    """Whichever came last, it was opened after the tests: by neither order are these of the lid as it is now."""
    opened, shut = ids
    acts = [
        make_closure_state(id=opened, state="opened", made_at=OPENED),
        make_closure_state(id=shut, made_at=OPENED),
    ]
    assert at_c1([*finished_fibre(), *acts])[0] == "undetermined"


def test_a_sealing_corrected_to_after_the_tests_leaves_them_before_it() -> None:
    """The crew says that it sealed on the 24th, not on the 10th: then it tested an open closure."""
    records: Records = [
        *spliced(),
        *sealed(sites=["C2"]),
        stored(make_closure_state(), is_ended=True),
        make_closure_state(made_at=RESEALED),
        *both_ways(),
    ]
    assert at_c1(records) == ("undetermined", "before_sealing")
    assert found(records, site="C2")[0] == "conforming"


def test_a_sealing_corrected_to_before_the_tests_changes_nothing() -> None:
    """Typed as the 24th and corrected to the 10th: the tests of the 20th are of the shut closure."""
    mistyped = stored(make_closure_state(made_at=RESEALED), is_ended=True)
    records: Records = [mistyped, *finished_fibre()]
    assert at_c1(records)[0] == "conforming"


def test_a_panel_cleaned_between_the_two_directions_leaves_one_of_them() -> None:
    """A is cleaned after the test from A and before that from B: of A's connection one direction is left.

    No splice is touched by it, nor B's connection.
    """
    records = [
        *spliced(),
        *sealed(),
        make_otdr(made_at="2025-03-20T08:00:00Z"),
        make_cleaning(made_at="2025-03-21T08:00:00Z"),
        make_otdr(from_site="B", to_site="A", made_at="2025-03-22T08:00:00Z"),
    ]
    assert found(records, "TERM-1550", site="A") == ("undetermined", "before_cleaning")
    assert found(records, "TERM-1550", site="B")[0] == "conforming"
    assert at_c1(records)[0] == "conforming"


def test_cleaning_between_two_link_tests_leaves_the_later_one() -> None:
    """Source and meter from A before the cleaning and from B after it: a mean of both directions lacks one."""
    records = [
        *finished_fibre()[:-2],
        make_attenuation(),
        make_cleaning(made_at="2025-03-21T08:00:00Z"),
        make_attenuation(from_site="B", to_site="A", made_at="2025-03-22T08:00:00Z"),
    ]
    assert found(records, "LINK-1550") == ("undetermined", "before_cleaning")
    assert found([*records, make_attenuation(made_at="2025-03-22T09:00:00Z")], "LINK-1550")[0] == "conforming"


def test_a_connection_cleaned_at_the_instant_of_its_test_is_not_proven_clean_for_it() -> None:
    """Nobody cleans and measures in one instant: which came first the records do not say."""
    records = [*finished_fibre(), make_cleaning(made_at="2025-03-20T08:00:00Z")]
    assert found(records, "TERM-1550", site="A")[0] == "undetermined"


def test_a_trace_may_be_void_for_one_joint_and_good_for_another() -> None:
    """C1 was opened for a photograph and shut again; C2 was not, so that the older traces go on proving C2."""
    reopened = [make_closure_state(state="opened", made_at=OPENED), make_closure_state(made_at=RESEALED)]
    records = [*finished_fibre(), *reopened]
    assert at_c1(records) == ("undetermined", "before_sealing")
    assert found(records, site="C2")[0] == "conforming"
    assert found(records, "LINK-1550")[0] == "undetermined"


def test_a_new_trace_from_one_end_proves_with_the_old_one_only_what_both_are_final_for() -> None:
    """Tested again from A alone after C1 was shut: C1 lacks B's direction, C2 has a new one from A, the old from B."""
    reopened = [make_closure_state(state="opened", made_at=OPENED), make_closure_state(made_at=RESEALED)]
    records = [*finished_fibre(), *reopened, make_otdr(made_at=RETESTED)]
    assert at_c1(records)[0] == "undetermined"
    assert found(records, site="C2")[0] == "conforming"


def test_of_a_closure_opened_for_one_fibre_another_that_was_spliced_is_voided_too() -> None:
    """The lid was off for fibre 5, and 6 was spliced while it was: 5 and 6 are tested again, 7 is not."""
    acts = [
        make_closure_state(state="opened", made_at=OPENED, opened_for=[{"section": "S1", "first": 5, "last": 5}]),
        make_splice(fibres=[6], attempt=2, made_at=SPLICED),
        make_closure_state(made_at=RESEALED),
    ]
    outcomes = {fibre: at_c1([*finished_fibre(fibre=fibre), *acts], fibre=fibre)[0] for fibre in (5, 6, 7)}
    assert outcomes == {5: "undetermined", 6: "undetermined", 7: "conforming"}


def test_a_splice_withdrawn_without_the_engineer_needs_the_lid_shut_and_a_test_and_no_word() -> None:
    """Whoever doubts what was done tests again: a sealing and tests later than all of it prove the joint as it is."""
    gone = stored(make_splice(attempt=2, made_at=SPLICED), is_ended=True)
    assert at_c1([*finished_fibre(), gone]) == ("undetermined", "withdrawn_work")
    again = [make_closure_state(made_at=RESEALED), *both_ways(made_at=RETESTED)]
    assert at_c1([*finished_fibre(), gone, *again])[0] == "conforming"


def test_a_closure_that_one_fibre_is_cut_in_has_to_be_sealed_for_all() -> None:
    """Fibre 2 runs through C1 uncut, fibre 1 is spliced there: the lid moves both, so the link of 2 waits for it."""
    design = make_design(
        splice_plan=[{"site": "C1", "fibres": {"first": 2, "last": 2}, "action": "uncut"}],
    )
    records = [one for one in finished_fibre(fibre=2, design=design) if one.get("site") != "C1"]
    assert found(records, "LINK-1550", fibre=2, design=design) == ("undetermined", "sealing_not_recorded")
    assert found(records, site="C2", fibre=2, design=design)[0] == "conforming"
    shut = [*records, make_closure_state()]
    assert found(shut, "LINK-1550", fibre=2, design=design)[0] == "conforming"


def test_where_readings_with_an_open_lid_are_agreed_to_count_a_splice_voids_all_the_same() -> None:
    """Opened and shut again matters to nobody there; a fibre cut and spliced anew is another one."""
    agreed = make_criteria(final_after_sealing=False)
    opened = make_closure_state(state="opened", made_at=OPENED)
    assert at_c1([*finished_fibre(), opened], criteria=agreed)[0] == "conforming"
    respliced = make_splice(attempt=2, made_at=SPLICED)
    assert at_c1([*finished_fibre(), opened, respliced], criteria=agreed) == ("undetermined", "before_rework")


@pytest.mark.parametrize(
    ("shrunk", "outcome"),
    [((False, True), "conforming"), ((True, False), "undetermined"), ((True, True), "conforming")],
)
def test_of_a_sleeve_the_latest_attempt_tells(shrunk: tuple[bool, bool], outcome: str) -> None:
    """A splice broken up for its sleeve and made anew has a shrunk one; one made anew and left bare has none."""
    tries = [
        make_splice(attempt=number, made_at=f"2025-03-03T{8 + number:02d}:00:00Z", sleeve_shrunk=is_shrunk)
        for number, is_shrunk in enumerate(shrunk, 1)
    ]
    assert at_c1([*tries, *sealed(), *both_ways()])[0] == outcome


def test_a_later_attempt_that_says_nothing_of_a_proof_test_does_not_fail_it() -> None:
    """What failed was broken up; of the new splice nobody says that it failed."""
    tries = [
        make_splice(attempt=1, made_at="2025-03-03T08:00:00Z", proof_test_passed=False),
        make_splice(attempt=2, made_at="2025-03-03T09:00:00Z", proof_test_passed=None),
    ]
    assert at_c1([*tries, *sealed(), *both_ways()])[0] == "conforming"


def test_a_ribbons_sleeve_is_that_of_each_of_its_fibres() -> None:
    """One sleeve protects twelve fibres: left bare, none is finished. Fibre 5, spliced alone later, is."""
    ribbon = make_splice(fibres=range(1, 13), sleeve_shrunk=False)
    alone = make_splice(fibres=[5], attempt=2, made_at="2025-03-04T08:00:00Z")
    outcomes = {
        fibre: at_c1([ribbon, alone, *sealed(), *both_ways(fibre=fibre)], fibre=fibre)[0] for fibre in (1, 5, 12)
    }
    assert outcomes == {1: "undetermined", 5: "conforming", 12: "undetermined"}


def test_a_ribbon_spliced_again_after_the_tests_has_none_of_its_fibres_proven() -> None:
    """Who cuts a ribbon cuts all its fibres: each is tested again, though only one of them had been bad."""
    again = [make_splice(fibres=range(1, 5), attempt=2, made_at=SPLICED), make_closure_state(made_at=RESEALED)]
    for fibre in (1, 4):
        assert at_c1([*finished_fibre(fibre=fibre), *again], fibre=fibre) == ("undetermined", "before_rework")
    assert at_c1([*finished_fibre(fibre=5), *again], fibre=5)[0] == "conforming"


FALLBACK = only(splice_criterion(fallback={"attempts": 3, "limit_db": 0.2}))


def tries(*attempts: int | None, **changes: Any) -> list[Body | Evidence]:
    """Return records of one joint an hour apart, by the attempts that they name; a withdrawn one for none."""
    return [
        stored(
            make_splice(attempt=attempt or number, made_at=f"2025-03-03T{7 + number:02d}:00:00Z", **changes),
            is_ended=attempt is None,
        )
        for number, attempt in enumerate(attempts, 1)
    ]


@pytest.mark.parametrize(
    ("attempts", "outcome"),
    [
        ((1, 2, 3), "conforming"),
        # The second of one number is the same attempt, written down again or better.
        ((1, 2, 2), "nonconforming"),
        ((1, 2, 2, 3), "conforming"),
        # What was withdrawn is no attempt that anybody still states.
        ((None, 2, 3), "nonconforming"),
        ((1, None, 3, 4), "conforming"),
    ],
)
def test_attempts_are_counted_by_what_is_still_stated_of_them(attempts: tuple[int | None, ...], outcome: str) -> None:
    """0.15 dB keep the wider limit of 0.20 dB after three attempts that each stand by themselves."""
    losses = {"losses_db": {"C1": 0.15}}
    assert at_c1([*tries(*attempts), *sealed(), *both_ways(**losses)], criteria=FALLBACK)[0] == outcome


def test_two_splicers_in_turn_make_attempts_of_one_joint() -> None:
    """The second crew brought its own splicer: its counter says nothing of the first one's, the clock does."""
    turns = [
        make_splice(
            attempt=number,
            made_at=f"2025-03-03T{8 + number:02d}:00:00Z",
            splicer_serial=f"SPL-{1 + number % 2}",
            splicer_sequence=5,
        )
        for number in (1, 2, 3)
    ]
    # The third is by the first's splicer, with the number of the first: of that splicer the same splice.
    losses = {"losses_db": {"C1": 0.15}}
    records = [*turns, *sealed(), *both_ways(**losses)]
    assert at_c1(records, criteria=FALLBACK)[0] == "nonconforming"
    turns[2]["splicer_sequence"] = 6
    assert at_c1(records, criteria=FALLBACK)[0] == "conforming"


def test_a_splice_without_an_estimate_is_refused() -> None:
    """A fourth record without what it showed documents nothing: no app can post one."""
    record = make_splice(attempt=4)
    del record["joints"][0]["estimate_db"]
    with pytest.raises(ValidationError, match="estimate_db"):
        RECORD.validate_python(record)


def test_a_wide_limit_after_three_attempts_is_not_the_limit_of_a_fourth_that_is_worse() -> None:
    """Three attempts earned 0.20 dB; what lies in the closure now is 0.21 dB."""
    losses = {"losses_db": {"C1": 0.21}}
    records = [*tries(1, 2, 3, 4), *sealed(), *both_ways(**losses)]
    assert at_c1(records, criteria=FALLBACK)[0] == "nonconforming"


def test_a_pigtails_connector_record_without_an_estimate_is_no_record_of_its_splice() -> None:
    """A pigtail makes two joints; who says only how the connector was made has said nothing of the splice behind."""
    criteria = only(required_record_criterion())
    records = [
        make_splice(),
        make_splice(site="C2"),
        make_splice(site="B"),
        make_termination(),
        make_termination(site="B"),
    ]
    judged = judge([*records, *sealed()], criteria=criteria)
    missing = {
        (one["site"], one["position"]) for one in judged.document["findings"] if one["outcome"] == "undetermined"
    }
    assert missing == {("A", 2)}


def test_a_second_sealing_later_than_the_tests_is_explained_by_an_opening_that_arrives_late() -> None:
    """The opening for fibre 5 comes a week late: fibre 1's tests stand again, 5's do not."""
    again = make_closure_state(made_at=RESEALED)
    late = make_closure_state(state="opened", made_at=OPENED, opened_for=[{"section": "S2", "first": 5, "last": 5}])
    assert at_c1([*finished_fibre(), again]) == ("undetermined", "opening_not_recorded")
    assert at_c1([*finished_fibre(), again, late])[0] == "conforming"
    assert at_c1([*finished_fibre(fibre=5), again, late], fibre=5) == ("undetermined", "before_sealing")


def test_a_sealing_by_a_clock_that_is_wrong_says_nothing_of_a_right_clocks_tests() -> None:
    """The tablet ran days behind: it may have been shut after the tests. Sealed again and tested again by right clocks
    everything is in order, whatever that tablet says.
    """
    wrong = [stored(one, clock_is_flagged=True) for one in sealed()]
    assert at_c1([*spliced(), *wrong, *both_ways()]) == ("undetermined", "order_not_proven")
    again = [make_closure_state(device="tablet-2", made_at=RESEALED), *both_ways(made_at=RETESTED)]
    right = [*sealed(sites=["C1"], device="tablet-3"), *sealed(sites=["C2"], device="tablet-3")]
    assert at_c1([*spliced(), *right, *both_ways(), *again])[0] == "conforming"


def test_work_of_a_lid_left_off_is_to_seal_it_and_not_to_splice() -> None:
    """All is spliced and tested with the lid off: the foreman says shut it and test, and nothing else there."""
    opened = make_closure_state(state="opened", made_at=OPENED)
    acts = work_of(judge([*finished_fibre(), opened]))
    assert ("seal", "C1") in acts
    assert not any(act == "resplice" for act, _ in acts)
