"""Keep the files that records name, whether they come before the record, with it, or long after.

Started by: whoever records.
Writes: the file's entry in its project (its bytes are a blob by then); one audit entry where it is new.
Leaves: nothing; packages tell what is here when they are asked.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.errors import ConflictError
from service.storage import records, submissions
from service.storage.tables import EvidenceFile, Package, Project
from service.vocabulary.evidence import EvidenceType


@dataclass(frozen=True, kw_only=True)
class PackageEvidence:
    """The files that the records behind a package name: those that are here, with what they are, and the others."""

    here: Mapping[str, EvidenceType]
    missing: Sequence[str]


def keep_evidence(
    session: Session, caller: Caller, project: Project, *, sha256: str, size_bytes: int, media_type: EvidenceType
) -> tuple[EvidenceFile, bool]:
    """Enter a file in its project; the same again gives the one that is there. Say whether it is new."""
    sent = EvidenceFile(
        project_id=project.id,
        sha256=sha256,
        size_bytes=size_bytes,
        media_type=media_type,
        received_at=caller.now,
        token_id=caller.token_id,
    )
    is_new = records.add_file(session, sent)
    file = records.find_file(session, project, sha256)
    if file.media_type is not media_type:
        raise ConflictError(f"This file is here already, as {file.media_type}.")
    if is_new:
        caller.append_audit(session, project.id, "evidence.received", sha256, content_sha256=sha256)
    return file, is_new


def evidence_of(session: Session, package: Package) -> PackageEvidence:
    """Return what the records behind a package name, and how much of it is here by now."""
    named = submissions.files_named_in(session, package)
    here = records.files_here(session, package.project_id, named)
    return PackageEvidence(
        here={sha256: here[sha256] for sha256 in named if sha256 in here},
        missing=[sha256 for sha256 in named if sha256 not in here],
    )
