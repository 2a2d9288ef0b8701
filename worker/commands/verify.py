"""Say of a package file who signed what, for people and as JSON."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import asdict, replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

from rich.console import Console

from service.vocabulary.signatures import SignaturePlace
from worker.commands.issued_status import Served, ask_issued_status, client_of, issued_status_lines
from worker.commands.page_comparison import PageComparison, Pages, compare_pages, comparison_lines
from worker.signing.check.verify import verify
from worker.signing.report import PackageReport, SignatureReport, State, TimestampReport
from worker.signing.trust.role_trust import RoleTrust

_STATES: Mapping[State, str] = {State.COMPLETE: "complete", State.AWAITING: "awaiting signatures", State.BAD: "BAD"}
_AWAITED: Mapping[SignaturePlace, str] = {
    SignaturePlace.CONTRACTOR: "the own signature of the contractor's responsible person",
    SignaturePlace.DECISION: "the decision of the owner's engineer",
    SignaturePlace.ENGINEER: "the own signature of the owner's engineer",
}


class Required(StrEnum):
    """What may be required."""

    CONTRACTOR = "contractor"
    DECISION = "decision"
    ENGINEER = "engineer"
    PAGES = "pages"


_NEEDED_FOR: Mapping[Required, Sequence[SignaturePlace]] = {
    Required.CONTRACTOR: [SignaturePlace.CONTRACTOR],
    Required.DECISION: [SignaturePlace.DECISION],
    Required.ENGINEER: [SignaturePlace.DECISION, SignaturePlace.ENGINEER],
}
_REQUIRED_WORDS: Mapping[SignaturePlace, str] = {
    SignaturePlace.CONTRACTOR: "the signature of the contractor's responsible person",
    SignaturePlace.DECISION: "the decision",
    SignaturePlace.ENGINEER: "the signature of the owner's engineer",
}


class RequirementUnknownError(ValueError):
    """What was required is not known."""

    def __init__(self, word: str) -> None:
        super().__init__(f"{word!r} cannot be required: {', '.join(Required)} can.")


class Checked(NamedTuple):
    """A file's report, its pages held against its data, and a service's word where one was asked.

    The report's problems are all there are, those of the other two among them.
    """

    report: PackageReport
    comparison: PageComparison
    served: Served | None = None


class TrustFiles(NamedTuple):
    """The files with the certificates to trust in each role, as PEM; where no time is named, the service's vouch."""

    service: Sequence[Path]
    contractor: Sequence[Path] = ()
    engineer: Sequence[Path] = ()
    time: Sequence[Path] = ()

    def read(self) -> RoleTrust:
        """Read them all."""
        service, contractor, engineer, time = ([_read(file) for file in files] for files in self)
        return RoleTrust(service=service, contractor=contractor, engineer=engineer, time=time or None)


class NothingToVerifyError(ValueError):
    """There is no file to judge."""


def read_required(text: str) -> frozenset[Required]:
    """Read what is required, with commas between."""
    words = [word.strip() for word in text.split(",") if word.strip()]
    for word in words:
        if word not in {one.value for one in Required}:
            raise RequirementUnknownError(word)
    return frozenset(map(Required, words))


def check_file(
    file: Path,
    *,
    trust: TrustFiles,
    server: str | None = None,
    compare: Callable[[bytes], PageComparison] = compare_pages,
    required: Collection[Required] = (),
) -> Checked:
    """Judge a file against whom is trusted and its own data, and by a service's word where one is named."""
    with nullcontext() if server is None else client_of(server) as client:
        pdf = _read_pdf(file)
        report = verify(pdf, trust=trust.read(), now=datetime.now(UTC))
        # Of what is no PDF one sentence is enough.
        comparison = compare(pdf) if report.signatures or report.attachments else PageComparison()
        served = None
        if client is not None:
            served = ask_issued_status(pdf, sha256=report.sha256, head=comparison.audit_head, client=client)
    lacking = _missing(report, comparison, required=required)
    problems = (*report.problems, *comparison.problems, *lacking, *(() if served is None else served.problems))
    return Checked(replace(report, problems=problems), comparison, served)


