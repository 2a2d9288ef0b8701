"""Return loss of whole links: against the integral of the round trips from either end, and by properties."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError
from worker.physics.return_loss import ABSORBED, Link, link_return_loss_db


@dataclass(frozen=True, kw_only=True)
class Glass:
    """One section as the integral sees it."""

    length_km: float
    attenuation: float
    coefficient_db: float
    index: float


@dataclass(frozen=True, kw_only=True)
class Place:
    """A connection: where, as a share of the link's length, what it loses and what it reflects."""

    share: float
    loss_db: float
    reflectance_db: float


GLASSES = st.builds(
    Glass,
    length_km=st.floats(0.05, 20.0),
    attenuation=st.floats(0.15, 0.5),
    coefficient_db=st.floats(-84.0, -78.0),
    index=st.floats(1.46, 1.475),
)
# Places lie on a grid: two that are nearer than floats tell apart at the far end would be one place from there.
PLACES = st.builds(
    Place,
    share=st.sampled_from([0.0, 1.0]) | st.integers(0, 1000).map(lambda step: step / 1000),
    loss_db=st.floats(0.0, 1.0),
    reflectance_db=st.floats(-70.0, -20.0),
)
SECTIONS = st.lists(GLASSES, min_size=1, max_size=4)
CONNECTIONS = st.lists(PLACES, max_size=4)


def length_of(sections: list[Glass]) -> float:
    """Return the length of all sections, summed as the link sums it."""
    return float(np.array([glass.length_km for glass in sections]).sum())


def link_of(sections: list[Glass], places: list[Place]) -> Link:
    """Return the link of these sections and connections."""
    distances_km = [place.share * length_of(sections) for place in places]
    return Link(
        section_lengths_km=[glass.length_km for glass in sections],
        attenuations_db_per_km=[glass.attenuation for glass in sections],
        backscatter_coefficients_db=[glass.coefficient_db for glass in sections],
        group_indices=[glass.index for glass in sections],
        loss_distances_km=distances_km,
        losses_db=[place.loss_db for place in places],
        reflection_distances_km=distances_km,
        reflectances_db=[place.reflectance_db for place in places],
    )


def turned(sections: list[Glass], places: list[Place]) -> Link:
    """Return the same link as it is seen from B."""
    return link_of(sections[::-1], [replace(place, share=1 - place.share) for place in places])


def glass_loss_db(sections: list[Glass], *, from_km: float, to_km: float) -> float:
    """Return the loss of the fibre between two distances from A, section by section."""
    loss_db, start_km = 0.0, 0.0
    for glass in sections:
        inside_km = min(to_km, start_km + glass.length_km) - max(from_km, start_km)
        loss_db += glass.attenuation * max(0.0, inside_km)
        start_km += glass.length_km
    return loss_db


def returned_from_glass(sections: list[Glass], places: list[Place], *, at_b: bool) -> float:
    """Return the share of light that the fibre sends back, integrated over every stretch between two places."""
    total_km, returned, start_km = length_of(sections), 0.0, 0.0
    for glass in sections:
        per_km = 1000 * 10 ** (glass.coefficient_db / 10) / (299_792_458.0 * 1e-9 / (2 * glass.index))
        end_km = start_km + glass.length_km
        inner = [place.share * total_km for place in places if start_km < place.share * total_km < end_km]
        bounds = sorted({start_km, *inner, end_km})
        for low_km, high_km in pairwise(bounds):
            middle_km = (low_km + high_km) / 2
            passed = [p.loss_db for p in places if (p.share * total_km > middle_km) == at_b]

            def round_trip(x_km: float, passed_db: float = sum(passed)) -> float:
                span = {"from_km": x_km, "to_km": total_km} if at_b else {"from_km": 0.0, "to_km": x_km}
                return float(10 ** (-2 * (passed_db + glass_loss_db(sections, **span)) / 10))

            returned += per_km * quad(round_trip, low_km, high_km)[0]
        start_km = end_km
    return returned


def returned_from_places(sections: list[Glass], places: list[Place], *, at_b: bool) -> float:
    """Return the share of light that the connections send back; one reflects before it loses, from either end."""
    total_km, returned = length_of(sections), 0.0
    for place in places:
        at_km = place.share * total_km
        apart_km = [(p.share * total_km - at_km) * (1 if at_b else -1) for p in places]
        nearer = [p for p, nearer_km in zip(places, apart_km, strict=True) if nearer_km > 0]
        span = {"from_km": at_km, "to_km": total_km} if at_b else {"from_km": 0.0, "to_km": at_km}
        before_db = sum(p.loss_db for p in nearer) + glass_loss_db(sections, **span)
        returned += 10 ** ((place.reflectance_db - 2 * before_db) / 10)
    return returned


