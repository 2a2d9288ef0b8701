"""What each kind of record reaches: fibres, routes, and the subject that a correction must keep."""

from uuid import UUID

import pytest

from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.records.record import Reach, fibres_of, reach_of, splicer_of, subject_of, touched_fibres
from tests.factories import (
    Body,
    layout_of,
    make_cable_laying,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_design,
    make_dispersion,
    make_end_face,
    make_return_loss,
    make_splice,
    make_termination,
)
from tests.record_kinds import CONNECTIONS, MAKE, read_record

# In tubes of four; at C1 fibres 1 and 2 lie in tray 1, 3 in tray 2, and of the others nobody says where.
TRAYS = [
    {"site": "C1", "fibres": {"first": first, "last": last}, "action": "spliced", "tray": tray}
    for first, last, tray in ((1, 2, 1), (3, 3, 2))
]
LAYOUT = layout_of(
    make_design(
        fibre_count=12,
        sites=[
            {**site, "trays": [{"number": 1, "capacity": 12}, {"number": 2, "capacity": 12}]}
            for site in make_design()["sites"]
        ],
        sections=[{**section, "fibres_per_tube": 4} for section in make_design()["sections"]],
        splice_plan=TRAYS,
    )
)


def touched(
    body: Body,
    *,
    voids: Voiding = Voiding.FIBRE,
    since: frozenset[int] = frozenset({7}),
    later: frozenset[UUID] = frozenset(),
) -> set[int]:
    """Return the fibres of a route of 12 that a record touches."""
    record = read_record(body)
    return set(touched_fibres(record, LAYOUT, rework_voids=voids, spliced_since=since, lids_later=later))


@pytest.mark.parametrize("voids", Voiding)
@pytest.mark.parametrize("kind", [*CONNECTIONS, "otdr", "attenuation", "return_loss", "dispersion"])
def test_what_is_about_one_fibre_touches_that_one(kind: str, voids: Voiding) -> None:
    assert touched(MAKE[kind](fibre=3), voids=voids) == {3}


@pytest.mark.parametrize(("seen", "fibres"), [(3, {3}), (4, {3, 4}), (None, {3})])
def test_continuity_touches_the_fibre_that_was_lit_and_the_one_that_was_seen(
    seen: int | None, fibres: set[int]
) -> None:
    assert touched(make_continuity(fibre=3, seen=seen)) == fibres


def test_a_ribbon_touches_all_its_fibres_and_its_whole_closure_where_the_criteria_void_by_closure() -> None:
    ribbon = make_splice(fibres=range(5, 9))
    assert touched(ribbon) == {5, 6, 7, 8}
    assert touched(ribbon, voids=Voiding.CLOSURE) == set(range(1, 13))


@pytest.mark.parametrize(
    ("voids", "fibres"),
    [
        (Voiding.FIBRE, {2}),
        (Voiding.TRAY, {1, 2, *range(4, 13)}),
        (Voiding.TUBE, {1, 2, 3, 4}),
        (Voiding.CLOSURE, set(range(1, 13))),
    ],
)
def test_work_on_one_fibre_touches_as_many_as_was_agreed(voids: Voiding, fibres: set[int]) -> None:
    opened = make_closure_state(state="opened", opened_for=[{"section": "S1", "first": 2, "last": 2}])
    assert touched(opened, voids=voids) == touched(make_splice(fibres=[2]), voids=voids) == fibres
    # A terminal has no lid that would move the others.
    assert touched(make_splice(site="A", fibres=[2]), voids=voids) == {2}


def test_a_closure_opened_for_a_tray_touches_what_may_lie_in_it() -> None:
    opened = make_closure_state(state="opened", opened_for=[{"tray": 1}])
    assert touched(opened) == {1, 2, *range(4, 13)}


def test_work_before_a_lid_that_is_known_already_touches_every_fibre() -> None:
    opened = make_closure_state(state="opened", opened_for=[{"section": "S1", "first": 2, "last": 2}])
    for body in (opened, make_splice(fibres=[2])):
        assert touched(body, later=frozenset({UUID(body["id"])})) == set(range(1, 13))


