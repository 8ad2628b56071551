"""What a client is made with, checked before anything is sent."""

from __future__ import annotations

import re
from ipaddress import ip_address
from urllib.parse import urlsplit

import requests
from requests.auth import AuthBase

DEFAULT_URL = "http://127.0.0.1:8460"


def checked_url(url: str) -> str:
    """The service's address without a trailing slash; ``ValueError`` if it is not one."""
    parts = urlsplit(url.strip())
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise ValueError(f"{url!r} is not an http or https address")
    if parts.username is not None or parts.password is not None:
        raise ValueError("the address should not hold a name or password")
    if parts.query or parts.fragment:
        raise ValueError(f"{url!r} should end with the host or a path")
    _ = parts.port  # raises ValueError where it is no port
    return url.strip().rstrip("/")


def checked_key(key: str | None) -> str | None:
    """The key without blanks around it; ``ValueError``, never showing it, if it cannot be one."""
    stripped = (key or "").strip()
    if not stripped:
        return None
    if not re.fullmatch(r"[!-~]+", stripped):
        raise ValueError("the key holds characters that no key has (is it the whole key, alone?)")
    return stripped


def checked_timeout(timeout: tuple[float, float]) -> tuple[float, float]:
    try:
        connect_seconds, read_seconds = timeout
        if connect_seconds > 0 and read_seconds > 0:
            return float(connect_seconds), float(read_seconds)
    except (TypeError, ValueError):
        pass
    raise ValueError(f"timeout should be (connect seconds, read seconds), is {timeout!r}")


def no_proxy_to_itself(url: str) -> dict[str, str]:
    """A service on this very machine is not asked through the proxy of the environment."""
    host = urlsplit(url).hostname or ""
    try:
        is_loopback = ip_address(host).is_loopback
    except ValueError:
        is_loopback = host == "localhost"
    return {"no_proxy": host} if is_loopback else {}


class KeyAuth(AuthBase):
    """Sets the key; its presence also keeps requests from looking for a .netrc."""

    def __init__(self, key: str | None) -> None:
        self._key = key

    def __call__(self, prepared: requests.PreparedRequest) -> requests.PreparedRequest:
        if self._key is not None:
            prepared.headers["Authorization"] = f"Bearer {self._key}"
        return prepared
