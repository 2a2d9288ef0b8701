"""What a limited process is asked about a signed file: questions as our own process writes them, answers as JSON."""

import pickle
from typing import Any

from cryptography.hazmat.primitives.serialization import Encoding
from pydantic import TypeAdapter

from worker.signing.check.uploaded import Expected, UploadReport, check_uploaded, pinned_signers
from worker.signing.foreign.bounds import find_excess

ADDED = "What was added to the package"
_REPORT = TypeAdapter(UploadReport)


def ask_check(expected: Expected, **how: Any) -> bytes:
    """Return the question that `answer_check` answers of a signed file: the arguments of `check_uploaded`."""
    return pickle.dumps({"expected": expected, **how})


def answer_check(_: Any, files: list[bytes]) -> Any:
    """Check a signed file: nothing is parsed that is larger than a signature can be."""
    pdf, asked = files
    how = pickle.loads(asked)  # noqa: S301 - written by the process that started this one
    current = how["expected"].current
    excess = find_excess(pdf, ours=len(current)) if pdf.startswith(current) else None
    report = UploadReport(problems=(f"{ADDED} {excess}",)) if excess is not None else check_uploaded(pdf, **how)
    return _REPORT.dump_json(report).decode()


def read_answer(answer: Any) -> UploadReport:
    """Return the report that `answer_check` gave."""
    return _REPORT.validate_json(answer)


def answer_pinned(question: Any, files: list[bytes]) -> Any:
    """Give the certificates with some fingerprints that signed a file, or say why the file is none to read."""
    [pdf] = files
    signers = [] if (excess := find_excess(pdf)) else pinned_signers(pdf, question)
    return excess or [one.public_bytes(Encoding.PEM).decode() for one in signers]
