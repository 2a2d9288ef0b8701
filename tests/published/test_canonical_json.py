"""Our canonical JSON against RFC 8785: its own sample, and an independent implementation of it.

Sources: RFC 8785, section 3.2.2, the sample input and its canonical form; PyPI `rfc8785`, a reference implementation;
for the digits of a quantity Python's `decimal`, which does no binary arithmetic.
Ours is for documents without floats, whose member names are ASCII; the sample's `numbers` are floats and stay out.
"""

import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary import quantities as q
from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.quantities import LastPlace
from service.vocabulary.records.record import RECORD, canonical_record
from service.vocabulary.records.words import EventKind, Qualifier
from tests.factories import make_otdr
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


class _EventAsModel(q.Value):
    """An event as every other part of a record is made: a model of floats that is dumped again."""

    distance_m: q.LengthM
    kind: EventKind
    loss_db: q.LossDb | None = None
    reflectance_db: q.ReflectanceDb | None = None
    reflectance_qualifier: Qualifier = Qualifier.EQ
    attenuation_db_per_km: Annotated[float, LastPlace(places=3, low=-10, high=10)] | None = None
    added_by_hand: q.Flag = False


def _thousandths(value: int) -> Decimal:
    return Decimal(value).scaleb(-3)


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


@given(
    st.fixed_dictionaries(
        {
            "distance_m": st.integers(0, 10**8).map(lambda cm: Decimal(cm).scaleb(-2)),
            "kind": st.sampled_from(EventKind),
        },
        optional={
            "loss_db": st.none() | st.integers(-60_000, 60_000).map(_thousandths),
            "reflectance_db": st.none() | st.integers(-120_000, 0).map(_thousandths),
            "attenuation_db_per_km": st.none() | st.integers(-10_000, 10_000).map(_thousandths),
            "reflectance_qualifier": st.sampled_from(Qualifier),
            "added_by_hand": st.booleans(),
        },
    )
)
def test_an_event_is_kept_as_decimals_write_it_and_as_the_dump_of_a_model_gives_it(event: dict[str, Any]) -> None:
    posted = {name: float(value) if isinstance(value, Decimal) else value for name, value in event.items()}
    record = RECORD.validate_python({**make_otdr(), "events": [posted]})
    written = json.loads(canonical_json(canonical_record(record)))["events"]
    stated = {name: value for name, value in event.items() if value is not None}
    defaults = {"reflectance_qualifier": "eq", "added_by_hand": False}
    decimals = {name: format(value, "f") for name, value in stated.items() if isinstance(value, Decimal)}
    assert written == [defaults | stated | decimals]
    assert written == [json.loads(canonical_json(_EventAsModel(**posted).model_dump(exclude_none=True)))]


def test_a_loss_of_minus_zero_is_kept_as_zero() -> None:
    record = RECORD.validate_python(make_otdr(events=[{"distance_m": 1.0, "kind": "end", "loss_db": -0.0}]))
    assert b'"loss_db":"0.000"' in canonical_json(canonical_record(record))


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
