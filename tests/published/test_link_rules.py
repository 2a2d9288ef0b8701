"""Rules about links, spans and end faces as documents state them, judged at, below and above their limits."""

from typing import Any

import pytest

from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    make_attenuation,
    make_design,
    make_end_face,
    make_otdr,
    make_section,
    make_sections,
    make_site,
    make_terminal,
    sealed,
    with_events,
)
from tests.published.clauses import held
from tests.published.link_rules import (
    ACCEPTED_BY_TRACES,
    AGAINST_REEL,
    BETWEEN_LOCATIONS,
    BETWEEN_PANELS,
    BY_INSTRUMENT,
    FROM_ONE_END,
    SAME_SHIFT,
    TWO_TYPES,
)

SPANS = (("A", "P"), ("P", "A"), ("P", "B"), ("B", "P"))


def with_panel() -> Body:
    """Return a cord-ended route with a panel in the middle: 2.5 km before it and 2 km behind."""
    ended = {"termination": "factory_cord"}
    sites = [
        make_terminal("A", **ended),
        make_site("C1"),
        make_site("P", kind="patch_panel", **ended),
        make_site("C2"),
        make_terminal("B", **ended),
    ]
    return make_design(sites=sites, sections=make_sections([1000.0, 1500.0, 800.0, 1200.0]))


def two_way(loss_db: float, **changes: Any) -> list[Body]:
    """Return source and meter from both ends of the route."""
    return [
        make_attenuation(from_site=near, to_site=far, loss_db=loss_db, **changes)
        for near, far in (("A", "B"), ("B", "A"))
    ]


@pytest.mark.parametrize(("missing", "outcome"), [(0, "conforming"), (1, "undetermined")])
def test_the_city_asks_for_both_tests_between_neighbouring_locations(missing: int, outcome: str) -> None:
    design = with_panel()
    tests = [(nm, near, far) for nm in (1310, 1550) for near, far in SPANS]
    traces = [make_otdr(from_site=near, to_site=far, wavelength_nm=nm, design=design) for nm, near, far in tests]
    powers = [make_attenuation(from_site=near, to_site=far, wavelength_nm=nm) for nm, near, far in tests]
    bodies = [*traces, *powers]
    found = held(BETWEEN_LOCATIONS, [*sealed(), *bodies[missing:]], design=design)
    assert len(found) == 8
    assert [one["outcome"] for one in found] == [outcome, *["conforming"] * 7]


# 2.5 km at 0.4 dB/km and two connections at 0.6 dB: 2.2 dB; 2 km: 2.0 dB.
@pytest.mark.parametrize(
    ("loss_db", "outcomes"),
    [
        (1.999, ["conforming", "conforming"]),
        (2.0, ["conforming", "conforming"]),
        (2.001, ["conforming", "nonconforming"]),
        (2.2, ["conforming", "nonconforming"]),
        (2.201, ["nonconforming", "nonconforming"]),
    ],
)
def test_the_specification_counts_connections_at_both_panels_of_each_link(loss_db: float, outcomes: list[str]) -> None:
    bodies = [make_attenuation(from_site=near, to_site=far, loss_db=loss_db) for near, far in SPANS]
    found = held(BETWEEN_PANELS, [*sealed(), *bodies], design=with_panel())
    assert [one["outcome"] for one in found] == outcomes


def traced(total_db: float, **changes: Any) -> list[Body]:
    """Return traces of both directions that state so much from the first connection to the last, 0.3 dB each."""
    return [
        make_otdr(
            from_site=near,
            to_site=far,
            design=cord_ended(),
            total_loss={"loss_db": total_db, "from_m": start_m, "to_m": start_m + 3000.0},
            **changes,
        )
        for near, far, start_m in (
            ("A", "B", changes.get("launch_m", 500.0)),
            ("B", "A", changes.get("launch_m", 300.0)),
        )
    ]


@pytest.mark.parametrize(
    ("total_db", "outcome"), [(1.949, "conforming"), (1.95, "conforming"), (1.951, "nonconforming")]
)
def test_the_exhibit_accepts_by_traces_of_both_directions(total_db: float, outcome: str) -> None:
    [found] = held(ACCEPTED_BY_TRACES, [*sealed(), *traced(total_db)], design=cord_ended())
    assert found["outcome"] == outcome


