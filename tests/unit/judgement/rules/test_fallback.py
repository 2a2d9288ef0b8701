"""A wider limit for a splice after documented attempts, and how it is shown."""

import pytest

from tests.factories import Body, make_splice, only, splice_criterion, stored, termination_criterion
from tests.unit.judgement.joints import at_c1, traces
from tests.unit.judgement.judging import finding_by, finding_of, judge
from worker.judgement.history.evidence import Evidence

FALLBACK = {"attempts": 3, "limit_db": 0.2}


def attempts(count: int, **changes: object) -> list[Body]:
    """Return so many splice records of the joint at C1, an hour apart."""
    return [
        make_splice(attempt=number, made_at=f"2025-03-03T{7 + number:02d}:00:00Z", **changes)  # type: ignore[arg-type]
        for number in range(1, count + 1)
    ]


@pytest.mark.parametrize(
    ("loss_db", "outcome", "by_fallback", "limit_db"),
    [
        (0.100, "conforming", False, "0.1000"),
        (0.101, "conforming", True, "0.2000"),
        (0.200, "conforming", True, "0.2000"),
        (0.201, "nonconforming", False, "0.1000"),
    ],
)
def test_after_three_attempts_the_wider_limit_holds_up_to_its_end(
    loss_db: float, outcome: str, by_fallback: bool, limit_db: str
) -> None:
    finding = at_c1([*traces(loss_db, loss_db), *attempts(3)], fallback=FALLBACK)
    assert (finding["outcome"], finding.get("by_fallback", False), finding["limit"]) == (outcome, by_fallback, limit_db)


def test_a_joint_kept_by_the_fallback_says_after_how_many_attempts() -> None:
    finding = at_c1([*traces(0.15, 0.15), *attempts(4)], fallback=FALLBACK)
    assert "out of specification, accepted after 4 documented attempts" in finding["detail"]
    assert finding["margin"] == "0.0500"


def test_a_joint_kept_by_the_fallback_says_what_each_attempt_showed() -> None:
    shown = [0.12, 0.09, 0.11]
    tried = [one | {"joints": [{"fibre": 1, "estimate_db": db}]} for one, db in zip(attempts(3), shown, strict=True)]
    finding = at_c1([*traces(0.15, 0.15), *tried], fallback=FALLBACK)
    assert finding["detail"].endswith("0.120 dB at attempt 1, 0.090 dB at attempt 2, 0.110 dB at attempt 3")
    values = {one["record"]: one.get("value") for one in finding["readings"]}
    assert [values[one["id"]] for one in tried] == ["0.120", "0.090", "0.110"]


def tried_at(*at: str, **changes: object) -> list[Body]:
    """Return attempts one to three of the joint at C1, each at its time of 3 March."""
    return [
        make_splice(attempt=number, made_at=f"2025-03-03T{time}Z", **changes)  # type: ignore[arg-type]
        for number, time in enumerate(at, 1)
    ]


@pytest.mark.parametrize(
    ("tried", "outcome"),
    [
        (tried_at("08:00:00", "08:01:00", "08:02:00"), "conforming"),
        (tried_at("08:00:00", "08:00:59.999999", "08:02:00"), "nonconforming"),
        (tried_at("08:00:00", "08:01:00.000001", "08:02:01"), "conforming"),
        # Three records of one second are one attempt, whatever they are numbered.
        (tried_at("08:00:00", "08:00:00", "08:00:00"), "nonconforming"),
    ],
)
def test_attempts_are_apart_by_what_a_splice_takes(tried: list[Body], outcome: str) -> None:
    assert at_c1([*traces(0.15, 0.15), *tried], fallback=FALLBACK)["outcome"] == outcome


@pytest.mark.parametrize(("least_s", "outcome"), [(10, "conforming"), (11, "nonconforming")])
def test_what_parts_attempts_is_agreed(least_s: int, outcome: str) -> None:
    tried = tried_at("08:00:00", "08:00:10", "08:00:20")
    criteria = only(splice_criterion(fallback=FALLBACK), least_between_attempts_s=least_s)
    judgement = judge([*traces(0.15, 0.15), *tried], criteria=criteria)
    assert finding_of(judgement, "SPLICE-1550", site="C1")["outcome"] == outcome


@pytest.mark.parametrize(
    ("numbers", "outcome"),
    [
        ((1, 2, 3), "conforming"),
        ((2, 5, 9), "conforming"),
        ((1, 1, 1), "nonconforming"),
        ((1, 2, 2), "nonconforming"),
        ((3, 2, 1), "nonconforming"),
    ],
)
def test_attempts_are_numbered_in_their_order(numbers: tuple[int, ...], outcome: str) -> None:
    tried = [one | {"attempt": number} for one, number in zip(attempts(3), numbers, strict=True)]
    assert at_c1([*traces(0.15, 0.15), *tried], fallback=FALLBACK)["outcome"] == outcome


