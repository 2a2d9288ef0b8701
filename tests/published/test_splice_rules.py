"""The splice and connection rules of public documents, stated as criteria and judged on both sides of their limits.

Means and shares of a population are stated here, and not judged here.
"""

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    make_design,
    make_otdr,
    make_return_loss,
    make_section,
    make_sections,
    make_splice,
    only,
    sealed,
    with_events,
)
from tests.published.check_values import source_of
from tests.published.clauses import Clause, as_criteria
from tests.published.splice_rules import (
    BUILD_EXHIBIT,
    CITY,
    GUIDE_SPECIFICATION,
    LEASE,
    OUTSIDE_PLANT,
    RETURN_LOSS_GRADES,
    UNIVERSITY,
)
from tests.unit.judgement.judging import finding_of, judge
from tests.unit.judgement.routes import only_finding, verdict_of


def held(
    clause: Clause, code: str, bodies: list[Body], *, site: str | None, design: Body | None = None
) -> FindingDocument:
    """Return what one criterion of a clause says."""
    return finding_of(judge(bodies, criteria=as_criteria(clause), design=design), code, site=site)


def measured(
    forward_db: float, backward_db: float, *, site: str, wavelength_nm: int = 1550, design: Body | None = None
) -> list[Body]:
    """Return both directions with what they read at one site, tested after both closures were sealed."""
    own = {"losses_db": None, "wavelength_nm": wavelength_nm, "design": design}
    there, back = {**own, "losses_db": {site: forward_db}}, {**own, "losses_db": {site: backward_db}}
    return [
        *sealed(),
        make_otdr(**there),  # type: ignore[arg-type]
        make_otdr(from_site="B", to_site="A", **back),  # type: ignore[arg-type]
    ]


@pytest.mark.parametrize(
    ("loss_db", "outcome"),
    # The nominal 0.15 dB is no limit for a splice.
    [(0.151, "conforming"), (0.299, "conforming"), (0.300, "conforming"), (0.301, "nonconforming")],
)
def test_the_guide_specification_allows_a_splice_0_3_db(loss_db: float, outcome: str) -> None:
    finding = held(GUIDE_SPECIFICATION, "SPLICE-MOST", measured(loss_db, loss_db, site="C1"), site="C1")
    assert (finding["outcome"], finding["force"]) == (outcome, "required")


@pytest.mark.parametrize(
    ("other_db", "outcome"),
    # With 0.25 dB at the other closure, a mean of 0.15 dB at 0.05.
    [(0.049, "conforming"), (0.050, "conforming"), (0.051, "nonconforming")],
)
def test_its_nominal_loss_is_what_splices_have_on_average(other_db: float, outcome: str) -> None:
    [criterion] = [one for one in GUIDE_SPECIFICATION.criteria if one["code"] == "SPLICE-NOMINAL"]
    bodies = [*sealed(), *both_ways(losses_db={"C1": 0.25, "C2": other_db}, design=cord_ended())]
    finding = only_finding(verdict_of({1: bodies}, design=cord_ended(), criteria=only(criterion)))
    assert (finding["outcome"], finding["force"]) == (outcome, "advisory")


@pytest.mark.parametrize(("first_m", "outcome"), [(500.0, "conforming"), (499.99, "nonconforming")])
def test_the_guide_specification_allows_one_splice_a_kilometre(first_m: float, outcome: str) -> None:
    design = make_design()
    design["sections"] = [
        make_section("S1", cable_length_m=first_m),
        make_section("S2"),
        make_section("S3", cable_length_m=500.0),
    ]
    finding = held(GUIDE_SPECIFICATION, "DENSITY", [], site=None, design=design)
    assert finding["outcome"] == outcome


@pytest.mark.parametrize(
    ("loss_db", "attempts", "outcome", "is_listed"),
    [
        (0.100, 1, "conforming", False),
        (0.101, 1, "nonconforming", False),
        (0.101, 2, "nonconforming", False),
        (0.101, 3, "conforming", True),
        (0.200, 3, "conforming", True),
        (0.201, 3, "nonconforming", False),
    ],
)
def test_the_build_exhibit_accepts_and_lists_0_2_db_after_three_attempts(
    loss_db: float, attempts: int, outcome: str, is_listed: bool
) -> None:
    tried = [make_splice(attempt=n, made_at=f"2025-03-03T0{n}:00:00Z") for n in range(1, attempts + 1)]
    finding = held(BUILD_EXHIBIT, "SPLICE", [*measured(loss_db, loss_db, site="C1"), *tried], site="C1")
    assert (finding["outcome"], finding.get("by_fallback", False)) == (outcome, is_listed)


@pytest.mark.parametrize(
    ("loss_db", "attempts", "outcome"),
    [(0.150, 1, "conforming"), (0.151, 2, "nonconforming"), (0.151, 3, "conforming")],
)
def test_the_lease_wants_three_documented_attempts_at_a_splice_above_the_mean(
    loss_db: float, attempts: int, outcome: str
) -> None:
    tried = [make_splice(attempt=n, made_at=f"2025-03-03T0{n}:00:00Z") for n in range(1, attempts + 1)]
    finding = held(LEASE, "ATTEMPTS", [*measured(loss_db, loss_db, site="C1"), *tried], site="C1")
    assert finding["outcome"] == outcome


