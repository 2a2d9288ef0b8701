"""What has to be true after the last fault; each check says what is not."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Engine
from sqlmodel import select

from service.settings import WorkerSettings
from service.storage.blobs import BlobMissingError, BlobStore
from service.storage.session import transaction
from service.storage.tables import Acceptance, Job, Notice, Package, Record, Submission
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.records.record import RECORD, canonical_record
from tests.soak.faults.fresh import Judged
from worker.commands.upkeep import first_bad_entries
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust

_SHOWN = 5


@dataclass(frozen=True, kw_only=True)
class Check:
    """One claim, how much it was held against, and what speaks against it."""

    claim: str
    count: int
    against: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Tell whether nothing speaks against it, and something was looked at."""
        return self.count > 0 and not self.against


def check_records(engine: Engine, answered: Mapping[UUID, Any]) -> Check:
    """Every record that was answered 2xx is there once, as it was sent."""
    with transaction(engine) as session:
        rows = [(one.id, one.sha256, one.body) for one in session.exec(select(Record))]
    return Check(
        claim="every record answered 2xx is there once, as it was sent",
        count=len(answered),
        against=_some(against_records(rows, answered)),
    )


def against_records(rows: list[tuple[UUID, str, str]], answered: Mapping[UUID, Any]) -> Iterator[str]:
    """Say which records are lost, doubled, foreign or changed."""
    times = Counter(record_id for record_id, _, _ in rows)
    yield from (f"record {one} is there {times[one]} times" for one in answered if times[one] != 1)
    yield from (f"record {one} was never answered, and cannot have been sent" for one in times if one not in answered)
    for record_id, sha256, body in rows:
        sent = (
            canonical_json(canonical_record(RECORD.validate_python(answered[record_id])))
            if record_id in answered
            else b""
        )
        if sent and (sent.decode() != body or sha256_hex(sent) != sha256):
            yield f"record {record_id} is not as it was sent"


def check_judged(held: Judged, fresh: Judged) -> Check:
    """Each fibre's document and each route's verdict are those judged from scratch."""
    against = [
        *(
            f"fibre {number} of {route}"
            for (route, number), one in held.fibres.items()
            if _other(one, fresh, route, number)
        ),
        *(f"verdict of {route}" for route, digest in held.verdicts.items() if fresh.verdicts.get(route) != digest),
        *(f"only here or there: {one}" for one in held.fibres.keys() ^ fresh.fibres.keys()),
        *(f"verdict only here or there: {one}" for one in held.verdicts.keys() ^ fresh.verdicts.keys()),
    ]
    return Check(
        claim="each fibre's document is the one judged from scratch in a fresh database",
        count=len(held.fibres),
        against=_some(iter(against)),
    )


def _other(content: str | None, fresh: Judged, route: UUID, number: int) -> bool:
    return content is None or fresh.fibres.get((route, number)) != content


def check_packages(engine: Engine, settings: WorkerSettings, *, expected: int) -> Check:
    """Each submission has one package, which is kept and verifies; none was given up."""
    with transaction(engine) as session:
        submissions = session.exec(select(Submission)).all()
        packages = session.exec(select(Package)).all()
        jobs = session.exec(select(Job)).all()
    per_submission = Counter(one.submission_id for one in packages)
    blobs = BlobStore(settings.blob_dir)
    against = [
        *(f"submission {one.id} is {one.state}" for one in submissions if one.state not in {"issued", "decided"}),
        *(
            f"submission {one.id} has {per_submission[one.id]} packages"
            for one in submissions
            if per_submission[one.id] != 1
        ),
        *(f"job {one.kind} of {one.subject_id} is parked: {one.last_error}" for one in jobs if one.state == "parked"),
        *([] if len(submissions) == expected else [f"{len(submissions)} submissions, {expected} expected"]),
        *(problem for one in packages for problem in _against_file(blobs, one, settings)),
    ]
    return Check(
        claim="each submission is one package, and it verifies", count=len(packages), against=_some(iter(against))
    )


def _against_file(blobs: BlobStore, package: Package, settings: WorkerSettings) -> Iterator[str]:
    assert settings.signing_trust_file is not None
    try:
        content = blobs.get(package.current_sha256)
    except BlobMissingError:
        yield f"the file of package {package.number} is not kept"
        return
    report = verify(content, trust=RoleTrust(service=[settings.signing_trust_file.read_bytes()]), now=datetime.now(UTC))
    yield from (f"package {package.number}: {problem}" for problem in report.problems)


def check_notices(engine: Engine, told: list[Any], *, expected: int) -> Check:
    """Each acceptance is one notice, and billing is told each of them once, in order and without a gap."""
    with transaction(engine) as session:
        acceptances = {(one.route_id, one.segment_id, one.number) for one in session.exec(select(Acceptance))}
        notices = session.exec(select(Notice).order_by(Notice.sequence)).all()  # type: ignore[arg-type]
    of = Counter((one.route_id, one.segment_id, one.acceptance_number) for one in notices)
    against = [
        *(f"acceptance {one} has {of[one]} notices" for one in acceptances if of[one] != 1),
        *(f"notice of no acceptance: {one}" for one in of if one not in acceptances),
        *([] if len(acceptances) == expected else [f"{len(acceptances)} acceptances, {expected} expected"]),
    ]
    sequences = [one.sequence for one in notices]
    if not [int(one["sequence"]) for one in told] == sequences == list(range(1, len(notices) + 1)):
        against.append("billing was told otherwise than gapless and in order")
    return Check(claim="each acceptance is one notice", count=len(acceptances), against=_some(iter(against)))


def check_audit(settings: WorkerSettings) -> Check:
    """The audit chain is whole."""
    bad = first_bad_entries(settings.database_url.get_secret_value())
    against = (f"project {code}: entry {number}" for code, number in bad.items() if number is not None)
    return Check(claim="the audit chain is whole", count=len(bad), against=_some(against))


def _some(against: Iterator[str]) -> tuple[str, ...]:
    found = list(against)
    rest = len(found) - _SHOWN
    return (*found[:_SHOWN], *([f"and {rest} more"] if rest > 0 else []))
