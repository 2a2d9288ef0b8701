"""Draw the losses added up from A, one small plot for each tube, all to one scale."""

from collections.abc import Iterator, Sequence

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
from worker.package.pictures.fixed_point import distance_ticks, fixed_text, multiples, round_step, tick_text
from worker.package.pictures.picture import Area, Mark, Picture, Point, Text, right_text, stroke

MOST_TUBES = 24
_TITLE_PT, _WORDS_PT, _AXIS_PT, _BELOW_PT = 22.0, 38.0, 14.0, 8.0
_LABELS_PT, _GUTTER_PT, _LINE_PT = 26.0, 14.0, 8.2
_LEAST_TICKS_APART_PT = 26.0
# So many tubes at most for so many columns, and how high a plot then is.
_COLUMNS = ((1, 1, 88.0), (4, 2, 84.0), (12, 3, 66.0), (MOST_TUBES, 4, 52.0))


def accumulated_pictures(
    tubes: Sequence[TubeLoss], metrics: FontMetrics, *, length_um: int, title: str
) -> Iterator[Picture]:
    """Give the rows of plots, the first under the title."""
    columns, plot_pt = next((columns, height) for most, columns, height in _COLUMNS if len(tubes) <= most)
    sums = [fixed for tube in tubes for level in tube.levels for fixed in (level.lowest, level.highest)]
    for first in range(0, len(tubes), columns):
        above_pt = 0.0 if first else _TITLE_PT
        marks: list[Mark] = [] if first else [Text(0, SUBHEADING.size_pt + 6, title, SUBHEADING)]
        for column, tube in enumerate(tubes[first : first + columns]):
            plot = _Plot(column, columns, sums, top=above_pt + _WORDS_PT, height_pt=plot_pt, length_um=length_um)
            marks += [*_words(tube, plot, metrics), *_axes(tube, plot, metrics), *_course(tube, plot)]
        yield Picture(height_pt=above_pt + _WORDS_PT + plot_pt + _AXIS_PT + _BELOW_PT, marks=marks)


class _Plot:
    """Where distances and sums lie in one cell of the grid; all of a wavelength have one scale."""

    def __init__(
        self, column: int, columns: int, sums: Sequence[int], *, top: float, height_pt: float, length_um: int
    ) -> None:
        width_pt = (CONTENT_WIDTH - _LABELS_PT - (columns - 1) * _GUTTER_PT) / columns
        self.is_first = column == 0
        self.left = _LABELS_PT + column * (width_pt + _GUTTER_PT)
        self.right = self.left + width_pt
        self.top, self.bottom = top, top + height_pt
        self.low, self.high = min([0, *sums]), max([1, *sums])
        self.length_um = length_um
        self.pt_per_um = width_pt / length_um if length_um else 0.0

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
        yield Text(plot.left, y + index * _LINE_PT, text, style)


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
            yield right_text(plot.left - 4, y + 2.3, tick_text(fixed), PICTURE_QUIET, metrics)
    foot = plot.bottom
    yield stroke((plot.left, foot), (plot.right, foot), width_pt=0.5, colour=QUIET)
    for level in tube.levels:
        yield stroke((plot.x(level.from_a_um), foot), (plot.x(level.from_a_um), foot + 2), width_pt=0.4, colour=QUIET)
    ticks = distance_ticks(
        low_um=0, high_um=plot.length_um, pt_per_um=plot.pt_per_um, least_apart_pt=_LEAST_TICKS_APART_PT
    )
    for tick_um, label in ticks:
        width_pt = metrics.width(label, PICTURE_QUIET)
        x = min(max(plot.x(tick_um) - width_pt / 2, plot.left), plot.right - width_pt)
        yield Text(x, foot + 10, label, PICTURE_QUIET)


def _course(tube: TubeLoss, plot: _Plot) -> Iterator[Mark]:
    """Give the band between the lowest and the highest sum, with the mean in it."""
    if not tube.known:
        return
    highest = _stairs(plot, tube.levels, [level.highest for level in tube.levels])
    lowest = _stairs(plot, tube.levels, [level.lowest for level in tube.levels])
    mean = _stairs(plot, tube.levels, [float(level.mean) for level in tube.levels])
    yield Area((*highest, *reversed(lowest)), HAIR)
    yield stroke(*mean, width_pt=0.5, colour=INK)
    yield stroke(*lowest, width_pt=0.7, colour=ACCENT, is_dashed=True)
    yield stroke(*highest, width_pt=1.0, colour=ACCENT)


def _stairs(plot: _Plot, levels: Sequence[Level], sums: Sequence[float]) -> tuple[Point, ...]:
    points = [(plot.left, plot.y(0))]
    for level, fixed in zip(levels, sums, strict=True):
        x, (_, before) = plot.x(level.from_a_um), points[-1]
        points += [(x, before), (x, plot.y(fixed))]
    return (*points, (plot.right, points[-1][1]))
