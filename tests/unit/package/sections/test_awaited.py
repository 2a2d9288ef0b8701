"""What a package of segments proven alone says of the whole link: that it is awaited, and of whom."""

from dataclasses import replace

import pytest

from tests.factories import (
    Body,
    in_three_segments,
    link_criterion,
    required_test_criterion,
    return_loss_criterion,
    splice_criterion,
    termination_criterion,
)
from tests.judged_routes import content_of_route
from tests.package_reading import draw_content, page_texts
from tests.unit.judgement.rules.test_segments_alone import FIRST, alone, made, traces, unfinished_route
from worker.package.data.content import PackageContent
from worker.package.view import build_view


def of_first_segment(design: Body, **criteria: Body | str) -> PackageContent:
    """Return the package of the first segment, built and tested up to the bare fibre where it ends."""
    agreed = alone(splice_criterion(), termination_criterion(), link_criterion()) | criteria
    content = content_of_route(design, agreed, [*made(FIRST), *traces("A", "C2")], fibres=[1])
    return replace(content, segments=["SEG1"])


def awaited(content: PackageContent) -> str | None:
    return {fact.label: fact.value for fact in build_view(content).cover.summary.facts}.get("Awaited")


@pytest.mark.parametrize(
    ("design", "of_whom"),
    [
        (in_three_segments(), "SEG2, SEG3, not joined yet"),
        (unfinished_route(), "what this route is extended by"),
    ],
)
def test_the_first_page_says_of_whom_the_whole_link_is_asked(design: Body, of_whom: str) -> None:
    content = of_first_segment(design)
    said = f"the whole link (LINK-1550), asked of {of_whom}"
    assert awaited(content) == said
    assert said in " ".join(page_texts(draw_content(content))[0].split())
    assert content.verdict["segments"]["SEG1"]["outcome"] == "conforming"


def test_where_there_are_many_they_are_counted() -> None:
    asked = [
        splice_criterion(),
        termination_criterion(),
        link_criterion(),
        return_loss_criterion(),
        required_test_criterion(),
    ]
    content = content_of_route(in_three_segments(), alone(*asked), [*made(FIRST), *traces("A", "C2")], fibres=[1])
    assert (awaited(replace(content, segments=["SEG1"])) or "").startswith("the whole link (3 criteria), asked of SEG2")


def test_nothing_is_awaited_where_a_segment_is_proven_with_its_route() -> None:
    assert awaited(of_first_segment(in_three_segments(), segments_proven="with_route")) is None
