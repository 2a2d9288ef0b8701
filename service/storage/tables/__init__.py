"""The tables. PostgreSQL is the only truth; keys are (project_id, id) so that access can later be cut by project.

Documents are kept as the canonical text that was hashed, never as jsonb, which reorders members.
"""

from service.storage.tables.acceptance import (
    Acceptance,
    Decision,
    Notice,
    Package,
    PackageFile,
    SignatureUpload,
    Submission,
    SubmissionRecord,
    SubmissionSegment,
)
from service.storage.tables.access import (
    AuditEntry,
    Person,
    PersonCertificate,
    PersonSide,
    Project,
    ProjectHead,
    Token,
    TokenProject,
)
from service.storage.tables.columns import metadata
from service.storage.tables.design import (
    CriteriaTrial,
    CriteriaVersion,
    DesignReply,
    DesignRevision,
    Route,
    RouteSection,
    RouteSite,
    Section,
    Site,
)
from service.storage.tables.evidence import (
    WHOLE_SITE,
    EvidenceFile,
    Fibre,
    FoundSpots,
    Record,
    RecordAnnulment,
    RecordEnd,
    RecordFibre,
    StandingVerdict,
)
from service.storage.tables.work import Job
