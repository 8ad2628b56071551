"""A service told the facts over HTTP: the same telling and asking, by requests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

from burrline_service.api import make_operations
from burrline_service.core.errors import AlreadyExists, FittingsOverlap, Invalid, NotFound
from burrline_service.core.records import Caller, RunOutcome
from burrline_service.store.database import Database

from .facts import (
    NOW_MS,
    CorrectionFact,
    Fact,
    RunFact,
    TallyFact,
)
from .told import ToldService, instant

OPERATIONS = {operation.name: operation for operation in make_operations()}
REFUSALS: dict[str, Callable[[], Exception]] = {
    "already-exists": lambda: AlreadyExists("thing", "of this id"),
    "not-found": lambda: NotFound("thing", "of this id"),
    "fittings-overlap": lambda: FittingsOverlap("two at once"),
    "invalid": Invalid,
}
RENAMED = {"from_at": "from", "to_at": "to", "position": "cursor"}
OF_QUERY = ("as_of", "from_at", "to_at", "by", "limit", "grinder_id")


class Told(dict[str, Any]):
    """An answered object, its members read by the names of the records."""

    def __getattr__(self, name: str) -> Any:
        if name == "run":  # in an answer a run's own members stand beside the others
            return self
        value = self[RENAMED.get(name, name)]
        if name.endswith("_at") and isinstance(value, str):
            return datetime.fromisoformat(value)
        return value


class HttpService(ToldService):
    """``make_http`` gives a client for a caller, ``set_clock`` moves the time the app sees."""

    def __init__(
        self,
        database: Database,
        *,
        make_http: Callable[[Caller], Any],
        set_clock: Callable[[datetime], None],
    ) -> None:
        self.make_http, self.set_clock = make_http, set_clock
        self.http: Any = None
        super().__init__(database)

    def another(self) -> HttpService:
        return HttpService(self.database, make_http=self.make_http, set_clock=self.set_clock)

    def sendable(self, fact: Fact) -> Fact | None:
        """What HTTP takes is narrower."""
        match fact:
            case RunFact():
                if fact.started_ms is not None and fact.age_ms is not None:
                    fact = replace(fact, age_ms=None)
                if fact.on_ms is None and fact.grams_mg is None:
                    fact = replace(fact, grams_mg=18_000)
            case TallyFact(purpose="cleaning"):
                fact = replace(fact, purpose="purge")
            case CorrectionFact():
                fact = replace(fact, source=fact.source or None, factor_ppm=fact.factor_ppm or None)
        return fact

    def _act(self, action: Any, *, now_ms: int = NOW_MS, **arguments: Any) -> Any:
        if self.http is None:
            self.http = self.make_http(self.caller)
        self.set_clock(instant(now_ms))
        operation = OPERATIONS[action.__name__]
        path = operation.path
        for name in operation.path_ids:
            given = arguments.pop(name)
            path = path.replace(f"<{name}>", given)
        body = _body(action.__name__, arguments)
        query = {
            RENAMED.get(name, name): _plain(arguments[name])
            for name in OF_QUERY
            if name in arguments and operation.query is not None
        }
        answer = self.http.open(
            path,
            method=operation.method,
            query_string=query,
            json=body,
            headers={"If-Match": "*"} if "if_match" in arguments else {},
        )
        content = answer.get_json()
        if answer.status_code >= 400:
            raise REFUSALS[content["type"].rsplit(":", 1)[1]]()
        self.last = content
        if action.__name__ in ("add_runs", "add_readings"):
            return _outcomes(content, body)
        told = self._told(content)
        if operation.tells_new:
            return told, answer.status_code == 201
        return told

    def _items(self, page: Any) -> tuple[Any, ...]:
        assert page["next_cursor"] is None
        items: tuple[Any, ...] = page["items"]
        return items

    def _told(self, value: Any) -> Any:
        """An answered value, objects with their members by the names of the records."""
        if isinstance(value, dict):
            return Told({name: self._told(inner) for name, inner in value.items()})
        if isinstance(value, list):
            return tuple(self._told(inner) for inner in value)
        return value


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat(timespec="milliseconds")
    if isinstance(value, dict):
        return {RENAMED.get(name, name): _plain(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value


def _body(name: str, arguments: dict[str, Any]) -> Any:
    if name == "add_runs":
        body: dict[str, Any] = {"runs": [_line(run) for run in arguments["runs"]]}
        watched = arguments.get("watched")
        if watched is not None:
            body["watched_from"] = _plain(watched.from_at)
            body["watched_until"] = _plain(watched.until_at)
            body["watched_grinder_ids"] = list(watched.grinder_ids)
        return body
    if name == "add_readings":
        return {"readings": [_line(reading) for reading in arguments["sent"]]}
    fields = arguments.get("fields")
    return None if fields is None else _plain(fields)


def _line(record: Any) -> dict[str, Any]:
    return {name: _plain(value) for name, value in record.__dict__.items() if value is not None}


def _outcomes(content: dict[str, Any], body: dict[str, Any]) -> list[RunOutcome]:
    """The word for each line: a batch answers counts, and of each line what went wrong."""
    lines = body.get("runs") or body.get("readings") or []
    wrong = {problem["index"]: problem["outcome"] for problem in content["problems"]}
    words = [wrong.get(index, "") for index in range(len(lines))]
    plain_count = words.count("")
    assert content["received"] == len(lines)
    assert content["accepted"] + content["duplicates"] == plain_count
    # duplicates are only counted: in these tests they stand at the end of a batch
    left = content["accepted"]
    for index, word in enumerate(words):
        if not word:
            words[index] = "accepted" if left > 0 else "duplicate"
            left -= 1
    return [RunOutcome("", word) for word in words]  # type: ignore[arg-type]
