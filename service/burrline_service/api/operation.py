"""An endpoint is a value: what it takes, gives and refuses, and the action behind it.

From the list of operations come the Flask rules, the checks before an action, the OpenAPI
document, and the matrices of the tests.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from marshmallow import Schema

from ..core import errors
from ..core.errors import Refusal
from . import refusals

JSON = "application/json"
MERGE_PATCH = "application/merge-patch+json"
NDJSON = "application/x-ndjson"
CSV = "text/csv"

SITE_ID = GRINDER_ID = BURR_SET_ID = "[a-z0-9][a-z0-9_-]{0,63}"
RUN_ID = "[A-Za-z0-9._:-]{8,128}"
READING_ID = TALLY_ID = PERIOD_ID = CORRECTION_ID = CARE_ID = CHECKPOINT_ID = RUN_ID
KEY_ID = "[A-Za-z0-9]{8}"
ALERT_ID = "[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}"
WEBHOOK_ID = "[a-z0-9][a-z0-9_-]{0,63}"
EVENT_ID = "[A-Za-z0-9_:-]{8,64}"
SOME_KEY_ID = "[A-Za-z0-9._:-]{8,128}"  # the value of an Idempotency-Key


@dataclass(frozen=True)
class PathId:
    """An id within a path: the noun it names, its pattern, an example."""

    noun: str
    pattern: str
    description: str
    example: str


PATH_IDS: Mapping[str, PathId] = {
    "site_id": PathId("site", SITE_ID, "The site's id, chosen by you.", "mill-lane"),
    "grinder_id": PathId("grinder", GRINDER_ID, "The grinder's id, chosen by you.", "bar-1"),
    "burr_set_id": PathId("burr set", BURR_SET_ID, "The burr set's id.", "flat-64-a"),
    "run_id": PathId("run", RUN_ID, "The run's id, chosen by the device.", "bar-1-0007-000123"),
    "reading_id": PathId("reading", READING_ID, "The reading's id.", "bar-1-t-0007-004512"),
    "tally_id": PathId("tally", TALLY_ID, "The tally's id.", "notebook-2026-06-30"),
    "period_id": PathId("period", PERIOD_ID, "The period's id.", "period-000412"),
    "correction_id": PathId(
        "correction", CORRECTION_ID, "The correction's id.", "correction-000413"
    ),
    "care_id": PathId("care entry", CARE_ID, "The care entry's id.", "care-000414"),
    "checkpoint_id": PathId("checkpoint", CHECKPOINT_ID, "The checkpoint's id.", "flat-64-a-05kg"),
    "alert_id": PathId(
        "alert", ALERT_ID, "The alert's id.", "019857c1-4a10-7c22-9d3e-5b0c1f2e9d3a"
    ),
    "webhook_id": PathId("webhook", WEBHOOK_ID, "The webhook's id.", "webhook-000431"),
    "event_id": PathId(
        "delivery", EVENT_ID, "The event's id.", "0197c4f2-5d10-7c3a-9b1e-2f6a8d0c4e71"
    ),
    "key_id": PathId("key", KEY_ID, "The key's public part.", "Qm3xT9Lk"),
}


@dataclass(frozen=True)
class Link:
    """Where an answer leads: another operation, fed from this answer's body."""

    operation: str
    parameters: Mapping[str, str]


@dataclass(frozen=True)
class Operation:
    """One endpoint.

    ``act(database, caller, *, <path ids>, <query values>, fields, if_match, limit, position,
    now)`` gets the keywords that apply. ``scope`` None means: no key is asked for, and ``act``
    is called without a caller. A list's ``gives`` is the schema of its page. Where
    ``tells_new``, ``act`` gives the record and whether it is new: 201, else 200.
    ``gives_lines`` is the schema of one line where the answer is, or may be asked to be, lines of
    the media types of ``lines_examples``: ``act`` then gives the response itself.
    ``may_ask_to_wait``: an answer may say after how many seconds to come again.
    ``reads_device_clock`` hands on ``device_clock``, from the request's headers.
    """

    name: str
    method: str
    path: str
    tag: str
    summary: str
    description: str
    act: Callable[..., Any]
    scope: str | None
    takes: type[Schema] | None = None
    query: type[Schema] | None = None
    gives: type[Schema] | None = None
    gives_lines: type[Schema] | None = None
    status: int = 200
    status_of: Callable[[Any], int] | None = None
    statuses: Mapping[int, str] = field(default_factory=dict)
    refuses: tuple[type[Refusal], ...] = ()
    takes_media: tuple[str, ...] = (JSON,)
    gives_media: str = JSON
    is_replayable: bool = False
    is_list: bool = False
    needs_if_match: bool = False
    tells_new: bool = False
    reads_device_clock: bool = False
    has_etag: bool = False
    may_ask_to_wait: bool = False
    location: str | None = None
    links: tuple[Link, ...] = ()
    takes_example: Any = None
    takes_examples: Mapping[str, Any] = field(default_factory=dict)
    gives_example: Any = None
    lines_examples: Mapping[str, Any] = field(default_factory=dict)
    touches_database: bool = True

    @property
    def path_ids(self) -> tuple[str, ...]:
        return tuple(re.findall("<([a-z_]+)>", self.path))

    @property
    def is_open(self) -> bool:
        return self.scope is None

    @property
    def open_api_path(self) -> str:
        return re.sub("<([a-z_]+)>", r"{\1}", self.path)

    def location_of(self, result: Any) -> str | None:
        """The path of what was made, its ids taken from the result."""
        if self.location is None:
            return None
        return re.sub("<([a-z_]+)>", lambda match: str(getattr(result, match[1])), self.location)


def revision_tag(revision: int) -> str:
    """The ETag of a revision, with its quotes."""
    return f'"r{revision}"'


def refusals_of(operation: Operation) -> tuple[type[Refusal], ...]:
    """Everything the operation may refuse with: its own, and what the glue checks for it."""
    found: list[type[Refusal]] = [*operation.refuses, errors.Invalid]
    if not operation.is_open:
        found += [errors.Unauthenticated, errors.ScopeMissing]
    if operation.path_ids:
        found.append(errors.NotFound)
    if operation.method != "GET":
        found += [refusals.BodyIncomplete, refusals.LengthRequired, refusals.TooLarge]
    if operation.takes is not None:
        found += [refusals.NotJson, refusals.UnsupportedMediaType]
    if operation.is_list:
        found.append(errors.BadCursor)
    if operation.needs_if_match:
        found += [errors.RevisionMismatch, errors.RevisionRequired]
    if operation.is_replayable:
        found += [refusals.BadHeader, errors.KeyReused]
    if operation.reads_device_clock:
        found.append(refusals.BadHeader)
    if operation.touches_database:
        found.append(errors.Unavailable)
    return tuple(dict.fromkeys(found))
