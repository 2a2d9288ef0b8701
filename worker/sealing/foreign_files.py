"""Read what somebody else signed in a process of its own, within limits that a package never comes near."""

from collections.abc import Callable, Collection, Sequence
from typing import Any

from cryptography import x509

from worker.jobs.runner import HopelessError
from worker.limits.process import LimitReachedError, Limits, run_limited
from worker.signing.check.uploaded import Expected, UploadReport
from worker.signing.foreign import reading

TOO_MUCH = f"{reading.ADDED} asks for more memory or time than any signature needs."


def check_in_limits(pdf: bytes, *, expected: Expected, come_forward: Callable[[], None], **how: Any) -> UploadReport:
    """Find everything that is wrong with a signed file; one that asks too much is refused.

    It is checked by `check_uploaded`, whose arguments these are; certificates among them as PEM.
    """
    work, files = f"{reading.__name__}:answer_check", [pdf, reading.ask_check(expected, **how)]
    try:
        limits = _limits(expected.current)
        answer = run_limited(work, question=None, files=files, limits=limits, progressed=come_forward)
    except LimitReachedError:
        return UploadReport(problems=(TOO_MUCH,))
    return reading.read_answer(answer)


def pinned_in_limits(
    pdf: bytes, fingerprints: Collection[str], *, come_forward: Callable[[], None]
) -> Sequence[x509.Certificate]:
    """Return the certificates in a package that people signed it with, as `pinned_signers` does.

    The file was good when it was taken; by which rules, an earlier version of this program knows.
    """
    if not fingerprints:
        return []
    work, question = f"{reading.__name__}:answer_pinned", sorted(fingerprints)
    try:
        answer = run_limited(work, question=question, files=[pdf], limits=_limits(pdf), progressed=come_forward)
    except LimitReachedError as error:
        raise HopelessError(f"The package as it is asks for more {error} than any needs.") from error
    if isinstance(answer, str):
        raise HopelessError(f"The package as it is {answer}")
    return [x509.load_pem_x509_certificate(one.encode()) for one in answer]


def _limits(ours: bytes) -> Limits:
    """Return what checking may take: it grows with the package, which is ours, not with what was added to it.

    Measured, starting included: 1.3 s of computing and 105 MB with a package of 1.6 MB, 3.9 s and 185 MB with one of
    9.1 MB (864 fibres). By the clock there is only what would never end: a busy machine is not the file's fault.
    """
    return Limits(memory_bytes=(480 << 20) + 12 * len(ours), cpu_s=6 + len(ours) // (1 << 20), time_s=30)
