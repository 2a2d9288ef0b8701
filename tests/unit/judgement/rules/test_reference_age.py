"""How long before source and meter the reference was taken."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, make_attenuation, only, reference_criterion, sealed, spliced
from tests.unit.judgement.judging import because, finding_by, judge, only_item

TESTED = {"made_at": "2025-03-20T12:00:00Z"}


def two_way(there: str | None, back: str | None) -> list[Body]:
    """Return both directions, measured at noon, with when each was referenced."""
    return [
        *sealed(),
        make_attenuation(referenced_at=there, **TESTED),
        make_attenuation(from_site="B", to_site="A", referenced_at=back, **TESTED),
    ]


def found(there: str | None, back: str | None, **changes: Any) -> FindingDocument:
    return finding_by(reference_criterion(limit_h=4.0, **changes), two_way(there, back))


# At noon with 4 h allowed: from 08:00 on.
@pytest.mark.parametrize(
    ("referenced_at", "value_h", "outcome"),
    [
        ("2025-03-20T08:00:01Z", "3.9997", "conforming"),
        ("2025-03-20T08:00:00Z", "4.0000", "conforming"),
        ("2025-03-20T07:59:59Z", "4.0003", "nonconforming"),
        ("2025-03-20T09:00:00+01:00", "4.0000", "conforming"),
    ],
)
def test_a_reference_as_old_as_is_allowed_conforms_and_a_second_more_does_not(
    referenced_at: str, value_h: str, outcome: str
) -> None:
    finding = found(referenced_at, "2025-03-20T11:00:00Z")
    assert (finding["value"], finding["unit"], finding["outcome"]) == (value_h, "h", outcome)
    assert found("2025-03-20T11:00:00Z", referenced_at)["outcome"] == outcome


def test_a_reference_of_which_nobody_says_when_it_was_taken_proves_nothing() -> None:
    finding = found(None, "2025-03-20T11:00:00Z")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "reference_not_stated")
    assert "value" not in finding


def test_one_too_old_is_enough_whatever_is_known_of_the_other() -> None:
    assert found(None, "2025-03-20T07:00:00Z")["outcome"] == "nonconforming"
    one_way = finding_by(reference_criterion(limit_h=4.0), two_way("2025-03-20T07:00:00Z", None)[:-1])
    assert one_way["outcome"] == "nonconforming"


def test_one_direction_proves_nothing_of_the_other() -> None:
    one_way = finding_by(reference_criterion(limit_h=4.0), two_way("2025-03-20T11:00:00Z", None)[:-1])
    assert one_way["reason"] == "one_direction_only"


def test_a_reference_taken_after_its_test_is_no_reference_of_it() -> None:
    finding = found("2025-03-20T12:00:01Z", "2025-03-20T11:00:00Z")
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "order_not_proven")
    assert "0.0003 h after the test" in finding["detail"]


@pytest.mark.parametrize(
    ("there", "said"),
    [
        ("2025-03-20T07:00:00Z", "take the reference again and measure again"),
        (None, "state when the reference was taken"),
    ],
)
def test_the_crew_references_again_or_says_when_it_did(there: str | None, said: str) -> None:
    bodies = [*spliced(), *two_way(there, "2025-03-20T11:00:00Z")]
    item = only_item(judge(bodies, criteria=only(reference_criterion(limit_h=4.0))))
    assert item["act"] == "retest"
    assert said in because(item)
