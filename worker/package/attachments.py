"""The data inside a package, as canonical JSON: what the pages print can be found in it to the last digit."""

from collections.abc import Mapping
from typing import Any

from service.vocabulary.canonical import canonical_json
from worker.package.content import PackageContent, PackagedRecord


def attachments(content: PackageContent) -> Mapping[str, bytes]:
    """Return the attached files by name."""
    findings = {"verdict": content.verdict, "verdict_digest": content.verdict_digest, "fibres": list(content.fibres)}
    return {
        "findings.json": canonical_json(findings),
        "criteria.json": canonical_json(content.criteria.model_dump(exclude_none=True)),
        "design.json": canonical_json(content.design.model_dump(exclude_none=True)),
        "records.json": canonical_json({"records": [_record_entry(record) for record in content.records]}),
    }


def _record_entry(record: PackagedRecord) -> dict[str, Any]:
    entry = {"record": record.body, "is_ended": record.is_ended, "clock_is_flagged": record.clock_is_flagged}
    return entry if record.end_reason is None else {**entry, "end_reason": record.end_reason}
