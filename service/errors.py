"""The tree of refusals: a class says code and status, its docstring is the title that a client sees."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from service.vocabulary.validation import Fault


class ServiceError(Exception):
    """The request was refused."""

    code: ClassVar[str] = "refused"
    status: ClassVar[int] = 400

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


class NotAuthenticatedError(ServiceError):
    """No valid token came with the request."""

    code = "token.invalid"
    status = 401

    def __init__(self) -> None:
        super().__init__(
            "Send a valid token as: Authorization: Bearer …",
            headers={"WWW-Authenticate": 'Bearer error="invalid_token"'},
        )


class WrongTokenKindError(ServiceError):
    """Another kind of token is needed for this."""

    code = "token.wrong_kind"
    status = 403


class WrongSideError(ServiceError):
    """The person is the other side's."""

    code = "person.wrong_side"
    status = 403


class NotFoundError(ServiceError):
    """Nothing with this name is open to the caller."""

    code = "not_found"
    status = 404


class BodyInvalidError(ServiceError):
    """The body is not what this operation takes."""

    code = "body.invalid"
    status = 422


class BodyUnreadableError(ServiceError):
    """The body is not JSON."""

    code = "body.unreadable"
    status = 400


class BodyTooLargeError(ServiceError):
    """The body is larger than is taken."""

    code = "body.too_large"
    status = 413


class ContentTypeError(ServiceError):
    """The body's content type is not taken here."""

    code = "body.content_type"
    status = 415


class QueryInvalidError(ServiceError):
    """A query parameter is unknown or wrong."""

    code = "query.invalid"
    status = 400


class ConflictError(ServiceError):
    """The request contradicts what is there."""

    code = "conflict"
    status = 409


class RecordConflictError(ServiceError):
    """A record with this id and other content is stored already."""

    code = "record.conflict"
    status = 409


class RecordRefusedError(ServiceError):
    """The record is not one of this route."""

    code = "record.refused"
    status = 422


class NotSettledError(ServiceError):
    """Records wait to be judged."""

    code = "route.not_settled"
    status = 409


class RouteSubmittedError(ServiceError):
    """The route has an open submission."""

    code = "route.submitted"
    status = 409


class VerdictSupersededError(ServiceError):
    """The verdict named is not the current one."""

    code = "verdict.superseded"
    status = 412


class NotAcceptableError(ServiceError):
    """A required finding does not conform and no concession is asked for it."""

    code = "submission.not_conforming"
    status = 422


class PreconditionMissingError(ServiceError):
    """The request must say which state it saw, in If-Match."""

    code = "precondition.missing"
    status = 428


class PreconditionFailedError(ServiceError):
    """The state named in If-Match is not the current one."""

    code = "precondition.failed"
    status = 412


class PackageMismatchError(ServiceError):
    """The SHA-256 named is not that of this package."""

    code = "package.mismatch"
    status = 409


class EvidenceMismatchError(ServiceError):
    """The content is not the one whose SHA-256 was named."""

    code = "evidence.mismatch"
    status = 422


class StorageFullError(ServiceError):
    """There is no room for files now; records are taken as ever."""

    code = "storage.full"
    status = 507


class StorageUnwritableError(ServiceError):
    """No file can be kept now; records are taken as ever."""

    code = "storage.not_writable"
    status = 507


class NotReadyError(ServiceError):
    """The service cannot answer now."""

    code = "not_ready"
    status = 503
