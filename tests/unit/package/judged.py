"""A package of what the judge itself writes: one fibre in order, one untested, and one with every kind of trouble."""

from collections.abc import Sequence
from typing import Any

from tests.factories import (
    Body,
    bend_criterion,
    coefficient_criterion,
    connection_criterion,
    continuity_criterion,
    density_criterion,
    difference_criterion,
    end_face_criterion,
    length_criterion,
    link_criterion,
    make_attenuation,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_criteria,
    make_design,
    make_dispersion,
    make_end_face,
    make_otdr,
    make_return_loss,
    make_site,
    make_splice,
    make_termination,
    only,
    reel_criterion,
    reference_criterion,
    reflectance_criterion,
    required_record_criterion,
    required_test_criterion,
    return_loss_criterion,
    sealed,
    settings_criterion,
    splice_criterion,
    statistic_criterion,
    stray_criterion,
    termination_criterion,
    with_event_from_a,
    with_events,
)
from tests.judged_routes import content_of_route
from tests.unit.judgement.route.test_left_out import DESIGN, route_of, traces
from worker.package.data.content import PackageContent

WITHOUT_FLAW, UNTESTED, TROUBLED = 1, 2, 3
BEND_M = 400.0
_CLEANED_AT = "2025-03-02T08:00:00Z"


def criteria_of_every_quantity() -> list[Body]:
    """Return one criterion or more for each quantity, all about 1550 nm."""
    nm: dict[str, Any] = {"wavelength_nm": 1550}
    demands: list[Body] = [
        {"aspect": "calibrated_splicer", "most_age_h": 24.0},
        {"aspect": "cleave_angle", "limit_deg": 1.0},
        {"aspect": "proof_test"},
    ]
    guarded = {"decision": "four_way", "uncertainty_db": 0.03}
    return [
        splice_criterion(fallback={"attempts": 2, "limit_db": 0.2}),
        splice_criterion(code="SPLICE-GUARDED", at="line_closures", **guarded),
        termination_criterion(),
        difference_criterion(),
        link_criterion(),
        reference_criterion(),
        required_test_criterion(),
        required_record_criterion(),
        connection_criterion(),
        reflectance_criterion(),
        statistic_criterion(code="SHARE-1550", statistic="share_within", over="route", least_share_percent=97.5),
        stray_criterion(),
        bend_criterion(),
        density_criterion(),
        coefficient_criterion(),
        reel_criterion(),
        return_loss_criterion(),
        length_criterion(),
        continuity_criterion(),
        end_face_criterion(),
        settings_criterion(),
        {"code": "CD", "quantity": "chromatic_dispersion", "limit_ps_per_nm": 60.0, **nm},
        {"code": "PMD", "quantity": "polarization_mode_dispersion", "limit_ps": 0.5, **nm},
        *({"code": f"W-{one['aspect']}", "quantity": "workmanship", "demand": one} for one in demands),
    ]


def judged_content(numbers: Sequence[int] = (WITHOUT_FLAW, UNTESTED, TROUBLED)) -> PackageContent:
    """Return the package of the three fibres, or of those that are named."""
    criteria = make_criteria(criteria=criteria_of_every_quantity())
    return content_of_route(make_design(), criteria, _records(), fibres=numbers)


def judged_route() -> PackageContent:
    """Return the package of every fibre of the route, most of them untested."""
    return judged_content(range(1, int(make_design()["fibre_count"]) + 1))


def left_out_route() -> PackageContent:
    """Return the package of a route on which something was left out of the traces of one fibre."""
    bodies = route_of(traces(1, (0.2, 0.4, 0.2)))
    records = {body["id"]: body for own in bodies.values() for body in own}
    criteria = only(splice_criterion(), termination_criterion(), link_criterion())
    return content_of_route(DESIGN, criteria, records.values())


