"""The data inside a package, as canonical JSON: the pages are drawn from it and nothing else."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

import orjson
from pydantic import TypeAdapter

from service.vocabulary.canonical import canonical_json
from worker.package.data.attachment_forms import PACKAGE_FORM
from worker.package.data.content import PackageContent, PackagedRecord, PackageFacts
from worker.package.data.declarations import declarations

_FACTS = TypeAdapter(PackageFacts)


def attachments(content: PackageContent) -> dict[str, bytes]:
    """Return the attached files by name."""
    return {name: b"".join(pieces) for name, pieces in attached_files(content)}


def attached_files(content: PackageContent) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Give each attached file with its name, piece by piece: whole, those of 864 fibres take 76 MB."""
    for name, write in WRITERS.items():
        yield name, write(content)


def _package(content: PackageContent) -> Mapping[str, Any]:
    if content.first_form is not None:
        return content.first_form
    facts: dict[str, Any] = _FACTS.dump_python(content, mode="json", exclude_defaults=True)
    return facts | {"form": PACKAGE_FORM, "route_code": content.design.code, "declarations": declarations(content)}


def _findings(content: PackageContent) -> Iterator[bytes]:
    verdict = canonical_json({"verdict": content.verdict, "verdict_digest": content.verdict_digest})
    # In the order of a canonical document: what follows the list comes after it in the alphabet.
    return _around(b'{"fibres":[', map(canonical_json, content.fibres), b"]," + verdict[1:])


def _record(one: PackagedRecord) -> bytes:
    entry = {"record": orjson.Fragment(one.text), "is_ended": one.is_ended, "clock_is_flagged": one.clock_is_flagged}
    if one.end_reason is not None:
        entry["end_reason"] = one.end_reason
    if one.annulment_reason is not None:
        entry["annulment_reason"] = one.annulment_reason
    if one.is_of_other_route:
        entry["is_of_other_route"] = True
    return canonical_json(entry)


def _around(before: bytes, items: Iterable[bytes], after: bytes) -> Iterator[bytes]:
    yield before
    for index, item in enumerate(items):
        yield b"," + item if index else item
    yield after


def _whole(document: Any) -> Iterator[bytes]:
    yield canonical_json(document)


WRITERS: Mapping[str, Callable[[PackageContent], Iterator[bytes]]] = MappingProxyType(
    {
        "package.json": lambda content: _whole(_package(content)),
        "findings.json": _findings,
        "criteria.json": lambda content: _whole(content.criteria.model_dump(exclude_none=True)),
        "design.json": lambda content: _whole(content.design.model_dump(exclude_none=True)),
        "records.json": lambda content: _around(b'{"records":[', map(_record, content.records), b"]}"),
    }
)
