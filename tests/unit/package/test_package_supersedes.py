"""A package says which earlier ones it takes the place of, and what the engineer said of their segments."""

import json
from typing import Any

import pytest

from tests.package_factories import make_content
from tests.package_reading import draw_content, page_texts
from worker.package.attachments import attachments
from worker.package.certificate import build_certificate
from worker.package.content import EarlierPackage, PackageContent
from worker.package.pieces import Facts

FIRST = EarlierPackage(number="HBR-7/1", segments={"SEG-1": "refused", "SEG-2": "refused"})
SECOND = EarlierPackage(number="HBR-7/2", segments={"SEG-1": None})
FOURTH = EarlierPackage(number="HBR-7/4", segments=dict.fromkeys(["SEG-1", "SEG-2", "SEG-3"], "refused"))
THIRD = EarlierPackage(number="HBR-7/3", segments={"SEG-1": "refused", "SEG-2": "accepted"})


def said(content: PackageContent) -> list[str]:
    facts = build_certificate(content, weighed=Facts(facts=())).facts.facts
    return [fact.value for fact in facts if fact.label == "Supersedes"]


@pytest.mark.parametrize(
    ("earlier", "line"),
    [
        ([FIRST], "HBR-7/1 (refused: SEG-1 SEG-2)"),
        ([SECOND], "HBR-7/2 (not decided: SEG-1)"),
        ([THIRD], "HBR-7/3 (refused: SEG-1, accepted: SEG-2)"),
        ([FOURTH], "HBR-7/4 (refused: 3 segments)"),
        ([FOURTH, FIRST], "HBR-7/4 (refused: 3 segments); HBR-7/1 (refused: SEG-1 SEG-2)"),
    ],
)
def test_the_first_page_names_the_earlier_packages_and_what_was_said_of_them(
    earlier: list[EarlierPackage], line: str
) -> None:
    content = make_content(supersedes=earlier)
    assert said(content) == [line]
    assert line in " ".join(page_texts(draw_content(content))[0].split())


def test_a_first_package_supersedes_nothing() -> None:
    content = make_content(supersedes=())
    assert said(content) == []
    assert attached(content) == []


def test_the_attached_data_says_the_same() -> None:
    assert attached(make_content(supersedes=[THIRD, SECOND])) == [
        {"number": "HBR-7/3", "segments": {"SEG-1": "refused", "SEG-2": "accepted"}},
        {"number": "HBR-7/2", "segments": {"SEG-1": None}},
    ]


def attached(content: PackageContent) -> Any:
    return json.loads(attachments(content)["package.json"])["supersedes"]
