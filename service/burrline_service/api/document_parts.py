"""Parts of the OpenAPI document that do not come from schemas: headers, parameters, problems."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from .device_clock import BOOT_HEADER, LONGEST_BOOT_ID, UPTIME, UPTIME_HEADER
from .operation import PATH_IDS, SOME_KEY_ID, Operation
from .problems import MEDIA_TYPE, TYPE_PREFIX, Problem

DESCRIPTION = """\
burrline keeps the runs of coffee grinders and answers with kilograms per burr set, motor duty, \
the motor's temperature against its limit, and the break-in stage.

**Keys.** Send a key as `Authorization: Bearer <key>` (or `X-API-Key: <key>`). A key has scopes \
and may be bound to sites and grinders; whatever it may not see looks absent.

**Bodies** are JSON in UTF-8, read strictly: no member twice, no unknown member, no NaN, integers \
within +-(2^53 - 1), at most 32 levels deep, at most 1 MiB. A unit is the last word of a number's \
name; fractions run from 0 to 1.

**Instants** are sent as RFC 3339 with offset and answered in UTC with milliseconds. Finer \
digits are cut off; a leap second counts as the last millisecond of its minute; instants before \
1900 or after 2999 count as the first or last of that span.

**Problems** are answered as `application/problem+json` (RFC 9457). `type` never changes its \
meaning; `errors` points at each wrong value. Every answer carries `X-Request-Id`; send your own \
(8 to 64 of `A-Z a-z 0-9 . _ -`) to find it again.

**Repeating is safe.** A run counts once by its `run_id`. Other creations take an \
`Idempotency-Key`: the first answer is kept for 30 days and given again to the same request, \
another request with the same key is refused. A refused request keeps nothing.

**Mistakes** are never edited away: runs, readings, tallies, periods, care entries and burr sets \
are voided, corrections revoked. What is voided stays readable, marked, and leaves every answer.

**Devices without a clock** tell `age_seconds`, or count boots and uptime: see `add_run`.

**Lists** answer `items` and `next_cursor`, and a `Link` with `rel="next"`. **Changes** are merge \
patches and need `If-Match` with the object's `ETag`. A GET answers 304 to a matching \
`If-None-Match`; wherever there is GET there is HEAD.\
"""

TAGS = {
    "Sites": "Where grinders stand, with their time zone.",
    "Grinders": "The machines and what their plates say.",
    "Burr sets": "Burrs, where they were fitted, and since when.",
    "Runs": "Stretches of motor-on: what everything is computed from.",
    "Readings": "Temperatures between and during runs, and motors that run now.",
    "Tallies": "Kilograms without single runs: a notebook's day, a till's count.",
    "Periods": "What holds for runs that leave it out: setting, coffee, speed, purpose, feed.",
    "Corrections": "Known mistakes of devices, undone in every answer; the raw runs stay.",
    "Grind": "Particle sizes: samples, checkpoints of a burr set, how far it has settled.",
    "Care": "What was done to a grinder: cleaning, burrs taken out, repairs.",
    "Status": "Kilograms, duty, motor and break-in stage.",
    "Motor": "Duty and heat of a motor, and whether a run may begin. Advice, not permission.",
    "Alerts": "What held for a grinder, from when until when, who was told, and by which rules.",
    "Webhooks": "Who is told of alerts as they happen, and what came of it.",
    "Account": "All of an account at once.",
    "Keys": "Who may do what.",
    "Service": "Health, and this document.",
}

SECURITY_SCHEMES: dict[str, Any] = {
    "bearerKey": {
        "type": "http",
        "scheme": "bearer",
        "description": "A key as Bearer token (RFC 6750).",
    },
    "apiKey": {
        "type": "apiKey",
        "in": "header",
        "name": "X-API-Key",
        "description": "The same key in a header of its own, for devices that can do no better.",
    },
}


def _header(description: str, example: str, **schema: Any) -> dict[str, Any]:
    return {
        "description": description,
        "schema": {"type": "string", **schema},
        "example": example,
    }


