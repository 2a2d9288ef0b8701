"""Where a cable fibre lies: its tube, and the colours of both.

Colours are those of TIA-598: twelve, and from 13 the sequence repeats with a black tracer, where black itself takes a
yellow one. There is no world-wide sequence, so the scheme is a setting of each section's cable.
"""

from typing import NamedTuple

_TIA_598 = (
    "blue", "orange", "green", "brown", "slate", "white", "red", "black", "yellow", "violet", "rose", "aqua",
)  # fmt: skip
SCHEMES = {"tia_598": _TIA_598}


class TubePlace(NamedTuple):
    """Where a cable fibre lies: tube and fibre in the tube, each with its colour."""

    tube: int
    tube_colour: str
    fibre: int
    fibre_colour: str


def colour_of(number: int, *, scheme: str) -> str:
    """Return the colour of the tube or fibre with a number from 1."""
    colours = SCHEMES[scheme]
    round_, index = divmod(number - 1, len(colours))
    colour = colours[index]
    if round_ == 0:
        return colour
    tracer = "yellow" if colour == "black" else "black"
    return f"{colour} with {tracer} tracer" if round_ == 1 else f"{colour} with {round_} {tracer} tracers"


def place_in_cable(cable_fibre: int, *, fibres_per_tube: int, scheme: str) -> TubePlace:
    """Return tube and fibre in tube of a cable fibre, counted from 1."""
    tube, fibre = divmod(cable_fibre - 1, fibres_per_tube)
    return TubePlace(
        tube=tube + 1,
        tube_colour=colour_of(tube + 1, scheme=scheme),
        fibre=fibre + 1,
        fibre_colour=colour_of(fibre + 1, scheme=scheme),
    )
