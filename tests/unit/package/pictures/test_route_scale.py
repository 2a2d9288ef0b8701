"""The route drawn to scale: sites where they are, labels where they can be read."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.design.layout import Layout
from tests.package_factories import make_content, with_design, with_findings
from tests.package_findings import make_joint_finding
from tests.package_reading import assert_tidy, pictures_of, text_boxes, texts_of
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding, read_finding
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.fonts.text_style import ACCENT, CONTENT_WIDTH
from worker.package.pages.flow import place_sections
from worker.package.pages.placed import PlacedPicture
from worker.package.pictures.label_layout import spread
from worker.package.pictures.picture import Area, Picture, Stroke
from worker.package.pictures.route_scale import MOST_SITES_ALONE
from worker.package.pictures.worst_joints import joints_by_site
from worker.package.sections.route_scale import ROUTE_SCALE_TITLE
from worker.package.view import build_view

UNEVEN_M = [5.0, 12_000.0, 5.0, 5.0, 5.0, 3000.0, 40.0, 12_000.0, 5.0, 900.0, 5.0, 5.0, 2000.0]
ROUTE_X = 140.0


def with_lengths(content: PackageContent, lengths_m: Sequence[float]) -> PackageContent:
    """Return the content with other lengths of cable, in which the fibre is as long as the cable."""
    sections = [
        section.model_copy(update={"cable_length_m": length_m, "slack_m": 0.0, "excess_percent": 0.0})
        for section, length_m in zip(content.design.sections, lengths_m, strict=True)
    ]
    return with_design(content, sections=tuple(sections))


def with_names(content: PackageContent, name: str) -> PackageContent:
    """Return the content with one name for all sites and segments."""
    design = content.design
    sites = tuple(site.model_copy(update={"name": name}) for site in design.sites)
    segments = tuple(segment.model_copy(update={"name": name}) for segment in design.segments)
    return with_design(content, sites=sites, segments=segments)


def with_a_segment_for_each_site(content: PackageContent) -> PackageContent:
    """Return the content with each site and each section a segment of its own."""
    design, [first, _] = content.design, content.design.segments
    parts = [({"sites": (site.id,), "sections": ()}, f"SEG-{site.id}") for site in design.sites]
    parts += [({"sites": (), "sections": (section.id,)}, f"SEG-{section.id}") for section in design.sections]
    segments = tuple(first.model_copy(update={**part, "id": id_}) for part, id_ in parts)
    return replace(
        with_design(content, segments=segments),
        segments=[segment.id for segment in segments],
        verdict={**content.verdict, "segments": {s.id: content.verdict["segments"]["SEG-1"] for s in segments}},
    )


ROUTES = {
    "two sites": make_content(closure_count=0),
    "fourteen sites": make_content(closure_count=12),
    "sixty sites": make_content(closure_count=58),
    "uneven": with_lengths(make_content(closure_count=12), UNEVEN_M),
    "sixty uneven sites": with_lengths(make_content(closure_count=58), [UNEVEN_M[n % 13] for n in range(59)]),
    "two metres": with_lengths(make_content(closure_count=1), [1.5, 0.8]),
    "no length at all": with_lengths(make_content(closure_count=2), [0.0, 0.0, 0.0]),
    "many nonconforming": with_findings(
        make_content(fibre_count=120, closure_count=2), lambda one: {**one, "outcome": "nonconforming"}
    ),
    "long names": with_names(make_content(closure_count=12), "W" * 500),
    "names of words": with_names(make_content(closure_count=58), "Quay street pit " * 30),
    "a segment for each site": with_a_segment_for_each_site(make_content(closure_count=16)),
}
every_route = pytest.mark.parametrize("content", ROUTES.values(), ids=ROUTES.keys())


@every_route
def test_no_label_lies_over_another_and_nothing_is_drawn_outside_its_picture(content: PackageContent) -> None:
    for picture in pictures_of(content, ROUTE_SCALE_TITLE):
        assert_tidy(picture, beyond_pt=1.0)
        points = [point for mark in picture.marks if isinstance(mark, Area | Stroke) for point in mark.points]
        assert all(0 <= x <= CONTENT_WIDTH and 0 <= y <= picture.height_pt for x, y in points)


@every_route
def test_each_site_stands_at_its_distance_to_one_scale(content: PackageContent) -> None:
    offsets = list(Layout(content.design).site_offsets_um)
    strips = [_site_heights(picture) for picture in pictures_of(content, ROUTE_SCALE_TITLE)]
    scales, first = set(), 0
    for heights in strips:
        own = offsets[first : first + len(heights)]
        first += len(heights) - 1
        pt_per_um = (heights[-1] - heights[0]) / (own[-1] - own[0]) if own[-1] > own[0] else 0.0
        assert heights == pytest.approx([heights[0] + (um - own[0]) * pt_per_um for um in own])
        scales.add(round(pt_per_um * 1e12))
    # The site where a strip ends is the first of the next, so the strips together show each site.
    assert first == len(offsets) - 1
    assert len(scales) == 1


@every_route
def test_each_site_is_named_with_its_kind_in_words(content: PackageContent) -> None:
    texts = [text for picture in pictures_of(content, ROUTE_SCALE_TITLE) for text in texts_of(picture)]
    assert {site.id for site in content.design.sites} <= set(texts)
    assert {str(site.kind).replace("_", " ") for site in content.design.sites} <= set(texts)
    for section in content.design.sections:
        assert any(text.startswith(f"section {section.id}: ") for text in texts)


def test_a_tick_stands_at_its_round_number() -> None:
    [picture] = pictures_of(ROUTES["uneven"], ROUTE_SCALE_TITLE)
    start, *_, end = _site_heights(picture)
    ticks = [mark for mark in picture.marks if isinstance(mark, Stroke) and mark.points[0][0] == 35.0]
    whole_km = sum(UNEVEN_M) / 1000
    said = [text for text in texts_of(picture) if text.replace(" km", "").isdigit()]
    assert said == ["0 km", "5", "10", "15", "20", "25"]
    for tick, text in zip(ticks, said, strict=True):
        km = int(text.replace(" km", ""))
        assert tick.points[0][1] == pytest.approx(start + (end - start) * km / whole_km)


def test_each_kind_of_site_has_a_shape_of_its_own() -> None:
    content = make_content(closure_count=2)
    first, closure, panel, last = content.design.sites
    sites = (first, closure, panel.model_copy(update={"kind": "patch_panel"}), last)
    [picture] = pictures_of(with_design(content, sites=sites), ROUTE_SCALE_TITLE)
    shapes = [_shape(mark) for mark in picture.marks if isinstance(mark, Area) and _is_site(mark)]
    assert shapes[0] == shapes[3]
    assert len(set(shapes)) == 3


def test_a_segment_that_is_not_submitted_is_empty_and_says_so() -> None:
    [picture] = pictures_of(make_content(segments=["SEG-2"]), ROUTE_SCALE_TITLE)
    bars = [mark for mark in picture.marks if isinstance(mark, Area) and mark.colour == ACCENT]
    assert len(bars) == 1
    texts = texts_of(picture)
    # The segment, and its sites T-A and C01.
    assert texts.count("not submitted") == 3
    assert texts.count("submitted") == 1


def test_each_site_shows_its_worst_joint_with_value_limit_and_how_many_came_out_so() -> None:
    [picture] = pictures_of(make_content(), ROUTE_SCALE_TITLE)
    boxes = text_boxes(picture)
    [top] = [top for _, top, _, _, text in boxes if text == "C01"]
    # Its two lines, and none of the section behind it.
    assert {text for left, y, _, _, text in boxes if left > ROUTE_X and -1 < y - top < 12} == {
        "C01",
        "Quay street pit 1",
        "splice closure",
        "1881.72 m",
        "■ 1 nonconforming",
        "0.1045 dB, limit 0.100: splice, fibre 1, 1550 nm",
    }


def test_bounds_of_a_high_fibre_are_told_in_full() -> None:
    content = make_content(fibre_count=1, closure_count=1)
    [fibre] = content.fibres
    findings: list[Any] = [
        {**{n: v for n, v in one.items() if n != "value"}, "fibre": 1728, "low": "0.0330", "high": "0.0530"}
        for one in fibre["findings"]
        if one["quantity"] == "termination_loss"
    ]
    [picture] = pictures_of(replace(content, fibres=[{**fibre, "findings": findings}]), ROUTE_SCALE_TITLE)
    assert "0.0330 to 0.0530 dB, limit 0.600: termination, fibre 1728, 1550 nm" in texts_of(picture)


def test_more_sites_than_one_strip_holds_are_parted_and_each_strip_is_named() -> None:
    assert len(pictures_of(make_content(closure_count=MOST_SITES_ALONE - 2), ROUTE_SCALE_TITLE)) == 1
    parted = pictures_of(make_content(closure_count=MOST_SITES_ALONE - 1), ROUTE_SCALE_TITLE)
    assert [texts_of(picture)[0] for picture in parted] == [
        "Strip 1 of 3, T-A to C07",
        "Strip 2 of 3, C07 to C13",
        "Strip 3 of 3, C13 to T-B",
    ]


@pytest.mark.parametrize(("sites", "on_pages"), [(MOST_SITES_ALONE, [1]), (60, [2, 2, 2, 2])])
def test_the_drawing_fills_its_pages(sites: int, on_pages: list[int]) -> None:
    content = make_content(fibre_count=1, closure_count=sites - 2)
    own = pictures_of(content, ROUTE_SCALE_TITLE)
    pages = place_sections(build_view(content).sections, FontMetrics())
    placed = [[one for one in page if isinstance(one, PlacedPicture) and one.picture in own] for page in pages]
    assert [len(pictures) for pictures in placed if pictures] == on_pages


@pytest.mark.parametrize(
    ("hidden", "margin"),
    [
        # What does not conform is worse than what has less margin.
        ({"margin": "-0.0010", "outcome": "conforming"}, "0.0200"),
        # An advisory finding hides no required one.
        ({"margin": "-0.0900", "outcome": "nonconforming", "force": "advisory"}, "-0.0100"),
    ],
)
def test_the_required_joint_that_does_not_conform_is_the_worst(hidden: dict[str, Any], margin: str) -> None:
    found = [_splice(**hidden), _splice(margin=margin, outcome="nonconforming", fibre=2)]
    [joints] = joints_by_site({Quantity.SPLICE_LOSS: found}).values()
    assert joints.worst == found[1]


def test_of_joints_that_conform_the_one_nearest_to_its_own_limit_is_shown() -> None:
    termination = _splice(margin="0.0100", outcome="conforming")._replace(quantity=Quantity.TERMINATION_LOSS)
    splice = _splice(margin="0.0200", outcome="conforming")
    [joints] = joints_by_site({Quantity.SPLICE_LOSS: [splice], Quantity.TERMINATION_LOSS: [termination]}).values()
    assert joints.worst == termination


def test_a_site_of_which_something_is_unknown_does_not_look_conforming() -> None:
    unknown = _splice(margin="", outcome="undetermined")._replace(margin=None, value=None)
    [joints] = joints_by_site({Quantity.SPLICE_LOSS: [unknown, _splice(margin="0.05", outcome="conforming")]}).values()
    assert joints.outcome == "undetermined"
    [joints] = joints_by_site({Quantity.SPLICE_LOSS: [unknown]}).values()
    assert joints.worst_text() == "no loss is known"


wishes = st.lists(st.tuples(st.floats(0, 400), st.floats(0.5, 40)), max_size=30)


@given(wishes)
def test_spread_labels_keep_their_order_and_never_overlap(labels: list[tuple[float, float]]) -> None:
    wished, sizes = sorted(wish for wish, _ in labels), [size for _, size in labels]
    middles = spread(wished, sizes, low=0, high=max(400, sum(sizes)))
    for index, (upper, lower) in enumerate(pairwise(middles)):
        assert lower - upper >= (sizes[index] + sizes[index + 1]) / 2 - 1e-6
    assert all(middle - size / 2 >= -1e-6 for middle, size in zip(middles, sizes, strict=True))
    assert all(middle + size / 2 <= max(400, sum(sizes)) + 1e-6 for middle, size in zip(middles, sizes, strict=True))


@pytest.mark.parametrize(("wished", "spread_out"), [([20, 60, 90], [20, 60, 90]), ([50, 50, 50], [40, 50, 60])])
def test_labels_stay_where_there_is_room_and_move_apart_about_one_point(
    wished: list[float], spread_out: list[float]
) -> None:
    assert spread(wished, [10, 10, 10], low=0, high=100) == spread_out


def _splice(*, margin: str, outcome: str, fibre: int = 1, force: str = "required") -> Finding:
    finding = make_joint_finding(fibre, site="C01", wavelength_nm=1550, step=1)
    return read_finding({**finding, "margin": margin, "outcome": outcome, "force": force})


def _site_heights(picture: Picture) -> list[float]:
    return [_middle(mark)[1] for mark in picture.marks if isinstance(mark, Area) and _is_site(mark)]


def _is_site(area: Area) -> bool:
    return _middle(area)[0] == pytest.approx(ROUTE_X)


def _middle(area: Area) -> tuple[float, float]:
    xs, ys = zip(*area.points, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _shape(area: Area) -> frozenset[tuple[float, float]]:
    x, y = _middle(area)
    return frozenset((round(px - x, 3), round(py - y, 3)) for px, py in area.points)
