"""Which files records name, and how a manifest speaks of them."""

from typing import Any, get_args

import pytest

from service.api.acceptance.archive import write_manifest
from service.vocabulary.evidence import NAMING, files_named
from service.vocabulary.records.record import Record
from service.vocabulary.records.words import RecordKind

ONE, TWO = "1" * 64, "2" * 64


def test_every_member_of_a_record_that_holds_a_digest_is_known_to_name_a_file() -> None:
    naming = {
        (RecordKind(get_args(form.model_fields["kind"].annotation)[0]), member)
        for form in get_args(Record)
        for member in form.model_fields
        if "sha256" in member
    }
    assert naming == set(NAMING.items())


@pytest.mark.parametrize(
    ("record", "named"),
    [
        ({"kind": "closure_state", "photographs_sha256": [ONE, TWO]}, (ONE, TWO)),
        ({"kind": "closure_state", "photographs_sha256": []}, ()),
        ({"kind": "end_face", "photograph_sha256": ONE}, (ONE,)),
        ({"kind": "end_face"}, ()),
    ],
)
def test_a_record_names_its_photographs(record: dict[str, Any], named: tuple[str, ...]) -> None:
    assert files_named(record) == named


def test_a_manifest_lists_what_is_here_and_says_what_is_missing() -> None:
    assert write_manifest({"evidence/one.jpg": ONE}, missing=[TWO]) == (
        f"{ONE}  evidence/one.jpg\n# {TWO}  missing: named by a record, not sent in\n"
    )
