"""Draw the losses added up from A, one small plot for each tube, all to one scale."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import (
    ACCENT,
    CONTENT_WIDTH,
    HAIR,
    INK,
    PICTURE_NAME,
    PICTURE_QUIET,
    QUIET,
    SUBHEADING,
)
from worker.package.phrases import numbers_text
from worker.package.pictures.accumulated_loss import Level, TubeLoss
from worker.package.pictures.fixed_point import FIXED_PER_DB, distance_ticks, fixed_text, multiples, round_step
from worker.package.pictures.picture import (
    Area,
    Mark,
    Picture,
    Point,
    Stroke,
    dashes,
    left_text,
    right_text,
    stroke,
)

MOST_TUBES = 24
_TITLE_PT, _WORDS_PT, _AXIS_PT, _BELOW_PT = 22.0, 38.0, 14.0, 8.0
_LABELS_PT, _GUTTER_PT, _LINE_PT = 26.0, 14.0, 8.2
_LEAST_TICKS_APART_PT = 26.0
# So many tubes at most for so many columns, and how high a plot then is.
_COLUMNS = ((1, 1, 88.0), (4, 2, 84.0), (12, 3, 66.0), (MOST_TUBES, 4, 52.0))


@dataclass(frozen=True, kw_only=True)
class Frame:
    """What all plots of one wavelength share: the length of the route, and the lowest and highest sum."""

    length_um: int
    low: int
    high: int


def accumulated_pictures(
    tubes: Sequence[TubeLoss], metrics: FontMetrics, *, length_um: int, title: str
) -> Iterator[Picture]:
    """Give the rows of plots, the first under the title."""
    columns, plot_pt = next((columns, height) for most, columns, height in _COLUMNS if len(tubes) <= most)
    levels = [level for tube in tubes for level in tube.levels]
    frame = Frame(
        length_um=length_um,
        low=min((level.lowest for level in levels), default=0),
        high=max((level.highest for level in levels), default=0),
    )
    for first in range(0, len(tubes), columns):
        above_pt = 0.0 if first else _TITLE_PT
        marks: list[Mark] = [] if first else [left_text(0, SUBHEADING.size_pt + 6, title, SUBHEADING)]
        for column, tube in enumerate(tubes[first : first + columns]):
            plot = _Plot(frame, column, columns, top=above_pt + _WORDS_PT, height_pt=plot_pt)
            marks += [*_words(tube, plot, metrics), *_axes(tube, plot, metrics), *_course(tube, plot)]
        yield Picture(height_pt=above_pt + _WORDS_PT + plot_pt + _AXIS_PT + _BELOW_PT, marks=marks)


class _Plot:
    """Where distances and sums lie in one cell of the grid."""

    def __init__(self, frame: Frame, column: int, columns: int, *, top: float, height_pt: float) -> None:
        width_pt = (CONTENT_WIDTH - _LABELS_PT - (columns - 1) * _GUTTER_PT) / columns
        self.frame, self.is_first = frame, column == 0
        self.left = _LABELS_PT + column * (width_pt + _GUTTER_PT)
        self.right = self.left + width_pt
        self.top, self.bottom = top, top + height_pt
        self.low, self.high = min(frame.low, 0), max(frame.high, 1)
        self.pt_per_um = width_pt / frame.length_um if frame.length_um else 0.0

    def x(self, from_a_um: int) -> float:
        """Return where a distance lies."""
        return self.left + from_a_um * self.pt_per_um

    def y(self, fixed: float) -> float:
        """Return where a sum lies."""
        return self.bottom - (fixed - self.low) / (self.high - self.low) * (self.bottom - self.top)


def _words(tube: TubeLoss, plot: _Plot, metrics: FontMetrics) -> Iterator[Mark]:
    y = plot.top - _WORDS_PT + _LINE_PT
    styles = (PICTURE_NAME, PICTURE_QUIET, PICTURE_QUIET, PICTURE_QUIET)
    for index, (style, line) in enumerate(zip(styles, _caption(tube), strict=False)):
        text = metrics.shorten(line, style, width_pt=plot.right - plot.left)
        yield left_text(plot.left, y + index * _LINE_PT, text, style)


def _caption(tube: TubeLoss) -> Iterator[str]:
    yield f"Tube {tube.place.tube}, {tube.place.tube_colour}"
    unknown = len(tube.fibres) - len(tube.known)
    yield f"fibres {numbers_text(tube.fibres)}{f', {unknown} not known' if unknown else ''}"
    if tube.known:
        for word, one in (("highest", tube.highest), ("lowest", tube.lowest)):
            yield f"{word} {fixed_text(one.fixed)} dB, fibre {one.fibre}"


def _axes(tube: TubeLoss, plot: _Plot, metrics: FontMetrics) -> Iterator[Mark]:
    for fixed in multiples(round_step((plot.high - plot.low) / 3), low=plot.low, high=plot.high):
        y = plot.y(fixed)
        yield stroke((plot.left, y), (plot.right, y), width_pt=0.3, colour=HAIR)
        if plot.is_first:
            yield right_text(plot.left - 4, y + 2.3, f"{fixed / FIXED_PER_DB:.12g}", PICTURE_QUIET, metrics)
    foot = plot.bottom
    yield stroke((plot.left, foot), (plot.right, foot), width_pt=0.5, colour=QUIET)
    for level in tube.levels:
        yield stroke((plot.x(level.from_a_um), foot), (plot.x(level.from_a_um), foot + 2), width_pt=0.4, colour=QUIET)
    for tick_um, label in distance_ticks(
        low_um=0, high_um=plot.frame.length_um, pt_per_um=plot.pt_per_um, least_apart_pt=_LEAST_TICKS_APART_PT
    ):
        width_pt = metrics.width(label, PICTURE_QUIET)
        x = min(max(plot.x(tick_um) - width_pt / 2, plot.left), plot.right - width_pt)
        yield left_text(x, foot + 10, label, PICTURE_QUIET)


def _course(tube: TubeLoss, plot: _Plot) -> Iterator[Mark]:
    """Give the band between the lowest and the highest sum, with the mean in it."""
    if not tube.known:
        return
    highest = _stairs(tube.levels, plot, lambda level: level.highest)
    lowest = _stairs(tube.levels, plot, lambda level: level.lowest)
    yield Area(points=(*highest, *reversed(lowest)), colour=HAIR)
    yield Stroke(points=_stairs(tube.levels, plot, lambda level: float(level.mean)), width_pt=0.5, colour=INK)
    yield dashes(*lowest, width_pt=0.7, colour=ACCENT)
    yield stroke(*highest, width_pt=1.0, colour=ACCENT)


def _stairs(levels: Sequence[Level], plot: _Plot, value: Callable[[Level], float]) -> tuple[Point, ...]:
    points, y = [(plot.left, plot.y(0))], plot.y(0)
    for level in levels:
        x = plot.x(level.from_a_um)
        points.append((x, y))
        y = plot.y(value(level))
        points.append((x, y))
    return (*points, (plot.right, y))
