"""What pages take by its name from a finding or a record is so named there: else they would never show it."""

from typing import get_args

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.records.record import Record
from worker.package.data import findings, records


def test_what_is_taken_from_a_finding_is_a_member_of_its_document() -> None:
    assert set(FindingDocument.__annotations__).issuperset(findings._NAMED_ALIKE)


def test_what_is_taken_from_a_record_is_a_member_of_some_kind() -> None:
    assert {name for kind in get_args(Record) for name in kind.model_fields} >= records._NAMED_ALIKE
