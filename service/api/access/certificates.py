"""The certificates that people sign packages with."""

from datetime import datetime
from uuid import UUID

from fastapi import APIRouter, Response
from pydantic import BaseModel

from service.actions.access import certificates as actions
from service.actions.access.certificates import CertificateForm
from service.api.gate import PeopleGate
from service.api.routing import CheckedRoute, RowAnswer
from service.storage.access import certificates_of
from service.vocabulary import quantities as q

router = APIRouter(
    prefix="/v1/projects/{project_id}/people/{person_id}/certificates", route_class=CheckedRoute, tags=["projects"]
)


class CertificateAnswer(RowAnswer):
    """A certificate by its fingerprint; once the person's name is erased, subject and text are gone."""

    sha256: str
    person_id: str
    subject: str | None
    pem: str | None
    valid_from: datetime
    valid_until: datetime
    registered_at: datetime
    retired_at: datetime | None
    token_id: UUID


class CertificateList(BaseModel):
    """Every certificate that a person signs or signed with, retired ones too, in the order of registration."""

    certificates: list[CertificateAnswer]


@router.post("", status_code=201)
def register_certificate(
    gate: PeopleGate, project_id: UUID, person_id: q.Identifier, form: CertificateForm, response: Response
) -> CertificateAnswer:
    """Register a certificate that a person of one's own side signs with; the same again answers 200."""
    with gate.write_session_in(project_id) as (session, caller, project):
        row, is_new = actions.register_certificate(session, caller, project, person_id, form)
        response.status_code = 201 if is_new else 200
        response.headers["Location"] = f"/v1/projects/{project.id}/people/{person_id}/certificates"
        return CertificateAnswer.model_validate(row)


@router.get("")
def read_certificates(gate: PeopleGate, project_id: UUID, person_id: q.Identifier) -> CertificateList:
    """Read by which certificates a person's signatures are known: what a receiver of packages is to trust."""
    with gate.read_snapshot_of(project_id) as (session, _, project):
        rows = certificates_of(session, project, person_id)
        return CertificateList(certificates=[CertificateAnswer.model_validate(row) for row in rows])


@router.delete("/{sha256}", status_code=204, response_class=Response)
def retire_certificate(gate: PeopleGate, project_id: UUID, person_id: q.Identifier, sha256: q.Sha256) -> None:
    """Take no further signature by a certificate; those that were taken stay."""
    with gate.write_session_in(project_id) as (session, caller, project):
        actions.retire_certificate(session, caller, project, person_id, sha256)
