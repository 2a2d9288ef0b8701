"""Say of a package file who signed what, for people and as JSON."""

from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import httpx
from rich.console import Console

from worker.commands.standing import Served, ask_standing, standing_lines
from worker.signing.fields import FIELD_TITLES
from worker.signing.report import PackageReport, SignatureReport, TimestampReport
from worker.signing.verify import verify

_PATIENCE_S = 10


class Checked(NamedTuple):
    """A file's report, and what a service says of it where one was asked: its objections are among the problems."""

    report: PackageReport
    served: Served | None = None


def check_file(
    file: Path, *, trust: list[Path], time_trust: list[Path] | None = None, server: str | None = None
) -> Checked:
    """Judge a file against the roots that are trusted, and by a service's word where its address is given."""
    pdf = file.read_bytes()
    report = verify(
        pdf,
        trust=[one.read_bytes() for one in trust],
        now=datetime.now(UTC),
        time_trust=[one.read_bytes() for one in time_trust] if time_trust else None,
    )
    if server is None:
        return Checked(report)
    with httpx.Client(base_url=server, timeout=_PATIENCE_S) as client:
        served = ask_standing(pdf, sha256=report.sha256, client=client)
    return Checked(replace(report, problems=(*report.problems, *served.problems)), served)


def as_document(checked: Checked) -> dict[str, Any]:
    """Return a report as JSON takes it."""
    report = checked.report
    document = {
        "is_good": report.is_good,
        "level": report.level,
        **asdict(report),
        "attachments": dict(report.attachments),
    }
    return document if checked.served is None else {**document, "server": checked.served.answer}


def print_report(console: Console, file: Path, checked: Checked) -> None:
    """Print a report for people."""
    report = checked.report
    lines = [f"{file.name}: {'good' if report.is_good else 'NOT GOOD'}", f"  SHA-256   {report.sha256}"]
    if report.certified_sha256 is not None:
        lines.append(f"  certified {report.certified_sha256}")
    for signature in report.signatures:
        lines += _signature_lines(signature)
    lines += [f"  the document up to there: {_stated(one)}" for one in report.timestamps]
    if report.attachments:
        lines.append(f"  attached  {', '.join(sorted(report.attachments))}")
    if report.is_demonstration:
        lines.append("  A demonstration key signed this: it proves nothing about anybody.")
    if checked.served is not None:
        lines += standing_lines(checked.served)
    lines += [f"  problem   {problem}" for problem in report.problems]
    for line in lines:
        console.print(line, highlight=False, markup=False, soft_wrap=True)


def _signature_lines(signature: SignatureReport) -> list[str]:
    when = "at no stated time" if signature.signed_at is None else f"{signature.signed_at:%Y-%m-%d %H:%M:%S %Z}"
    claims = {
        "intact": signature.is_intact,
        "trusted": signature.is_trusted,
        "covers the whole file": signature.covers_whole_file,
    }
    said = ", ".join(claim if holds else f"not {claim}" for claim, holds in claims.items() if holds or claim[0] != "c")
    return [
        f"  {FIELD_TITLES.get(signature.field, signature.field)}: {signature.level}, {when}; {said}",
        f"    {signature.signer}",
        f"    {'no proven time' if signature.timestamp is None else _stated(signature.timestamp)}",
        f"    {signature.reason or 'no reason stated'}",
    ]


def _stated(stamp: TimestampReport) -> str:
    doubt = "" if stamp.is_good else ", which proves nothing"
    return f"{stamp.stated_at:%Y-%m-%d %H:%M:%S %Z} stated by {stamp.authority}{doubt}"