def _missing(report: PackageReport, comparison: PageComparison, *, required: Collection[Required]) -> Iterator[str]:
    """Say what is required and not there.

    A person's word is there when nothing of it is awaited: by an own key, or by the service's seal over what was
    recorded, as that person chose.
    """
    for one in sorted(required):
        lacking = [place for place in _NEEDED_FOR.get(one, ()) if place in report.awaited]
        if lacking or (one in _NEEDED_FOR and not report.signatures):
            yield f"Required and missing: {', '.join(_REQUIRED_WORDS[what] for what in lacking) or one.value}."
    if Required.PAGES in required and comparison.pages is Pages.NOT_COMPARED:
        yield "Required and missing: that the pages are compared with the attached data."


def _read_pdf(file: Path) -> bytes:
    content = _read(file)
    if not content:
        raise NothingToVerifyError(f"{file} is empty.")
    # Readers look for the header among the first 1024 bytes (ISO 32000-1, annex H, from memory).
    if b"%PDF-" not in content[:1024]:
        raise NothingToVerifyError(f"{file} is not a PDF.")
    return content


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    # A name with a NUL in it is a ValueError.
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise NothingToVerifyError(f"{file} cannot be read: {reason}.") from error


def as_document(checked: Checked) -> dict[str, Any]:
    """Return a report as JSON takes it."""
    report = checked.report
    comparison = {name: value for name, value in asdict(checked.comparison).items() if name != "problems"}
    document = {
        "is_good": report.is_good,
        "state": report.state,
        "level": report.level,
        **asdict(report),
        "attachments": dict(report.attachments),
        "data": comparison,
    }
    return document if checked.served is None else {**document, "server": checked.served.answer}


def print_report(console: Console, file: Path, checked: Checked) -> None:
    """Print a report for people."""
    report = checked.report
    lines = [f"{file.name}: {_STATES[report.state]}", f"  SHA-256   {report.sha256}"]
    if report.certified_sha256 is not None:
        lines.append(f"  certified {report.certified_sha256}")
    for signature in report.signatures:
        lines += _signature_lines(signature)
    lines += [f"  the document up to there: {_stated(one)}" for one in report.timestamps]
    if report.attachments:
        lines.append(f"  attached  {', '.join(sorted(report.attachments))}")
        lines += comparison_lines(checked.comparison)
    if report.is_demonstration:
        lines.append("  A demonstration key signed this: it proves nothing about anybody.")
    if checked.served is not None:
        lines += issued_status_lines(checked.served)
    lines += [f"  awaited   {_AWAITED[one]}" for one in report.awaited]
    lines += [f"  problem   {problem}" for problem in report.problems]
    for line in lines:
        console.print(_printable(line), highlight=False, markup=False, soft_wrap=True)


def _printable(line: str) -> str:
    # Anybody may have written the names and reasons in a file: none of them shall move the cursor.
    return "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in line)


def _signature_lines(signature: SignatureReport) -> list[str]:
    when = "at no stated time" if signature.signed_at is None else f"{signature.signed_at:%Y-%m-%d %H:%M:%S %Z}"
    claims = {
        "intact": signature.is_intact,
        "trusted": signature.is_trusted,
        "covers the whole file": signature.covers_whole_file,
    }
    said = ", ".join(claim if holds else f"not {claim}" for claim, holds in claims.items() if holds or claim[0] != "c")
    return [
        f"  {signature.title}: {signature.level}, {when}; {said}",
        f"    {signature.signer}",
        f"    {'no proven time' if signature.timestamp is None else _stated(signature.timestamp)}",
        f"    {signature.reason or 'no reason stated'}",
    ]


def _stated(stamp: TimestampReport) -> str:
    doubt = "" if stamp.is_good else ", which proves nothing"
    return f"{stamp.stated_at:%Y-%m-%d %H:%M:%S %Z} stated by {stamp.authority}{doubt}"
