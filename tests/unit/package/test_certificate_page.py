"""Nothing on the first page lies over anything else, however much there is to say."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import combinations

import pytest

from tests.package_factories import make_content
from tests.page_words import Word, words_by_page
from worker.package.certificate_page import SIGNATURE_BOXES
from worker.package.drawing import draw
from worker.package.look import PAGE_HEIGHT
from worker.package.pieces import Fact, Facts, PackageView
from worker.package.view import build_view

# A line's box is as high as its letters ever are; letters of two lines touch only where the boxes share more than this.
_TOUCH_PT = 2.0


def fullest() -> PackageView:
    """Return a package whose first page has every line that it may have."""
    view = build_view(make_content(submitted_at=datetime(2026, 3, 20, 15, 4, 5, tzinfo=UTC)))
    first = view.certificate
    warnings = tuple(Fact(label=f"Warning {n}", value="wwwww " * 20, is_warning=True) for n in range(6))
    facts = (*first.facts.facts, Fact(label="Supersedes", value="HBR-7/1 (refused: SEG-1)"))[:8]
    return replace(
        view,
        certificate=replace(
            first,
            facts=Facts(facts=facts),
            segments=replace(first.segments, rows=[*first.segments.rows][:1] * 5),
            segments_note="and 12 more, listed under Segments and sites",
            weighed=Facts(facts=warnings),
            seal=(
                first.seal[0],
                replace(first.seal[1], text=f"{first.seal[1].text} {'Acceptance may be deemed. ' * 3}"),
            ),
        ),
    )


@pytest.mark.parametrize("view", [build_view(make_content()), fullest()], ids=["usual", "fullest"])
def test_no_word_of_the_first_page_lies_over_another(view: PackageView) -> None:
    boxes = next(words_by_page(draw(view, attachments={})))
    assert len(boxes) > 120
    over = [(a.text, b.text) for a, b in combinations(boxes, 2) if _are_over_each_other(a, b)]
    assert over == []


def test_nothing_stands_in_the_frames_that_people_sign() -> None:
    boxes = next(words_by_page(draw(fullest(), attachments={})))
    for left, bottom, right, top in SIGNATURE_BOXES.values():
        frame = Word(1, "frame", left, right, PAGE_HEIGHT - top, top - bottom)
        assert [box.text for box in boxes if _are_over_each_other(frame, box)] == []


def _are_over_each_other(one: Word, other: Word) -> bool:
    across = min(one.right, other.right) - max(one.left, other.left)
    down = min(one.bottom, other.bottom) - max(one.top, other.top)
    return across > 0 and down > _TOUCH_PT
