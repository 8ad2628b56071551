"""What a call can raise: one hierarchy, made from the service's problem documents.

::

    APIError
      TransportError         no usable answer: no connection, time out, cut short, not JSON
      ClientError            4xx: the request itself is refused
        BadRequest 400, AuthenticationError 401, PermissionDenied 403, NotFound 404,
        Conflict 409, PreconditionFailed 412 and 428, PayloadTooLarge 413,
        ValidationFailed 422, RateLimited 429
      ServerError            5xx: the service could not

Retrying has been done by the time one of these is raised.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


class APIError(Exception):
    """Base of all; ``str()`` is a sentence for a person.

    ``status`` is the HTTP status (None where there was no answer), ``problem`` the problem
    document (RFC 9457; empty where there was none), ``request_id`` what to quote to the
    service's keeper. ``remaining`` holds, after a failed ``add_run`` or ``add_runs``, the runs
    not known to be recorded, ids filled in: hand them to ``add_runs`` again, nothing counts twice.
    """

    def __init__(
        self,
        message: str,
        *,
        status: int | None = None,
        problem: Mapping[str, Any] | None = None,
        request_id: str | None = None,
        retry_after_seconds: float | None = None,
    ) -> None:
        super().__init__(message)
        self.status = status
        self.problem: dict[str, Any] = dict(problem or {})
        self.request_id = request_id
        self.retry_after_seconds = retry_after_seconds
        self.remaining: tuple[dict[str, Any], ...] = ()

    @property
    def type(self) -> str:
        """The problem's type, such as ``urn:burrline:problem:run-conflict``."""
        found = self.problem.get("type")
        return found if isinstance(found, str) else "about:blank"

    @property
    def errors(self) -> tuple[Mapping[str, Any], ...]:
        """What is wrong with which value: ``detail`` with ``pointer`` or ``parameter``."""
        found = self.problem.get("errors")
        if not isinstance(found, Sequence) or isinstance(found, str):
            return ()
        return tuple(one for one in found if isinstance(one, Mapping))


class TransportError(APIError):
    """No usable answer; whether the service acted is not known.

    ``was_reset`` tells a connection that broke after it stood from one that never stood.
    """

    was_reset: bool = False


class ClientError(APIError):
    """The service refused the request (4xx)."""


class BadRequest(ClientError):
    """400: not readable as a request."""


class AuthenticationError(ClientError):
    """401: no key, or one that is malformed, unknown, revoked or expired."""


class PermissionDenied(ClientError):
    """403: the key is good but may not do this."""


class NotFound(ClientError):
    """404: nothing by that id that this key may see."""


class Conflict(ClientError):
    """409: the id is taken, or the run was recorded before with other content."""


class PreconditionFailed(ClientError):
    """412, 428: the object has changed since it was read, or its etag was not sent."""


class PayloadTooLarge(ClientError):
    """413: more than the service takes in one request."""


class ValidationFailed(ClientError):
    """422: readable but wrong; ``errors`` says where."""


class RateLimited(ClientError):
    """429: too many requests; ``retry_after_seconds`` says how long to wait, where known."""


class ServerError(APIError):
    """The service failed or is not ready (5xx)."""


_BY_STATUS: dict[int, type[APIError]] = {
    400: BadRequest,
    401: AuthenticationError,
    403: PermissionDenied,
    404: NotFound,
    409: Conflict,
    412: PreconditionFailed,
    413: PayloadTooLarge,
    422: ValidationFailed,
    428: PreconditionFailed,
    429: RateLimited,
}


def from_answer(
    status: int,
    problem: Mapping[str, Any] | None,
    *,
    reason: str = "",
    request_id: str | None = None,
    retry_after_seconds: float | None = None,
) -> APIError:
    """The error for an answer of 400 and above; ``problem`` is its document, if it had one.

    >>> from_answer(404, {"title": "Not found", "detail": "There is no grinder 'x' here."})
    NotFound("404 Not found: There is no grinder 'x' here.")
    """
    kind = _BY_STATUS.get(status)
    if kind is None:
        kind = ServerError if status >= 500 else ClientError
    error = kind(
        "",
        status=status,
        problem=problem,
        request_id=request_id,
        retry_after_seconds=retry_after_seconds,
    )
    error.args = (_sentence(error, reason),)
    return error


def _sentence(error: APIError, reason: str) -> str:
    title, detail = error.problem.get("title"), error.problem.get("detail")
    text = f"{error.status} {title if isinstance(title, str) and title else reason}".rstrip()
    if isinstance(detail, str) and detail:
        text += f": {detail}"
    places = [
        f"{one.get('pointer') or one.get('parameter') or 'body'} {one.get('detail', '')}".rstrip()
        for one in error.errors[:5]
    ]
    if places:
        more = len(error.errors) - len(places)
        text += f" [{'; '.join(places)}{f'; and {more} more' if more > 0 else ''}]"
    return text
