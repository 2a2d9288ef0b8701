"""What plainly conforms is judged as columns: whatever is drawn, to the bytes of the general way."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.factories import (
    Body,
    both_ways,
    connection_criterion,
    criteria_of,
    difference_criterion,
    end_face_criterion,
    in_three_segments,
    layout_of,
    link_criterion,
    make_attenuation,
    make_calibration,
    make_design,
    make_end_face,
    make_otdr,
    make_site,
    make_splice,
    only,
    required_record_criterion,
    required_test_criterion,
    sealed,
    splice_criterion,
    statistic_criterion,
    stored,
    termination_criterion,
    with_site,
)
from worker.judgement.documents.route import write_contributions
from worker.judgement.fibre import measured
from worker.judgement.fibre.findings import PlainFindings
from worker.judgement.judge import FibreJudgement, Rules
from worker.judgement.rules.base import Rule
from worker.judgement.rules.joint_runs import JointRunRule

WAVELENGTHS_NM = (1310, 1550)
CRITERIA = only(
    *(required_test_criterion(code=f"OTDR-{nm}", wavelength_nm=nm) for nm in WAVELENGTHS_NM),
    *(splice_criterion(code=f"SPLICE-{nm}", wavelength_nm=nm) for nm in WAVELENGTHS_NM),
    splice_criterion(code="ADVISED", limit_db=0.05, force="advisory"),
    splice_criterion(code="GUARDED", decision="guarded", uncertainty_db=0.02),
    splice_criterion(code="FOUR-WAY", decision="four_way", uncertainty_db=0.02),
    splice_criterion(code="TRIED", limit_db=0.04, fallback={"attempts": 2, "limit_db": 0.3}),
    splice_criterion(code="FROM-A", tested_from="a", combination="mean"),
    connection_criterion(),
    termination_criterion(),
    difference_criterion(limit_db=0.06),
    splice_criterion(code="WIDE", limit_db=0.25),
    statistic_criterion(),
    required_record_criterion(joint="splice"),
    link_criterion(),
)
# Around zero, the limits above, and what fibres of one kind can differ by.
LOSSES_DB = st.one_of(
    st.integers(0, 60).map(lambda mdb: mdb / 1000),
    st.sampled_from([-0.4, -0.05, 0.04, 0.049, 0.05, 0.051, 0.08, 0.1, 0.101, 0.3, 0.6, None]),
)
# What both directions read: a mean at a limit and half of 0.001 dB beyond it, a difference likewise, a mean as far
# below zero as may be and beyond, and two readings that no two fibres of one kind explain.
EDGES_DB = [
    *((0.1, 0.1), (0.1, 0.101), (0.05, 0.05), (0.051, 0.05), (0.25, 0.251), (0.251, 0.25)),
    *((0.08, 0.02), (0.081, 0.02), (0.02, 0.08), (0.02, 0.081)),
    *((-0.04, -0.04), (-0.041, -0.04), (1.6, -1.5), (-1.5, 1.6)),
]
READ_DB = st.one_of(st.sampled_from(EDGES_DB), st.tuples(LOSSES_DB, LOSSES_DB))
DESIGNS = [
    make_design(closures=6),
    in_three_segments(),
    with_site(make_site("C2", kind="patch_panel", termination="pigtail", patch_cord=True), at=2, closures=5),
    with_site(make_site("C3", kind="patch_panel", termination="pigtail"), at=3, closures=5),
    with_site(make_site("C2", kind="patch_panel", termination="factory_cord"), at=2, closures=4),
    make_design(closures=4, splice_plan=[{"site": "C2", "fibres": {"first": 1, "last": 6}, "action": "uncut"}]),
]


@st.composite
def finished_fibres(draw: st.DrawFn) -> tuple[Body, Body, list[Body]]:
    """Draw a route that is built and tested, with losses of any size, and perhaps one thing that is not ordinary."""
    design, criteria = draw(st.sampled_from(DESIGNS)), dict(CRITERIA)
    sites = [site["id"] for site in design["sites"]]
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    traced, records = [], [make_calibration(), *sealed(sites=closures)]
    records += [
        make_splice(site=site, estimate_db=draw(st.sampled_from([0.0, 0.02, 0.2])))
        for site in draw(st.sampled_from([sites, closures]))
    ]
    for nm in WAVELENGTHS_NM:
        read_db = draw(st.dictionaries(st.sampled_from(sites[1:-1]), READ_DB, max_size=4))
        from_a, from_b = ({site: one[way] for site, one in read_db.items()} for way in (0, 1))
        there, _ = both_ways(design=design, wavelength_nm=nm, losses_db=from_a)
        _, back = both_ways(design=design, wavelength_nm=nm, losses_db=from_b)
        traced += [there, back]
    records += [make_attenuation(loss_db=1.0), make_attenuation(from_site="B", to_site="A", loss_db=1.0)]
    match draw(st.sampled_from(["", "", "unfinished", "tested again", "cut short", "events", "end faces", "again"])):
        case "unfinished":
            records.append(make_splice(site="C1", sleeve_shrunk=False, attempt=2, made_at="2025-03-10T09:00:00Z"))
        case "again":
            records.append(make_splice(site="C1", attempt=2, made_at="2025-03-10T09:00:00Z"))
        case "tested again":
            traced.append(make_otdr(design=design, losses_db={"C1": draw(LOSSES_DB)}, made_at="2025-03-28T09:00:00Z"))
        case "cut short":
            traced[0] = {**traced[0], "events": traced[0]["events"][:-2]}
        case "events":
            stray: Body = {"distance_m": draw(st.integers(400, 5000)) / 1.0, "kind": "non_reflective", "loss_db": 0.03}
            traced[0] = {**traced[0], "events": sorted([*traced[0]["events"], stray], key=_distance_m)}
        case "end faces":
            criteria["criteria"] = [*criteria["criteria"], end_face_criterion()]
            records += [make_end_face()] if draw(st.booleans()) else []
    return design, criteria, [*records, *traced]


@given(drawn=finished_fibres())
def test_what_is_judged_as_columns_is_to_the_byte_what_the_general_way_gives(
    drawn: tuple[Body, Body, list[Body]],
) -> None:
    _assert_general(*drawn)


def test_at_every_edge_columns_are_what_the_general_way_gives() -> None:
    design = make_design(closures=len(EDGES_DB))
    closures = [site["id"] for site in design["sites"][1:-1]]
    there, _ = both_ways(
        design=design, losses_db={site: one for site, (one, _) in zip(closures, EDGES_DB, strict=True)}
    )
    _, back = both_ways(design=design, losses_db={site: one for site, (_, one) in zip(closures, EDGES_DB, strict=True)})
    judged = _assert_general(design, CRITERIA, [*sealed(sites=closures), there, back])
    assert any(isinstance(one, PlainFindings) for one in judged.findings.found)


def test_a_connection_whose_end_faces_are_not_recorded_is_judged_as_in_general() -> None:
    panel = make_site("C2", kind="patch_panel", termination="factory_cord")
    design = with_site(panel, at=2, closures=4)
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    records = [*sealed(sites=closures), *both_ways(design=design)]
    for criteria in (only(connection_criterion()), only(connection_criterion(), end_face_criterion())):
        _assert_general(design, criteria, records)


def test_every_splice_of_a_good_fibre_is_judged_as_columns_but_for_those_at_its_ends() -> None:
    design = make_design(closures=6)
    closures = [site["id"] for site in design["sites"][1:-1]]
    splices = [make_splice(site=site) for site in ("A", *closures, "B")]
    criteria = only(splice_criterion(), difference_criterion(), required_record_criterion(joint="splice"))
    judged = _judge(design, criteria, [*splices, *sealed(sites=closures), *both_ways(design=design)])
    runs = [one for one in judged.findings.found if isinstance(one, PlainFindings)]
    assert [one.criterion.quantity.value for one in runs] == ["splice_loss", "direction_difference", "required_record"]
    assert [[joint.site for joint in one.joints] for one in runs] == [closures] * 3


def test_one_bad_splice_parts_the_columns_and_is_judged_alone() -> None:
    design = make_design(closures=6)
    closures = [site["id"] for site in design["sites"][1:-1]]
    traces = both_ways(design=design, losses_db={"C3": 0.2})
    judged = _judge(design, only(splice_criterion()), [*sealed(sites=closures), *traces])
    found = [
        [joint.site for joint in one.joints] if isinstance(one, PlainFindings) else one.site
        for one in judged.findings.found
    ]
    assert found == ["A", ["C1", "C2"], "C3", ["C4", "C5", "C6"], "B"]


def _assert_general(design: Body, criteria: Body, records: list[Body]) -> FibreJudgement:
    """Hold what is judged to what the general way gives of the same."""
    judged = _judge(design, criteria, records)
    with pytest.MonkeyPatch.context() as forced:
        forced.setattr(measured, "_plain_losses", lambda *_: None)
        forced.setattr(JointRunRule, "found", Rule.found)
        generally = _judge(design, criteria, records)
    assert not any(isinstance(one, PlainFindings) for one in generally.findings.found)
    assert judged.content == generally.content
    assert judged.counts == generally.counts
    assert judged.missing == generally.missing
    assert judged.document == generally.document
    assert judged.contributions is not None
    assert generally.contributions is not None
    assert write_contributions(judged.contributions) == write_contributions(generally.contributions)
    return judged


def _judge(design: Body, criteria: Body, records: list[Body]) -> FibreJudgement:
    rules = Rules(layout_of(design), criteria_of(criteria))
    return rules.judge(1, rules.read(map(stored, records)))


def _distance_m(event: Body) -> float:
    distance_m: float = event["distance_m"]
    return distance_m
