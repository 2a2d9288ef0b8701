"""Files that prove what records say: photographs, instruments' own files. Records name them by SHA-256."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from service.vocabulary.records.words import RecordKind


class EvidenceType(StrEnum):
    """What a file may be; whatever is none of the others is just bytes."""

    JPEG = "image/jpeg"
    PNG = "image/png"
    PDF = "application/pdf"
    BYTES = "application/octet-stream"


_ENDINGS: Mapping[EvidenceType, str] = {
    EvidenceType.JPEG: "jpg",
    EvidenceType.PNG: "png",
    EvidenceType.PDF: "pdf",
    EvidenceType.BYTES: "bin",
}
# The kinds of record that name files, and by which member.
NAMING: Mapping[RecordKind, str] = {
    RecordKind.CLOSURE_STATE: "photographs_sha256",
    RecordKind.END_FACE: "photograph_sha256",
}


def file_name(sha256: str, media_type: EvidenceType) -> str:
    """Return what a file is called: nothing of what its sender calls it."""
    return f"{sha256}.{_ENDINGS[media_type]}"


def files_named(record: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the SHA-256 of each file that a record, in its canonical form, names."""
    named = record.get(NAMING[RecordKind(record["kind"])], ())
    return (named,) if isinstance(named, str) else tuple(named)
