"""The data inside a package, as canonical JSON: what the pages print can be found in it to the last digit."""

from collections.abc import Mapping
from typing import Any

from service.vocabulary.canonical import canonical_json
from service.vocabulary.quantities import canonical_time
from worker.package.attachment_forms import PACKAGE_FORM
from worker.package.content import PackageContent, PackagedRecord


def attachments(content: PackageContent) -> Mapping[str, bytes]:
    """Return the attached files by name."""
    findings = {"verdict": content.verdict, "verdict_digest": content.verdict_digest, "fibres": list(content.fibres)}
    return {
        "package.json": canonical_json(_facts(content)),
        "findings.json": canonical_json(findings),
        "criteria.json": canonical_json(content.criteria.model_dump(exclude_none=True)),
        "design.json": canonical_json(content.design.model_dump(exclude_none=True)),
        "records.json": canonical_json({"records": [_record_entry(record) for record in content.records]}),
    }


def _facts(content: PackageContent) -> dict[str, Any]:
    facts = {
        "form": PACKAGE_FORM,
        "number": content.number,
        "verification_code": content.verification_code,
        "project_code": content.project_code,
        "route_code": content.design.code,
        "segments": list(content.segments),
        "supersedes": [{"number": one.number, "segments": dict(one.segments)} for one in content.supersedes],
        "concessions": [one.model_dump(exclude_none=True) for one in content.concessions],
        "submitted_at": canonical_time(content.submitted_at),
        "design_revision": content.design_revision,
        "design_sha256": content.design_sha256,
        "criteria_version": content.criteria_version,
        "criteria_sha256": content.criteria_sha256,
        "verdict_digest": content.verdict_digest,
        "audit": {"sequence": content.audit_sequence, "hash": content.audit_hash},
        "is_demonstration": content.is_demonstration,
    }
    url = content.verification_url
    return facts if url is None else {**facts, "verification_url": url}


def _record_entry(record: PackagedRecord) -> dict[str, Any]:
    entry = {"record": record.body, "is_ended": record.is_ended, "clock_is_flagged": record.clock_is_flagged}
    return entry if record.end_reason is None else {**entry, "end_reason": record.end_reason}
