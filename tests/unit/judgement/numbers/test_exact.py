"""Exact numbers: written and read without loss, and in step with the physics."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.criteria.links import Budget
from service.vocabulary.quantities import metres_text, round_half_even
from worker.judgement.numbers import exact
from worker.physics.link import counted_connections, expected_link_loss_db
from worker.physics.splice import mean_bidirectional_loss_db


@pytest.mark.parametrize(
    ("text", "integer"), [("0.040", 40), ("-0.040", -40), ("12.345", 12345), ("0.000", 0), ("-1.500", -1500)]
)
def test_a_canonical_loss_is_read_and_written_without_loss(text: str, integer: int) -> None:
    assert exact.last_place(text) == integer
    assert exact.mdb_text(integer) == text


@pytest.mark.parametrize(("value", "text"), [(0, "0.0000"), (-5, "-0.0005"), (10_005, "1.0005"), (-10_000, "-1.0000")])
def test_a_mean_is_written_with_four_decimals(value: int, text: str) -> None:
    assert exact.db_text(value) == text


@pytest.mark.parametrize(
    ("value", "units"), [(5, 0), (15, 2), (25, 2), (26, 3), (-5, 0), (-15, -2), (-25, -2), (-26, -3)]
)
def test_halves_are_rounded_to_even(value: int, units: int) -> None:
    assert round_half_even(value, unit=10) == units
    assert units == round(Fraction(value, 10))


@pytest.mark.parametrize(
    ("length_um", "text"),
    [
        (0, "0.00"),
        (5_000, "0.00"),
        (5_001, "0.01"),
        (15_000, "0.02"),
        (1_851_543_000, "1851.54"),
        (-25_000_000, "-25.00"),
    ],
)
def test_a_length_is_rounded_once_to_the_centimetre(length_um: int, text: str) -> None:
    assert metres_text(length_um) == text


LOSSES_MDB = st.integers(-60_000, 60_000)


@given(first=LOSSES_MDB, second=LOSSES_MDB)
def test_the_exact_mean_agrees_with_the_physics(first: int, second: int) -> None:
    mean = exact.mean_tenth_mdb(first_mdb=first, second_mdb=second)
    [physics] = mean_bidirectional_loss_db(loss_a_to_b_db=[first / 1000], loss_b_to_a_db=[second / 1000])
    assert physics == pytest.approx(mean / 10_000, abs=1e-9)


@given(
    length_cm=st.integers(0, 10_000_000),
    attenuation_mdb=st.integers(0, 1000),
    splices=st.integers(0, 40),
    pairs=st.integers(0, 8),
    cords=st.integers(1, 3),
)
def test_the_exact_budget_agrees_with_the_physics(
    length_cm: int, attenuation_mdb: int, splices: int, pairs: int, cords: int
) -> None:
    budget = Budget(
        kind="budget", attenuation_db_per_km=attenuation_mdb / 1000, splice_db=0.1, connection_db=0.5, other_db=0.25
    )
    counted = int(counted_connections(pairs=pairs, reference_cords=cords))
    limit_pdb = exact.budget_pdb(budget, length_um=length_cm * 10_000, splices=splices, counted_pairs=counted)
    physics = expected_link_loss_db(
        section_lengths_km=[length_cm / 100_000],
        attenuations_db_per_km=[attenuation_mdb / 1000],
        splice_losses_db=[0.1] * splices,
        connection_losses_db=[0.5] * counted,
        other_db=0.25,
    )
    assert float(physics) == pytest.approx(limit_pdb / 10**12, abs=1e-9)
