"""The page for decision and signatures: frames that are empty, and words around them that say what belongs there."""

from dataclasses import replace
from itertools import combinations

import pytest

from service.vocabulary.signatures import SignaturePlace, SignedBy
from tests.package_factories import make_content
from tests.page_words import Word, words_by_page
from tests.unit.package.pages.test_cover_page import are_over_each_other, wordiest
from worker.package.data.content import PackageContent
from worker.package.fonts.text_style import PAGE_HEIGHT, PAGE_WIDTH
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE, draw
from worker.package.view import build_view


def words_of(content: PackageContent) -> list[Word]:
    return [*words_by_page(draw(build_view(content), attachments={}))][SIGNING_PAGE - 1]


def text_of(content: PackageContent) -> str:
    return " ".join(word.text for word in words_of(content))


def by_own_key(content: PackageContent) -> PackageContent:
    return replace(content, contractor_signature=SignedBy.OWN_KEY)


def inside(words: list[Word], box: tuple[int, int, int, int]) -> list[str]:
    left, bottom, right, top = box
    frame = Word(SIGNING_PAGE, "frame", left, right, PAGE_HEIGHT - top, top - bottom)
    return [word.text for word in words if are_over_each_other(frame, word)]


@pytest.mark.parametrize("content", [by_own_key(make_content()), by_own_key(wordiest())], ids=["usual", "wordiest"])
def test_nothing_stands_in_the_frames_that_are_signed(content: PackageContent) -> None:
    words = words_of(content)
    assert len(words) > 80
    for box in SIGNATURE_BOXES.values():
        assert 0 < box[0] < box[2] < PAGE_WIDTH
        assert inside(words, box) == []


@pytest.mark.parametrize("content", [make_content(), wordiest()], ids=["usual", "wordiest"])
def test_no_word_of_the_page_lies_over_another(content: PackageContent) -> None:
    over = [(a.text, b.text) for a, b in combinations(words_of(content), 2) if are_over_each_other(a, b)]
    assert over == []


def test_an_empty_frame_says_that_none_of_the_contractors_own_belongs_there() -> None:
    content = make_content()
    said = inside(words_of(content), SIGNATURE_BOXES[SignaturePlace.CONTRACTOR])
    assert " ".join(said).startswith("No signature belongs here: the declaration on the first page was recorded")
    assert "Contractor's own signature: none" in text_of(content)


def test_a_signature_that_is_awaited_says_whose_it_will_be() -> None:
    text = text_of(by_own_key(make_content()))
    assert "Contractor's own signature, to follow" in text
    assert "Mira Øvergaard, works manager" in text
    assert "is read from the file" in text


def test_the_seal_is_announced_as_the_services_and_not_the_engineers() -> None:
    text = text_of(make_content())
    assert "The seal is the service's and no signature of the engineer's." in text
    assert "An empty frame means that this file holds no decision." in text
    assert "deem" not in text


def test_a_page_that_may_be_deemed_accepted_says_so() -> None:
    content = make_content()
    deemed = content.criteria.model_copy(update={"deemed_after_days": 14})
    assert "within 14 days of issue, the criteria deem the segments accepted" in text_of(
        replace(content, criteria=deemed)
    )


def test_a_name_in_letters_that_cannot_be_printed_is_told_of() -> None:
    content = make_content(responsible_person="山田 Mira")
    view = build_view(content)
    assert {one.character for one in view.missing_glyphs} == {"山", "田"}
    assert all({"first page", "second page"} <= set(one.places) for one in view.missing_glyphs)
