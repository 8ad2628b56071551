"""One request until it is answered: sessions, timeouts, retries, and what counts as an answer.

The loop is written out here instead of configuring the one in urllib3: its clock, sleep and dice
can be handed in, so every rule below is tested without waiting. Rules:

* Tried again: 408 425 429 500 502 503 504 and connections that never stood. Timeouts while
  reading, broken connections and unreadable answers only where a second try cannot do harm
  (GET, HEAD, PUT, DELETE, or a request that carries its own key or run ids). TLS errors never.
* The pause is full jitter, ``uniform(0, min(20, 0.5 * 2**n))`` seconds; a Retry-After is its
  floor, capped at 120 s. A pause that would pass the deadline is not slept: the error is raised.
* A 2xx is a success only if its JSON can be read: an answer cut inside its headers arrives as an
  empty 200, and the sign-in page of a guest network as a 200 with HTML.
* Redirects are not followed: the key never travels to another address.
"""

from __future__ import annotations

import logging
import os
import random
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timezone
from http.cookiejar import DefaultCookiePolicy
from typing import Any, cast

import requests
from requests.adapters import HTTPAdapter
from requests.exceptions import RequestException

from burrline import errors
from burrline._checked import (
    KeyAuth,
    checked_key,
    checked_timeout,
    checked_url,
    no_proxy_to_itself,
)
from burrline._trouble import (
    RETRIED_STATUSES,
    Failed,
    http_date,
    json_object,
    looks_like,
    raise_broken,
    retry_after_seconds,
)
from burrline._version import __version__

HARMLESS_METHODS = frozenset({"GET", "HEAD", "PUT", "DELETE"})
LONGEST_JITTER_SECONDS = 20.0
FIRST_JITTER_SECONDS = 0.5
LONGEST_RETRY_AFTER_SECONDS = 120.0
SHORTEST_TIMEOUT_SECONDS = 0.05

Body = Callable[[float], bytes]
"""Makes a request's body, told how many seconds have passed since the first try."""

log = logging.getLogger("burrline")


@dataclass(frozen=True)
class Answer:
    """A 2xx whose body could be read."""

    status: int
    body: Any
    etag: str | None


@dataclass(frozen=True)
class Request:
    """Everything that stays the same from try to try."""

    method: str
    path: str
    query: Mapping[str, str]
    body: Body | None
    headers: Mapping[str, str]
    is_harmless: bool
    wants: str
    tells_device_clock: bool
    waits_seconds: float


