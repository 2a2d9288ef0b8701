"""A section's fibre as installed against the same fibre on its reel."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    criteria_of,
    layout_of,
    make_section,
    only,
    reel_criterion,
    sealed,
    spliced,
    with_events,
)
from tests.unit.judgement.judging import because, judge
from worker.judgement.rules.attainable import attainability

OF_ALL = {"wavelength_nm": 1550, "attenuation_db_per_km": 0.19}


def reeled(*tests: Body, sections: int = 3) -> Body:
    """Return the usual route with these reel tests of each section, or of the first ones."""
    own = [make_section(f"S{n}", **({"reel_tests": list(tests)} if n <= sections else {})) for n in (1, 2, 3)]
    return {**cord_ended(), "sections": own}


def measured(db_per_km: float, design: Body, **changes: Any) -> list[Body]:
    """Return traces of both directions that state so much of each section."""
    traces = both_ways(design=design, **changes)
    return [
        *sealed(),
        *(with_events(one, lambda event: {**event, "attenuation_db_per_km": db_per_km}) for one in traces),
    ]


def found(design: Body, bodies: list[Body], **changes: Any) -> list[FindingDocument]:
    return judge(bodies, design=design, criteria=only(reel_criterion(**changes))).document["findings"]


# 0.19 dB/km on the reel, and at most 0.02 more.
@pytest.mark.parametrize(
    ("db_per_km", "value", "outcome"),
    [
        (0.18, "-0.0100", "conforming"),
        (0.209, "0.0190", "conforming"),
        (0.21, "0.0200", "conforming"),
        (0.211, "0.0210", "nonconforming"),
    ],
)
def test_a_section_may_lose_so_much_more_than_on_its_reel(db_per_km: float, value: str, outcome: str) -> None:
    design = reeled(OF_ALL)
    own = found(design, measured(db_per_km, design))
    assert [one["section"] for one in own] == ["S1", "S2", "S3"]
    assert {(one["value"], one["unit"], one["outcome"]) for one in own} == {(value, "dB/km", outcome)}
    assert "on the reel 0.1900 dB/km" in own[0]["detail"]


def test_what_is_said_of_a_cable_fibre_goes_before_what_is_said_of_all() -> None:
    of_first = {"wavelength_nm": 1550, "attenuation_db_per_km": 0.2, "cable_fibres": {"first": 1, "last": 1}}
    of_others = {**of_first, "attenuation_db_per_km": 0.1, "cable_fibres": {"first": 2, "last": 12}}
    design = reeled(of_first, OF_ALL, of_others)
    assert found(design, measured(0.21, design))[0]["value"] == "0.0100"


@pytest.mark.parametrize("tests", [(), ({**OF_ALL, "wavelength_nm": 1310},)])
def test_without_a_reel_test_at_the_wavelength_nothing_is_proven_and_it_is_told_before(tests: tuple[Body, ...]) -> None:
    design = reeled(*tests)
    own = found(design, measured(0.21, design))
    assert {(one["outcome"], one["reason"]) for one in own} == {("undetermined", "reel_test_not_stated")}
    [report] = attainability(layout_of(design), criteria_of(only(reel_criterion())))
    assert (report.severity.value, "S1, S2, S3" in report.detail) == ("questionable", True)


def test_with_one_it_is_not_told() -> None:
    assert attainability(layout_of(reeled(OF_ALL)), criteria_of(only(reel_criterion()))) == []


def test_sections_stated_as_one_are_held_against_their_reels_as_one() -> None:
    # The splice at C1 is not seen, so S1 and S2 have one figure: their reels have 0.19 and 0.23 dB/km, 0.21 together.
    design = reeled(OF_ALL)
    design["sections"][1]["reel_tests"] = [{**OF_ALL, "attenuation_db_per_km": 0.23}]
    own = found(design, measured(0.22, design, losses_db={"C1": None}))
    assert [one["value"] for one in own] == ["0.0100", "0.0100", "0.0300"]


def test_a_section_too_short_to_be_measured_has_no_finding() -> None:
    design = reeled(OF_ALL)
    assert found(design, measured(0.3, design), least_length_m=1000.01) == []


def test_without_traces_of_both_directions_nothing_is_proven() -> None:
    design = reeled(OF_ALL)
    assert {one["reason"] for one in found(design, measured(0.2, design)[:-1])} == {"one_direction_only"}


def test_the_crew_looks_for_strain_along_the_cable() -> None:
    design = reeled(OF_ALL)
    bodies = [*spliced(), *measured(0.25, design)]
    [item, *_] = judge(bodies, design=design, criteria=only(reel_criterion())).document["work"]
    assert item["act"] == "relieve_bend"
    assert "loses more than on its reel" in because(item)
