"""What contracts tell apart, judged below, at and above each limit: in line and at the ends, one way and both."""

from collections.abc import Sequence

import pytest

from tests.factories import (
    Body,
    cord_ended,
    make_design,
    make_otdr,
    make_return_loss,
    make_section,
    sealed,
    with_event_from_a,
    with_events,
)
from tests.published.check_values import source_of
from tests.published.clauses import BELOW_AT_ABOVE, Clause, held
from tests.published.contract_rules import (
    BENDS,
    CABLED_FIBRE,
    CROSSING,
    DISCONTINUITY,
    EQUIPMENT_2G5,
    FIBRE_TYPES,
    LINE_AND_PIGTAILS,
    LINE_MEAN,
    LOOSE_TUBE,
    PASSIVE_ACCESS,
    POLISHES,
    RIBBONS,
    SPLICE_AND_PAIR,
)
from tests.published.test_splice_rules import measured
from tests.unit.judgement.rules.test_attenuation_coefficient import stating

FROM_B: Body = {"from_site": "B", "to_site": "A"}


def outcomes(
    clause: Clause, bodies: Sequence[Body], *, design: Body | None = None
) -> dict[tuple[str, str | None], str]:
    """Return what each criterion of a clause says at each site, and of what is at none."""
    findings = held(clause, bodies, design=design)
    return {(one["criterion"], one.get("site", one.get("section"))): one["outcome"] for one in findings}


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_in_line_and_at_pigtails(off_db: float, outcome: str) -> None:
    line = measured(round(0.1 + off_db, 3), round(0.1 + off_db, 3), site="C1")
    found = outcomes(LINE_AND_PIGTAILS, line)
    assert found["LINE", "C1"] == outcome
    assert {site for code, site in found if code == "LINE"} == {"C1", "C2"}
    ends = outcomes(LINE_AND_PIGTAILS, measured(round(0.2 + off_db, 3), round(0.2 + off_db, 3), site="A"))
    # Seen with its connector alone: what both lose together proves it, and above its limit nobody knows its share.
    assert ends["PIGTAIL", "A"] == ("conforming" if outcome == "conforming" else "undetermined")
    assert {site for code, site in ends if code == "PIGTAIL"} == {"A", "B"}


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_single_and_ribbon(off_db: float, outcome: str) -> None:
    ribbon = {"site": "C2", "fibres": {"first": 1, "last": 12}, "action": "spliced", "splicing": "ribbon"}
    design = make_design(splice_plan=[ribbon])
    for site, code, limit_db in (("C1", "SINGLE", 0.1), ("C2", "RIBBON", 0.15)):
        loss_db = round(limit_db + off_db, 3)
        found = outcomes(RIBBONS, measured(loss_db, loss_db, site=site, design=design), design=design)
        assert found[code, site] == outcome
        assert [one for one, where in found if where == site] == [code]


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_by_the_fibre_types_joined(off_db: float, outcome: str) -> None:
    design = make_design()
    design["sections"][2] = make_section("S3", fibre_type="G.657.A2")
    for site, code, limit_db in (("C1", "ALIKE", 0.1), ("C2", "UNLIKE", 0.2)):
        loss_db = round(limit_db + off_db, 3)
        found = outcomes(FIBRE_TYPES, measured(loss_db, loss_db, site=site, design=design), design=design)
        assert found[code, site] == outcome
        assert [one for one, where in found if where == site] == [code]


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize(("ends", "limit_db"), [(({}, FROM_B), 0.15), (({},), 0.3), ((FROM_B,), 0.3)])
def test_the_mean_of_line_splices_one_way_and_both(
    ends: Sequence[Body], limit_db: float, off_db: float, outcome: str
) -> None:
    loss_db = round(limit_db + off_db, 3)
    losses = {"A": 0.45, "C1": loss_db, "C2": loss_db, "B": 0.45}
    bodies = [*sealed(), *(make_otdr(losses_db=losses, **end) for end in ends)]
    assert outcomes(LINE_MEAN, bodies) == {("LINE-MEAN", None): outcome}


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_a_splice_and_a_connector_pair(off_db: float, outcome: str) -> None:
    for site, code, limit_db in (("C1", "SPLICE", 0.2), ("A", "PAIR", 0.5), ("B", "PAIR", 0.5)):
        loss_db = round(limit_db + off_db, 3)
        bodies = measured(loss_db, loss_db, site=site, design=cord_ended())
        assert outcomes(SPLICE_AND_PAIR, bodies, design=cord_ended())[code, site] == outcome


def sending_back(reflectance_db: float, *, at_m: float) -> list[Body]:
    """Return both directions with a reflection so far from A, all others of -90 dB."""

    def change(event: Body) -> Body:
        return {**event, "reflectance_db": -90.0} if event["kind"] == "reflective" else event

    traces = [with_events(make_otdr(**end), change) for end in ({}, FROM_B)]
    shown: Body = {"kind": "reflective", "reflectance_db": reflectance_db, "loss_db": 0.05}
    return [*sealed(), *(with_event_from_a(_without(trace, at_m), at_m, **shown) for trace in traces)]


