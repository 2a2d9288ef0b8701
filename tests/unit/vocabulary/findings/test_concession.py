"""What a concession names, which findings it covers, and which of several counts."""

from typing import Any

import pytest
from pydantic import ValidationError

from service.vocabulary.findings.concession import Conceded, Concession, Subject, faults_in_names
from tests.factories import layout_of

SECTION = Subject("COEFF", 7, section="S2")
SPAN = Subject("LINK", 7, from_site="A", to_site="P")
FACE = Subject("FACE", 7, "A", 1, "towards_b")
SPAN_END = Subject("ORL", 7, "P", from_site="A", to_site="P")


def concession(subject: Subject, **changes: Any) -> Concession:
    named = {name: value for name, value in subject._asdict().items() if value is not None}
    members = {**named, "reason": "agreed on site", **changes}
    return Concession.model_validate({name: one for name, one in members.items() if one is not None})


@pytest.mark.parametrize("subject", [SECTION, SPAN, FACE, SPAN_END], ids=lambda one: one.criterion)
def test_a_finding_is_covered_by_what_names_it(subject: Subject) -> None:
    assert concession(subject).covers(subject)
    assert not concession(subject, fibre=8).covers(subject)
    assert not concession(subject, criterion="OTHER").covers(subject)


@pytest.mark.parametrize(
    ("subject", "wider"),
    [
        (SECTION, {"section": None}),
        (SPAN, {"from_site": None, "to_site": None}),
        (FACE, {"side": None}),
        (SPAN_END, {"from_site": None, "to_site": None}),
    ],
    ids=lambda one: getattr(one, "criterion", ""),
)
def test_what_names_less_covers_all_that_the_fibre_has_there(subject: Subject, wider: dict[str, None]) -> None:
    assert concession(subject, **wider).covers(subject)


@pytest.mark.parametrize(
    ("subject", "other"),
    [
        (SECTION, {"section": "S3"}),
        (SPAN, {"to_site": "B"}),
        (SPAN, {"from_site": "P"}),
        (FACE, {"side": "towards_a"}),
        (SPAN_END, {"from_site": "P", "to_site": "B"}),
        # A site is never left out: a joint's finding is no link's.
        (SPAN_END, {"site": None}),
    ],
)
def test_what_names_another_place_does_not(subject: Subject, other: dict[str, Any]) -> None:
    assert not concession(subject, **other).covers(subject)


def test_of_several_that_cover_a_finding_the_closest_counts_then_the_first() -> None:
    wide, close = concession(SECTION, section=None), concession(SECTION)
    for asked in ([wide, close], [close, wide]):
        assert asked[Conceded(asked).index_for(SECTION) or 0] is close
    assert Conceded([wide, close]).index_for(SECTION._replace(section="S3")) == 0
    assert Conceded([close, close]).index_for(SECTION) == 0
    assert Conceded([close]).index_for(SPAN) is None


@pytest.mark.parametrize(
    ("members", "why"),
    [
        ({"from_site": "A"}, "go together"),
        ({"to_site": "A"}, "go together"),
        ({"section": "S1", "site": "C1"}, "neither at a site"),
        ({"section": "S1", "from_site": "A", "to_site": "B"}, "neither at a site"),
        ({"side": "towards_a"}, "that of a site"),
    ],
)
def test_what_names_no_one_place_is_refused(members: dict[str, str], why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        Concession.model_validate({"criterion": "LINK", "fibre": 1, "reason": "agreed", **members})


def test_what_the_design_has_not_is_named_by_its_place_in_the_form() -> None:
    asked = [
        concession(Subject("LINK", 12, from_site="A", to_site="B")),
        concession(Subject("LINK", 13, from_site="A", to_site="P")),
        concession(Subject("COEFF", 1, section="S9")),
        concession(Subject("ORL", 1, "X", from_site="Y", to_site="B")),
    ]
    assert [fault.pointer for fault in faults_in_names(asked, layout_of())] == [
        "/concessions/1/to_site",
        "/concessions/1/fibre",
        "/concessions/2/section",
        "/concessions/3/site",
        "/concessions/3/from_site",
    ]
