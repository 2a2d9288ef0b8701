"""Evidence files: which a submission's records name, and which were sent in."""

from collections.abc import Collection

import orjson
from sqlalchemy import String, and_, any_, literal, select
from sqlalchemy.dialects.postgresql import ARRAY, insert
from sqlmodel import Session, col

from service.storage.tables import EvidenceFile, Package, Record, SubmissionRecord
from service.vocabulary.evidence import NAMING, EvidenceType, files_named


def add_file(session: Session, file: EvidenceFile) -> bool:
    """Add a file unless its project has it, or another request gives it one right now. Say whether it is new."""
    statement = insert(EvidenceFile).values(**file.model_dump()).on_conflict_do_nothing()
    return session.execute(statement.returning(col(EvidenceFile.sha256))).one_or_none() is not None


def files_named_in(session: Session, package: Package) -> list[str]:
    """Return, in order, the SHA-256 of all files that the frozen records behind a package name, ended ones too."""
    statement = (
        select(col(Record.body))
        .join(
            SubmissionRecord,
            and_(
                col(SubmissionRecord.project_id) == col(Record.project_id),
                col(SubmissionRecord.record_id) == col(Record.id),
            ),
        )
        .where(
            col(SubmissionRecord.project_id) == package.project_id,
            col(SubmissionRecord.submission_id) == package.submission_id,
            col(Record.kind).in_([kind.value for kind in NAMING]),
        )
    )
    bodies = session.execute(statement, execution_options={"yield_per": 500}).scalars()
    return sorted({sha256 for body in bodies for sha256 in files_named(orjson.loads(body))})


def files_here(session: Session, package: Package, digests: Collection[str]) -> dict[str, EvidenceType]:
    """Return those of some files that a package's project has, with what they are."""
    statement = select(col(EvidenceFile.sha256), col(EvidenceFile.media_type)).where(
        col(EvidenceFile.project_id) == package.project_id,
        col(EvidenceFile.sha256) == any_(literal(list(digests), ARRAY(String))),
    )
    return {row.sha256: EvidenceType(row.media_type) for row in session.execute(statement)}