def _without(trace: Body, from_a_m: float) -> Body:
    launch_m = trace["launch_cord"]["length_m"]
    along_m = launch_m + (from_a_m if trace["from_site"] == "A" else 3000.0 - from_a_m)
    return with_events(trace, lambda event: None if event["distance_m"] == along_m else event)


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize(
    ("code", "limit_db", "at_m", "site"),
    [("PC", -40.0, 0.0, "A"), ("UPC", -50.0, 0.0, "A"), ("APC", -60.0, 3000.0, "B"), ("FUSION", -60.0, 1000.0, "C1")],
)
def test_reflectance_by_polish_and_of_a_fusion_splice(
    code: str, limit_db: float, at_m: float, site: str, off_db: float, outcome: str
) -> None:
    found = outcomes(POLISHES, sending_back(round(limit_db + off_db, 3), at_m=at_m))
    assert found[code, site] == outcome


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize(("at_m", "where"), [(0.0, "A"), (1000.0, "C1"), (1400.0, "S2"), (3000.0, "B")])
def test_a_discrete_reflectance_is_that_of_any_event(at_m: float, where: str, off_db: float, outcome: str) -> None:
    found = outcomes(EQUIPMENT_2G5, sending_back(round(-27.0 + off_db, 3), at_m=at_m))
    assert found["DISCRETE", where] == outcome
    assert [one for (code, _), one in found.items() if code == "DISCRETE"].count("conforming") >= 3


@pytest.mark.parametrize(
    ("return_loss_db", "outcome"), [(24.001, "conforming"), (24.0, "conforming"), (23.999, "nonconforming")]
)
@pytest.mark.parametrize("site", ["A", "B"])
def test_the_return_loss_of_a_plant_is_held_at_each_end(site: str, return_loss_db: float, outcome: str) -> None:
    ends: dict[str, Body] = {"A": {}, "B": FROM_B}
    shown = {end: return_loss_db if end == site else 40.0 for end in ends}
    bodies = [*sealed(), *(make_return_loss(return_loss_db=db, **ends[end]) for end, db in shown.items())]
    found = outcomes(EQUIPMENT_2G5, bodies)
    assert {end: found["PLANT", end] for end in ends} == dict.fromkeys(ends, "conforming") | {site: outcome}


@pytest.mark.parametrize(
    ("return_loss_db", "outcome"), [(32.001, "conforming"), (32.0, "conforming"), (31.999, "nonconforming")]
)
def test_passive_access_is_measured_from_one_end(return_loss_db: float, outcome: str) -> None:
    found = outcomes(PASSIVE_ACCESS, [*sealed(), make_return_loss(return_loss_db=return_loss_db)])
    assert found == {("ODN", "A"): outcome}


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize("clause", [CABLED_FIBRE, LOOSE_TUBE], ids=source_of)
def test_the_fibres_own_loss_at_each_wavelength(clause: Clause, off_db: float, outcome: str) -> None:
    for criterion in clause.criteria:
        nm, value = criterion["wavelength_nm"], round(criterion["limit_db_per_km"] + off_db, 3)
        traces = (stating(make_otdr(wavelength_nm=nm, **end), 0.2, *[value] * 3) for end in ({}, FROM_B))
        found = outcomes(clause, [*sealed(), *traces])
        assert {one for (code, _), one in found.items() if code == criterion["code"]} == {outcome}


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_a_point_discontinuity(off_db: float, outcome: str) -> None:
    loss_db = round(0.1 + off_db, 3)
    bodies = [*sealed(), *(with_event_from_a(make_otdr(**end), 1500.0, loss_db=loss_db) for end in ({}, FROM_B))]
    assert outcomes(DISCONTINUITY, bodies)["POINT", "S2"] == outcome


# 0.05 dB at 1310 nm, so that 0.25 dB is the most in a closure and 0.15 dB the most along the cable.
@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize(
    ("code", "most_db", "at_m", "where"), [("CLOSURES", 0.25, 1000.0, "C1"), ("CABLE", 0.15, 1500.0, "S2")]
)
def test_bends_in_closures_and_along_the_cable(
    code: str, most_db: float, at_m: float, where: str, off_db: float, outcome: str
) -> None:
    shown = {1310: 0.05, 1550: round(most_db + off_db, 3)}
    traces = [(nm, make_otdr(wavelength_nm=nm, **end)) for nm in shown for end in ({}, FROM_B)]
    bodies = [with_event_from_a(_without(trace, at_m), at_m, loss_db=shown[nm]) for nm, trace in traces]
    found = outcomes(BENDS, [*sealed(), *bodies])
    assert found[code, where] == outcome
    assert [one for one, place in found if place == where] == [code]


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize(
    ("code", "limit_db", "at_m", "section"), [("CROSSING", 0.05, 1500.0, "S2"), ("ELSEWHERE", 0.1, 500.0, "S1")]
)
def test_a_crossing_has_a_limit_of_its_own(
    code: str, limit_db: float, at_m: float, section: str, off_db: float, outcome: str
) -> None:
    loss_db = round(limit_db + off_db, 3)
    bodies = [*sealed(), *(with_event_from_a(make_otdr(**end), at_m, loss_db=loss_db) for end in ({}, FROM_B))]
    worst: dict[tuple[str, str], str] = {}
    for one in held(CROSSING, bodies):
        worst[one["criterion"], one["section"]] = max(one["outcome"], worst.get((one["criterion"], one["section"]), ""))
    assert worst == {("CROSSING", "S2"): "conforming"} | dict.fromkeys(
        [("ELSEWHERE", "S1"), ("ELSEWHERE", "S3")], "conforming"
    ) | {(code, section): outcome}