@settings(max_examples=60)
@given(sections=SECTIONS, places=CONNECTIONS, far_end=st.sampled_from([ABSORBED, 0.0337, 1e-6]))
def test_a_link_returns_the_integral_of_its_round_trips_from_either_end(
    sections: list[Glass], places: list[Place], far_end: float
) -> None:
    through_db = sum(p.loss_db for p in places) + glass_loss_db(sections, from_km=0, to_km=length_of(sections))
    from_far_end = far_end * 10 ** (-2 * through_db / 10)
    for seen, at_b in ((link_of(sections, places), False), (turned(sections, places), True)):
        glass = returned_from_glass(sections, places, at_b=at_b)
        returned = glass + returned_from_places(sections, places, at_b=at_b) + from_far_end
        return_loss_db = link_return_loss_db(link=seen, far_end_share=far_end)
        assert return_loss_db == pytest.approx(-10 * np.log10(returned), abs=1e-6)


@settings(max_examples=60)
@given(sections=SECTIONS, places=CONNECTIONS, another=PLACES)
def test_a_reflection_or_a_reflecting_end_more_never_raises_the_return_loss(
    sections: list[Glass], places: list[Place], another: Place
) -> None:
    before = float(link_return_loss_db(link=link_of(sections, places), far_end_share=ABSORBED))
    lossless = replace(another, loss_db=0.0)
    assert link_return_loss_db(link=link_of(sections, [*places, lossless]), far_end_share=ABSORBED) <= before + 1e-9
    assert link_return_loss_db(link=link_of(sections, places), far_end_share=0.04) <= before + 1e-9


@settings(max_examples=60)
@given(glass=GLASSES, cut=st.floats(0.01, 0.99))
def test_a_section_cut_in_two_returns_the_same(glass: Glass, cut: float) -> None:
    parts = [replace(glass, length_km=glass.length_km * share) for share in (cut, 1 - cut)]
    whole = float(link_return_loss_db(link=link_of([glass], []), far_end_share=ABSORBED))
    assert link_return_loss_db(link=link_of(parts, []), far_end_share=ABSORBED) == pytest.approx(whole, abs=1e-9)


def test_the_two_ends_of_one_link_return_differently() -> None:
    # A strong reflection near A shows at A; at B it lies behind twenty kilometres.
    glass = Glass(length_km=20.0, attenuation=0.35, coefficient_db=-79.0, index=1.468)
    places = [Place(share=0.0, loss_db=0.3, reflectance_db=-30.0)]
    at_a = link_return_loss_db(link=link_of([glass], places), far_end_share=ABSORBED)
    at_b = link_return_loss_db(link=turned([glass], places), far_end_share=ABSORBED)
    assert at_a < at_b - 3


def test_no_loss_is_too_great_to_add_up() -> None:
    glass = Glass(length_km=1.0, attenuation=0.35, coefficient_db=-79.0, index=1.468)
    link = link_of([glass], [Place(share=0.0, loss_db=3000.0, reflectance_db=-30.0)])
    bare = replace(link, reflection_distances_km=[], reflectances_db=[])
    assert link_return_loss_db(link=bare, far_end_share=ABSORBED) == pytest.approx(6039.4, abs=0.05)


CLEAN = link_of([Glass(length_km=1.0, attenuation=0.35, coefficient_db=-79.0, index=1.468)], [])


@pytest.mark.parametrize(
    "link",
    [
        replace(CLEAN, section_lengths_km=[-1.0]),
        replace(CLEAN, attenuations_db_per_km=[-0.1]),
        replace(CLEAN, reflection_distances_km=[0.5], reflectances_db=[0.1]),
        replace(CLEAN, reflection_distances_km=[1.001], reflectances_db=[-40.0]),
        replace(CLEAN, loss_distances_km=[-0.001], losses_db=[0.1]),
    ],
)
def test_an_impossible_link_is_refused(link: Link) -> None:
    with pytest.raises(OutOfRangeError):
        link_return_loss_db(link=link, far_end_share=ABSORBED)


@pytest.mark.parametrize("share", [-0.001, 1.001])
def test_a_far_end_that_sends_back_less_than_nothing_or_more_than_all_is_refused(share: float) -> None:
    with pytest.raises(OutOfRangeError):
        link_return_loss_db(link=CLEAN, far_end_share=share)


def test_a_mirror_at_the_near_end_returns_everything_and_nothing_at_all_is_refused() -> None:
    nothing = Link(section_lengths_km=[], attenuations_db_per_km=[], backscatter_coefficients_db=[], group_indices=[])
    assert link_return_loss_db(link=nothing, far_end_share=1.0) == 0
    with pytest.raises(OutOfRangeError):
        link_return_loss_db(link=nothing, far_end_share=ABSORBED)


def test_unpaired_and_non_finite_values_are_refused() -> None:
    for link in (
        replace(CLEAN, group_indices=[1.468, 1.468]),
        replace(CLEAN, loss_distances_km=[0.5]),
        replace(CLEAN, reflectances_db=[-40.0]),
        replace(CLEAN, section_lengths_km=1.0),
    ):
        with pytest.raises(UnpairedReadingsError):
            link_return_loss_db(link=link, far_end_share=ABSORBED)
    with pytest.raises(NonFiniteReadingError):
        link_return_loss_db(link=replace(CLEAN, attenuations_db_per_km=[np.nan]), far_end_share=ABSORBED)
    with pytest.raises(NonFiniteReadingError):
        link_return_loss_db(link=CLEAN, far_end_share=float("nan"))
