"""The first page says by which design a route was judged, and when the engineer agreed to it."""

from tests.package_factories import make_content
from tests.package_reading import draw_content, package_json, page_texts
from worker.package.data.content import PackageContent


def first_page(content: PackageContent) -> str:
    return " ".join(page_texts(draw_content(content))[0].split())


def test_the_first_page_says_when_the_design_was_agreed_to() -> None:
    content = make_content()
    assert "By design revision 3, agreed on 2026-02-27 09:12:44 UTC" in first_page(content)
    assert package_json(content)["design_agreed_at"] == "2026-02-27T09:12:44.000000Z"


def test_a_package_that_does_not_know_says_nothing_of_it() -> None:
    content = make_content(design_agreed_at=None)
    assert "By design revision 3 By criteria version 2" in first_page(content)
    assert "design_agreed_at" not in package_json(content)
