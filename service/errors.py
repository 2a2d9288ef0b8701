"""The tree of refusals: a class says code and status, its docstring is the title that a client sees."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from service.vocabulary.validation import Fault


class ServiceError(Exception):
    """The request was refused."""

    code: ClassVar[str] = "refused"
    status: ClassVar[int] = 400

    def __init_subclass__(cls, *, code: str, status: int) -> None:
        super().__init_subclass__()
        cls.code, cls.status = code, status

    def __init__(self, detail: str, *, faults: Sequence[Fault] = (), headers: Mapping[str, str] | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.faults = tuple(faults)
        self.headers = dict(headers or {})

    @property
    def title(self) -> str:
        """Return what kind of refusal this is, in words."""
        return (type(self).__doc__ or self.code).strip().rstrip(".")

    def problem(self) -> dict[str, Any]:
        """Return the refusal as a problem document (RFC 9457)."""
        problem: dict[str, Any] = {
            "type": problem_type(self.code),
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
        }
        if self.faults:
            problem["errors"] = [{"pointer": fault.pointer, "detail": fault.detail} for fault in self.faults]
        return problem


def problem_type(code: str) -> str:
    """Return the URI that names a kind of refusal."""
    return f"urn:route-acceptance:problem:{code}"


class NotAuthenticatedError(ServiceError, code="token.invalid", status=401):
    """No valid token came with the request."""

    def __init__(self) -> None:
        super().__init__(
            "Send a valid token as: Authorization: Bearer …",
            headers={"WWW-Authenticate": 'Bearer error="invalid_token"'},
        )


class WrongTokenKindError(ServiceError, code="token.wrong_kind", status=403):
    """Another kind of token is needed for this."""


class WrongSideError(ServiceError, code="person.wrong_side", status=403):
    """The person is the other side's."""


class NotFoundError(ServiceError, code="not_found", status=404):
    """Nothing with this name is open to the caller."""


class BodyInvalidError(ServiceError, code="body.invalid", status=422):
    """The body is not what this operation takes."""


class BodyUnreadableError(ServiceError, code="body.unreadable", status=400):
    """The body is not JSON."""


class BodyTooLargeError(ServiceError, code="body.too_large", status=413):
    """The body is larger than is taken."""


class ContentTypeError(ServiceError, code="body.content_type", status=415):
    """The body's content type is not taken here."""


class QueryInvalidError(ServiceError, code="query.invalid", status=400):
    """A query parameter is unknown or wrong."""


class ConflictError(ServiceError, code="conflict", status=409):
    """The request contradicts what is there."""


class RecordConflictError(ServiceError, code="record.conflict", status=409):
    """A record with this id and other content is stored already."""


class RecordRefusedError(ServiceError, code="record.refused", status=422):
    """The record is not one of this route."""


class NotSettledError(ServiceError, code="route.not_settled", status=409):
    """Records wait to be judged."""


class RouteSubmittedError(ServiceError, code="route.submitted", status=409):
    """The route has an open submission."""


class DesignNotAgreedError(ServiceError, code="design.not_agreed", status=409):
    """The engineer has not agreed to the route's design."""


class VerdictSupersededError(ServiceError, code="verdict.superseded", status=412):
    """The verdict named is not the current one."""


class NotAcceptableError(ServiceError, code="submission.not_conforming", status=422):
    """A required finding does not conform and no concession is asked for it."""


class PreconditionMissingError(ServiceError, code="precondition.missing", status=428):
    """The request must say which state it saw, in If-Match."""


class PreconditionFailedError(ServiceError, code="precondition.failed", status=412):
    """The state named in If-Match is not the current one."""


class PackageMismatchError(ServiceError, code="package.mismatch", status=409):
    """The SHA-256 named is not that of this package."""


class EvidenceMismatchError(ServiceError, code="evidence.mismatch", status=422):
    """The content is not the one whose SHA-256 was named."""


class StorageFullError(ServiceError, code="storage.full", status=507):
    """There is no room for files now; records are taken as ever."""


class StorageUnwritableError(ServiceError, code="storage.not_writable", status=507):
    """No file can be kept now; records are taken as ever."""


class NotReadyError(ServiceError, code="not_ready", status=503):
    """The service cannot answer now."""
