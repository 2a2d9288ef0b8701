"""The vocabulary's colours against check values from outside."""

import pytest

from service.vocabulary.design.colours import colour_of, place_in_cable
from tests.published.check_values import COLOURS, TIA_598_ORDER, ColourCheck, source_of


@pytest.mark.parametrize("check", COLOURS, ids=source_of)
def test_a_cable_fibre_lies_where_the_colour_code_puts_it(check: ColourCheck) -> None:
    place = place_in_cable(check.cable_fibre, fibres_per_tube=12, scheme="tia_598")
    assert place == (check.tube, check.tube_colour, check.fibre, check.fibre_colour)


def test_the_twelve_colours_stand_in_the_published_order() -> None:
    # TIA-598, seen.
    assert tuple(colour_of(number, scheme="tia_598") for number in range(1, 13)) == TIA_598_ORDER
