"""Register the certificates that people sign packages with: a signature by one of them is that person's."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from pydantic import Field
from sqlalchemy import func, update
from sqlmodel import Session, col, select

from service.actions.access.sides import refuse_other_side
from service.actions.caller import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError
from service.storage.head import record_deed
from service.storage.tables import PackageFile, Person, PersonCertificate, Project
from service.vocabulary import quantities as q
from service.vocabulary.certificates import CertificateUnfitError, SigningCertificate, read_certificate
from service.vocabulary.design.rules import Fault
from service.vocabulary.words import TokenKind


class CertificateForm(q.Value):
    """A person's own certificate as PEM text, without its issuers' and never with its key."""

    pem: Annotated[str, Field(min_length=1, max_length=20_000)]


def register_certificate(
    session: Session, caller: Caller, project: Project, person_id: str, form: CertificateForm
) -> tuple[PersonCertificate, bool]:
    """Register a person's certificate; the same again gives the one that is there. Say whether it is new."""
    refuse_other_side(session, caller, project, person_id)
    if session.get(Person, (project.id, person_id)) is None:
        raise NotFoundError("No person with this id.")
    certificate = _read(form, now=caller.now)
    row = session.get(PersonCertificate, (project.id, certificate.sha256), with_for_update=True)
    deed = caller.deed("certificate.registered", person_id, content_sha256=certificate.sha256)
    if row is not None:
        if row.person_id != person_id:
            if _is_free(session, caller, row):
                row.person_id, row.retired_at, row.registered_at = person_id, None, caller.now
                row.subject, row.pem, row.token_id = certificate.subject, certificate.pem, caller.token_id
                record_deed(session, project.id, deed)
                return row, True
            raise ConflictError("Another person signs with this certificate.")
        if row.retired_at is not None:
            raise ConflictError("This certificate was retired, and is not taken again.")
        return row, False
    row = PersonCertificate(
        project_id=project.id,
        sha256=certificate.sha256,
        person_id=person_id,
        subject=certificate.subject,
        pem=certificate.pem,
        valid_from=certificate.valid_from,
        valid_until=certificate.valid_until,
        registered_at=caller.now,
        token_id=caller.token_id,
    )
    session.add(row)
    record_deed(session, project.id, deed)
    return row, True


def certificates_of(session: Session, project: Project, person_id: str) -> Sequence[PersonCertificate]:
    """Return every certificate that a person signs or signed with, in the order of registration."""
    statement = select(PersonCertificate).where(
        PersonCertificate.project_id == project.id, PersonCertificate.person_id == person_id
    )
    return session.exec(statement.order_by(col(PersonCertificate.registered_at), col(PersonCertificate.sha256))).all()


def retire_certificate(session: Session, caller: Caller, project: Project, person_id: str, sha256: str) -> None:
    """Take no further signature by a certificate; retiring it again changes nothing."""
    refuse_other_side(session, caller, project, person_id)
    row = session.get(PersonCertificate, (project.id, sha256), with_for_update=True)
    if row is None or row.person_id != person_id:
        raise NotFoundError("This person has no such certificate.")
    if row.retired_at is not None:
        return
    row.retired_at = caller.now
    record_deed(session, project.id, caller.deed("certificate.retired", person_id, content_sha256=sha256))


def forget_certificates(session: Session, project: Project, person_id: str, *, now: datetime) -> None:
    """Retire a person's certificates and forget what in them names the person; fingerprints and dates stay."""
    session.execute(
        update(PersonCertificate)
        .where(col(PersonCertificate.project_id) == project.id, col(PersonCertificate.person_id) == person_id)
        .values(subject=None, pem=None, retired_at=func.coalesce(col(PersonCertificate.retired_at), now))
    )


def _is_free(session: Session, caller: Caller, row: PersonCertificate) -> bool:
    """Tell whether the administrator may give a certificate to another person: one retired that never signed.

    Else a side could keep a person of the other from ever signing, by registering that person's certificate first.
    """
    if caller.kind is not TokenKind.ADMINISTRATOR or row.retired_at is None:
        return False
    signed = select(PackageFile.sequence).where(
        PackageFile.project_id == row.project_id, PackageFile.certificate_sha256 == row.sha256
    )
    return session.exec(signed.limit(1)).first() is None


def _read(form: CertificateForm, *, now: datetime) -> SigningCertificate:
    try:
        return read_certificate(form.pem, now=now)
    except CertificateUnfitError as error:
        fault = Fault(pointer="/pem", detail=str(error))
        raise BodyInvalidError("No signature could be taken on the strength of this.", faults=[fault]) from error
