"""Every check value names where it comes from, so that a reader finds it."""

import re
from collections.abc import Iterator

import pytest

from tests.published import (
    check_values,
    contract_rules,
    decision_values,
    dispersion_values,
    link_rules,
    one_way_values,
    reflection_values,
    splice_rules,
    test_end_face_zones,
)
from tests.published.check_values import Provenance

MODULES = (
    check_values,
    contract_rules,
    decision_values,
    dispersion_values,
    link_rules,
    one_way_values,
    reflection_values,
    splice_rules,
    test_end_face_zones,
)
# A document has an edition, a clause, a number of its own.
NUMBERED = re.compile(r"\d")
NAMELESS = re.compile(
    r"\b(an? (network|open|server|city|university|long)|the same (guide|document)|another|maker)\b", re.IGNORECASE
)


def checks() -> Iterator[Provenance]:
    for module in MODULES:
        for value in vars(module).values():
            yield from (
                one for one in (value if isinstance(value, list | tuple) else (value,)) if isinstance(one, Provenance)
            )


SOURCES = sorted({(one.mark, one.source) for one in checks()})


@pytest.mark.parametrize(("mark", "source"), SOURCES)
def test_a_source_can_be_found(mark: str, source: str) -> None:
    assert not NAMELESS.search(source)
    if mark in {"seen", "from memory"}:
        assert NUMBERED.search(source)
    if mark == "customary":
        assert source.startswith("common practice, no source")


def test_all_of_them_are_looked_at() -> None:
    assert {mark for mark, _ in SOURCES} == {"seen", "computed", "customary", "from memory"}
    assert len(list(checks())) > 100