@pytest.mark.parametrize(
    ("sequence", "time", "outcome"),
    [
        # The splicer counted three splices, whatever the app says of their times.
        ((41, 42, 43), "08:00:00", "conforming"),
        ((41, 41, 43), "08:00:00", "nonconforming"),
        # One splice, posted as two attempts an hour apart.
        ((41, 41, 43), None, "nonconforming"),
        # A counter that was set back says nothing.
        ((41, 1, 2), None, "conforming"),
        ((41, 1, 2), "08:00:00", "nonconforming"),
        ((None, 42, 43), None, "conforming"),
    ],
)
def test_the_splicers_own_sequence_parts_attempts(
    sequence: tuple[int | None, ...], time: str | None, outcome: str
) -> None:
    tried = attempts(3) if time is None else tried_at(time, time, time)
    numbered = [one | {"splicer_sequence": number} for one, number in zip(tried, sequence, strict=True)]
    finding = at_c1([*traces(0.15, 0.15), *numbered], fallback=FALLBACK)
    assert finding["outcome"] == outcome


def test_of_two_splicers_the_sequences_are_not_compared() -> None:
    times = [
        one | {"splicer_sequence": 40 + at, "splicer_serial": f"SPL-{at}"}
        for at, one in enumerate(tried_at("08:00:00", "08:00:00", "08:00:00"), 1)
    ]
    assert at_c1([*traces(0.15, 0.15), *times], fallback=FALLBACK)["outcome"] == "nonconforming"


def test_where_a_wrong_clock_hides_the_order_no_second_attempt_is_documented() -> None:
    first, *others = attempts(3)
    flagged = stored(first | {"device": "tablet-2"}, clock_is_flagged=True)
    assert at_c1([*traces(0.15, 0.15), flagged, *others], fallback=FALLBACK)["outcome"] != "conforming"


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_attempts_leave_it_nonconforming(count: int) -> None:
    finding = at_c1([*traces(0.15, 0.15), *attempts(count)], fallback=FALLBACK)
    assert (finding["outcome"], finding["limit"], "by_fallback" in finding) == ("nonconforming", "0.1000", False)


def test_without_a_fallback_no_number_of_attempts_helps() -> None:
    assert at_c1([*traces(0.15, 0.15), *attempts(9)])["outcome"] == "nonconforming"


@pytest.mark.parametrize(
    "bodies",
    [
        [make_splice(attempt=3)],
        [*attempts(2), *attempts(2)],
        [*attempts(2), stored(attempts(3)[2], is_ended=True)],
        attempts(3, site="C2"),
        attempts(3, fibres=[2]),
    ],
    ids=["said to be the third", "the same twice", "withdrawn", "elsewhere", "another fibre's"],
)
def test_what_is_no_record_of_a_third_attempt_at_the_joint_does_not_count(bodies: list[Body | Evidence]) -> None:
    finding = at_c1([*traces(0.15, 0.15), *bodies], fallback=FALLBACK)
    assert finding["outcome"] == "nonconforming"


@pytest.mark.parametrize(("threshold_db", "outcome"), [(0.2, "conforming"), (0.201, "undetermined")])
def test_a_splice_known_within_bounds_is_kept_by_the_fallback_if_its_upper_bound_is(
    threshold_db: float, outcome: str
) -> None:
    unseen = traces(None, None, loss_threshold_db=threshold_db)
    finding = at_c1([*unseen, *attempts(3)], fallback=FALLBACK)
    assert (finding["outcome"], finding.get("by_fallback", False)) == (outcome, outcome == "conforming")
    assert at_c1(unseen, fallback=FALLBACK)["reason"] == "bound_too_wide"


def test_no_trace_is_no_evidence_after_any_number_of_attempts() -> None:
    assert at_c1(attempts(5), fallback=FALLBACK)["outcome"] == "undetermined"


@pytest.mark.parametrize("read", [{"tested_from": "either", "combination": "worse"}, {"basis": "estimate"}])
def test_the_fallback_holds_on_every_basis(read: Body) -> None:
    bodies = [*traces(0.15, 0.15), *attempts(3, estimate_db=0.15)]
    assert at_c1(bodies, **read, fallback=FALLBACK)["by_fallback"] is True
    assert at_c1(bodies, **read)["outcome"] == "nonconforming"


def test_the_groups_criterion_decides_before_the_fallback_does() -> None:
    bodies = [*traces(0.15, 0.15, site="A"), *attempts(3, site="A")]
    own = splice_criterion(fallback=FALLBACK)
    decided = finding_by(own, bodies, beside=[termination_criterion()], site="A")
    assert (decided["outcome"], decided["limit"], "by_fallback" in decided) == ("conforming", "0.5000", False)
    alone = finding_by(own, bodies, site="A")
    assert (alone["outcome"], alone["limit"], alone["by_fallback"]) == ("conforming", "0.2000", True)
    over = [*traces(0.201, 0.201, site="A"), *attempts(3, site="A")]
    assert finding_by(own, over, site="A")["reason"] == "group_only"
