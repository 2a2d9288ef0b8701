"""The package of a judged route: drawn, signed and verified in a fresh process, whose memory is its own."""

import multiprocessing
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from uuid import UUID, uuid4

from reportlab.pdfgen.canvas import Canvas
from sqlmodel import Session

from service.storage.records import freeze_records
from service.storage.routes import find_route
from service.storage.session import transaction
from service.storage.tables import Submission
from tests.benchmarks.material import EVENTS_A_TRACE
from tests.benchmarks.rows import Row, Scale
from tests.world import World
from worker.package.attachments import attachments
from worker.package.content import PackageContent
from worker.package.drawing import SIGNATURE_BOXES, draw
from worker.package.view import build_view
from worker.signing.certify import certify
from worker.signing.fields import SignatureBoxes
from worker.signing.keys import load_signing_key
from worker.signing.verify import verify
from worker.steps.frozen import Frozen, content_of, judge_frozen, read_frozen

_ROWS_A_SECOND = 20_000
_AT_MOST_S = 10
_AT_MOST_MB = 400
_COLUMNS = 8
_ROWS_A_PAGE = 60


@dataclass(frozen=True, kw_only=True)
class Keys:
    """The files that a package is signed and verified with."""

    pkcs12: Path
    passphrase: Path
    trust: Path


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """What drawing, signing and verifying one package took."""

    draw_s: float
    whole_s: float
    memory_mb: float
    raw_canvas_s: float


def measure_packages(world: World, routes: Mapping[int, UUID], scale: Scale) -> Iterator[Row]:
    """Give the rows of packages, each drawn in a process of its own."""
    for fibres in scale.fibres:
        with transaction(world.engine) as session:
            frozen = _freeze(session, routes[fibres])
        fibre_findings, verdict = judge_frozen(frozen)
        content = content_of(
            frozen,
            fibre_findings,
            verdict,
            verification_code="AAAA-BBBB-CCCC-DDDD",
            public_url=None,
            is_demonstration=True,
        )
        rows = fibres * EVENTS_A_TRACE
        drawn = [_in_fresh_process(content, _keys(world), rows) for _ in range(scale.drawings)]
        draw_s, raw_s = min(one.draw_s for one in drawn), min(one.raw_canvas_s for one in drawn)
        whole_s, memory_mb = min(one.whole_s for one in drawn), max(one.memory_mb for one in drawn)
        yield Row(
            what="package, table rows drawn",
            fibres=fibres,
            measured=f"{rows:,} joint rows in {draw_s:.2f} s",
            reference=f"raw canvas {rows / raw_s:,.0f} rows/s",
            figure=rows / draw_s,
            unit="rows/s",
            at_least=_ROWS_A_SECOND,
        )
        yield Row(
            what="package drawn, signed, verified",
            fibres=fibres,
            measured=f"minimum of {scale.drawings}",
            reference=f"raw canvas of as many rows {raw_s:.2f} s",
            figure=whole_s,
            unit="s",
            at_most=_AT_MOST_S,
        )
        yield Row(
            what="package, memory of its process",
            fibres=fibres,
            measured="highest resident size",
            reference="",
            figure=memory_mb,
            unit="MB",
            at_most=_AT_MOST_MB,
        )


def _keys(world: World) -> Keys:
    settings = world.settings
    assert settings.signing_pkcs12_file and settings.signing_passphrase_file and settings.signing_trust_file
    return Keys(
        pkcs12=settings.signing_pkcs12_file,
        passphrase=settings.signing_passphrase_file,
        trust=settings.signing_trust_file,
    )


def _freeze(session: Session, route_id: UUID) -> Frozen:
    """Return what a submission of the whole route would freeze now."""
    route = find_route(session, None, route_id)
    assert route.criteria_version is not None
    submission = Submission(
        project_id=route.project_id,
        id=uuid4(),
        route_id=route.id,
        number=1,
        state="submitted",
        verdict_digest="",
        design_revision=route.design_revision,
        criteria_version=route.criteria_version,
        segments=["whole"],
        concessions=[],
        responsible_person="p-1c9",
        signature="service_seal",
        submitted_at=datetime.now(UTC),
        token_id=uuid4(),
    )
    session.add(submission)
    session.flush()
    freeze_records(session, route, submission.id)
    return read_frozen(session, submission)


def _in_fresh_process(content: PackageContent, keys: Keys, rows: int) -> Drawn:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(_draw_sign_verify, content, keys, rows).result()


def _draw_sign_verify(content: PackageContent, keys: Keys, rows: int) -> Drawn:
    now = datetime.now(UTC)
    key = load_signing_key(pkcs12_file=keys.pkcs12, passphrase_file=keys.passphrase, now=now)
    began = time.perf_counter()
    files = attachments(content)
    attached = time.perf_counter()
    pdf = draw(build_view(content), attachments=files)
    draw_s = time.perf_counter() - attached
    boxes = SignatureBoxes(**SIGNATURE_BOXES)
    signed = certify(pdf, key=key, signed_at=now, reason="A benchmark.", boxes=boxes)
    report = verify(signed, trust=[keys.trust.read_bytes()], now=now)
    whole_s = time.perf_counter() - began
    assert report.is_good, report
    memory_mb = _highest_resident_mb()
    return Drawn(draw_s=draw_s, whole_s=whole_s, memory_mb=memory_mb, raw_canvas_s=_raw_canvas_s(rows))


def _highest_resident_mb() -> float:
    # The kernel's own high-water mark of this address space; getrusage would carry over that of the parent.
    [line] = [one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM:")]
    return int(line.split()[1]) / 1024


def _raw_canvas_s(rows: int) -> float:
    """Return how long a bare canvas takes for as many rows, with one text object per column and page."""
    began = time.perf_counter()
    canvas = Canvas(BytesIO(), pageCompression=1)
    for first in range(0, rows, _ROWS_A_PAGE):
        for column in range(_COLUMNS):
            text = canvas.beginText(40 + 60 * column, 800)
            text.setFont("Helvetica", 8)
            for row in range(first, min(first + _ROWS_A_PAGE, rows)):
                text.textLine(f"{row}.{column:03d}")
            canvas.drawText(text)
        canvas.showPage()
    canvas.save()
    return time.perf_counter() - began
