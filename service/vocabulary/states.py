"""Where things are on their way: jobs, designs, submissions. Closed lists, kept in the database as their text."""

from enum import StrEnum


class JobKind(StrEnum):
    """What there is to do."""

    JUDGE = "judge"
    SETTLE = "settle"
    PACKAGE = "package"
    COUNTERSIGN = "countersign"
    TRIAL = "trial"
    DEEM = "deem"
    CHECK_UPLOAD = "check_upload"


class JobState(StrEnum):
    """Where a job is.

    Idle: nothing to do. Due. Leased: a worker has it until a time. Done. Parked: given up, with the reason. Waiting:
    given up for as long as something outside is away, and tried again now and then by itself.
    """

    IDLE = "idle"
    DUE = "due"
    LEASED = "leased"
    DONE = "done"
    PARKED = "parked"
    WAITING = "waiting"


class RevisionState(StrEnum):
    """Where a design revision is: a fact of its own rows and its route's, kept nowhere.

    Proposed: the engineer is asked. Agreed to. Refused, with the reason. Withdrawn: the contractor proposed another, or
    took it back, before the engineer replied.
    """

    PROPOSED = "proposed"
    AGREED = "agreed"
    REFUSED = "refused"
    WITHDRAWN = "withdrawn"


class SubmissionState(StrEnum):
    """Where a submission is.

    Queued: its package is to be made. Issued: the engineer has it. Decided. Parked: no package can be made, for a
    reason that it tells.
    """

    QUEUED = "queued"
    ISSUED = "issued"
    DECIDED = "decided"
    PARKED = "parked"