class Transport:
    """Sends requests to one service with one key."""

    def __init__(
        self,
        url: str,
        key: str | None,
        *,
        timeout: tuple[float, float],
        deadline_seconds: float,
        session_factory: Callable[[], requests.Session] | None = None,
        proxies: Mapping[str, str] | None = None,
        verify: bool | str = True,
        user_agent: str | None = None,
        device_clock: Callable[[], tuple[str, float]] | None = None,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now(timezone.utc),
        sleep: Callable[[float], None] = time.sleep,
        uniform: Callable[[float, float], float] = random.uniform,
    ) -> None:
        self.url = checked_url(url)
        self._auth = KeyAuth(checked_key(key))
        self.key_ending = f"...{key.strip()[-4:]}" if key else "none"
        self._timeout = checked_timeout(timeout)
        if not deadline_seconds > 0:
            raise ValueError(f"deadline_seconds should be above 0, is {deadline_seconds}")
        self._deadline_seconds = deadline_seconds
        self._session_factory = session_factory or _new_session
        self._proxies = dict(proxies) if proxies is not None else no_proxy_to_itself(self.url)
        self._verify = verify
        self._user_agent = f"burrline/{__version__} python-requests/{requests.__version__}" + (
            f" {user_agent}" if user_agent else ""
        )
        self._device_clock = device_clock
        self.clock, self.now, self._sleep, self._uniform = clock, now, sleep, uniform
        self.told_time: tuple[float, float] | None = None  # POSIX seconds, and this clock's then
        self._local = threading.local()
        log.debug("client for %s, key %s", self.url, self.key_ending)

    def send(
        self,
        method: str,
        path: str,
        *,
        query: Mapping[str, str] | None = None,
        body: Body | None = None,
        media_type: str = "application/json",
        headers: Mapping[str, str] | None = None,
        is_harmless: bool = False,
        is_retried: bool = True,
        resets_allowed: int | None = None,
        wants: str = "json",
        tells_device_clock: bool = False,
        waits_seconds: float = 0.0,
    ) -> Answer:
        """Send until answered, refused or out of time.

        ``is_harmless`` says that a second try cannot do harm; ``resets_allowed`` gives up after
        that many broken connections in a row, so that the caller can try something smaller. The
        service may keep us waiting for ``waits_seconds`` before it says anything.
        """
        request = Request(
            method=method,
            path=path,
            query=query or {},
            body=body,
            headers={**({"Content-Type": media_type} if body else {}), **(headers or {})},
            is_harmless=is_harmless or method in HARMLESS_METHODS,
            wants=wants,
            tells_device_clock=tells_device_clock,
            waits_seconds=waits_seconds,
        )
        began = self.clock()
        tries = resets = 0
        while True:
            try:
                return self._try_once(request, began, tries)
            except Failed as failed:
                error, again = failed.error, failed.again
            was_reset = isinstance(error, errors.TransportError) and error.was_reset
            resets = resets + 1 if was_reset else 0
            if resets_allowed is not None and resets > resets_allowed:
                again = False
            pause_seconds = self._pause_seconds(tries, error.retry_after_seconds)
            left_seconds = began + self._deadline_seconds - self.clock()
            if not (again and is_retried) or pause_seconds >= left_seconds:
                raise error
            log.info("%s %s: %s; again in %.2f s", method, path, error, pause_seconds)
            self._sleep(pause_seconds)
            tries += 1

    def close(self) -> None:
        """Close the connections of this thread; those of other threads end with their thread."""
        kept, self._local.kept = getattr(self._local, "kept", None), None
        if kept is not None and kept[0] == os.getpid():
            kept[1].close()

    def _pause_seconds(self, tries: int, retry_after_seconds: float | None) -> float:
        jitter = self._uniform(
            0.0, min(LONGEST_JITTER_SECONDS, FIRST_JITTER_SECONDS * 2.0 ** min(tries, 16))
        )
        return jitter + min(retry_after_seconds or 0.0, LONGEST_RETRY_AFTER_SECONDS)

    def _session(self) -> requests.Session:
        """This thread's session, a new one after a fork: sessions are not shared."""
        kept = getattr(self._local, "kept", None)
        if kept is None or kept[0] != os.getpid():
            kept = (os.getpid(), self._session_factory())
            self._local.kept = kept
        return cast(requests.Session, kept[1])

    def _device_headers(self) -> dict[str, str]:
        """Which boot of this device it is, and the seconds since: as of this try."""
        if self._device_clock is None:
            return {}
        boot_id, uptime_seconds = self._device_clock()
        return {"X-Device-Boot": boot_id, "X-Device-Uptime": f"{uptime_seconds:.3f}"}

    def _try_once(self, request: Request, began: float, tries: int) -> Answer:
        elapsed_seconds = self.clock() - began
        left_seconds = max(self._deadline_seconds - elapsed_seconds, SHORTEST_TIMEOUT_SECONDS)
        try:
            response = self._session().request(
                request.method,
                self.url + request.path,
                params=dict(request.query),
                data=request.body(elapsed_seconds) if request.body else None,
                headers={
                    "User-Agent": self._user_agent,
                    "Accept": "application/json" if request.wants == "json" else "*/*",
                    **request.headers,
                    **(self._device_headers() if request.tells_device_clock else {}),
                },
                auth=self._auth,
                timeout=(
                    min(self._timeout[0], left_seconds),
                    min(self._timeout[1], left_seconds) + request.waits_seconds,
                ),
                allow_redirects=False,
                proxies=dict(self._proxies),
                verify=self._verify,
                stream=request.wants == "lines",
            )
            if not response.ok:
                _ = response.content  # a refusal is read whole, also where lines were wanted
        except RequestException as error:
            raise_broken(
                error, name=f"{request.method} {request.path}", is_harmless=request.is_harmless
            )
        log.debug(
            "%s %s -> %d, try %d, %.3f s",
            request.method,
            request.path,
            response.status_code,
            tries + 1,
            self.clock() - began - elapsed_seconds,
        )
        answer = self._read(response, request)
        told_at = http_date(response.headers.get("Date", ""))
        if told_at is not None:  # in whole seconds, somewhere between sending and now
            middle = (began + elapsed_seconds + self.clock()) / 2
            self.told_time = (told_at.timestamp() + 0.5, middle)
        return answer

    def _read(self, response: requests.Response, request: Request) -> Answer:
        status = response.status_code
        request_id = response.headers.get("X-Request-Id")
        if 200 <= status < 300 and request.wants == "lines":
            return Answer(status, response, None)
        if 200 <= status < 300:
            body = response.text if request.wants == "text" else json_object(response.content)
            if not body:
                raise Failed(
                    errors.TransportError(
                        f"{request.method} {request.path} was answered {status}, but not with "
                        f"what burrline answers ({looks_like(response)})",
                        status=status,
                        request_id=request_id,
                    ),
                    again=request.is_harmless,
                )
            return Answer(status, body, response.headers.get("ETag"))
        if status < 400:
            raise Failed(
                errors.TransportError(
                    f"{request.method} {request.path} was answered {status}, a redirect, which is "
                    f"not followed; use the address itself: {response.headers.get('Location')}",
                    status=status,
                    request_id=request_id,
                ),
                again=False,
            )
        problem = json_object(response.content)
        raise Failed(
            errors.from_answer(
                status,
                problem,
                reason=response.reason or ""
                if problem
                else f"{response.reason or ''} ({looks_like(response)})",
                request_id=request_id,
                retry_after_seconds=retry_after_seconds(response.headers, self.now()),
            ),
            again=status in RETRIED_STATUSES,
        )


def _new_session() -> requests.Session:
    session = requests.Session()
    session.cookies.set_policy(DefaultCookiePolicy(allowed_domains=[]))
    for scheme in ("http://", "https://"):
        session.mount(scheme, HTTPAdapter(max_retries=0))
    return session
