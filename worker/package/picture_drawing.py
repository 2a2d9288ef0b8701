"""Draw a picture's marks in the order in which they are given."""

from worker.package.flow import PlacedPicture
from worker.package.look import LEFT
from worker.package.pen import Pen
from worker.package.picture import Area, Point, Stroke, Text


def draw_picture(pen: Pen, placed: PlacedPicture) -> None:
    """Draw a picture where it was placed."""
    for mark in placed.picture.marks:
        match mark:
            case Text():
                pen.write(mark.style, [(LEFT + mark.x, placed.top - mark.y, mark.text)])
            case Area():
                pen.area(_on_page(mark.points, placed.top), mark.colour)
            case Stroke():
                points = _on_page(mark.points, placed.top)
                pen.stroke(points, width_pt=mark.width_pt, colour=mark.colour, is_dashed=mark.is_dashed)


def _on_page(points: tuple[Point, ...], top: float) -> list[Point]:
    return [(LEFT + x, top - y) for x, y in points]
