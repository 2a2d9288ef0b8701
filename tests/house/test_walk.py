"""A splice's way to the work list leads through so many files and no more, each of them in a room."""

import ast

import pytest

from tests.house.walk import ROOT, Walk, trace_splices

# May only fall: whoever shortens the way lowers them. What is kept longer moves files out of the first number alone.
MOST_EVERY_TIME, MOST_IN_ALL = 78, 81

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def walk() -> Walk:
    return trace_splices()


def test_the_way_of_a_splice_leads_through_no_more_files_than_it_did(walk: Walk) -> None:
    assert len(walk.every_time) <= MOST_EVERY_TIME
    assert len(walk.every_time | walk.once) <= MOST_IN_ALL


def test_each_file_on_the_way_lies_in_a_room_that_says_what_it_holds(walk: Walk) -> None:
    for folder in sorted({file.parent for file in walk.every_time | walk.once}):
        assert ast.get_docstring(ast.parse((ROOT / folder / "__init__.py").read_text())), folder
