"""How far the two directions of a splice may be apart can be agreed."""

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, difference_criterion, only, spliced
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import because, finding_by, judge, only_item


def apart(*readings_db: float | None, **criterion: object) -> FindingDocument:
    return finding_by(difference_criterion(**criterion), traces(*readings_db), site="C1")


@pytest.mark.parametrize(
    ("readings_db", "value_db", "outcome"),
    [
        ((0.3, -0.199), "0.4990", "conforming"),
        ((0.3, -0.2), "0.5000", "conforming"),
        ((0.3, -0.201), "0.5010", "nonconforming"),
        ((-0.201, 0.3), "0.5010", "nonconforming"),
    ],
)
def test_at_the_limit_a_difference_conforms_and_beyond_it_does_not(
    readings_db: tuple[float, float], value_db: str, outcome: str
) -> None:
    finding = apart(*readings_db)
    assert (finding["value"], finding["outcome"]) == (value_db, outcome)
    assert finding["limit"] == "0.5000"


@pytest.mark.parametrize(
    ("readings_db", "bounds_db", "outcome"),
    # Not seen is within the threshold of 0.02 dB of zero.
    [
        ((0.48, None), ("0.4600", "0.5000"), "conforming"),
        ((None, 0.481), ("0.4610", "0.5010"), "undetermined"),
        ((0.52, None), ("0.5000", "0.5400"), "undetermined"),
        ((-0.521, None), ("0.5010", "0.5410"), "nonconforming"),
        ((None, None), ("0.0000", "0.0400"), "conforming"),
        ((0.01, None), ("0.0000", "0.0300"), "conforming"),
    ],
)
def test_what_one_direction_does_not_show_leaves_bounds(
    readings_db: tuple[float | None, float | None], bounds_db: tuple[str, str], outcome: str
) -> None:
    finding = apart(*readings_db)
    assert ((finding["low"], finding["high"]), finding["outcome"]) == (bounds_db, outcome)


def test_both_readings_are_said() -> None:
    finding = apart(0.3, None)
    assert finding["detail"] == "between 0.300 dB (A to B) and a loss not seen, within 0.020 dB of zero (B to A)"
    assert [reading["direction"] for reading in finding["readings"]] == ["a_to_b", "b_to_a"]


def test_one_direction_has_no_difference() -> None:
    finding = finding_by(difference_criterion(), traces(0.1, 0.1)[:-1], site="C1")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "one_direction_only")


def test_a_pair_that_no_mode_fields_explain_is_apart_all_the_same() -> None:
    assert apart(1.2, -1.1)["outcome"] == "nonconforming"


def test_only_splices_in_closures_are_held() -> None:
    findings = judge(traces(0.1, 0.1), criteria=only(difference_criterion())).document["findings"]
    assert [finding["site"] for finding in findings] == ["C1", "C2"]


def test_it_is_to_be_tested_again_and_no_splice_mends_it() -> None:
    bodies: list[Body] = [*spliced(), *traces(0.4, -0.3)]
    item = only_item(judge(bodies, criteria=only(difference_criterion())))
    assert item["act"] == "retest"
    assert because(item) == (
        "The difference between the directions at C1 at 1550 nm is 0.7000 dB, above the limit of 0.5000 dB: test again "
        "from both ends; if it stays it is of the two fibres, and no splice mends it."
    )