@pytest.mark.parametrize("way", [0, 1])
@pytest.mark.parametrize(
    ("total_db", "outcome"), [(1.949, "conforming"), (1.95, "conforming"), (1.951, "nonconforming")]
)
def test_a_short_link_is_accepted_by_traces_from_either_end(way: int, total_db: float, outcome: str) -> None:
    [found] = held(FROM_ONE_END, [*sealed(), traced(total_db)[way]], design=cord_ended())
    assert found["outcome"] == outcome


@pytest.mark.parametrize(
    ("total_db", "outcome"),
    # Its traces are taken without a launch reel: each sees the connection at its far end alone, 0.3 dB of its total.
    [(1.95, "undetermined"), (2.249, "undetermined"), (2.25, "undetermined"), (2.251, "nonconforming")],
)
def test_without_cords_as_it_has_them_taken_they_prove_no_more_than_a_breach(total_db: float, outcome: str) -> None:
    [found] = held(ACCEPTED_BY_TRACES, [*sealed(), *traced(total_db, launch_m=0.0)], design=cord_ended())
    assert found["outcome"] == outcome


# 1 km at 0.30 and 2 km at 0.35 dB/km, two splices at 0.1 and two connections at 0.5 dB: 2.2 dB.
@pytest.mark.parametrize(("loss_db", "outcome"), [(2.199, "conforming"), (2.2, "conforming"), (2.201, "nonconforming")])
def test_each_type_has_the_most_that_its_recommendation_allows(loss_db: float, outcome: str) -> None:
    other = {"fibre_type": "G.655"}
    design = {
        **cord_ended(),
        "sections": [make_section("S1"), make_section("S2", **other), make_section("S3", **other)],
    }
    [found] = held(TWO_TYPES, [*sealed(), *two_way(loss_db)], design=design)
    assert (found["limit"], found["outcome"]) == ("2.2000", outcome)


@pytest.mark.parametrize(
    ("referenced_at", "outcome"),
    [
        ("2025-03-20T04:00:01Z", "conforming"),
        ("2025-03-20T04:00:00Z", "conforming"),
        ("2025-03-20T03:59:59Z", "nonconforming"),
        (None, "undetermined"),
    ],
)
def test_a_reference_is_of_the_same_shift(referenced_at: str | None, outcome: str) -> None:
    bodies = two_way(1.0, made_at="2025-03-20T12:00:00Z", referenced_at=referenced_at)
    [found] = held(SAME_SHIFT, [*sealed(), *bodies], design=cord_ended())
    assert found["outcome"] == outcome


@pytest.mark.parametrize(("passed", "outcome"), [(True, "conforming"), (False, "nonconforming")])
def test_an_instrument_passes_or_fails_an_end_face_by_its_image(passed: bool, outcome: str) -> None:
    bodies = [
        make_end_face(site=site, side=side, zones=[], instrument_passed=passed, photograph_sha256="ab" * 32)
        for site in ("A", "B")
        for side in ("towards_a", "towards_b")
    ]
    found = held(BY_INSTRUMENT, [*sealed(), *bodies], design=cord_ended())
    assert [one["outcome"] for one in found] == [outcome] * 4


@pytest.mark.parametrize(
    ("db_per_km", "outcome"), [(0.239, "conforming"), (0.24, "conforming"), (0.241, "nonconforming")]
)
def test_laying_adds_so_much_to_the_reel_test_at_most(db_per_km: float, outcome: str) -> None:
    reel = [{"wavelength_nm": 1550, "attenuation_db_per_km": 0.19}]
    design = {**cord_ended(), "sections": make_sections([1000.0] * 3, reel_tests=reel)}
    traces = [
        with_events(one, lambda event: {**event, "attenuation_db_per_km": db_per_km})
        for one in both_ways(design=design)
    ]
    assert {one["outcome"] for one in held(AGAINST_REEL, [*sealed(), *traces], design=design)} == {outcome}
