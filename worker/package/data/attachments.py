"""The data inside a package, as canonical JSON: the pages are drawn from it and nothing else."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from service.vocabulary.canonical import canonical_json
from service.vocabulary.quantities import canonical_time
from worker.package.data.attachment_forms import PACKAGE_FORM
from worker.package.data.content import EarlierPackage, EarlierSegment, PackageContent
from worker.package.data.declarations import declarations
from worker.package.data.lazy_records import record_entries


def attachments(content: PackageContent) -> dict[str, bytes]:
    """Return the attached files by name."""
    return {name: b"".join(parts) for name, parts in attached_files(content)}


def attached_files(content: PackageContent) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Give each attached file with its name, part by part: whole, those of 864 fibres take 76 MB."""
    for name, write in WRITERS.items():
        yield name, write(content)


def _facts(content: PackageContent) -> Mapping[str, Any]:
    if content.released is not None:
        return content.released
    person = content.responsible_person
    facts = {
        "form": PACKAGE_FORM,
        "pages_form": content.pages_form,
        "program": content.program,
        "made_at": canonical_time(content.made_at),
        "number": content.number,
        "verification_code": content.verification_code,
        "verification_url": content.verification_url,
        "project_code": content.project_code,
        "project_name": content.project_name,
        "owner": content.owner,
        "contractor": content.contractor,
        "responsible_person": person.name,
        "responsible_position": person.position,
        "contractor_signature": content.contractor_signature.value,
        "declarations": declarations(content),
        "route_code": content.design.code,
        "segments": list(content.segments),
        "supersedes": [_superseded(one) for one in content.supersedes],
        "concessions": [one.model_dump(exclude_none=True) for one in content.concessions],
        "submitted_at": canonical_time(content.submitted_at),
        "design_revision": content.design_revision,
        "design_sha256": content.design_sha256,
        "criteria_version": content.criteria_version,
        "criteria_sha256": content.criteria_sha256,
        "verdict_digest": content.verdict_digest,
        "audit": {"sequence": content.audit_sequence, "hash": content.audit_hash},
        "seal": _known(level=content.seal.level.value, time_authority=content.seal.time_authority),
        "is_demonstration": content.is_demonstration,
    }
    return _known(**facts)


def _superseded(earlier: EarlierPackage) -> dict[str, Any]:
    decided_at = None if earlier.decided_at is None else canonical_time(earlier.decided_at)
    segments = {id_: _superseded_segment(one) for id_, one in earlier.segments.items()}
    members = {"number": earlier.number, "is_deemed": earlier.is_deemed, "segments": segments}
    return {**members, **_known(decided_at=decided_at, reason=earlier.reason)}


def _superseded_segment(one: EarlierSegment) -> dict[str, Any]:
    # A segment without a word says so.
    return {
        "word": one.word,
        "now": one.now.value,
        **_known(superseded_by=one.superseded_by, reason=one.reason),
    }


def _known(**members: Any) -> dict[str, Any]:
    return {name: value for name, value in members.items() if value is not None}


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
