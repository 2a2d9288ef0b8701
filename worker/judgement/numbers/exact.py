"""Exact numbers: quantities as integers of their last place, means and budgets without rounding.

A loss is an integer of 0.001 dB (`_mdb`), a mean of two of them an integer of 0.0001 dB (`_tenth_mdb`), and what
meets a limit is counted in 1e-12 of its unit (`_pdb` where that is dB): 0.001 dB/km times 1 um of fibre is one such
part. Means of more than two readings are fractions of them.
"""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache

from service.vocabulary.criteria.links import Budget
from service.vocabulary.quantities import PDB_PER_MDB, UM_PER_CM, decimal_text, round_half_even, to_last_place

Exact = int | Fraction

PARTS = 10**12
_UM_BEHIND_CM = f"{str(UM_PER_CM)[1:]},"
PDB_PER_TENTH_MDB = 100_000_000
TENTHS_PER_MDB = 10


# A route has hundreds of thousands of losses and a few thousand different ones; its distances are nearly all different.
@lru_cache(maxsize=1 << 15)
def last_place(text: str) -> int:
    """Return a canonical decimal string as the integer of its last place."""
    return int(text.replace(".", ""))


def metres_to_um(text: str) -> int:
    """Return a canonical length in metres, kept to the centimetre, in micrometres."""
    return int(text.replace(".", "")) * UM_PER_CM


def all_metres_to_um(texts: Sequence[str]) -> list[int]:
    """Return canonical lengths in metres, kept to the centimetre, in micrometres: at once, in half the time."""
    return [*map(int, _UM_BEHIND_CM.join([*texts, ""]).replace(".", "").split(",")[:-1])]


@lru_cache(maxsize=4096)
def limit_mdb(limit_db: float) -> int:
    """Return a validated limit as the integer of its last place."""
    return to_last_place(limit_db, places=3)


def mean_tenth_mdb(*, first_mdb: int, second_mdb: int) -> int:
    """Return the exact mean of two losses."""
    return (first_mdb + second_mdb) * 5


def rounded_tenth_mdb(value_db: float) -> int:
    """Return what a logarithm gave, rounded this once: the last bits of such a value differ between processors."""
    return round(value_db * 10_000)


@lru_cache(maxsize=1 << 15)
def db_text(value_tenth_mdb: int) -> str:
    """Write a loss with four decimals."""
    return decimal_text(value_tenth_mdb, places=4)


@lru_cache(maxsize=1 << 15)
def reading_text(value: int, places: int) -> str:
    """Write a reading with the decimals it was posted with; a route has a few thousand different ones."""
    return decimal_text(value, places=places)


@lru_cache(maxsize=1 << 15)
def mdb_text(value_mdb: int) -> str:
    """Write a loss with the three decimals it was posted with."""
    return decimal_text(value_mdb, places=3)


@lru_cache(maxsize=1 << 15)
def parts_text(value_parts: Exact, places: int = 4) -> str:
    """Write an exact value, limit or margin with so many decimals, rounded half to even."""
    return decimal_text(round_half_even(value_parts, unit=10 ** (12 - places)), places=places)


def budget_pdb(
    budget: Budget, *, fibre: Iterable[tuple[str, int]], splices: int, unlike_splices: int, counted_pairs: int
) -> int | None:
    """Return the exact link budget of a design; nothing where the budget says nothing of a fibre type.

    `fibre` is the length of each section in micrometres by its type, `unlike_splices` are those of all `splices` that
    join two types, `counted_pairs` those that the reference method includes.
    """
    unlike_db = budget.splice_db if budget.unlike_splice_db is None else budget.unlike_splice_db
    joints_mdb = (splices - unlike_splices) * limit_mdb(budget.splice_db) + unlike_splices * limit_mdb(unlike_db)
    joints_mdb += counted_pairs * limit_mdb(budget.connection_db) + limit_mdb(budget.other_db)
    fibre_pdb = 0
    for fibre_type, length_um in fibre:
        allowed = budget.attenuation_of(fibre_type)
        if allowed is None:
            return None
        fibre_pdb += limit_mdb(allowed) * length_um
    return fibre_pdb + joints_mdb * PDB_PER_MDB


def pairs_in_reading(*, pairs: int, reference_cords: int) -> int:
    """Return how many mated pairs a reading includes: each cord after the first brings one into the reference.

    IEC 61280-4-2 and TIA-526-7, both from memory.
    """
    return max(0, pairs - (reference_cords - 1))


def is_below_fibre_alone(*, loss_mdb: int, least_mdb_per_km: int, length_um: int, uncertainty_mdb: int) -> bool:
    """Tell whether a loss is below what the fibre alone can have, by more than its uncertainty."""
    return (loss_mdb + uncertainty_mdb) * PDB_PER_MDB < least_mdb_per_km * length_um
