"""What the api itself refuses before any action is asked: requests that cannot be read."""

from __future__ import annotations

from ..core.errors import Fault, Refusal


class NotJson(Refusal):
    """The body is not one I-JSON text (RFC 8259, RFC 7493)."""

    def __init__(self, detail: str) -> None:
        super().__init__(f"The body cannot be read as JSON: {detail}.")


class BodyIncomplete(Refusal):
    """Fewer bytes arrived than were announced, or the framing broke."""

    def __init__(self, detail: str) -> None:
        super().__init__(f"The body did not arrive whole: {detail}.")


class BadHeader(Refusal):
    """A header that this operation reads is malformed."""

    def __init__(self, name: str, detail: str) -> None:
        super().__init__(f"The header {name} cannot be used: {detail}.")
        self.faults = (Fault(detail, parameter=name, place="header"),)


class TooLarge(Refusal):
    """The body is longer than this service reads."""

    def __init__(self, limit_bytes: int) -> None:
        super().__init__(
            f"The body is longer than {limit_bytes} bytes; nothing was recorded. Send less at once."
        )
        self.limit_bytes = limit_bytes


class LengthRequired(Refusal):
    """A body of unknown length that the server in front does not delimit."""

    def __init__(self) -> None:
        super().__init__("Send Content-Length: the end of this body cannot be told otherwise.")


class UnsupportedMediaType(Refusal):
    """The body is of another media type or encoding than this operation reads."""

    def __init__(self, detail: str, *, header: str, accepted: tuple[str, ...]) -> None:
        super().__init__(detail)
        self.header, self.accepted = header, accepted


class MethodNotAllowed(Refusal):
    """The path exists, but not with this method."""

    def __init__(self, methods: tuple[str, ...]) -> None:
        super().__init__(f"This path answers {', '.join(methods)} only.")
        self.methods = methods


class NotReady(Refusal):
    """The process runs, but something it needs does not."""

    def __init__(self, troubles: dict[str, str]) -> None:
        super().__init__("Not ready to serve: " + ", ".join(troubles) + ".")
        self.faults = tuple(Fault(f"{name}: {trouble}") for name, trouble in troubles.items())
