"""Where a webhook may point: what its URL must look like, which addresses may be dialled.

The parser here is the one that dials: what is sent goes to the host, port and path of the
``Target``, never to the URL's text, so no second parser can read another host out of it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address

from .public_addresses import Address, Network, is_public

LONGEST_URL = 2048
LONGEST_NAME = 253
PORTS = {"https": 443, "http": 80}

LOCAL_SUFFIXES = frozenset(
    {"arpa", "home", "internal", "invalid", "lan", "local", "localdomain", "localhost", "onion"}
    | {"corp", "example", "intranet", "private", "test"}
)

_URL = re.compile(r"([A-Za-z]+)://([^/?#]*)((?:[/?][!-~]*)?)", re.ASCII)
_REST = re.compile(r"(?:[A-Za-z0-9\-._~!$&'()*+,;=:@/?]|%[0-9A-Fa-f]{2})*", re.ASCII)
_AUTHORITY = re.compile(r"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9.-]+)(?::([0-9]{1,5}))?", re.ASCII)
_LABEL = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?", re.ASCII)
_NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*", re.ASCII)


class BadTarget(ValueError):
    """The URL, or where it leads, is none that may be dialled; the message is for its owner."""


@dataclass(frozen=True)
class Target:
    """Where to dial, as read from a URL once.

    ``is_only_within_exceptions``: something about the URL (no TLS, a number for a host, a name of
    local networks) is only let pass for addresses that the operator has excepted.
    """

    is_tls: bool
    host: str
    port: int
    path: str
    address: Address | None = None
    is_only_within_exceptions: bool = False


def target_of(url: str) -> Target:
    """Read a webhook's URL, or refuse it.

    ``url = scheme "://" host [":" port] [path] ["?" query]``, in ASCII, nothing else

    Parameters
    ----------
    url : str
        As its owner gave it.

    Returns
    -------
    Target
        Where to dial; whether its addresses may be dialled is for ``permitted`` to say.

    Raises
    ------
    BadTarget
        Not https (nor http), user name or fragment, backslash, space or control character, a
        number as host that is not a plain address, a bad port or host name, longer than 2048.

    Valid
    -----
    http, plain addresses and names of local networks pass only within the operator's exceptions.

    Source
    ------
    RFC 3986, section 3, cut down to what no two parsers read differently; RFC 1123, section 2.1,
    for host names. Numbers as hosts: what ``inet_aton`` of POSIX takes for an address.

    Examples
    --------
    >>> target_of("https://hooks.example.com:8443/a?b=c")
    Target(is_tls=True, host='hooks.example.com', port=8443, path='/a?b=c', address=None, \
is_only_within_exceptions=False)
    >>> target_of("https://2130706433/")
    Traceback (most recent call last):
    burrline_service.core.webhook_target.BadTarget: must name its host by a name, not a number
    """
    if len(url) > LONGEST_URL:
        raise BadTarget(f"is longer than {LONGEST_URL} characters")
    if not all("!" <= character <= "~" and character != "\\" for character in url):
        raise BadTarget("may hold visible ASCII characters only, and no backslash")
    found = _URL.fullmatch(url)
    if found is None:
        raise BadTarget("must be https://host/path, without a fragment")
    scheme, authority, rest = found[1].lower(), found[2], found[3]
    if scheme not in PORTS:
        raise BadTarget("must begin with https://")
    if "@" in authority:
        raise BadTarget("must not hold a user name or password")
    parts = _AUTHORITY.fullmatch(authority)
    if parts is None or not _REST.fullmatch(rest):
        raise BadTarget("is not a URL that every program reads alike")
    port = PORTS[scheme] if parts[2] is None else int(parts[2])
    if not 1 <= port <= 65535:
        raise BadTarget("has a port that is none")
    host, address, is_local = _host_of(parts[1].lower())
    return Target(
        is_tls=scheme == "https",
        host=host,
        port=port,
        path=rest if rest.startswith("/") else f"/{rest}",
        address=address,
        is_only_within_exceptions=is_local or scheme == "http",
    )


def _host_of(host: str) -> tuple[str, Address | None, bool]:
    """The host's name or address as it is dialled, and whether it is no public name."""
    if host.startswith("["):
        try:
            address = IPv6Address(host[1:-1])
        except ValueError:
            raise BadTarget("has an address in brackets that is none") from None
        return str(address), address, True
    labels = host.split(".")
    if _NUMBER.fullmatch(labels[-1]):
        try:
            return host, IPv4Address(host), True
        except ValueError:
            raise BadTarget("must name its host by a name, not a number") from None
    if len(host) > LONGEST_NAME or not all(map(_LABEL.fullmatch, labels)):
        raise BadTarget("has a host name that is none")
    return host, None, len(labels) == 1 or labels[-1] in LOCAL_SUFFIXES


def host_header(target: Target) -> str:
    """Name the host as the header ``Host`` does.

    ``Host = host [":" port]``, the port only where it is not the scheme's own

    Parameters
    ----------
    target : Target
        Where the request goes.

    Returns
    -------
    str
        The header's value.

    Source
    ------
    RFC 9110, section 7.2.

    Examples
    --------
    >>> host_header(target_of("https://hooks.example.com:8443/a"))
    'hooks.example.com:8443'
    """
    host = f"[{target.host}]" if isinstance(target.address, IPv6Address) else target.host
    usual = PORTS["https" if target.is_tls else "http"]
    return host if target.port == usual else f"{host}:{target.port}"


def permitted(
    target: Target, addresses: Sequence[str], exceptions: Sequence[Network]
) -> tuple[tuple[Address, ...], bool]:
    """Judge what a name resolved to: every answer must be permitted, or none is dialled.

    ``permitted = all public, or excepted by the operator``

    Parameters
    ----------
    target : Target
        What was asked for.
    addresses : sequence of str
        All answers to one question; the target's own address where it has one.
    exceptions : sequence of networks
        What the operator lets pass beside the public internet.

    Returns
    -------
    tuple
        The addresses to dial, in the order of the answers; and whether all are exceptions.

    Raises
    ------
    BadTarget
        No answer, or one that is neither public nor excepted; or a target that is let pass within
        exceptions only leads elsewhere. The message is the same for all, so that nobody learns
        from it what a name means inside the operator's network.

    Valid
    -----
    Answers with a zone (``fe80::1%eth0``) are refused.

    Source
    ------
    Rule made here: a mixed answer is what rebinding looks like.

    Examples
    --------
    >>> target = target_of("https://hooks.example.com/")
    >>> permitted(target, ["8.8.8.8"], ())
    ((IPv4Address('8.8.8.8'),), False)
    >>> permitted(target, ["8.8.8.8", "10.0.0.1"], ())
    Traceback (most recent call last):
    burrline_service.core.webhook_target.BadTarget: does not lead to public addresses alone
    """
    refusal = BadTarget("does not lead to public addresses alone")
    kept: list[Address] = []
    excepted_count = 0
    for text in addresses:
        try:
            address = ip_address(text)
        except ValueError:
            raise refusal from None
        if isinstance(address, IPv6Address):
            if address.scope_id is not None:
                raise refusal
            address = address.ipv4_mapped or address
        is_excepted = any(address in network for network in exceptions)
        if not is_excepted and (target.is_only_within_exceptions or not is_public(address)):
            raise refusal
        excepted_count += is_excepted
        if address not in kept:
            kept.append(address)
    if not kept:
        raise refusal
    return tuple(kept), excepted_count == len(addresses)
