"""Draw the segments along a strip of the route: a full bar where a segment is submitted, an empty one where not."""

from collections.abc import Iterator, Sequence

from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import ACCENT, PICTURE, PICTURE_NAME, PICTURE_QUIET, QUIET, Style
from worker.package.pictures.label_layout import spread
from worker.package.pictures.picture import Mark, Text, box, outline, stroke
from worker.package.pictures.route_scale import SegmentOnScale, Strip, ToY

_LEFT, _RIGHT, _LABEL_X, _LABEL_RIGHT = 46.0, 52.0, 62.0, 128.0
_LINE_PT, _PADDING_PT, _LEAST_BAR_PT, _GAP_PT = 8.4, 4.0, 2.4, 0.7


def segment_marks(strip: Strip, metrics: FontMetrics, to_y: ToY, *, low: float, high: float) -> Iterator[Mark]:
    """Give the bars of the segments, each with its label."""
    ends = [_ends(segment, strip, to_y) for segment in strip.segments]
    lines = 3 if len(ends) * (3 * _LINE_PT + _PADDING_PT) <= high - low else 1
    size_pt = lines * _LINE_PT + (_PADDING_PT if lines > 1 else 0.4)
    middles = spread([sum(one) / 2 for one in ends], [size_pt] * len(ends), low=low, high=high)
    for segment, (top, bottom), middle in zip(strip.segments, ends, middles, strict=True):
        bar = box(_LEFT, top, _RIGHT, bottom, colour=ACCENT)
        yield bar if segment.is_submitted else outline(bar.points, width_pt=0.5, colour=QUIET)
        point = (top + bottom) / 2
        leader = ((_RIGHT, point), (_RIGHT + 2, point), (_LABEL_X - 4, middle), (_LABEL_X - 2, middle))
        yield stroke(*leader, width_pt=0.4, colour=QUIET)
        yield from _label(_lines_of(segment, lines), metrics, middle=middle)


def _ends(segment: SegmentOnScale, strip: Strip, to_y: ToY) -> tuple[float, float]:
    top = to_y(max(segment.first_um, strip.first_um))
    bottom = to_y(min(segment.last_um, strip.last_um))
    if bottom - top < _LEAST_BAR_PT:
        middle = (top + bottom) / 2
        return middle - _LEAST_BAR_PT / 2, middle + _LEAST_BAR_PT / 2
    # A gap shows where one segment ends and the next begins; one that goes on in another strip has none there.
    starts, ends = segment.first_um >= strip.first_um, segment.last_um <= strip.last_um
    return top + _GAP_PT * starts, bottom - _GAP_PT * ends


def _lines_of(segment: SegmentOnScale, lines: int) -> Sequence[tuple[Style, str]]:
    state = "submitted" if segment.is_submitted else "not submitted"
    if lines == 1:
        return ((PICTURE_NAME if segment.is_submitted else PICTURE_QUIET, segment.segment.id),)
    return ((PICTURE_NAME, segment.segment.id), (PICTURE, segment.segment.name), (PICTURE_QUIET, state))


def _label(lines: Sequence[tuple[Style, str]], metrics: FontMetrics, *, middle: float) -> Iterator[Mark]:
    y = middle - len(lines) * _LINE_PT / 2 + 6.4
    for index, (style, text) in enumerate(lines):
        shortened = metrics.shorten(text, style, width_pt=_LABEL_RIGHT - _LABEL_X)
        yield Text(_LABEL_X, y + index * _LINE_PT, shortened, style)
