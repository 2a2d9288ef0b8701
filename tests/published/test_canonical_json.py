"""Our canonical JSON against RFC 8785: its own sample, and an independent implementation of it.

Sources: RFC 8785, section 3.2.2, the sample input and its canonical form; PyPI `rfc8785`, a reference implementation.
Ours is for documents without floats, whose member names are ASCII; the sample's `numbers` are floats and stay out.
"""

import json
from collections.abc import Iterator
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.records.record import RECORD, canonical_record
from tests.world import read_demo

SAMPLE = r"""{"literals": [null, true, false], "escaping": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/"}"""
SAMPLE_CANONICAL = r"""{"escaping":"€$\u000f\nA'B\"\\\\\"/","literals":[null,true,false]}"""
BATCHES = ("01_splicing", "03_sealing", "04_otdr", "05_attenuation")

names = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=8)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
whole = st.integers(min_value=-(2**53) + 1, max_value=2**53 - 1)
documents = st.recursive(
    st.none() | st.booleans() | whole | texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=20,
)


def test_the_sample_of_the_standard_comes_out_as_the_standard_says() -> None:
    assert canonical_json(json.loads(SAMPLE)).decode() == SAMPLE_CANONICAL


@given(documents)
def test_any_document_without_floats_comes_out_as_from_the_reference_implementation(document: Any) -> None:
    assert canonical_json(document) == rfc8785.dumps(document)


@pytest.mark.parametrize("name", BATCHES)
def test_records_hold_no_float_and_come_out_as_from_the_reference_implementation(name: str) -> None:
    for posted in read_demo(name)["records"]:
        written = json.loads(canonical_json(canonical_record(RECORD.validate_python(posted))))
        assert not any(isinstance(leaf, float) for leaf in _leaves(written))
        assert canonical_json(written) == rfc8785.dumps(written)


def test_design_and_criteria_hold_no_float_either() -> None:
    for value in (Design.model_validate(read_demo("route")), Criteria.model_validate(read_demo("criteria"))):
        written = json.loads(canonical_json(value.model_dump(exclude_none=True)))
        assert not any(isinstance(leaf, float) for leaf in _leaves(written))
        assert canonical_json(value.model_dump(exclude_none=True)) == rfc8785.dumps(written)


def _leaves(document: Any) -> Iterator[Any]:
    if isinstance(document, dict):
        for value in document.values():
            yield from _leaves(value)
    elif isinstance(document, list):
        for value in document:
            yield from _leaves(value)
    else:
        yield document
