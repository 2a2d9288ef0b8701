"""How splices were made: each demand held against the latest attempt at a joint."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.instants import canonical_time
from tests.factories import (
    Body,
    both_ways,
    make_calibration,
    make_design,
    make_otdr,
    make_splice,
    only,
    sealed,
    stored,
)
from tests.unit.judgement.judging import finding_by, judge
from worker.judgement.history.evidence import Evidence
from worker.judgement.numbers.clocks import instant_us

SPLICED_AT, LATER = "2025-03-03T08:00:00Z", "2025-03-04T08:00:00Z"


def criterion(demand: Body, **changes: Any) -> Body:
    """Return one demand on every splice."""
    return {"code": "WORK", "quantity": "workmanship", "demand": demand, **changes}


def held(
    demand: Body, bodies: Sequence[Body | Evidence], *, site: str = "C1", design: Body | None = None
) -> FindingDocument:
    """Return the finding about the splice at a site."""
    return finding_by(criterion(demand), bodies, design=design, site=site)


def spliced(**changes: Any) -> Body:
    """Return the usual splice in C1, with its joint changed too where a cleave angle is given."""
    joint = {name: changes.pop(name) for name in ("cleave_left_deg", "cleave_right_deg") if name in changes}
    return make_splice(joints=[{"fibre": 1, "estimate_db": 0.02, **joint}], **changes)


@pytest.mark.parametrize(
    ("at", "sites"),
    [("line_closures", ["C1", "C2"]), ("terminal_splices", ["A", "B"]), (None, ["A", "C1", "C2", "B"])],
)
def test_a_demand_is_made_where_it_is_asked_for(at: str | None, sites: list[str]) -> None:
    found = judge([], criteria=only(criterion({"aspect": "proof_test"}, at=at))).document["findings"]
    assert [finding["site"] for finding in found] == sites
    assert {finding["reason"] for finding in found} == {"no_evidence"}
    assert {finding["detail"] for finding in found} == {"no splice is recorded here"}


def test_the_latest_attempt_counts_whatever_came_first() -> None:
    bad, good = make_splice(proof_test_passed=False), make_splice(made_at=LATER)
    for order in ([bad, good], [good, bad]):
        finding = held({"aspect": "proof_test"}, order)
        assert (finding["outcome"], finding["readings"]) == ("conforming", [{"record": good["id"]}])
    wrong = stored(make_splice(made_at=LATER, device="tablet-9"), clock_is_flagged=True)
    assert held({"aspect": "proof_test"}, [bad, wrong])["reason"] == "order_not_proven"


ANGLE: Body = {"aspect": "cleave_angle", "limit_deg": 0.5}


@pytest.mark.parametrize(
    ("left", "right", "value", "outcome"),
    [
        (0.5, 0.5, "0.5000", "conforming"),
        (0.51, 0.1, "0.5100", "nonconforming"),
        (0.1, 0.51, "0.5100", "nonconforming"),
        (0.51, None, "0.5100", "nonconforming"),
    ],
)
def test_neither_side_is_cleaved_at_more(left: float, right: float | None, value: str, outcome: str) -> None:
    angles = {"cleave_left_deg": left} | ({} if right is None else {"cleave_right_deg": right})
    finding = held(ANGLE, [spliced(**angles)])
    assert (finding["value"], finding["outcome"]) == (value, outcome)
    assert (finding["limit"], finding["unit"]) == ("0.5000", "deg")


@pytest.mark.parametrize("angles", [{}, {"cleave_left_deg": 0.1}, {"cleave_right_deg": 0.1}])
def test_a_cleave_angle_that_is_not_stated_is_not_zero(angles: Body) -> None:
    finding = held(ANGLE, [spliced(**angles)])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "work_not_stated")


@pytest.mark.parametrize(
    ("length_mm", "limit", "outcome"),
    [
        (7.9, "8.0000", "nonconforming"),
        (8.0, "8.0000", "conforming"),
        (16.0, "16.0000", "conforming"),
        (16.1, "16.0000", "nonconforming"),
    ],
)
def test_a_cleave_is_neither_too_short_nor_too_long(length_mm: float, limit: str, outcome: str) -> None:
    demand = {"aspect": "cleave_length", "least_mm": 8.0, "most_mm": 16.0}
    finding = held(demand, [spliced(cleave_length_mm=length_mm)])
    assert (finding["limit"], finding["unit"], finding["outcome"]) == (limit, "mm", outcome)
    assert (finding.get("limit_is") == "least") is (limit == "8.0000")
    assert held(demand, [spliced()])["reason"] == "work_not_stated"


@pytest.mark.parametrize(
    ("length_mm", "outcome"), [(40.0, "conforming"), (60.0, "conforming"), (45.0, "nonconforming")]
)
def test_a_sleeve_has_one_of_the_allowed_lengths(length_mm: float, outcome: str) -> None:
    demand = {"aspect": "sleeve_length", "allowed_mm": [40.0, 60.0]}
    finding = held(demand, [spliced(sleeve_length_mm=length_mm)])
    assert finding["outcome"] == outcome
    assert finding["detail"] == f"sleeve {length_mm} mm, allowed 40.0 or 60.0 mm"
    assert held(demand, [spliced()])["reason"] == "work_not_stated"


def test_no_joint_is_spliced_more_often() -> None:
    demand = {"aspect": "attempts", "limit": 2}
    three = [make_splice(attempt=number, made_at=f"2025-03-0{number}T08:00:00Z") for number in (1, 2, 3)]
    assert [held(demand, three[:count])["outcome"] for count in (1, 2)] == ["conforming"] * 2
    finding = held(demand, three)
    assert finding["outcome"] == "nonconforming"
    assert (finding["value"], finding["limit"], finding["unit"], finding["margin"]) == ("3", "2", "count", "-1")
    assert [reading["record"] for reading in finding["readings"]] == [splice["id"] for splice in three]
    # Three records of one second are one attempt, and the first two may never have been posted.
    at_once = [make_splice(made_at="2025-03-01T08:00:00Z", estimate_db=db) for db in (0.01, 0.02, 0.03)]
    assert held(demand, at_once)["value"] == "1"
    unnumbered = [one | {"attempt": 1} for one in three]
    assert held(demand, unnumbered)["value"] == "3"
    assert held(demand, three[2:])["outcome"] == "nonconforming"


def attempts(count: int) -> list[Body]:
    """Return so many attempts at C1, all before the final test."""
    return [make_splice(attempt=number, made_at=f"2025-03-03T0{number}:00:00Z") for number in range(1, count + 1)]


@pytest.mark.parametrize(
    ("loss_db", "count", "outcome", "reason"),
    [
        (0.150, 1, "conforming", None),
        (0.151, 2, "nonconforming", None),
        (0.151, 3, "conforming", None),
        # Unseen one way: the mean is between 0.145 and 0.155 dB, or 0.001 dB less.
        ((0.300, 0.010), 2, "undetermined", "bound_too_wide"),
        ((0.290, 0.010), 2, "conforming", None),
        ((0.300, 0.010), 3, "conforming", None),
        (None, 2, "undetermined", "no_evidence"),
        (None, 3, "conforming", None),
    ],
)
def test_a_loss_above_so_much_wants_so_many_documented_attempts(
    loss_db: float | tuple[float, float] | None, count: int, outcome: str, reason: str | None
) -> None:
    demand = {"aspect": "attempts_above_loss", "wavelength_nm": 1550, "loss_db": 0.15, "least": 3}
    bodies = [*attempts(count), *sealed()]
    if isinstance(loss_db, tuple):
        one_way_db, threshold_db = loss_db
        there = make_otdr(losses_db={"C1": one_way_db}, loss_threshold_db=threshold_db)
        bodies += [there, make_otdr(from_site="B", to_site="A", losses_db={"C1": None}, loss_threshold_db=threshold_db)]
    elif loss_db is not None:
        bodies += both_ways(losses_db={"C1": loss_db})
    finding = held(demand, bodies)
    assert (finding["outcome"], finding.get("reason")) == (outcome, reason)
    assert {attempt["id"] for attempt in attempts(count)} <= {reading["record"] for reading in finding["readings"]}


def test_a_number_of_attempts_that_were_never_recorded_is_not_documented() -> None:
    demand = {"aspect": "attempts_above_loss", "wavelength_nm": 1550, "loss_db": 0.15, "least": 3}
    finding = held(demand, [*attempts(3)[2:], *sealed(), *both_ways(losses_db={"C1": 0.2})])
    assert (finding["value"], finding["outcome"]) == ("1", "nonconforming")
    assert (finding["limit"], finding["limit_is"]) == ("3", "least")


@pytest.mark.parametrize(
    ("passed", "outcome"), [(True, "conforming"), (False, "nonconforming"), (None, "undetermined")]
)
def test_each_splice_passed_its_proof_test(passed: bool | None, outcome: str) -> None:
    finding = held({"aspect": "proof_test"}, [make_splice(proof_test_passed=passed)])
    assert finding["outcome"] == outcome
    assert finding.get("reason") == ("work_not_stated" if passed is None else None)


@pytest.mark.parametrize(
    ("until", "outcome"),
    [("2025-03-03", "conforming"), ("2025-03-02", "nonconforming"), (None, "undetermined")],
)
def test_a_certificate_holds_to_the_end_of_its_last_day(until: str | None, outcome: str) -> None:
    body = make_splice(certified_until=until)
    assert held({"aspect": "certificate"}, [body])["outcome"] == outcome
    assert held({"aspect": "certificate"}, [stored(body, clock_is_flagged=True)])["outcome"] == "undetermined"


@pytest.mark.parametrize(("method", "outcome"), [("fusion", "conforming"), ("mechanical", "nonconforming")])
def test_no_mechanical_splice_stays(method: str, outcome: str) -> None:
    assert held({"aspect": "fusion"}, [make_splice(method=method)])["outcome"] == outcome


DAY: Body = {"aspect": "calibrated_splicer", "most_age_h": 24.0}


@pytest.mark.parametrize(
    ("made_at", "value", "outcome"),
    [
        ("2025-03-02T08:00:00Z", "24.0000", "conforming"),
        ("2025-03-02T07:59:59.999999Z", "24.0000", "nonconforming"),
        ("2025-03-03T07:59:59.999999Z", "0.0000", "conforming"),
    ],
)
def test_the_age_is_exact_to_the_microsecond(made_at: str, value: str, outcome: str) -> None:
    calibration, splice = make_calibration(made_at=made_at), make_splice()
    finding = held(DAY, [calibration, splice])
    assert (finding["value"], finding["outcome"]) == (value, outcome)
    assert (finding["limit"], finding["unit"]) == ("24.0000", "h")
    assert [reading["record"] for reading in finding["readings"]] == [splice["id"], calibration["id"]]


@pytest.mark.parametrize(
    "changes",
    [{"made_at": SPLICED_AT}, {"made_at": LATER}, {"splicer_serial": "SPL-2"}, {"fibre_type": "G.657.A1"}],
)
def test_a_calibration_of_something_else_or_too_late_is_none(changes: Body) -> None:
    finding = held(DAY, [make_calibration(**changes), make_splice()])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")
    assert finding["detail"] == "no calibration of splicer SPL-1 for G.652.D before the splice is recorded"


def test_either_fibre_of_a_joint_may_be_the_one_calibrated_for() -> None:
    design = make_design()
    design["sections"][1]["fibre_type"] = "G.657.A1"
    bodies = [make_calibration(fibre_type="G.657.A1"), make_splice(), make_splice(site="A")]
    assert held(DAY, bodies, design=design)["outcome"] == "conforming"
    assert held(DAY, bodies, design=design, site="A")["reason"] == "no_evidence"


def test_the_latest_calibration_before_the_splice_counts() -> None:
    failed = make_calibration(made_at="2025-03-03T07:30:00Z", passed=False)
    assert held(DAY, [make_calibration(), failed, make_splice()])["outcome"] == "nonconforming"
    again = make_calibration(made_at="2025-03-03T07:45:00Z")
    assert held(DAY, [again, make_calibration(), failed, make_splice()])["value"] == "0.2500"


def test_a_wrong_clock_leaves_a_calibration_unproven() -> None:
    finding = held(DAY, [stored(make_calibration(device="tablet-9"), clock_is_flagged=True), make_splice()])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "order_not_proven")
    own = [stored(body, clock_is_flagged=True) for body in (make_calibration(), make_splice())]
    assert held(DAY, own)["outcome"] == "conforming"


ELSEWHERE: Body = {"site": "C2", "made_at": "2025-03-03T07:30:00Z"}


@pytest.mark.parametrize(
    ("calibrated_at", "others", "outcome"),
    [
        ("C1", [], "conforming"),
        ("C2", [], "nonconforming"),
        (None, [], "conforming"),
        (None, [make_splice(**ELSEWHERE)], "nonconforming"),
        ("C1", [make_splice(**ELSEWHERE)], "nonconforming"),
        ("C1", [make_splice(splicer_serial="SPL-2", **ELSEWHERE)], "conforming"),
        ("C1", [make_splice(site="C2", made_at="2025-03-03T06:30:00Z")], "conforming"),
        ("C1", [make_splice(site="C2", made_at=LATER)], "conforming"),
        ("C1", [stored(make_splice(device="tablet-9", **ELSEWHERE), clock_is_flagged=True)], "undetermined"),
    ],
)
def test_a_splicer_that_was_moved_is_calibrated_again(
    calibrated_at: str | None, others: list[Any], outcome: str
) -> None:
    bodies = [make_calibration(site=calibrated_at), make_splice(), *others]
    assert held(DAY, bodies)["outcome"] == outcome
    # Where nobody asks for it, a move changes nothing.
    assert held({**DAY, "again_after_move": False}, bodies)["outcome"] == "conforming"


INSTANTS = st.datetimes(datetime(1900, 1, 1), datetime(2100, 12, 31)).map(lambda instant: instant.replace(tzinfo=UTC))


@given(one=INSTANTS, other=INSTANTS)
def test_an_age_is_what_the_calendar_says(one: datetime, other: datetime) -> None:
    age = (other - one) // timedelta(microseconds=1)
    assert instant_us(canonical_time(other)) - instant_us(canonical_time(one)) == age
