"""The package of a judged route: drawn, signed and verified in a fresh process, whose memory is its own."""

import multiprocessing
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from typing import NamedTuple, TypeVar
from uuid import UUID, uuid4

from pypdf import PdfReader
from sqlmodel import select

from service.settings import WorkerSettings
from service.storage.jobs import make_due
from service.storage.routes import find_route
from service.storage.session import transaction
from service.storage.submissions import freeze_records
from service.storage.tables import Job, Package, Submission
from service.storage.verdicts import standing_verdict
from service.vocabulary.signatures import SignatureLevel, SignedBy
from service.vocabulary.states import JobKind, SubmissionState
from tests.benchmarks.comparing import compare, highest_resident_mb
from tests.benchmarks.rows import Row, Scale, exponent_rows
from tests.benchmarks.table_references import bare_canvas_s, long_table_s, tables_of
from tests.world import World
from worker.jobs.context import StepContext
from worker.jobs.runner import run_job
from worker.jobs.submission_snapshot import content_of, judge_from_scratch, read_snapshot
from worker.package.archive.document import pack
from worker.package.data.attachments import attached_files
from worker.package.data.content import PackageContent, Seal
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE, draw
from worker.package.view import build_view
from worker.signing.check.verify import verify
from worker.signing.make.certify import certify
from worker.signing.trust.role_trust import RoleTrust
from worker.tasks import STEPS, make_context

T = TypeVar("T")

_ROWS_A_SECOND = 20_000
_AT_MOST_S = 10
_COMPARED_AT_MOST_S = 5
_AT_MOST_MB = 400
# Its cost grows with the square of the rows.
_LONGEST_LONG_TABLE = 15_000


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What drawing, signing and verifying one package took, beside the library's own ways of drawing its rows."""

    rows: int
    pages: int
    file_mb: float
    draw_s: float
    whole_s: float
    bare_canvas_s: float
    long_table_s: float | None
    signed: bytes


def measure_packages(world: World, routes: Mapping[int, UUID], scale: Scale) -> Iterator[Row]:
    """Give the rows of packages, each made in a process of its own."""
    seconds: dict[int, float] = {}
    for fibres in scale.fibres:
        submission = _submit(world, routes[fibres])
        drawn = _in_fresh_process(_draw_sign_verify, world.settings, submission, scale.drawings)
        seconds[fibres] = drawn.whole_s
        yield from _drawing_rows(fibres, drawn)
        yield from _comparison_rows(fibres, drawn.signed)
        job_s, memory_mb = _in_fresh_process(_run_job, world.settings, submission)
        yield Row(
            what="package job, memory of its process",
            fibres=fibres,
            measured=f"judged anew, drawn, signed, read back, stored in {job_s:.1f} s",
            reference="highest resident size",
            figure=memory_mb,
            unit="MB",
            at_most=_AT_MOST_MB,
        )
    yield from exponent_rows("package, exponent of time on fibres", seconds, runs=scale.drawings)


def _drawing_rows(fibres: int, drawn: Drawn) -> Iterator[Row]:
    references = [f"bare canvas {drawn.rows / drawn.bare_canvas_s:,.0f}"]
    if drawn.long_table_s is not None:
        references.append(f"automatic long table {drawn.rows / drawn.long_table_s:,.0f}")
    yield Row(
        what="package, table rows drawn",
        fibres=fibres,
        measured=f"{drawn.rows:,} rows, {drawn.pages:,} pages, {drawn.file_mb:.1f} MB in {drawn.draw_s:.2f} s",
        reference=f"same strings: {', '.join(references)} rows/s",
        figure=drawn.rows / drawn.draw_s,
        unit="rows/s",
        at_least=_ROWS_A_SECOND,
    )
    yield Row(
        what="package drawn, signed, verified",
        fibres=fibres,
        measured="its data written and compressed too",
        reference="",
        figure=drawn.whole_s,
        unit="s",
        at_most=_AT_MOST_S,
    )


