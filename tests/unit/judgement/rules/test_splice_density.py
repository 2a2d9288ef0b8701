"""How many splices a fibre may have for its length: a matter of design."""

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, density_criterion, make_design, make_sections, make_site, only, with_site
from tests.unit.judgement.judging import judge


def density(design: Body, *, fibre: int = 1, **criterion: object) -> list[FindingDocument]:
    """Return the findings of the density criterion."""
    return judge([], design=design, fibre=fibre, criteria=only(density_criterion(**criterion))).document["findings"]


def test_a_centimetre_less_than_a_kilometre_for_each_splice_is_too_short() -> None:
    [finding] = density(make_design(sections=make_sections([666.66] * 3)))
    assert (finding["outcome"], finding["value"], finding["unit"]) == ("nonconforming", "1.0000", "1/km")
    assert density(make_design(sections=make_sections([666.67] * 3)))[0]["outcome"] == "conforming"


@pytest.mark.parametrize(
    ("limit_per_km", "outcome"), [(0.666, "nonconforming"), (0.667, "conforming"), (0.0, "nonconforming")]
)
def test_the_density_is_exact_not_as_it_is_written(limit_per_km: float, outcome: str) -> None:
    [finding] = density(make_design(), limit_per_km=limit_per_km)
    assert (finding["outcome"], finding["value"]) == (outcome, "0.6667")
    assert (finding["from_site"], finding["to_site"], finding["readings"]) == ("A", "B", [])


def test_the_splices_of_terminations_do_not_count() -> None:
    [finding] = density(make_design(closures=0), limit_per_km=0.0)
    assert (finding["outcome"], finding["value"]) == ("conforming", "0.0000")


def test_a_fibre_that_runs_through_uncut_has_no_splice_there() -> None:
    uncut = {"site": "C1", "fibres": {"first": 1, "last": 6}, "action": "uncut"}
    design = make_design(splice_plan=[uncut])
    assert [density(design, fibre=fibre)[0]["value"] for fibre in (1, 7)] == ["0.3333", "0.6667"]


def test_excess_and_slack_are_length_of_fibre_too() -> None:
    design = make_design(sections=make_sections([600.0] * 3, slack_m=60.0, excess_percent=1.02))
    # Three times 660 m and 1.02 % more are 2000.196 m.
    assert density(design)[0]["outcome"] == "conforming"
    design["sections"][0]["excess_percent"] = 0.98
    design["sections"][1]["excess_percent"] = 0.98
    assert density(design)[0]["outcome"] == "nonconforming"


def test_each_span_is_judged_on_its_own() -> None:
    panel, sections = (
        make_site("C2", kind="patch_panel", termination="pigtail"),
        make_sections([0.0, 1000.0, 1000.0, 0.5]),
    )
    findings = density(with_site(panel, at=2, closures=3, sections=sections))
    assert [(f["from_site"], f["to_site"], f["outcome"]) for f in findings] == [
        ("A", "C2", "conforming"),
        ("C2", "B", "conforming"),
    ]
    assert [f["value"] for f in findings] == ["1.0000", "0.9995"]


def test_a_splice_on_no_length_at_all_is_too_many() -> None:
    [finding] = density(make_design(closures=1, sections=make_sections([0.0, 0.0])))
    assert (finding["outcome"], "value" in finding) == ("nonconforming", False)
