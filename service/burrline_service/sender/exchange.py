"""One request and what comes back: bounded in time, in bytes, and in what it may lead to."""

from __future__ import annotations

import io
import socket
import ssl
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from http.client import HTTPException, HTTPResponse
from typing import Any

from .. import __version__
from ..core.public_addresses import Network
from ..core.webhook_target import BadTarget, host_header, target_of
from .dialling import NoConnection, Resolve, addresses_of, dial, resolve_by_system, tls_context

DEADLINE_SECONDS = 15.0
ANSWER_SECONDS = 3.0  # for the rest of an answer, once its status is known
MOST_ANSWER_BYTES = 4096
MOST_HEAD_BYTES = 65_536


@dataclass(frozen=True)
class Exchange:
    """What came of a request: a status, or else why there is none.

    ``answer`` is how the answer's body begins, undecoded; ``is_excepted`` says that it went to
    addresses which the operator has excepted.
    """

    status: int | None
    seconds: float
    answer: bytes = b""
    retry_after: str | None = None
    error: str | None = None
    is_excepted: bool = False


class Sender:
    """Posts to receivers; shared by threads, it keeps nothing between two requests."""

    def __init__(
        self,
        exceptions: Sequence[Network] = (),
        *,
        resolve: Resolve = resolve_by_system,
        context: ssl.SSLContext | None = None,
        deadline_seconds: float = DEADLINE_SECONDS,
    ) -> None:
        self._exceptions = tuple(exceptions)
        self._resolve = resolve
        self._context = tls_context() if context is None else context
        self._deadline_seconds = deadline_seconds

    def check(self, url: str) -> bool:
        """Whether the URL leads to the operator's exceptions alone; BadTarget where it may not.

        It takes half of the deadline at most: a request is to follow.
        """
        until = time.monotonic() + self._deadline_seconds / 2
        _, is_excepted = addresses_of(target_of(url), self._exceptions, self._resolve, until=until)
        return is_excepted

    def post(self, url: str, *, headers: Mapping[str, str], content: bytes) -> Exchange:
        """Send one request and read its answer; whatever goes wrong is in what it returns."""
        began = time.monotonic()
        until = began + self._deadline_seconds
        is_excepted = False
        try:
            target = target_of(url)
            addresses, is_excepted = addresses_of(
                target, self._exceptions, self._resolve, until=until
            )
            head = {
                "Host": host_header(target),
                "User-Agent": f"burrline/{__version__}",
                "Accept": "*/*",
                "Accept-Encoding": "identity",
                "Content-Length": str(len(content)),
                "Connection": "close",
                **headers,
            }
            lines = [f"POST {target.path} HTTP/1.1", *(f"{n}: {v}" for n, v in head.items())]
            request = "\r\n".join([*lines, "", ""]).encode("ascii") + content
            with dial(target, addresses, context=self._context, until=until) as connection:
                _send(connection, request, until)
                status, retry_after, answer = _read(connection, until)
        except (BadTarget, NoConnection) as error:
            trouble = str(error)
        except TimeoutError:
            trouble = f"no answer within {self._deadline_seconds:g} seconds"
        except (HTTPException, ValueError) as error:
            trouble = f"the answer is not HTTP ({type(error).__name__})"
        except OSError as error:
            trouble = f"the connection broke ({type(error).__name__})"
        else:
            return Exchange(
                status,
                time.monotonic() - began,
                answer,
                retry_after,
                None if 200 <= status < 300 else f"answered {status}",
                is_excepted,
            )
        return Exchange(None, time.monotonic() - began, error=trouble, is_excepted=is_excepted)


class _TimedReads(io.RawIOBase):
    """A connection to read from until a given instant, and not more than some bytes."""

    def __init__(self, connection: socket.socket, until: float) -> None:
        self._connection, self.until = connection, until
        self._left_count = MOST_HEAD_BYTES + MOST_ANSWER_BYTES

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        left = self.until - time.monotonic()
        if left <= 0:
            raise TimeoutError
        if self._left_count <= 0:
            raise HTTPException("the answer does not end")
        self._connection.settimeout(left)
        count = self._connection.recv_into(buffer, min(len(buffer), self._left_count))
        self._left_count -= count
        return count


class _Readable:
    """What ``HTTPResponse`` takes for a socket."""

    def __init__(self, reads: _TimedReads) -> None:
        self._reads = reads

    def makefile(self, mode: str) -> io.BufferedReader:
        return io.BufferedReader(self._reads, 4096)


def _send(connection: socket.socket, request: bytes, until: float) -> None:
    unsent = memoryview(request)
    while unsent:
        left = until - time.monotonic()
        if left <= 0:
            raise TimeoutError
        connection.settimeout(left)
        try:
            unsent = unsent[connection.send(unsent) :]
        except (BrokenPipeError, ConnectionResetError):
            return  # it may have answered and closed without reading all; the answer will tell


def _read(connection: socket.socket, until: float) -> tuple[int, str | None, bytes]:
    """Status, Retry-After, and how the body begins; a body that breaks off is no trouble."""
    reads = _TimedReads(connection, until)
    response = HTTPResponse(_Readable(reads), method="POST")  # type: ignore[arg-type]
    try:
        response.begin()
        answer = b""
        reads.until = min(until, time.monotonic() + ANSWER_SECONDS)
        with suppress(OSError, HTTPException, ValueError):
            while len(answer) < MOST_ANSWER_BYTES:
                piece = response.read1(MOST_ANSWER_BYTES - len(answer))
                if not piece:
                    break
                answer += piece
        return response.status, response.getheader("Retry-After"), answer
    finally:
        response.close()
