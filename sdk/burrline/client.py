"""The client: one method per operation of the API, each named like its operation."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timezone
from typing import Any

import requests

from burrline._alerts import Alerts
from burrline._calls import path_of
from burrline._checked import DEFAULT_URL
from burrline._convert import body_of
from burrline._entries import Entries
from burrline._export import Export
from burrline._grind import Grind
from burrline._http import Answer, Transport
from burrline._motors import Motors
from burrline._over_time import OverTime
from burrline._paging import Page
from burrline._places import Places, known
from burrline._readings import Readings
from burrline._runs import Runs
from burrline._webhooks import Webhooks
from burrline.models import Key, KeyWithSecret, Liveness, Readiness, Status


class Client(Places, Runs, Readings, Entries, Grind, OverTime, Alerts, Motors, Webhooks, Export):
    """Speaks to one burrline service with one key.

    >>> client = Client("http://127.0.0.1:8460", key="burrline_example")
    >>> client
    Client('http://127.0.0.1:8460', key='...mple')

    Parameters
    ----------
    url, key
        Left out, ``BURRLINE_URL`` and ``BURRLINE_KEY`` of the environment; no URL at all means
        ``http://127.0.0.1:8460``.
    timeout
        Seconds to wait for a connection, and for each part of an answer.
    deadline_seconds
        After so many seconds a call gives up trying again.
    session_factory, proxies, verify
        As in requests; each thread and process makes a session of its own.
    user_agent
        What to add to the User-Agent header, such as ``"counter-display/2.1"``.
    device_clock
        For a device without a clock: gives which boot this is, as text, and the seconds since it.
        Runs and readings that carry ``boot_id`` and ``uptime_seconds`` are placed by it.
    clock, now, sleep, uniform
        Monotonic seconds, the instant, waiting and dice: to be replaced in tests.

    One client may be shared by threads and used after a fork.
    """

    def __init__(
        self,
        url: str | None = None,
        key: str | None = None,
        *,
        timeout: tuple[float, float] = (3.05, 10.0),
        deadline_seconds: float = 60.0,
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
        self._transport = Transport(
            url or os.environ.get("BURRLINE_URL") or DEFAULT_URL,
            key if key is not None else os.environ.get("BURRLINE_KEY"),
            timeout=timeout,
            deadline_seconds=deadline_seconds,
            session_factory=session_factory,
            proxies=proxies,
            verify=verify,
            user_agent=user_agent,
            device_clock=device_clock,
            clock=clock,
            now=now,
            sleep=sleep,
            uniform=uniform,
        )

    def __repr__(self) -> str:
        return f"Client({self._transport.url!r}, key={self._transport.key_ending!r})"

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Close this thread's connections; the next call opens new ones."""
        self._transport.close()

    # --- state -------------------------------------------------------------------------------

    def get_status(self, grinder_id: str, *, as_of: datetime | None = None) -> Status:
        """Kilograms, duty, motor and break-in state of a grinder, now or at a past instant."""
        path = path_of("/v1/grinders/{}/status", grinder_id)
        return self._get(path, _status, {"as_of": as_of})

    def get_fleet(
        self, *, site_id: str | None = None, limit: int | None = None, cursor: str | None = None
    ) -> Page[Status]:
        """The state of every grinder this key may see, or of one site."""
        query = {"site_id": site_id}
        return self._list("/v1/fleet", Status.from_json, query, limit=limit, cursor=cursor)

    # --- keys --------------------------------------------------------------------------------

    def create_key(
        self,
        *,
        name: str,
        scopes: Iterable[str] | None = None,
        site_ids: Iterable[str] | None = None,
        grinder_ids: Iterable[str] | None = None,
        expires_at: datetime | None = None,
    ) -> KeyWithSecret:
        """Make a key; its ``secret`` is told this once. No ``scopes`` means all of them.

        The service keeps no secret, so it cannot tell it a second time: where the answer is lost,
        the error is raised, and the key made, if any, should be found in the list and revoked.
        """
        named = {
            "name": name,
            "scopes": scopes,
            "site_ids": site_ids,
            "grinder_ids": grinder_ids,
            "expires_at": expires_at,
        }
        return self._post(
            "/v1/keys",
            lambda one: KeyWithSecret.from_json(one.body),
            body_of(None, known(named)),
            is_harmless=False,
        )

    def list_keys(self, *, limit: int | None = None, cursor: str | None = None) -> Page[Key]:
        """The account's keys, without their secrets."""
        return self._list("/v1/keys", Key.from_json, {}, limit=limit, cursor=cursor)

    def revoke_key(self, key_id: str) -> Key:
        """End a key at once."""
        answer = self._transport.send("DELETE", path_of("/v1/keys/{}", key_id))
        return self._read(answer, lambda one: Key.from_json(one.body))

    # --- the service itself ------------------------------------------------------------------

    def get_livez(self) -> Liveness:
        """Whether the service's process is alive; asked once, not retried."""
        answer = self._transport.send("GET", "/livez", is_retried=False)
        return self._read(answer, lambda one: Liveness.from_json(one.body))

    def get_readyz(self) -> Readiness:
        """Whether the service can work; ``ServerError`` if not; asked once, not retried."""
        answer = self._transport.send("GET", "/readyz", is_retried=False)
        return self._read(answer, lambda one: Readiness.from_json(one.body))

    def get_metrics(self) -> str:
        """Numbers for monitoring, as OpenMetrics text; asked once, not retried."""
        return str(self._transport.send("GET", "/metrics", wants="text", is_retried=False).body)

    def get_openapi(self) -> dict[str, Any]:
        """The OpenAPI document of the service."""
        return self._get("/openapi.json", lambda one: dict(one.body))

    def get_docs(self) -> str:
        """The page that shows the OpenAPI document, as HTML."""
        return str(self._transport.send("GET", "/docs", wants="text").body)


def _status(answer: Answer) -> Status:
    return Status.from_json(answer.body)