@pytest.mark.parametrize(
    ("code", "wavelength_nm", "site", "loss_db", "outcome"),
    [
        ("SPLICE-1550", 1550, "C1", 0.200, "conforming"),
        ("SPLICE-1550", 1550, "C1", 0.201, "nonconforming"),
        ("SPLICE-1310", 1310, "C1", 0.250, "conforming"),
        ("SPLICE-1310", 1310, "C1", 0.251, "nonconforming"),
        ("PIGTAIL-1550", 1550, "A", 0.500, "conforming"),
        ("PIGTAIL-1550", 1550, "A", 0.501, "nonconforming"),
        ("PIGTAIL-1310", 1310, "A", 0.500, "conforming"),
        ("PIGTAIL-1310", 1310, "A", 0.501, "nonconforming"),
        # The splice of a pigtail is measured, and decided, together with it.
        ("SPLICE-1550", 1550, "A", 0.500, "conforming"),
        ("SPLICE-1550", 1550, "A", 0.501, "nonconforming"),
    ],
)
def test_the_city_has_a_limit_for_each_wavelength_and_one_for_a_pigtail_with_its_splice(
    code: str, wavelength_nm: int, site: str, loss_db: float, outcome: str
) -> None:
    bodies = measured(loss_db, loss_db, site=site, wavelength_nm=wavelength_nm)
    assert held(CITY, code, bodies, site=site)["outcome"] == outcome


@pytest.mark.parametrize(
    ("first_m", "held_as"),
    [
        (19_999.99, {(1310, "required"), (1550, "required")}),
        (20_000.00, {(1310, "required"), (1550, "required")}),
        (20_000.01, {(1550, "advisory")}),
    ],
)
def test_the_city_takes_spans_over_60_km_for_information_at_1550_nm_only(
    first_m: float, held_as: set[tuple[int, str]]
) -> None:
    lengths_m = (first_m, 20_000.0, 20_000.0)
    criteria = {"title": CITY.source, "criteria": list(CITY.criteria)}
    findings = judge([], design=make_design(sections=make_sections(lengths_m)), criteria=criteria).document["findings"]
    assert {(finding["wavelength_nm"], finding["force"]) for finding in findings} == held_as


@pytest.mark.parametrize(
    ("code", "site", "loss_db", "outcome"),
    [
        ("SPLICE", "C1", 0.300, "conforming"),
        ("SPLICE", "C1", 0.301, "nonconforming"),
        ("PAIR", "A", 0.750, "conforming"),
        ("PAIR", "A", 0.751, "nonconforming"),
    ],
)
def test_outside_plant_components_have_a_limit_each(code: str, site: str, loss_db: float, outcome: str) -> None:
    design = make_design(termination="factory_cord")
    assert (
        held(OUTSIDE_PLANT, code, measured(loss_db, loss_db, site=site), site=site, design=design)["outcome"] == outcome
    )


@pytest.mark.parametrize(
    ("code", "site", "losses_db", "outcome"),
    [
        ("SPLICE", "C1", (0.250, -0.050), "conforming"),
        ("SPLICE", "C1", (0.250, -0.049), "nonconforming"),
        ("PAIR", "A", (0.200, 0.200), "conforming"),
        ("PAIR", "A", (0.201, 0.100), "nonconforming"),
        ("PAIR", "A", (0.100, 0.201), "nonconforming"),
    ],
)
def test_the_university_averages_splices_and_takes_pairs_each_way(
    code: str, site: str, losses_db: tuple[float, float], outcome: str
) -> None:
    design = make_design(termination="factory_cord")
    assert held(UNIVERSITY, code, measured(*losses_db, site=site), site=site, design=design)["outcome"] == outcome


@pytest.mark.parametrize(("return_loss_db", "outcome"), [(36.0, "conforming"), (35.999, "nonconforming")])
def test_the_university_asks_for_36_db_of_return_loss_at_each_end(return_loss_db: float, outcome: str) -> None:
    ends = [("A", "B"), ("B", "A")]
    tests = [make_return_loss(from_site=one, to_site=other, return_loss_db=return_loss_db) for one, other in ends]
    criteria = {"title": UNIVERSITY.source, "criteria": list(UNIVERSITY.criteria)}
    findings = judge([*sealed(), *tests], criteria=criteria).document["findings"]
    assert [f["outcome"] for f in findings if f["criterion"] == "RETURN"] == [outcome, outcome]


@pytest.mark.parametrize("clause", RETURN_LOSS_GRADES, ids=source_of)
def test_a_pair_on_its_return_loss_grade_conforms_and_one_step_above_does_not(clause: Clause) -> None:
    [criterion] = clause.criteria
    for over_db, outcome in ((0.0, "conforming"), (0.001, "nonconforming")):
        bodies = [*sealed(), *_reflecting(round(criterion["limit_db"] + over_db, 3))]
        assert held(clause, criterion["code"], bodies, site="A")["outcome"] == outcome


def _reflecting(reflectance_db: float) -> list[Body]:
    def change(event: Body) -> Body:
        return {**event, "reflectance_db": reflectance_db} if event["kind"] == "reflective" else event

    return [with_events(make_otdr(), change), with_events(make_otdr(from_site="B", to_site="A"), change)]
