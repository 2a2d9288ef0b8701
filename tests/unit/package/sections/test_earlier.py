"""A package says segment by segment what stands of the earlier ones, in a line on its first page and in a section."""

import pytest

from tests.package_factories import make_content, make_earlier
from tests.package_reading import draw_content, package_json, page_texts, printed_words, rows_of
from worker.package.data.content import Now, PackageContent, SupersededPackage, SupersededSegment
from worker.package.document_model import Facts
from worker.package.sections.cover import build_cover
from worker.package.sections.earlier import EARLIER_TITLE
from worker.package.view import build_view

REFUSED, ACCEPTED, OPEN = ("refused", "superseded"), ("accepted", "stands"), (None, "superseded")
FIRST = make_earlier("HBR-7/1", {"SEG-1": REFUSED, "SEG-2": REFUSED})
THIRD = make_earlier("HBR-7/3", {"SEG-2": ACCEPTED, "SEG-1": REFUSED}, reason="C5 stands open")
UNDECIDED = make_earlier("HBR-7/2", {"SEG-1": OPEN})
LARGE = make_earlier("HBR-7/4", dict.fromkeys(["SEG-1", "SEG-2", "SEG-3"], REFUSED))


def first_page_facts(content: PackageContent) -> list[tuple[str, str]]:
    facts = build_cover(content, summary=Facts(facts=())).facts.facts
    labels = [fact.label for fact in facts]
    if "Earlier packages" not in labels:
        return []
    return [(fact.label, fact.value) for fact in facts[labels.index("Earlier packages") : -1]]


@pytest.mark.parametrize(
    ("earlier", "line"),
    [
        (FIRST, "HBR-7/1: SEG-1, SEG-2 refused, superseded by this one"),
        (UNDECIDED, "HBR-7/2: SEG-1 not decided, superseded by this one"),
        (THIRD, "HBR-7/3: SEG-1 refused, superseded by this one; SEG-2 accepted, stands"),
        (LARGE, "HBR-7/4: 3 segments refused, superseded by this one"),
    ],
)
def test_the_first_page_says_what_stands_of_an_earlier_package(earlier: SupersededPackage, line: str) -> None:
    content = make_content(supersedes=[earlier])
    assert first_page_facts(content) == [("Earlier packages", line)]
    assert line in " ".join(page_texts(draw_content(content))[0].split())


def test_a_first_package_has_none_before_it() -> None:
    content = make_content(supersedes=())
    assert first_page_facts(content) == []
    assert package_json(content)["supersedes"] == []
    assert rows_of(content, EARLIER_TITLE) == []


def test_of_many_earlier_packages_the_first_page_counts_those_it_does_not_name() -> None:
    content = make_content(supersedes=[LARGE, THIRD, UNDECIDED, FIRST])
    lines = first_page_facts(content)
    assert [label for label, _ in lines] == ["Earlier packages", "", ""]
    assert lines[-1][1] == "and 2 earlier packages more, listed under Earlier packages"
    assert len(rows_of(content, EARLIER_TITLE)) == 3 + 2 + 1 + 2


def test_the_section_says_segment_by_segment_what_stands_and_why_it_was_refused() -> None:
    content = make_content(supersedes=[THIRD])
    assert rows_of(content, EARLIER_TITLE) == [
        ("SEG-1", "refused", "superseded by this package"),
        ("SEG-2", "accepted", "it stands"),
    ]
    words = "Package HBR-7/3 Decided 2026-03-16 09:30:00 UTC Reason given C5 stands open"
    assert words in printed_words(content)


def test_what_was_withdrawn_or_taken_over_by_another_package_is_said_so() -> None:
    earlier = SupersededPackage(
        number="HBR-7/1",
        is_deemed=False,
        segments={
            "SEG-1": SupersededSegment(word="accepted", now=Now.WITHDRAWN, reason="water in C5"),
            "SEG-2": SupersededSegment(word="refused", now=Now.SUPERSEDED, superseded_by="HBR-7/9"),
            "SEG-3": SupersededSegment(word="refused", now=Now.STANDS),
        },
    )
    assert rows_of(make_content(supersedes=[earlier]), EARLIER_TITLE) == [
        ("SEG-1", "accepted", "withdrawn: water in C5"),
        ("SEG-2", "refused", "superseded by package HBR-7/9"),
        ("SEG-3", "refused", "it stands"),
    ]


def test_what_the_clock_accepted_is_called_deemed() -> None:
    segments = {"SEG-1": SupersededSegment(word="accepted", now=Now.WITHDRAWN, reason="water in C5")}
    earlier = SupersededPackage(number="HBR-7/1", is_deemed=True, segments=segments)
    content = make_content(supersedes=[earlier])
    assert rows_of(content, EARLIER_TITLE) == [("SEG-1", "deemed accepted", "withdrawn: water in C5")]
    assert first_page_facts(content)[0][1] == "HBR-7/1: SEG-1 deemed accepted, withdrawn"


def test_five_hundred_segments_are_all_in_the_section() -> None:
    earlier = make_earlier("HBR-7/1", {f"S{number:03d}": REFUSED for number in range(500)})
    content = make_content(supersedes=[earlier])
    assert first_page_facts(content)[0][1] == "HBR-7/1: 500 segments refused, superseded by this one"
    assert len(rows_of(content, EARLIER_TITLE)) == 500
    assert build_view(content).missing_glyphs == ()


def test_the_attached_data_says_the_same() -> None:
    decided = {"decided_at": "2026-03-16T09:30:00.000000Z", "is_deemed": False}
    superseded = {"now": "superseded", "superseded_by": "HBR-7/2"}
    assert package_json(make_content(supersedes=[THIRD, UNDECIDED]))["supersedes"] == [
        {
            "number": "HBR-7/3",
            "reason": "C5 stands open",
            "segments": {
                "SEG-1": {"word": "refused", **superseded},
                "SEG-2": {"word": "accepted", "now": "stands"},
            },
            **decided,
        },
        {"number": "HBR-7/2", "segments": {"SEG-1": {"word": None, **superseded}}, **decided},
    ]
