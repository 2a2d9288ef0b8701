"""Exact numbers: written and read without loss, and equal to fractions."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.criteria.links import Budget
from service.vocabulary.quantities import metres_text, round_half_even
from worker.judgement.numbers import exact


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
def test_the_mean_is_exact(first: int, second: int) -> None:
    mean = exact.mean_tenth_mdb(first_mdb=first, second_mdb=second)
    assert Fraction(mean, 10_000) == (Fraction(first, 1000) + Fraction(second, 1000)) / 2


@given(
    lengths_cm=st.tuples(st.integers(0, 10_000_000), st.integers(0, 10_000_000)),
    attenuation_mdb=st.integers(0, 1000),
    splices=st.integers(0, 40),
    pairs=st.integers(0, 8),
)
def test_the_budget_is_the_exact_sum_of_its_parts(
    lengths_cm: tuple[int, int], attenuation_mdb: int, splices: int, pairs: int
) -> None:
    budget = Budget(
        kind="budget",
        attenuation_db_per_km=attenuation_mdb / 1000,
        by_fibre_type=({"fibre_type": "G.655", "attenuation_db_per_km": 0.25},),
        splice_db=0.1,
        unlike_splice_db=0.3,
        connection_db=0.5,
        other_db=0.25,
    )
    plain_cm, other_cm = lengths_cm
    limit_pdb = exact.budget_pdb(
        budget,
        fibre=[("G.652.D", plain_cm * 10_000), ("G.655", other_cm * 10_000)],
        splices=splices + 1,
        unlike_splices=1,
        counted_pairs=pairs,
    )
    assert limit_pdb is not None
    fibre_db = Fraction(plain_cm, 100_000) * Fraction(attenuation_mdb, 1000) + Fraction(other_cm, 400_000)
    parts_db = Fraction(splices, 10) + Fraction(3, 10) + Fraction(pairs, 2) + Fraction(1, 4)
    assert Fraction(limit_pdb, exact.PARTS) == fibre_db + parts_db


@pytest.mark.parametrize(
    ("pairs", "cords", "counted"),
    # Common practice, no source: a reference never takes away more pairs than there are.
    [(3, 1, 3), (3, 2, 2), (3, 3, 1), (2, 3, 0), (1, 3, 0), (0, 3, 0), (0, 1, 0)],
)
def test_each_cord_after_the_first_brings_one_pair_into_the_reference(pairs: int, cords: int, counted: int) -> None:
    assert exact.pairs_in_reading(pairs=pairs, reference_cords=cords) == counted