HEADERS: dict[str, Any] = {
    "Accept": _header("The media types this operation reads.", "application/json"),
    "Accept-Encoding": _header("The content encodings read: none.", "identity"),
    "Accept-Patch": _header(
        "The media types of a patch (RFC 5789).", "application/merge-patch+json, application/json"
    ),
    "ETag": _header("The revision of the object, for If-Match and If-None-Match.", '"r3"'),
    "Idempotency-Replayed": _header(
        "There, when this is the answer kept from the first time.", "true", const="true"
    ),
    "Link": _header(
        "The next page (RFC 8288), when there is one.",
        '</v1/grinders?limit=50&cursor=c2FtcGxl>; rel="next"',
    ),
    "Location": _header("The path of what was made.", "/v1/grinders/bar-1"),
    "Retry-After": {
        "description": "Seconds to wait before trying again.",
        "schema": {"type": "integer", "minimum": 0},
        "example": 5,
    },
    "Come-Again": {
        "description": "`Retry-After`: there, when too many wait already; seconds to wait first.",
        "schema": {"type": "integer", "minimum": 0},
        "example": 2,
    },
    "WWW-Authenticate": _header(
        "How to authenticate, and what was wrong (RFC 6750).",
        'Bearer realm="burrline", error="invalid_token"',
    ),
    "X-Request-Id": _header(
        "The id of this request: yours, or a new one.",
        "5b0c1f2e9d3a4c5f8e7b6a5d4c3b2a19",
        pattern="^[A-Za-z0-9._-]{8,64}$",
    ),
}


DEVICE_CLOCK: tuple[dict[str, Any], ...] = (
    {
        "name": BOOT_HEADER,
        "in": "header",
        "required": False,
        "description": "For a device without a clock: which boot of it this is, in its own words.",
        "schema": {"type": "string", "minLength": 1, "maxLength": LONGEST_BOOT_ID},
        "example": "17",
    },
    {
        "name": UPTIME_HEADER,
        "in": "header",
        "required": False,
        "description": (
            "Seconds since that boot at the moment of sending. What carries the same `boot_id` is "
            "placed by the difference to its `uptime_seconds`."
        ),
        "schema": {"type": "string", "pattern": f"^{UPTIME}$"},
        "example": "86520.75",
    },
)

for _name in ("ETag", "Location", "Retry-After", "X-Request-Id"):
    HEADERS[_name]["required"] = True


def reference(kind: str, name: str) -> dict[str, str]:
    return {"$ref": f"#/components/{kind}/{name}"}


def header_references(*names: str) -> dict[str, Any]:
    return {name: reference("headers", name) for name in names}


def path_parameters() -> dict[str, Any]:
    """The ids that occur in paths."""
    return {
        name: {
            "name": name,
            "in": "path",
            "required": True,
            "description": path_id.description,
            "schema": {"type": "string", "pattern": f"^{path_id.pattern}$"},
            "example": path_id.example,
        }
        for name, path_id in PATH_IDS.items()
    }


def header_parameters(operation: Operation) -> list[dict[str, Any]]:
    """The request headers that matter to an operation beyond those of every request."""
    parameters: list[dict[str, Any]] = []
    if operation.needs_if_match:
        parameters.append(
            {
                "name": "If-Match",
                "in": "header",
                "required": True,
                "description": "The ETag of the revision to change, or `*` for any.",
                "schema": {"type": "string"},
                "example": '"r3"',
            }
        )
    if operation.is_replayable:
        parameters.append(
            {
                "name": "Idempotency-Key",
                "in": "header",
                "required": False,
                "description": "A fresh name for this request, bare or in double quotes: sent "
                "again with it, the request is not done twice.",
                "schema": {
                    "type": "string",
                    "pattern": f'^(?:{SOME_KEY_ID}|"{SOME_KEY_ID}")$',
                },
                "example": "8e03978e-40d5-43e8-bc93-6894a57f9324",
            }
        )
    if operation.reads_device_clock:
        parameters += DEVICE_CLOCK
    return parameters


def problem_responses(problems: Iterable[Problem]) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """One response per status: its component name, and what may be behind it."""
    by_status: dict[int, list[Problem]] = {}
    for problem in sorted(problems, key=lambda problem: problem.name):
        by_status.setdefault(problem.status, []).append(problem)
    for status in sorted(by_status):
        found = by_status[status]
        name = "Or".join(_camel(problem.name) for problem in found)
        headers = {"X-Request-Id"}.union(*(problem.header_names for problem in found))
        yield (
            status,
            name,
            {
                "description": " Or: ".join(
                    f"{problem.title} (`{TYPE_PREFIX}{problem.name}`)." for problem in found
                ),
                "headers": header_references(*sorted(headers)),
                "content": {
                    MEDIA_TYPE: {
                        "schema": reference("schemas", "Problem"),
                        "example": {
                            "type": TYPE_PREFIX + found[0].name,
                            "title": found[0].title,
                            "status": status,
                            "detail": "A sentence about this very case.",
                            "instance": "urn:request:5b0c1f2e9d3a4c5f8e7b6a5d4c3b2a19",
                        },
                    }
                },
            },
        )


def _camel(name: str) -> str:
    return "".join(part.capitalize() for part in name.split("-"))
