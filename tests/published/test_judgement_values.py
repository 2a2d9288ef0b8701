"""The judge's exact arithmetic, and the vocabulary's colours, against check values from outside."""

from fractions import Fraction

import pytest

from service.vocabulary.criteria.links import Budget
from service.vocabulary.design.colours import colour_of, place_in_cable
from tests.published.check_values import (
    BUDGETS,
    COLOURS,
    REFERENCES,
    TIA_598_ORDER,
    TWO_WAY,
    BudgetCheck,
    ColourCheck,
    ReferenceCheck,
    TwoWayCheck,
    source_of,
)
from worker.judgement.numbers.exact import budget_pdb, mean_tenth_mdb
from worker.physics.link import counted_connections

PDB_PER_DB = 10**12


@pytest.mark.parametrize("check", TWO_WAY, ids=source_of)
def test_the_exact_mean_is_the_customary_one(check: TwoWayCheck) -> None:
    mean = mean_tenth_mdb(first_mdb=check.a_to_b_mdb, second_mdb=check.b_to_a_mdb)
    assert Fraction(mean, 10_000) == Fraction(str(check.mean_db))


@pytest.mark.parametrize("check", [check for check in BUDGETS if len(check.sections) == 1], ids=source_of)
def test_the_exact_budget_is_the_published_one(check: BudgetCheck) -> None:
    [(length_km, attenuation_db_per_km)] = check.sections
    budget = Budget(
        kind="budget",
        attenuation_db_per_km=attenuation_db_per_km,
        splice_db=check.splice_db,
        connection_db=check.pair_db,
        other_db=check.other_db,
    )
    exact = budget_pdb(budget, length_um=round(length_km * 10**9), splices=check.splices, counted_pairs=check.pairs)
    assert Fraction(exact, PDB_PER_DB) == Fraction(str(check.loss_db))


@pytest.mark.parametrize("check", REFERENCES, ids=source_of)
def test_the_exact_budget_counts_the_ends_that_the_reference_leaves_in(check: ReferenceCheck) -> None:
    budget = Budget(kind="budget", attenuation_db_per_km=0.4, splice_db=0.3, connection_db=0.75)
    pairs = int(counted_connections(pairs=3, reference_cords=check.reference_cords))
    exact = budget_pdb(budget, length_um=4 * 10**9, splices=2, counted_pairs=pairs)
    assert Fraction(exact, PDB_PER_DB) == Fraction(str(check.limit_db))


@pytest.mark.parametrize("check", COLOURS, ids=source_of)
def test_a_cable_fibre_lies_where_the_colour_code_puts_it(check: ColourCheck) -> None:
    place = place_in_cable(check.cable_fibre, fibres_per_tube=12, scheme="tia_598")
    assert place == (check.tube, check.tube_colour, check.fibre, check.fibre_colour)


def test_the_twelve_colours_stand_in_the_published_order() -> None:
    # TIA-598, seen.
    assert tuple(colour_of(number, scheme="tia_598") for number in range(1, 13)) == TIA_598_ORDER
