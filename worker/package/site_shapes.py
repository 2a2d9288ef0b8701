"""The shape that stands for each kind of site."""

from collections.abc import Iterator
from math import cos, pi, sin

from service.vocabulary.words import SiteKind
from worker.package.look import INK, WHITE
from worker.package.picture import Area, Mark, Point, box, outline

SHAPE_PT = 4.0
_CORNERS_OF_A_ROUND_SHAPE = 24


def site_shape(kind: SiteKind, x: float, y: float) -> Iterator[Mark]:
    """Give a terminal's full square, a closure's ring or a patch panel's empty diamond, with its middle at a point."""
    if kind is SiteKind.TERMINAL:
        yield box(x - SHAPE_PT, y - SHAPE_PT, x + SHAPE_PT, y + SHAPE_PT, colour=INK)
        return
    points = tuple(_ring(x, y) if kind is SiteKind.SPLICE_CLOSURE else _diamond(x, y))
    yield Area(points=points, colour=WHITE)
    yield outline(points, width_pt=1.2, colour=INK)


def _ring(x: float, y: float) -> Iterator[Point]:
    for index in range(_CORNERS_OF_A_ROUND_SHAPE):
        angle = 2 * pi * index / _CORNERS_OF_A_ROUND_SHAPE
        yield x + 3.4 * cos(angle), y + 3.4 * sin(angle)


def _diamond(x: float, y: float) -> Iterator[Point]:
    yield from ((x, y - SHAPE_PT - 0.6), (x + SHAPE_PT + 0.6, y), (x, y + SHAPE_PT + 0.6), (x - SHAPE_PT - 0.6, y))
