"""Register the certificates that people sign packages with: a signature by one of them is that person's.

Started by: a side, for a person of its own, or the administrator.
Writes: the certificate, or that it is retired; one audit entry.
Leaves: nothing; the person's next signed file is held against it.
"""

from dataclasses import asdict
from datetime import datetime
from typing import Annotated

from pydantic import Field
from sqlmodel import Session

from service.actions.access.projects import refuse_other_side
from service.actions.access.tokens import Caller
from service.errors import BodyInvalidError, ConflictError, NotFoundError
from service.storage.access import find_person, has_signed, lock_certificate
from service.storage.session import add_rows
from service.storage.tables import PersonCertificate, Project
from service.vocabulary import quantities as q
from service.vocabulary.certificates import CertificateUnfitError, SigningCertificate, read_certificate
from service.vocabulary.validation import Fault
from service.vocabulary.words import TokenKind


class CertificateForm(q.Value):
    """A person's own certificate as PEM text, without its issuers' and never with its key."""

    pem: Annotated[str, Field(min_length=1, max_length=20_000)]


def register_certificate(
    session: Session, caller: Caller, project: Project, person_id: str, form: CertificateForm
) -> tuple[PersonCertificate, bool]:
    """Register a person's certificate; the same again gives the one that is there. Say whether it is new."""
    refuse_other_side(session, caller, project, person_id)
    if find_person(session, project.id, person_id) is None:
        raise NotFoundError("No person with this id.")
    certificate = _read(form, now=caller.now)
    row = lock_certificate(session, project, certificate.sha256)
    if row is None:
        row = PersonCertificate(
            project_id=project.id,
            person_id=person_id,
            registered_at=caller.now,
            token_id=caller.token_id,
            **asdict(certificate),
        )
        add_rows(session, [row])
    elif row.person_id == person_id:
        if row.retired_at is not None:
            raise ConflictError("This certificate was retired, and is not taken again.")
        return row, False
    elif _is_free(session, caller, row):
        row.person_id, row.retired_at, row.registered_at = person_id, None, caller.now
        row.subject, row.pem, row.token_id = certificate.subject, certificate.pem, caller.token_id
    else:
        raise ConflictError("Another person signs with this certificate.")
    caller.append_audit(session, project.id, "certificate.registered", person_id, content_sha256=certificate.sha256)
    return row, True


def retire_certificate(session: Session, caller: Caller, project: Project, person_id: str, sha256: str) -> None:
    """Take no further signature by a certificate; retiring it again changes nothing."""
    refuse_other_side(session, caller, project, person_id)
    row = lock_certificate(session, project, sha256)
    if row is None or row.person_id != person_id:
        raise NotFoundError("This person has no such certificate.")
    if row.retired_at is not None:
        return
    row.retired_at = caller.now
    caller.append_audit(session, project.id, "certificate.retired", person_id, content_sha256=sha256)


def _is_free(session: Session, caller: Caller, row: PersonCertificate) -> bool:
    """Tell whether the administrator may give a certificate to another person: one retired that never signed.

    Else a side could keep a person of the other from ever signing, by registering that person's certificate first.
    """
    return caller.kind is TokenKind.ADMINISTRATOR and row.retired_at is not None and not has_signed(session, row)


def _read(form: CertificateForm, *, now: datetime) -> SigningCertificate:
    try:
        return read_certificate(form.pem, now=now)
    except CertificateUnfitError as error:
        fault = Fault(pointer="/pem", detail=str(error))
        raise BodyInvalidError("No signature could be taken on the strength of this.", faults=[fault]) from error
