"""Draw a picture's marks in the order in which they are given."""

from collections.abc import Iterator
from itertools import groupby

from worker.package.flow import PlacedPicture
from worker.package.look import LEFT, Style
from worker.package.pen import Pen
from worker.package.picture import Area, Mark, Point, Stroke, Text


def draw_picture(pen: Pen, placed: PlacedPicture) -> None:
    """Draw a picture where it was placed."""
    for kind, marks in groupby(placed.picture.marks, key=type):
        if kind is Text:
            pen.write_styled(_texts(marks, placed.top))
            continue
        for mark in marks:
            match mark:
                case Area():
                    pen.area(_on_page(mark.points, placed.top), mark.colour)
                case Stroke():
                    points = _on_page(mark.points, placed.top)
                    pen.stroke(points, width_pt=mark.width_pt, colour=mark.colour, is_dashed=mark.is_dashed)


def _texts(marks: Iterator[Mark], top: float) -> Iterator[tuple[Style, float, float, str]]:
    for mark in marks:
        if isinstance(mark, Text):
            yield mark.style, LEFT + mark.x, top - mark.y, mark.text


def _on_page(points: tuple[Point, ...], top: float) -> list[Point]:
    return [(LEFT + x, top - y) for x, y in points]
