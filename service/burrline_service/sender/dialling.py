"""From a target to an open connection: resolve once, judge every answer, dial what was judged."""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from ..core.public_addresses import Address, Network
from ..core.webhook_target import BadTarget, Target, permitted

Resolve = Callable[[str, int], Sequence[str]]
CONNECT_SECONDS = 5.0
MOST_ADDRESSES = 3


class NoConnection(Exception):
    """Nobody to speak to; the message is for the webhook's owner."""


def resolve_by_system(host: str, port: int) -> list[str]:
    """All addresses of a name, as the system's resolver gives them."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP)
    return [str(answer[4][0]) for answer in found]


def answers_of(target: Target, resolve: Resolve, until: float) -> Sequence[str]:
    """What a name resolves to; nothing where that is not known in time.

    The system's resolver cannot be cut short, and whoever owns a name decides how long it takes:
    it is left behind in a thread of its own, which ends when the resolver has tried enough.
    """
    found: list[Sequence[str]] = []

    def ask() -> None:
        with suppress(OSError, UnicodeError):
            found.append(resolve(target.host, target.port))

    thread = threading.Thread(target=ask, name="resolve", daemon=True)
    thread.start()
    thread.join(max(0.0, until - time.monotonic()))
    return found[0] if found else ()


def addresses_of(
    target: Target, exceptions: Sequence[Network], resolve: Resolve, *, until: float
) -> tuple[tuple[Address, ...], bool]:
    """The addresses to dial, and whether all are the operator's exceptions.

    ``until`` is when to stop waiting for a name's answers, on the monotonic clock.

    Raises
    ------
    BadTarget
        In the same words for a name that is not there or not known in time and for one that leads
        inside.
    """
    if target.address is not None:
        return permitted(target, [str(target.address)], exceptions)
    if target.is_only_within_exceptions and not exceptions:
        return permitted(target, [], exceptions)  # nobody needs to be asked
    return permitted(target, answers_of(target, resolve, until), exceptions)


def tls_context() -> ssl.SSLContext:
    """Certificates are verified by the system's authorities, names always."""
    context = ssl.create_default_context()
    context.set_alpn_protocols(["http/1.1"])
    return context


def dial(
    target: Target, addresses: Sequence[Address], *, context: ssl.SSLContext, until: float
) -> socket.socket:
    """Open a connection to the first address that takes it, with TLS where the target says so.

    Raises
    ------
    NoConnection
        None took it before ``until`` (a monotonic clock's seconds), or TLS could not be agreed.
    """
    trouble = "no connection"
    for address in addresses[:MOST_ADDRESSES]:
        left = until - time.monotonic()
        if left <= 0:
            break
        try:
            connection = socket.create_connection(
                (str(address), target.port), timeout=min(CONNECT_SECONDS, left)
            )
        except OSError as error:
            trouble = f"no connection: {_reason(error)}"
            continue
        if not target.is_tls:
            return connection
        try:
            connection.settimeout(max(0.01, until - time.monotonic()))
            return context.wrap_socket(connection, server_hostname=target.host)
        except ssl.SSLCertVerificationError as error:
            connection.close()
            raise NoConnection(f"TLS: {error.verify_message}") from error
        except (OSError, ValueError) as error:
            connection.close()
            raise NoConnection(f"TLS: {_reason(error)}") from error
    raise NoConnection(trouble)


def _reason(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "took too long"
    reason = getattr(error, "reason", None) or getattr(error, "strerror", None)
    return str(reason or type(error).__name__)[:200]


__all__ = [
    "BadTarget",
    "NoConnection",
    "Resolve",
    "addresses_of",
    "dial",
    "resolve_by_system",
    "tls_context",
]
