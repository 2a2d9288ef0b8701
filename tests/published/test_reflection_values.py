"""Reflectance, backscatter and return loss against check values from outside."""

import pytest

from tests.published.check_values import source_of
from tests.published.reflection_values import (
    ENDLESS,
    EVENTS,
    FRESNEL,
    GLASS,
    GLASS_COEFFICIENT_DB,
    GLASS_DB_PER_KM,
    GLASS_INDEX,
    HEIGHTS,
    OPEN_ENDS,
    POWERS,
    EventsCheck,
    FresnelCheck,
    GlassCheck,
    HeightCheck,
    PowersCheck,
)
from worker.physics.backscatter import section_backscatter_db
from worker.physics.reflectance import event_reflectance_db, flat_end_reflectance_db, reflected_share
from worker.physics.return_loss import ABSORBED, Link, link_return_loss_db


def clean_glass(length_km: float) -> Link:
    """Return a link of one section of the glass that the check values are stated for."""
    return Link(
        section_lengths_km=[length_km],
        attenuations_db_per_km=[GLASS_DB_PER_KM],
        backscatter_coefficients_db=[GLASS_COEFFICIENT_DB],
        group_indices=[GLASS_INDEX],
    )


def dark_glass(*, loss_db: float = 0.0, reflectances_db: tuple[float, ...] = ()) -> Link:
    """Return a kilometre with a loss that scatters nothing to speak of, its reflections at the far end."""
    return Link(
        section_lengths_km=[1.0],
        attenuations_db_per_km=[loss_db],
        backscatter_coefficients_db=[-300.0],
        group_indices=[GLASS_INDEX],
        reflection_distances_km=[1.0] * len(reflectances_db),
        reflectances_db=reflectances_db,
    )


@pytest.mark.parametrize("check", FRESNEL, ids=source_of)
def test_a_flat_end_reflects_as_computed(check: FresnelCheck) -> None:
    reflectance_db = flat_end_reflectance_db(refractive_index=check.refractive_index)
    assert reflectance_db == pytest.approx(check.reflectance_db, abs=check.tolerance)


@pytest.mark.parametrize("check", HEIGHTS, ids=source_of)
def test_a_height_over_the_backscatter_is_a_reflectance(check: HeightCheck) -> None:
    reflectance_db = event_reflectance_db(
        height_db=check.height_db, backscatter_coefficient_db=check.coefficient_db, pulse_ns=check.pulse_ns
    )
    assert reflectance_db == pytest.approx(check.reflectance_db, abs=check.tolerance)


@pytest.mark.parametrize("check", EVENTS, ids=source_of)
def test_reflections_add_as_powers_behind_twice_their_loss(check: EventsCheck) -> None:
    link = dark_glass(loss_db=check.loss_before_db, reflectances_db=check.reflectances_db)
    return_loss_db = link_return_loss_db(link=link, far_end_share=ABSORBED)
    assert return_loss_db == pytest.approx(check.return_loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", POWERS, ids=source_of)
def test_a_share_that_comes_back_is_a_return_loss(check: PowersCheck) -> None:
    return_loss_db = link_return_loss_db(link=dark_glass(), far_end_share=check.share)
    assert return_loss_db == pytest.approx(check.return_loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", GLASS, ids=source_of)
def test_clean_glass_returns_as_computed(check: GlassCheck) -> None:
    return_loss_db = link_return_loss_db(link=clean_glass(check.length_km), far_end_share=ABSORBED)
    assert return_loss_db == pytest.approx(check.return_loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", [*GLASS, ENDLESS], ids=source_of)
def test_a_length_of_glass_alone_sends_back_as_computed(check: GlassCheck) -> None:
    returned_db = section_backscatter_db(
        length_km=check.length_km,
        attenuation_db_per_km=GLASS_DB_PER_KM,
        backscatter_coefficient_db=GLASS_COEFFICIENT_DB,
        group_index=GLASS_INDEX,
        loss_before_db=0.0,
    )
    assert returned_db == pytest.approx(-check.return_loss_db, abs=check.tolerance)


@pytest.mark.parametrize("check", OPEN_ENDS, ids=source_of)
def test_an_open_flat_far_end_changes_all(check: GlassCheck) -> None:
    share = float(reflected_share(reflectance_db=flat_end_reflectance_db(refractive_index=1.45)))
    return_loss_db = link_return_loss_db(link=clean_glass(check.length_km), far_end_share=share)
    assert return_loss_db == pytest.approx(check.return_loss_db, abs=check.tolerance)
