"""The tables. PostgreSQL is the only truth; keys are (project_id, id) so that access can later be cut by project.

Documents are kept as the canonical text that was hashed, never as jsonb, which reorders members.
"""

from service.storage.tables.acceptance import (
    Acceptance,
    Decision,
    Notice,
    Package,
    Submission,
    SubmissionRecord,
    SubmissionSegment,
)
from service.storage.tables.access import AuditEntry, Person, PersonSide, Project, ProjectHead, Token, TokenProject
from service.storage.tables.columns import metadata
from service.storage.tables.design import CriteriaVersion, DesignRevision, Route, RouteSite, Site
from service.storage.tables.evidence import (
    WHOLE_SITE,
    EvidenceFile,
    Fibre,
    Record,
    RecordEnd,
    RecordFibre,
    StandingVerdict,
)
from service.storage.tables.signatures import PackageFile, PersonCertificate, SignatureUpload
from service.storage.tables.trials import CriteriaTrial
from service.storage.tables.work import Job

# The application's role may add to these and never change or remove a row.
APPEND_ONLY = (
    "project",
    "token_project",
    "person_side",
    "criteria_version",
    "site",
    "route_site",
    "design_revision",
    "record",
    "record_fibre",
    "record_end",
    "evidence_file",
    "submission_record",
    "package_file",
    "decision",
    "notice",
    "audit_entry",
)

__all__ = [
    "APPEND_ONLY",
    "WHOLE_SITE",
    "Acceptance",
    "AuditEntry",
    "CriteriaTrial",
    "CriteriaVersion",
    "Decision",
    "DesignRevision",
    "EvidenceFile",
    "Fibre",
    "Job",
    "Notice",
    "Package",
    "PackageFile",
    "Person",
    "PersonCertificate",
    "PersonSide",
    "Project",
    "ProjectHead",
    "Record",
    "RecordEnd",
    "RecordFibre",
    "Route",
    "RouteSite",
    "SignatureUpload",
    "Site",
    "StandingVerdict",
    "Submission",
    "SubmissionRecord",
    "SubmissionSegment",
    "Token",
    "TokenProject",
    "metadata",
]
