"""A picture as marks on a sheet measured in points, before anybody thinks of a canvas.

`x` runs from the left margin to the right, `y` from the picture's top down. Later marks cover earlier ones; nothing is
see-through, which an archive copy could not count on.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import Rgb, Style

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Text:
    """A line of text whose baseline starts at a point."""

    x: float
    y: float
    text: str
    style: Style


@dataclass(frozen=True, kw_only=True, slots=True)
class Stroke:
    """A line through points."""

    points: tuple[Point, ...]
    width_pt: float
    colour: Rgb
    is_dashed: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Area:
    """A filled shape with a corner at each point."""

    points: tuple[Point, ...]
    colour: Rgb


Mark = Text | Stroke | Area


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Marks that stay together on one page."""

    height_pt: float
    marks: Sequence[Mark]


def left_text(x: float, y: float, text: str, style: Style) -> Text:
    """Return a line of text that starts at a point."""
    return Text(x=x, y=y, text=text, style=style)


def right_text(x: float, y: float, text: str, style: Style, metrics: FontMetrics) -> Text:
    """Return a line of text that ends at a point."""
    return Text(x=x - metrics.width(text, style), y=y, text=text, style=style)


def middle_text(x: float, y: float, text: str, style: Style, metrics: FontMetrics) -> Text:
    """Return a line of text with its middle over a point."""
    return Text(x=x - metrics.width(text, style) / 2, y=y, text=text, style=style)


def stroke(*points: Point, width_pt: float, colour: Rgb) -> Stroke:
    """Return an unbroken line through points."""
    return Stroke(points=points, width_pt=width_pt, colour=colour)


def dashes(*points: Point, width_pt: float, colour: Rgb) -> Stroke:
    """Return a dashed line through points."""
    return Stroke(points=points, width_pt=width_pt, colour=colour, is_dashed=True)


def box(left: float, top: float, right: float, bottom: float, *, colour: Rgb) -> Area:
    """Return a filled box."""
    return Area(points=((left, top), (right, top), (right, bottom), (left, bottom)), colour=colour)


def outline(points: Iterable[Point], *, width_pt: float, colour: Rgb) -> Stroke:
    """Return the line around a shape."""
    corners = tuple(points)
    return Stroke(points=(*corners, corners[0]), width_pt=width_pt, colour=colour)
