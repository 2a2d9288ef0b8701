"""Colours that carry meaning: told apart by colour-blind readers and on a grey copy, and dark enough on white paper.

Simulation: Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency",
IEEE TVCG 15(6), 2009, matrices of severity 1.0 for linear RGB, from memory and compared with several public copies of
the table; the paper itself was not opened. CIE L*a*b* and sRGB (IEC 61966-2-1, D65) and contrast (WCAG 2.1, relative
luminance and contrast ratio) from memory.
"""

from collections.abc import Sequence
from itertools import combinations
from math import dist

import pytest

from service.vocabulary.design.words import SiteKind
from service.vocabulary.findings.words import Outcome
from tests.package_factories import make_content
from tests.package_reading import pictures_of
from worker.package.fonts.text_style import (
    ACCENT,
    HAIR,
    INK,
    OUTCOME_STYLES,
    QUIET,
    WARM,
    WHITE,
    Rgb,
    marked,
    marked_count,
)
from worker.package.pictures.picture import Area, Stroke, Text
from worker.package.pictures.route_picture import site_shape
from worker.package.sections.accumulated import ACCUMULATED_TITLE
from worker.package.sections.distribution import DISTRIBUTION_TITLE
from worker.package.sections.route_scale import ROUTE_SCALE_TITLE

Matrix = Sequence[Sequence[float]]

VISION: dict[str, Matrix] = {
    "full": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deutan": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritan": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
# CIE 1976; just noticeable is about 2.3 (Mahy and others 1994, from memory). Eight times that is plain at a glance:
# common practice, no source.
LEAST_DISTANCE = 20.0
# Steps of lightness that a copier keeps apart: common practice, no source.
LEAST_LIGHTNESS_STEP = 10.0
# WCAG 2.1, 1.4.3 for text and 1.4.11 for what has to be seen of a drawing.
TEXT_CONTRAST, DRAWING_CONTRAST = 4.5, 3.0

OUTCOME_COLOURS = {outcome: style.colour for outcome, style in OUTCOME_STYLES.items()}
TEXT_COLOURS = {"ink": INK, "quiet": QUIET, "accent": ACCENT, "warm": WARM}


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize(("one", "other"), list(combinations(Outcome, 2)))
def test_outcomes_are_told_apart_whatever_a_reader_sees(vision: str, one: Outcome, other: Outcome) -> None:
    assert _distance(OUTCOME_COLOURS[one], OUTCOME_COLOURS[other], VISION[vision]) >= LEAST_DISTANCE


@pytest.mark.parametrize("vision", VISION)
def test_bars_within_and_over_a_limit_and_the_paper_are_told_apart(vision: str) -> None:
    for one, other in combinations((ACCENT, WARM, WHITE), 2):
        assert _distance(one, other, VISION[vision]) >= LEAST_DISTANCE


@pytest.mark.parametrize(("one", "other"), list(combinations((ACCENT, WARM, INK, WHITE), 2)))
def test_a_grey_copy_keeps_steps_of_lightness_between_them(one: Rgb, other: Rgb) -> None:
    assert abs(_lab(_linear(one))[0] - _lab(_linear(other))[0]) >= LEAST_LIGHTNESS_STEP


@pytest.mark.parametrize("colour", TEXT_COLOURS)
def test_text_has_contrast_enough_on_white(colour: str) -> None:
    assert _contrast(TEXT_COLOURS[colour], WHITE) >= TEXT_CONTRAST


def test_lines_are_seen_on_the_band_that_they_bound() -> None:
    for line in (ACCENT, INK):
        assert _contrast(line, HAIR) >= DRAWING_CONTRAST


def test_an_outcome_is_a_word_and_a_mark_before_it_is_a_colour() -> None:
    for said in ([marked(one) for one in Outcome], [marked_count(one, 3) for one in Outcome]):
        assert len({text[0] for text in said}) == 3
        assert all(text.endswith(outcome.value) for text, outcome in zip(said, Outcome, strict=True))


def test_pictures_use_no_other_colour_than_those_tested_here() -> None:
    tested = {ACCENT, HAIR, INK, QUIET, WARM, WHITE}
    for title in (ROUTE_SCALE_TITLE, DISTRIBUTION_TITLE, ACCUMULATED_TITLE):
        for picture in pictures_of(make_content(), title):
            for mark in picture.marks:
                assert (mark.style.colour if isinstance(mark, Text) else mark.colour) in tested


def test_kinds_of_sites_differ_in_shape_and_not_in_colour() -> None:
    lines = {kind: {mark.colour for mark in site_shape(kind, 0, 0) if isinstance(mark, Stroke)} for kind in SiteKind}
    fills = {kind: [mark for mark in site_shape(kind, 0, 0) if isinstance(mark, Area)] for kind in SiteKind}
    assert {colour for colours in lines.values() for colour in colours} == {INK}
    assert len({area.points for areas in fills.values() for area in areas}) == len(SiteKind)


def test_the_simulation_leaves_greys_alone_and_the_measures_give_known_values() -> None:
    for matrix in VISION.values():
        assert _seen((0.5, 0.5, 0.5), matrix) == pytest.approx(_linear((0.5, 0.5, 0.5)), abs=1e-5)
    # White has L* 100 by definition, and black on white the greatest contrast there is.
    assert _lab(_linear(WHITE)) == pytest.approx((100, 0, 0), abs=0.02)
    assert _contrast((0.0, 0.0, 0.0), WHITE) == pytest.approx(21)
    # Red and green of equal lightness run together for a protan and not for full sight.
    red, green = (0.8, 0.3, 0.2), (0.42, 0.5, 0.18)
    assert _distance(red, green, VISION["protan"]) < LEAST_DISTANCE < _distance(red, green, VISION["full"])


def _distance(one: Rgb, other: Rgb, matrix: Matrix) -> float:
    return dist(_lab(_seen(one, matrix)), _lab(_seen(other, matrix)))


def _seen(colour: Rgb, matrix: Matrix) -> Rgb:
    linear = _linear(colour)
    red, green, blue = (sum(w * c for w, c in zip(row, linear, strict=True)) for row in matrix)
    return min(max(red, 0.0), 1.0), min(max(green, 0.0), 1.0), min(max(blue, 0.0), 1.0)


def _linear(colour: Rgb) -> Rgb:
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour)
    return red, green, blue


def _luminance(linear: Rgb) -> float:
    red, green, blue = linear
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: Rgb, other: Rgb) -> float:
    darker, lighter = sorted((_luminance(_linear(one)), _luminance(_linear(other))))
    return (lighter + 0.05) / (darker + 0.05)


def _lab(linear: Rgb) -> tuple[float, float, float]:
    red, green, blue = linear
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.95047
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.08883
    fx, fy, fz = (_cube_root(part) for part in (x, _luminance(linear), z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def _cube_root(part: float) -> float:
    return part ** (1 / 3) if part > (6 / 29) ** 3 else part / (3 * (6 / 29) ** 2) + 4 / 29