def test_a_lid_touches_every_fibre_and_a_calibration_those_spliced_since() -> None:
    assert touched(make_closure_state()) == set(range(1, 13))
    assert touched(make_calibration()) == {7}
    assert touched(make_calibration(), since=frozenset()) == set()


def test_lids_splicing_and_cable_reach_the_routes_that_pass_calibrations_any_and_all_else_its_own() -> None:
    for kind in set(MAKE) - {"closure_state", "splice", "cable_laying", "arc_calibration"}:
        assert reach_of([read_record(MAKE[kind]())]) == Reach()
    lids = [read_record(make_closure_state()), read_record(make_splice(site="C2"))]
    assert reach_of(lids) == Reach(sites=frozenset({"C1", "C2"}))
    assert reach_of([read_record(make_cable_laying(section="S2"))]) == Reach(sections=frozenset({"S2"}))
    assert reach_of([*lids, read_record(make_calibration())]).is_any_route


@pytest.mark.parametrize("kind", MAKE)
def test_the_splicer_is_that_of_what_a_splicer_does(kind: str) -> None:
    with_splicer = {"arc_calibration": make_calibration(), "splice": make_splice()}
    with_splicer["termination"] = make_termination(splicer_serial="SPL-1")
    assert splicer_of(read_record(with_splicer.get(kind, MAKE[kind]()))) == ("SPL-1" if kind in with_splicer else None)


ABOUT_SOMETHING_ELSE = [
    (make_end_face(), make_end_face(side="towards_a")),
    (make_end_face(position=1), make_end_face(position=2)),
    (make_end_face(), make_end_face(fibre=2)),
    (make_end_face(), make_cleaning()),
    (make_cleaning(position=1), make_cleaning(position=2)),
    (make_termination(), make_termination(site="B")),
    (make_calibration(), make_calibration(splicer_serial="SPL-2")),
    (make_calibration(), make_calibration(fibre_type="G.657.A1")),
    (make_continuity(), make_continuity(from_site="B", to_site="A")),
    (make_continuity(), make_continuity(fibre=2)),
    (make_return_loss(), make_return_loss(wavelength_nm=1310)),
    (make_return_loss(), make_return_loss(from_site="B", to_site="A")),
    (make_dispersion(), make_dispersion(fibre=2)),
    (make_splice(), make_splice(fibres=[1, 2])),
    (
        make_splice(joints=[{"fibre": 1, "position": 1, "estimate_db": 0.02}]),
        make_splice(joints=[{"fibre": 1, "position": 4, "estimate_db": 0.02}]),
    ),
]


@pytest.mark.parametrize(("one", "other"), ABOUT_SOMETHING_ELSE)
def test_a_record_of_something_else_is_not_one_of_the_same(one: Body, other: Body) -> None:
    assert subject_of(read_record(one)) != subject_of(read_record(other))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (make_end_face(), make_end_face(zones=[{"zone": "a", "defects": [{"size_um": 9.0, "count": 1}]}])),
        (make_calibration(), make_calibration(passed=False)),
        (make_splice(), make_splice(splicer_serial="SPL-2", estimate_db=0.03)),
        (make_return_loss(), make_return_loss(return_loss_db=30.0, far_end="open")),
        (make_termination(), make_termination(polish="apc", attempt=2)),
        (make_continuity(seen=2), make_continuity(seen=None)),
    ],
)
def test_a_correction_is_about_the_same(one: Body, other: Body) -> None:
    assert subject_of(read_record(one)) == subject_of(read_record(other))


def test_only_cable_lids_and_calibrations_are_about_no_fibre() -> None:
    about_none = {kind for kind in MAKE if not fibres_of(read_record(MAKE[kind]()))}
    assert about_none == {"cable_laying", "closure_state", "arc_calibration"}
