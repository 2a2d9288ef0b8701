"""The data inside a package, as canonical JSON: the pages are drawn from it and nothing else."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from service.vocabulary.canonical import canonical_json
from service.vocabulary.quantities import canonical_time
from worker.package.attachment_forms import PACKAGE_FORM, PAGES_FORM
from worker.package.content import PackageContent, PlannedSeal
from worker.package.kept import record_entries


def attachments(content: PackageContent) -> dict[str, bytes]:
    """Return the attached files by name."""
    return {name: b"".join(parts) for name, parts in attached_files(content)}


def attached_files(content: PackageContent) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Give each attached file with its name, part by part: whole, those of 864 fibres take 76 MB."""
    for name, write in WRITERS.items():
        yield name, write(content)


def _facts(content: PackageContent) -> dict[str, Any]:
    facts = {
        "form": PACKAGE_FORM,
        "pages_form": PAGES_FORM,
        "program": content.program,
        "number": content.number,
        "verification_code": content.verification_code,
        "project_code": content.project_code,
        "project_name": content.project_name,
        "owner": content.owner,
        "contractor": content.contractor,
        "responsible_person": content.responsible_person,
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
        "seal": _seal(content.seal),
        "is_demonstration": content.is_demonstration,
    }
    url = content.verification_url
    return facts if url is None else {**facts, "verification_url": url}


def _seal(seal: PlannedSeal) -> dict[str, str]:
    if seal.time_authority is None:
        return {"level": seal.level.value}
    return {"level": seal.level.value, "time_authority": seal.time_authority}


def _findings(content: PackageContent) -> Iterator[bytes]:
    verdict = canonical_json({"verdict": content.verdict, "verdict_digest": content.verdict_digest})
    # In the order of a canonical document: what follows the list comes after it in the alphabet.
    return _around(b'{"fibres":[', map(canonical_json, content.fibres), b"]," + verdict[1:])


def _around(before: bytes, items: Iterable[bytes], after: bytes) -> Iterator[bytes]:
    yield before
    for index, item in enumerate(items):
        yield b"," + item if index else item
    yield after


def _whole(document: Any) -> Iterator[bytes]:
    yield canonical_json(document)


WRITERS: Mapping[str, Callable[[PackageContent], Iterator[bytes]]] = MappingProxyType(
    {
        "package.json": lambda content: _whole(_facts(content)),
        "findings.json": _findings,
        "criteria.json": lambda content: _whole(content.criteria.model_dump(exclude_none=True)),
        "design.json": lambda content: _whole(content.design.model_dump(exclude_none=True)),
        "records.json": lambda content: _around(b'{"records":[', record_entries(content.records), b"]}"),
    }
)
