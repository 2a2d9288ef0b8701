"""A picture as marks on a sheet measured in points, before anybody thinks of a canvas.

`x` runs from the left margin to the right, `y` from the picture's top down. Later marks cover earlier ones; nothing is
see-through, which an archive copy could not count on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import Rgb, Style

Point = tuple[float, float]


class Text(NamedTuple):
    """A line of text whose baseline starts at a point."""

    x: float
    y: float
    text: str
    style: Style


class Stroke(NamedTuple):
    """A line through points."""

    points: tuple[Point, ...]
    width_pt: float
    colour: Rgb
    is_dashed: bool


class Area(NamedTuple):
    """A filled shape with a corner at each point."""

    points: tuple[Point, ...]
    colour: Rgb


Mark = Text | Stroke | Area


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Marks that stay together on one page."""

    height_pt: float
    marks: Sequence[Mark]


def right_text(x: float, y: float, text: str, style: Style, metrics: FontMetrics) -> Text:
    """Return a line of text that ends at a point."""
    return Text(x - metrics.width(text, style), y, text, style)


def middle_text(x: float, y: float, text: str, style: Style, metrics: FontMetrics) -> Text:
    """Return a line of text with its middle over a point."""
    return Text(x - metrics.width(text, style) / 2, y, text, style)


def stroke(*points: Point, width_pt: float, colour: Rgb, is_dashed: bool = False) -> Stroke:
    """Return a line through points."""
    return Stroke(points, width_pt, colour, is_dashed)


def outline(points: tuple[Point, ...], *, width_pt: float, colour: Rgb) -> Stroke:
    """Return the line around a shape."""
    return stroke(*points, points[0], width_pt=width_pt, colour=colour)


def box(left: float, top: float, right: float, bottom: float, *, colour: Rgb) -> Area:
    """Return a filled box."""
    return Area(((left, top), (right, top), (right, bottom), (left, bottom)), colour)
