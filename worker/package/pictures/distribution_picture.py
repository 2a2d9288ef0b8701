"""Draw how losses are distributed about their limit, with the figures in words beside it."""

from collections.abc import Iterator
from fractions import Fraction

from service.vocabulary.quantities import decimal_text
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import (
    ACCENT,
    CONTENT_WIDTH,
    HAIR,
    INK,
    PICTURE,
    PICTURE_NAME,
    PICTURE_QUIET,
    QUIET,
    SUBHEADING,
    WARM,
    WHITE,
)
from worker.package.pictures.fixed_point import fixed_text, multiples, round_step, tick_text
from worker.package.pictures.label_layout import spread
from worker.package.pictures.picture import Mark, Picture, Text, box, middle_text, outline, right_text, stroke
from worker.package.pictures.splice_distribution import Distribution

_LEFT, _RIGHT, _TOP, _BOTTOM, _HEIGHT_PT = 26.0, 330.0, 48.0, 134.0, 150.0
_TITLE_Y, _LABELS_Y = 16.0, 32.0
_WORDS_X = 350.0
# A single joint over the limit must be seen beside a thousand good ones.
_LEAST_BAR_PT = 2.4
_LEAST_TICKS_APART_PT = 34.0
_BETWEEN_LABELS_PT = 8.0


def distribution_picture(distribution: Distribution, metrics: FontMetrics, *, title: str) -> Picture:
    """Return the histogram of one criterion with its limits, and what it leaves out in words."""
    scale = _Scale(distribution)
    marks = [
        Text(0, _TITLE_Y, metrics.shorten(title, SUBHEADING, width_pt=CONTENT_WIDTH), SUBHEADING),
        *_axes(scale, metrics),
        *_bars(scale),
        *_lines(scale, metrics),
        *_words(distribution, metrics),
    ]
    return Picture(height_pt=_HEIGHT_PT, marks=marks)


class _Scale:
    """Where losses and counts lie on the sheet."""

    def __init__(self, distribution: Distribution) -> None:
        self.distribution = distribution
        self.known, self.at_most = distribution.bins(distribution.known), distribution.bins(distribution.at_most)
        # What lies beyond the axis has a bin of its own at its end.
        bins = {*self.known, *self.at_most, *map(distribution.bin_of, distribution.reach)}
        self.low, self.high = distribution.end_of(min(bins) - 1), distribution.end_of(max(bins))
        self.most = max(self.known[one] + self.at_most[one] for one in bins) or 1

    def x(self, fixed: int) -> float:
        """Return where a loss lies."""
        return _LEFT + (fixed - self.low) / (self.high - self.low) * (_RIGHT - _LEFT)

    def height(self, count: int) -> float:
        """Return how high a bar is."""
        return max(count / self.most * (_BOTTOM - _TOP), _LEAST_BAR_PT) if count else 0.0


def _axes(scale: _Scale, metrics: FontMetrics) -> Iterator[Mark]:
    step = round_step(max(scale.most / 4, 1))
    for count in multiples(step, low=0, high=scale.most):
        y = _BOTTOM - count / scale.most * (_BOTTOM - _TOP)
        yield stroke((_LEFT, y), (_RIGHT, y), width_pt=0.3, colour=HAIR)
        yield right_text(_LEFT - 4, y + 2.3, str(count), PICTURE_QUIET, metrics)
    yield stroke((_LEFT, _BOTTOM), (_RIGHT, _BOTTOM), width_pt=0.5, colour=QUIET)
    tick = round_step(_LEAST_TICKS_APART_PT * (scale.high - scale.low) / (_RIGHT - _LEFT))
    for index, fixed in enumerate(multiples(tick, low=scale.low, high=scale.high)):
        x, label = scale.x(fixed), tick_text(fixed)
        yield stroke((x, _BOTTOM), (x, _BOTTOM + 3), width_pt=0.5, colour=QUIET)
        yield middle_text(x, _BOTTOM + 10.5, f"{label} dB" if index == 0 else label, PICTURE_QUIET, metrics)


def _bars(scale: _Scale) -> Iterator[Mark]:
    for one in sorted({*scale.known, *scale.at_most}):
        left, right = (scale.x(scale.distribution.end_of(end)) for end in (one - 1, one))
        # Bin 0 ends with the limit.
        colour = ACCENT if one <= 0 else WARM
        foot = _BOTTOM - scale.height(scale.known[one])
        if scale.known[one]:
            yield box(left + 0.3, foot, right - 0.3, _BOTTOM, colour=colour)
        if scale.at_most[one]:
            top = foot - scale.height(scale.at_most[one])
            yield box(left + 0.3, top, right - 0.3, foot, colour=WHITE)
            yield outline(box(left + 0.5, top, right - 0.5, foot, colour=WHITE).points, width_pt=0.5, colour=colour)


def _lines(scale: _Scale, metrics: FontMetrics) -> Iterator[Mark]:
    lines = sorted(scale.distribution.lines, key=lambda line: line.fixed)
    labels = [f"{line.label} {line.text}" for line in lines]
    sizes = [metrics.width(label, PICTURE_NAME) + _BETWEEN_LABELS_PT for label in labels]
    points = [scale.x(line.fixed) for line in lines]
    middles = spread(points, sizes, low=0, high=_RIGHT + 14)
    for line, label, point, middle in zip(lines, labels, points, middles, strict=True):
        is_limit = line is scale.distribution.lines[0]
        style, width_pt = (PICTURE_NAME, 0.9) if is_limit else (PICTURE_QUIET, 0.6)
        corners = (middle, _LABELS_Y + 3), (point, _TOP - 6), (point, _BOTTOM)
        yield stroke(*corners, width_pt=width_pt, colour=INK, is_dashed=not is_limit)
        yield middle_text(middle, _LABELS_Y, label, style, metrics)


def _words(distribution: Distribution, metrics: FontMetrics) -> Iterator[Mark]:
    y, style = _LABELS_Y, PICTURE_NAME
    for sentence in _sentences(distribution):
        for line in metrics.fold(sentence, style, width_pt=CONTENT_WIDTH - _WORDS_X):
            yield Text(_WORDS_X, y, line, style)
            y += style.leading_pt
        y, style = y + 2.4, PICTURE


def _sentences(distribution: Distribution) -> Iterator[str]:
    """Say every count and the mean; the counts of what is drawn and what is not add up to all findings."""
    total, conforming, known = distribution.findings, distribution.conforming, distribution.known
    yield f"{total} findings"
    yield f"{conforming} of them conform: {decimal_text(round(Fraction(10_000 * conforming, total)), places=2)} %"
    if known:
        yield f"{len(known)} drawn full, their mean {fixed_text(Fraction(sum(known), len(known)))} dB"
    if distribution.at_most:
        yield f"{len(distribution.at_most)} known only within bounds: drawn empty, at the upper bound"
    if distribution.undetermined:
        yield f"{distribution.undetermined} not drawn: undetermined"
    if distribution.with_connection:
        yield f"{distribution.with_connection} not drawn: seen only together with a connection"
    low, high = distribution.reach
    losses = [*known, *distribution.at_most]
    if above := [loss for loss in losses if loss > high]:
        yield f"{len(above)} above {fixed_text(high)} dB, up to {fixed_text(max(above))}: all in the last bar"
    if below := [loss for loss in losses if loss < low]:
        yield f"{len(below)} below {fixed_text(low)} dB, down to {fixed_text(min(below))}: all in the first bar"
