"""Say of a package file who signed what, for people and as JSON."""

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rich.console import Console

from worker.signing.fields import FIELD_TITLES
from worker.signing.report import PackageReport, SignatureReport
from worker.signing.verify import verify


def report_on(file: Path, *, trust: list[Path]) -> PackageReport:
    """Judge a file against the roots that are trusted."""
    return verify(file.read_bytes(), trust=[one.read_bytes() for one in trust], now=datetime.now(UTC))


def as_document(report: PackageReport) -> dict[str, Any]:
    """Return a report as JSON takes it."""
    return {"is_good": report.is_good, **asdict(report), "attachments": dict(report.attachments)}


def print_report(console: Console, file: Path, report: PackageReport) -> None:
    """Print a report for people."""
    lines = [f"{file.name}: {'good' if report.is_good else 'NOT GOOD'}", f"  SHA-256   {report.sha256}"]
    if report.certified_sha256 is not None:
        lines.append(f"  certified {report.certified_sha256}")
    for signature in report.signatures:
        lines += _signature_lines(signature)
    if report.attachments:
        lines.append(f"  attached  {', '.join(sorted(report.attachments))}")
    if any(signature.is_demonstration for signature in report.signatures):
        lines.append("  A demonstration key signed this: it proves nothing about anybody.")
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
        f"    {signature.reason or 'no reason stated'}",
    ]