def unbuilt_route() -> PackageContent:
    """Return the package of a route that ends in a stub, with records of a closure that its design left out."""
    design = make_design()
    design["sites"][0]["pigtail_fibre_type"] = "G.657.A2"
    design["sites"][-1] = make_site("B", kind="stub")
    design["splice_plan"] = [
        {"site": "C1", "fibres": {"first": 4, "last": 7}, "action": "spliced", "splicing": "ribbon"}
    ]
    left_out = [make_splice(site="C9"), make_closure_state(site="C9")]
    bodies = [*(one for one in _records() if one.get("site") != "B"), *left_out]
    return content_of_route(design, make_criteria(criteria=criteria_of_every_quantity()), bodies)


def _records() -> list[Body]:
    return [
        *sealed(),
        make_calibration(temperature_c=11.5, humidity_percent=64.0, pressure_hpa=1004.0, altitude_m=310.0),
        *_work(WITHOUT_FLAW),
        *_tests(WITHOUT_FLAW),
        *_work(TROUBLED, second_attempt_db=0.02),
        *_tests(TROUBLED, losses_db={"C1": 0.15, "C2": 0.4}, bend_db=0.3, return_loss_db=21.5, seen=4),
    ]


def _work(fibre: int, *, second_attempt_db: float | None = None) -> list[Body]:
    joints = [
        {
            "fibre": fibre,
            "estimate_db": 0.02,
            "cleave_left_deg": 0.3,
            "cleave_right_deg": 0.4 if fibre == WITHOUT_FLAW else 1.2,
        }
    ]
    splices = [make_splice(site=site, joints=joints) for site in ("A", "C1", "C2", "B")]
    if second_attempt_db is not None:
        splices.append(make_splice(site="C1", joints=joints, attempt=2, made_at="2025-03-03T09:00:00Z"))
    # Only the crew of the flawless fibre says what it did to both sides of its connections.
    sides = ("towards_a", "towards_b") if fibre == WITHOUT_FLAW else ("towards_b",)
    marks = [{"zone": "a", "defects": [{"size_um": 3.0, "count": 1}]}]
    zones = {} if fibre == WITHOUT_FLAW else {"zones": marks}
    return [
        *splices,
        *(make_termination(site=site, fibre=fibre, made_at=_CLEANED_AT) for site in ("A", "B")),
        *(make_cleaning(site=site, fibre=fibre, made_at=_CLEANED_AT) for site in ("A", "B")),
        *(make_end_face(site=site, fibre=fibre, side=side, **zones) for site in ("A", "B") for side in sides),
    ]


def _tests(
    fibre: int,
    *,
    losses_db: dict[str, float | None] | None = None,
    bend_db: float | None = None,
    return_loss_db: float = 40.0,
    seen: int | None = None,
) -> list[Body]:
    ways = (("A", "B"), ("B", "A"))
    traces = [
        _with_states(make_otdr(fibre=fibre, from_site=start, to_site=end, wavelength_nm=nm, losses_db=losses_db))
        for start, end in ways
        for nm in (1310, 1550)
    ]
    if bend_db is not None:
        traces = [
            with_event_from_a(trace, BEND_M, loss_db=bend_db) if trace["wavelength_nm"] == 1550 else trace
            for trace in traces
        ]
    links = [
        make(fibre=fibre, from_site=start, to_site=end, **changes)
        for start, end in ways
        for make, changes in (
            (make_attenuation, {}),
            (make_return_loss, {"return_loss_db": return_loss_db}),
            (make_dispersion, {}),
        )
    ]
    return [*traces, *links, make_continuity(fibre=fibre, seen=fibre if seen is None else seen)]


def _with_states(trace: Body) -> Body:
    """Return a trace that states each section's own loss, and what each connection sends back."""
    reflecting = {"reflectance_db": -55.25}
    return with_events(
        trace,
        lambda event: {
            **event,
            "attenuation_db_per_km": 0.2,
            **(reflecting if event["kind"] == "reflective" else {}),
        },
    )
