"""Draw a strip of the route to scale: distances down the page, so that every label is a line of text beside its site.

To scale is to scale: where sites lie closer than their labels are high the labels move, and a thin line leads to each.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise, starmap
from math import cos, pi, sin

from service.vocabulary.design.words import SiteKind
from service.vocabulary.quantities import metres_text
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import (
    CONTENT_WIDTH,
    INK,
    PICTURE,
    PICTURE_NAME,
    PICTURE_OUTCOMES,
    PICTURE_QUIET,
    QUIET,
    SUBHEADING,
    WHITE,
    marked_count,
)
from worker.package.phrases import words
from worker.package.pictures.fixed_point import distance_ticks
from worker.package.pictures.label_layout import spread
from worker.package.pictures.picture import Area, Mark, Picture, Text, box, outline, right_text, stroke
from worker.package.pictures.route_scale import SiteOnScale, Strip, ToY
from worker.package.pictures.route_segments import segment_marks

_MOST_AXIS_PT, _LEAST_AXIS_PT, _STRIP_AXIS_PT = 570.0, 120.0, 233.0
_TITLE_PT, _ABOVE_TITLE_PT = 26.0, 7.0
_SITE_PT, _LINE_PT, _END_PT = 29.5, 9.2, 16.0
_TICK_X, _ROUTE_X, _LABEL_X = 38.0, 140.0, 168.0
_LEAST_TICKS_APART_PT = 34.0
_AFTER_OUTCOME_PT = 8.0


def axis_pt_per_um(strips: Sequence[Strip]) -> float:
    """Return the one scale that all strips are drawn to: as large as the longest of them allows."""
    longest = max(strips, key=lambda strip: strip.last_um - strip.first_um)
    length_um = longest.last_um - longest.first_um
    roomy_pt = min(max(len(longest.sites) * _SITE_PT * 1.15, _LEAST_AXIS_PT), _MOST_AXIS_PT)
    axis_pt = roomy_pt if len(strips) == 1 else _STRIP_AXIS_PT
    return axis_pt / length_um if length_um else 0.0


def strip_picture(strip: Strip, metrics: FontMetrics, *, pt_per_um: float, title: str | None) -> Picture:
    """Return the picture of one strip."""
    above_pt = 0.0 if title is None else _TITLE_PT
    axis_pt = (strip.last_um - strip.first_um) * pt_per_um
    height_pt = above_pt + max(axis_pt + 2 * _END_PT, len(strip.sites) * _SITE_PT)
    top = (height_pt + above_pt - axis_pt) / 2

    def to_y(from_a_um: int) -> float:
        return top + (from_a_um - strip.first_um) * pt_per_um

    marks = [
        *(() if title is None else [Text(0, _ABOVE_TITLE_PT + SUBHEADING.size_pt, title, SUBHEADING)]),
        *_axis(strip, metrics, to_y, pt_per_um=pt_per_um),
        *segment_marks(strip, metrics, to_y, low=above_pt, high=height_pt),
        *_sites(strip, metrics, to_y, low=above_pt, high=height_pt),
    ]
    return Picture(height_pt=height_pt, marks=marks)


def _axis(strip: Strip, metrics: FontMetrics, to_y: ToY, *, pt_per_um: float) -> Iterator[Mark]:
    """Give the scale: a tick at each round number."""
    low_um, high_um = strip.first_um, strip.last_um
    yield stroke((_TICK_X, to_y(low_um)), (_TICK_X, to_y(high_um)), width_pt=0.5, colour=QUIET)
    ticks = distance_ticks(low_um=low_um, high_um=high_um, pt_per_um=pt_per_um, least_apart_pt=_LEAST_TICKS_APART_PT)
    for tick_um, label in ticks:
        y = to_y(tick_um)
        yield stroke((_TICK_X - 3, y), (_TICK_X, y), width_pt=0.5, colour=QUIET)
        yield right_text(_TICK_X - 5, y + 2.4, label, PICTURE_QUIET, metrics)


def _sites(strip: Strip, metrics: FontMetrics, to_y: ToY, *, low: float, high: float) -> Iterator[Mark]:
    points = [to_y(site.from_a_um) for site in strip.sites]
    middles = spread(points, [_SITE_PT] * len(points), low=low, high=high)
    yield stroke((_ROUTE_X, points[0]), (_ROUTE_X, points[-1]), width_pt=1.4, colour=INK)
    right_of_shape = _ROUTE_X + SHAPE_PT
    for point, middle in zip(points, middles, strict=True):
        leader = ((right_of_shape, point), (right_of_shape + 4, point), (_LABEL_X - 8, middle), (_LABEL_X - 4, middle))
        yield stroke(*leader, width_pt=0.4, colour=QUIET)
    for site, point in zip(strip.sites, points, strict=True):
        yield from site_shape(site.site.kind, _ROUTE_X, point)
    for site, middle in zip(strip.sites, middles, strict=True):
        yield from _site_label(site, metrics, y=middle)
    yield from _joints_labels(strip.sites, metrics, [middle - 2 + _LINE_PT for middle in middles])
    for section, (first, last), (above, below) in zip(
        strip.sections, pairwise(strip.sites), pairwise(middles), strict=True
    ):
        label = f"section {section}: {metres_text(last.from_a_um - first.from_a_um)} m"
        text = metrics.shorten(label, PICTURE_QUIET, width_pt=CONTENT_WIDTH - _LABEL_X - 14)
        yield Text(_LABEL_X + 14, (above + below) / 2 + 3.4, text, PICTURE_QUIET)


def _site_label(one: SiteOnScale, metrics: FontMetrics, *, y: float) -> Iterator[Mark]:
    distance, kind = f"{metres_text(one.from_a_um)} m", words(one.site.kind)
    room = CONTENT_WIDTH - _LABEL_X - metrics.width(distance, PICTURE) - metrics.width(kind, PICTURE) - 24
    id_ = metrics.shorten(one.site.id, PICTURE_NAME, width_pt=room / 2)
    after_id = _LABEL_X + metrics.width(id_, PICTURE_NAME) + 6
    name = metrics.shorten(one.site.name, PICTURE, width_pt=room - (after_id - _LABEL_X))
    after_name = after_id + metrics.width(name, PICTURE) + 6
    yield Text(_LABEL_X, y - 2, id_, PICTURE_NAME)
    yield Text(after_id, y - 2, name, PICTURE)
    yield Text(after_name, y - 2, kind, PICTURE_QUIET)
    yield right_text(CONTENT_WIDTH, y - 2, distance, PICTURE, metrics)


def _joints_labels(sites: Sequence[SiteOnScale], metrics: FontMetrics, ys: Sequence[float]) -> Iterator[Mark]:
    """Give what was found at each site: how many came out worst, and behind that, in one column, the worst joint."""
    judged = [(site.joints, y) for site, y in zip(sites, ys, strict=True) if site.is_submitted and site.joints]
    counted = [(marked_count(one.outcome, one.counts[one.outcome]), PICTURE_OUTCOMES[one.outcome]) for one, _ in judged]
    worst_x = _LABEL_X + max(starmap(metrics.width, counted), default=0.0) + _AFTER_OUTCOME_PT
    for (joints, y), (text, style) in zip(judged, counted, strict=True):
        worst = metrics.shorten(joints.worst_text(), PICTURE, width_pt=CONTENT_WIDTH - worst_x)
        yield Text(_LABEL_X, y, text, style)
        yield Text(worst_x, y, worst, PICTURE)
    for site, y in zip(sites, ys, strict=True):
        if not (site.is_submitted and site.joints):
            yield Text(_LABEL_X, y, "no loss judged here" if site.is_submitted else "not submitted", PICTURE_QUIET)


SHAPE_PT = 4.0
_CORNERS_OF_A_ROUND_SHAPE = 24


def site_shape(kind: SiteKind, x: float, y: float) -> Iterator[Mark]:
    """Give a site's shape, with its middle at a point.

    A terminal's is a full square, a closure's a ring, a patch panel's an empty diamond, a stub's a bar.
    """
    if kind is SiteKind.TERMINAL:
        yield box(x - SHAPE_PT, y - SHAPE_PT, x + SHAPE_PT, y + SHAPE_PT, colour=INK)
        return
    if kind is SiteKind.STUB:
        yield box(x - SHAPE_PT, y - 1.0, x + SHAPE_PT, y + 1.0, colour=INK)
        return
    if kind is SiteKind.SPLICE_CLOSURE:
        angles = [2 * pi * index / _CORNERS_OF_A_ROUND_SHAPE for index in range(_CORNERS_OF_A_ROUND_SHAPE)]
        points = tuple((x + 3.4 * cos(angle), y + 3.4 * sin(angle)) for angle in angles)
    else:
        reach = SHAPE_PT + 0.6
        points = ((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y))
    yield Area(points, WHITE)
    yield outline(points, width_pt=1.2, colour=INK)