def _submit(world: World, route_id: UUID) -> UUID:
    """Submit the whole route as it stands, and return the submission, whose package job is due."""
    with transaction(world.engine) as session:
        route = find_route(session, None, route_id)
        standing = standing_verdict(session, route)
        assert route.criteria_version is not None and standing is not None
        submission = Submission(
            project_id=route.project_id,
            id=uuid4(),
            route_id=route.id,
            number=1,
            state=SubmissionState.QUEUED,
            verdict_digest=standing.digest,
            engine_version=standing.engine_version,
            design_revision=route.design_revision,
            criteria_version=route.criteria_version,
            segments=["SEG1"],
            concessions=[],
            responsible_person="p-1c9",
            signature=SignedBy.SERVICE_SEAL,
            submitted_at=datetime.now(UTC),
            token_id=uuid4(),
        )
        session.add(submission)
        session.flush()
        freeze_records(session, route, submission.id)
        make_due(session, JobKind.PACKAGE, project_id=route.project_id, subject_id=submission.id)
        return submission.id


def _in_fresh_process(work: Callable[..., T], *arguments: object) -> T:
    """Run work where nothing else has been held: its highest resident size is its own."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(work, *arguments).result()


def _run_job(settings: WorkerSettings, submission: UUID) -> tuple[float, float]:
    """Do a package job as a worker does, and return the seconds it took and the most memory in MB."""
    context = make_context(settings)
    with transaction(context.engine) as session:
        job = session.exec(select(Job).where(Job.subject_id == submission)).one().id
    began = time.perf_counter()
    run_job(context, STEPS[JobKind.PACKAGE], job)
    took_s = time.perf_counter() - began
    with transaction(context.engine) as session:
        session.exec(select(Package).where(Package.submission_id == submission)).one()
    return took_s, highest_resident_mb()


def _draw_sign_verify(settings: WorkerSettings, submission: UUID, times: int) -> Drawn:
    context = make_context(settings)
    with transaction(context.engine) as session:
        frozen = read_snapshot(session, session.exec(select(Submission).where(Submission.id == submission)).one())
    documents, verdict = judge_from_scratch(frozen.by, frozen.evidence, come_forward=lambda: None)
    content = content_of(
        frozen,
        documents,
        verdict,
        verification_code="AAAA-BBBB-CCCC-DDDD",
        public_url=None,
        is_demonstration=True,
        seal=Seal(level=SignatureLevel.B_B, time_authority=None),
        made_at=context.clock(),
    )
    tables = tables_of(build_view(content))
    rows = sum(map(len, tables))
    runs = [_draw_once(content, context) for _ in range(times)]
    pdf = runs[0].pdf
    return Drawn(
        rows=rows,
        pages=PdfReader(BytesIO(pdf)).get_num_pages(),
        file_mb=len(pdf) / 1e6,
        draw_s=min(run.draw_s for run in runs),
        whole_s=min(run.whole_s for run in runs),
        bare_canvas_s=min(bare_canvas_s(tables) for _ in range(times)),
        long_table_s=long_table_s(tables) if rows <= _LONGEST_LONG_TABLE else None,
        signed=pdf,
    )


class _Run(NamedTuple):
    draw_s: float
    whole_s: float
    pdf: bytes


def _draw_once(content: PackageContent, context: StepContext) -> _Run:
    now, key = datetime.now(UTC), context.load_key()
    began = time.perf_counter()
    files = {name: pack(parts) for name, parts in attached_files(content)}
    packed = time.perf_counter()
    pdf = draw(build_view(content), attachments=files)
    draw_s = time.perf_counter() - packed
    signed = certify(pdf, key=key, signed_at=now, reason="A benchmark.", boxes=SIGNATURE_BOXES, page=SIGNING_PAGE).pdf
    report = verify(signed, trust=RoleTrust(service=context.trust()), now=now)
    whole_s = time.perf_counter() - began
    assert report.is_sound, report
    return _Run(draw_s, whole_s, signed)


def _comparison_rows(fibres: int, signed: bytes) -> Iterator[Row]:
    """Give what comparing the pages with the attached data takes a receiver."""
    comparison_s, memory_mb = _in_fresh_process(compare, signed)
    what, measured = "package, its pages compared", "read, drawn again, held against the file"
    yield Row(
        what=what,
        fibres=fibres,
        measured=measured,
        reference="",
        figure=comparison_s,
        unit="s",
        at_most=_COMPARED_AT_MOST_S,
    )
    yield Row(
        what="package, memory of comparing",
        fibres=fibres,
        measured=measured,
        reference="highest resident size",
        figure=memory_mb,
        unit="MB",
        at_most=_AT_MOST_MB,
    )
