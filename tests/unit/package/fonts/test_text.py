"""Text on its way to the page: cleaned, measured, folded; and the code as a symbol."""

import pytest

from worker.package.fonts.font_metrics import FontMetrics, without_controls
from worker.package.fonts.text_style import BODY, CELL, Face
from worker.package.pages.cover_page import qr_boxes


@pytest.mark.parametrize(
    ("text", "harmless"),
    [
        ("a\tb\nc", "a b c"),
        ("a\x00b\x1bc", "abc"),
        ("pay\u202e001", "pay001"),
        ("\u2066x\u2069\u200b", "x"),
        ("\ud800", "\ufffd"),
        ("Ω ≤ ± Ø", "Ω ≤ ± Ø"),
    ],
)
def test_controls_go_and_letters_stay(text: str, harmless: str) -> None:
    assert without_controls(text) == harmless


def test_a_character_the_face_lacks_is_replaced() -> None:
    assert FontMetrics().clean("a张b", Face.REGULAR) == "a\ufffdb"


@pytest.mark.parametrize("text", ["short", "two words and some more " * 9, "W" * 4000, "i" * 500 + " " + "W" * 500])
def test_folded_lines_fit_and_lose_nothing(text: str) -> None:
    metrics = FontMetrics()
    lines = metrics.fold(text, BODY, width_pt=100)
    assert all(metrics.width(line, BODY) <= 100 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_shortened_text_fits_and_shows_that_it_is_short() -> None:
    metrics = FontMetrics()
    line = metrics.shorten("Harbour ring renewal and much else", CELL, width_pt=60)
    assert line.endswith("…")
    assert metrics.width(line, CELL) <= 60
    assert metrics.shorten("Harbour", CELL, width_pt=60) == "Harbour"


def test_a_symbol_fills_its_square_and_has_a_finder_in_three_corners() -> None:
    boxes = list(qr_boxes("K7QM-2XVD-91TB-PW5E", left=10, top=110, side_pt=100))
    lefts, bottoms, rights, tops = zip(*boxes, strict=True)
    assert (min(lefts), max(tops)) == (10, 110)
    assert (min(bottoms), max(rights)) == pytest.approx((10, 110))
    module_pt = min(right - left for left, right in zip(lefts, rights, strict=True))
    # A finder's outer line is seven modules (ISO/IEC 18004, from memory); the fourth corner has none.
    first_line = [(left, right) for left, _, right, top in boxes if top == 110]
    assert first_line[0][1] - first_line[0][0] == pytest.approx(7 * module_pt)
    assert first_line[-1][1] - first_line[-1][0] == pytest.approx(7 * module_pt)
    last_line = [(left, right) for left, bottom, right, _ in boxes if bottom == pytest.approx(10)]
    assert last_line[0][1] - last_line[0][0] == pytest.approx(7 * module_pt)
    assert last_line[-1][1] - last_line[-1][0] < 7 * module_pt
