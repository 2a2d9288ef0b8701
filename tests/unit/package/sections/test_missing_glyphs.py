"""Characters that no embedded typeface has: replaced where all can see it, and listed; other text does no harm."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.vocabulary.findings.concession import Concession
from tests.package_factories import make_content, with_design
from tests.package_reading import draw_content, page_texts, printed_words, rows_of, squeezed
from worker.package.data.content import PackageContent
from worker.package.fonts.font_metrics import REPLACEMENT, load_face, without_controls
from worker.package.fonts.text_style import Face
from worker.package.sections.missing_glyphs import GLYPHS_TITLE
from worker.package.view import build_view

HAN, HANGUL, EMOJI = "张", "한", "\U0001f6a7"


def with_site_name(content: PackageContent, name: str) -> PackageContent:
    """Return the content with another name for its first site."""
    first, *others = content.design.sites
    return with_design(content, sites=(first.model_copy(update={"name": name}), *others))


def with_reason(content: PackageContent, reason: str) -> PackageContent:
    """Return the content with a concession asked for with a reason."""
    asked = Concession(criterion="SPL-1550", fibre=1, site="C01", position=1, reason="The pit floods.")
    # The door refuses much of what is tried here; a page must stand it all the same.
    return replace(content, concessions=[asked.model_copy(update={"reason": reason})])


def with_end_reason(content: PackageContent, reason: str) -> PackageContent:
    """Return the content with its first record replaced for a reason."""
    [first, *others] = content.records
    return replace(content, records=[replace(first, is_ended=True, end_reason=reason), *others])


def test_each_character_is_listed_by_code_point_with_each_place_where_it_stands() -> None:
    content = with_reason(with_site_name(make_content(), f"Quay {HAN}"), f"{EMOJI} {HAN}")
    assert rows_of(content, GLYPHS_TITLE) == [
        ("U+5F20", "; ".join(map(_numbered, ("The route to scale", "Segments and sites", "Concessions asked for")))),
        ("U+1F6A7", _numbered("Concessions asked for")),
    ]


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda: make_content(responsible_person=HAN), "first page; second page"),
        (lambda: make_content(owner=HAN), "first page; second page"),
        (lambda: make_content(project_name=HAN), "head or foot of each page; first page"),
        (lambda: make_content(number=HAN), "head or foot of each page; first page"),
        (lambda: with_end_reason(make_content(), HAN), "Replaced, withdrawn and doubted records"),
    ],
)
def test_no_place_is_left_out(change: Callable[[], PackageContent], place: str) -> None:
    content = change()
    place = _numbered(place) if place[0].isupper() else place
    assert list(rows_of(content, GLYPHS_TITLE)) == [("U+5F20", place)]


def test_where_every_character_has_a_glyph_there_is_no_list() -> None:
    content = make_content(responsible_person="Ωμέγα Škoda Ørsted ≤ ±")
    assert GLYPHS_TITLE not in [section.title for section in build_view(content).sections]
    assert build_view(content).missing_glyphs == ()


def test_a_sign_of_replacement_that_came_as_such_is_printed_and_not_missing() -> None:
    assert build_view(make_content(owner=f"Tide{REPLACEMENT}water")).missing_glyphs == ()


def test_a_character_that_only_the_bold_face_lacks_is_listed_where_it_is_set_in_bold() -> None:
    regular, bold = (load_face(face).face.charToGlyph for face in (Face.REGULAR, Face.BOLD))
    only_regular = min(one for one in map(chr, set(regular) - set(bold)) if without_controls(one) == one)
    assert build_view(make_content(owner=only_regular)).missing_glyphs == ()
    # The number stands in bold on the first page and in regular at its head.
    assert rows_of(make_content(number=only_regular), GLYPHS_TITLE) == [(f"U+{ord(only_regular):04X}", "first page")]


def test_the_list_is_printed_and_says_that_the_data_have_them() -> None:
    content = make_content(owner=f"{HAN}{HANGUL}")
    assert build_view(content).sections[-1].title == GLYPHS_TITLE
    printed = printed_words(content)
    assert "U+5F20 first page" in printed
    assert "U+D55C first page" in printed
    assert f"Each is printed as {REPLACEMENT}. The attached data have them as they came." in printed


def test_a_long_text_in_a_script_that_is_not_at_hand_fills_no_pages() -> None:
    reason = "".join(chr(code) for code in range(0x4E00, 0x4E00 + 3000))
    content = with_reason(make_content(), reason)
    assert len(build_view(content).missing_glyphs) == 3000
    assert len(rows_of(content, GLYPHS_TITLE)) == 60
    assert "These are the first 60 of 3000." in printed_words(content)


# Each package is drawn and read back.
@pytest.mark.parametrize("packages", [8, pytest.param(60, marks=pytest.mark.slow)])
def test_something_is_replaced_on_the_pages_exactly_where_something_is_listed(packages: int) -> None:
    @settings(max_examples=packages, deadline=None)
    @given(st.text(min_size=1, max_size=200))
    def check(text: str) -> None:
        content = with_end_reason(make_content(), text.replace(REPLACEMENT, ""))
        printed = "".join(page_texts(draw_content(content)))
        listed = build_view(content).missing_glyphs
        # The note of the list shows the sign itself.
        assert (printed.count(REPLACEMENT) > (1 if listed else 0)) is bool(listed)

    check()


@pytest.mark.parametrize(
    "text",
    [
        "\u202eevil\u202c \u2066x\u2069 \u200f\u061c",
        "word " * 2000,
        "W" * 10_000,
        "e\u0301" * 500,
        "\u0000\u0007\u001b[31m red \u009b",
        f"{HAN}{EMOJI}" * 2000,
        "\ue000\ufdd0\U000e0001",
        "(\\) Tj ET BT /F1 99 Tf",
    ],
)
def test_whatever_is_written_does_no_harm_wherever_it_is_drawn(text: str) -> None:
    content = with_end_reason(with_reason(with_site_name(make_content(), text[:500]), text[:4000]), text)
    parties = replace(content, project_name=text, owner=text, contractor=text)
    pages = page_texts(draw_content(replace(parties, responsible_person=text, responsible_position=text)))
    assert not re.search("[\x00\x07\x1b\x9b\u061c\u200f\u202a-\u202e\u2066-\u2069]", "".join(pages))
    assert squeezed("Audit head") in squeezed("".join(pages))
    # No text may start a page of its own without end.
    assert len(pages) < 40


def _numbered(title: str) -> str:
    """Return how a section is named in the list."""
    titles = [section.title for section in build_view(make_content()).sections]
    return f"section {titles.index(title) + 1}, {title}"
