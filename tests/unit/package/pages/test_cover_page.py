"""Nothing on the first page lies over anything else, however much there is to say."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import combinations

import pytest

from tests.package_factories import make_content
from tests.page_words import Word, words_by_page
from worker.package.data.content import PackageContent
from worker.package.document_model import Fact, Facts, PackageView
from worker.package.fonts.text_style import BOTTOM, PAGE_HEIGHT
from worker.package.pages.drawing import draw
from worker.package.view import build_view

# A line's box is as high as its letters ever are; letters of two lines touch only where the boxes share more than this.
_TOUCH_PT = 2.0
# As long as the API takes them.
_LONG = "Wide Water Works " * 29


def wordiest() -> PackageContent:
    """Return a package in which every name is as long as it may be, and which may be deemed accepted."""
    content = make_content(submitted_at=datetime(2026, 3, 20, 15, 4, 5, tzinfo=UTC))
    return replace(
        content,
        owner=_LONG,
        contractor=_LONG,
        responsible_person=_LONG,
        responsible_position="W" * 100,
        criteria=content.criteria.model_copy(update={"deemed_after_days": 30}),
    )


def fullest() -> PackageView:
    """Return a package whose first page has every line that it may have."""
    view = build_view(wordiest())
    first = view.cover
    warnings = tuple(Fact(label=f"Warning {n}", value="wwwww " * 20, is_warning=True) for n in range(6))
    earlier = tuple(Fact(label="Earlier packages", value="HBR-7/1: SEG-1 refused, stands" * 9) for _ in range(3))
    facts = (*first.facts.facts[:-2], *earlier, first.facts.facts[-1])
    return replace(
        view,
        cover=replace(
            first,
            facts=Facts(facts=facts),
            segments=replace(first.segments, rows=[*first.segments.rows][:1] * 5),
            segments_note="and 12 more, listed under Segments and sites",
            summary=Facts(facts=warnings),
        ),
    )


@pytest.mark.parametrize("view", [build_view(make_content()), fullest()], ids=["usual", "fullest"])
def test_no_word_of_the_first_page_lies_over_another(view: PackageView) -> None:
    boxes = next(words_by_page(draw(view, attachments={})))
    assert len(boxes) > 120
    over = [(a.text, b.text) for a, b in combinations(boxes, 2) if are_over_each_other(a, b)]
    assert over == []


def test_all_that_is_declared_stands_above_the_foot_of_the_page() -> None:
    view = fullest()
    words = next(words_by_page(draw(view, attachments={})))
    on_page = "".join(word.text for word in words)
    for fact in view.cover.declared.facts:
        assert fact.value.replace(" ", "") in on_page
    declared = [word for word in words if word.top > words[-1].top - 300 and word.top < PAGE_HEIGHT - BOTTOM]
    assert max(word.bottom for word in declared) <= PAGE_HEIGHT - BOTTOM + _TOUCH_PT


def are_over_each_other(one: Word, other: Word) -> bool:
    across = min(one.right, other.right) - max(one.left, other.left)
    down = min(one.bottom, other.bottom) - max(one.top, other.top)
    return across > 0 and down > _TOUCH_PT
