"""Say of a package file who signed what, for people and as JSON."""

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

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
    console.print(f"{file.name}: {'good' if report.is_good else 'NOT GOOD'}", highlight=False)
    console.print(f"  SHA-256            {report.sha256}", highlight=False)
    console.print(f"  certified part     {report.certified_sha256 or 'none'}", highlight=False)
    table = Table(box=None, padding=(0, 2, 0, 0), show_header=True, header_style="dim")
    for heading in ("  field", "signed at", "level", "intact", "trusted", "whole file", "signer"):
        table.add_column(heading)
    for signature in report.signatures:
        table.add_row(*_row(signature))
    if report.signatures:
        console.print(table)
    for name, sha256 in sorted(report.attachments.items()):
        console.print(f"  attached           {name}  {sha256[:16]}…", highlight=False)
    if any(signature.is_demonstration for signature in report.signatures):
        console.print("  A demonstration key signed this: it proves nothing about anybody.", highlight=False)
    for problem in report.problems:
        console.print(f"  problem            {problem}", highlight=False, markup=False)


def _row(signature: SignatureReport) -> tuple[str, ...]:
    signed_at = "-" if signature.signed_at is None else f"{signature.signed_at:%Y-%m-%d %H:%M:%S %Z}"
    flags = (signature.is_intact, signature.is_trusted, signature.covers_whole_file)
    words = ("yes" if flag else "no" for flag in flags)
    return (f"  {signature.field}", signed_at, signature.level, *words, signature.signer)
