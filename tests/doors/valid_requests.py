"""A valid request for every operation: where the matrices of this folder start from.

An operation added to the list without an entry here fails ``test_every_operation_has_a_request``;
with an entry, all matrices cover it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote

from burrline_service.api import make_operations
from burrline_service.api.operation import Operation

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
OPERATIONS = make_operations()
BY_NAME = {operation.name: operation for operation in OPERATIONS}
WITH_KEY = tuple(operation for operation in OPERATIONS if not operation.is_open)
WITH_ID = tuple(operation for operation in WITH_KEY if operation.path_ids)
LISTS = tuple(operation for operation in OPERATIONS if operation.is_list)
REPLAYABLE = tuple(operation for operation in OPERATIONS if operation.is_replayable)

# One request id for all: with it two answers can be the same to the byte.
REQUEST_ID = "doors-matrix-1"


@dataclass(frozen=True)
class Ids:
    """The ids of one object of each kind that belong together."""

    site_id: str
    grinder_id: str
    burr_set_id: str
    run_id: str
    reading_id: str
    tally_id: str
    period_id: str
    correction_id: str
    care_id: str
    checkpoint_id: str
    spare_burr_set_id: str  # to be voided
    alert_id: str
    webhook_id: str
    event_id: str
    spare_webhook_id: str  # to be deleted
    key_id: str

    @classmethod
    def named(cls, word: str, key_id: str | None = None) -> Ids:
        """Ids around one word of three letters, so that all such ids are equally long."""
        assert len(word) == 3
        return cls(
            site_id=f"{word}-site",
            grinder_id=f"{word}-bar",
            burr_set_id=f"{word}-burrs",
            run_id=f"{word}-run-0001",
            reading_id=f"{word}-reading-0001",
            tally_id=f"{word}-tally-0001",
            period_id=f"{word}-period-0001",
            correction_id=f"{word}-correction-0001",
            care_id=f"{word}-care-0001",
            checkpoint_id=f"{word}-checkpoint-0001",
            spare_burr_set_id=f"{word}-spare",
            alert_id=f"01{word.encode().hex()}-0000-7000-8000-000000000001",
            webhook_id=f"{word}-webhook",
            event_id=f"{word}-event-0001",
            spare_webhook_id=f"{word}-spare-webhook",
            key_id=f"{word}Key00" if key_id is None else key_id,
        )

    def without(self, text: str) -> str:
        """The text with each of these ids replaced by its kind."""
        for kind in fields(self):
            text = text.replace(getattr(self, kind.name), f"<{kind.name}>")
        return text


def instant(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


def _fitted_at(serial: int) -> str:
    """An instant of its own for each serial: two sets cannot be fitted at once."""
    return instant(NOW - timedelta(days=20) + timedelta(minutes=serial))


def new_run(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "run_id": f"fresh-run-{serial:06}",
        "grinder_id": ids.grinder_id,
        "started_at": instant(NOW - timedelta(days=1) + timedelta(seconds=serial)),
        "seconds": 7.5,
        "grams": 18.25,
        "source": "scale-left",
        "brew": {"method": "espresso", "beverage_grams": 37},
    }


def new_burr_set(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "burr_set_id": f"fresh-burrs-{serial}",
        "geometry": "flat",
        "diameter_millimetres": 64,
        "prior_grams": 0,
        "fitted_at": _fitted_at(serial),
    }


def new_grinder(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "grinder_id": f"fresh-bar-{serial}",
        "site_id": ids.site_id,
        "name": "Bar at the window",
        "rated_duty": {"kind": "intermittent", "on_seconds": 30, "cycle_seconds": 120},
        "motor": {"sensor": "housing", "caution_celsius": 60, "limit_celsius": 75},
        "grind": {"setting_step": 0.1, "expected_grams_per_second": 2.4},
    }


def new_site(ids: Ids, serial: int) -> dict[str, Any]:
    return {"site_id": f"fresh-site-{serial}", "name": "Quay", "time_zone": "Europe/Lisbon"}


def new_reading(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "reading_id": f"fresh-reading-{serial:06}",
        "grinder_id": ids.grinder_id,
        "at": instant(NOW - timedelta(days=1) + timedelta(seconds=serial)),
        "motor_celsius": 47.5,
        "is_running": False,
        "source": "probe-left",
    }


def new_tally(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "tally_id": f"fresh-tally-{serial:06}",
        "grinder_id": ids.grinder_id,
        "from": instant(NOW - timedelta(days=60)),
        "to": instant(NOW - timedelta(days=59)),
        "grams": 4180,
        "basis": "weighed_in",
    }


def new_period(ids: Ids, serial: int) -> dict[str, Any]:
    return {"from": instant(NOW - timedelta(days=2)), "setting": 4.8, "coffee_lot": f"lot-{serial}"}


def new_correction(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "grinder_id": ids.grinder_id,
        "from": instant(NOW - timedelta(days=3)),
        "to": instant(NOW - timedelta(days=2)),
        "grams_offset": -0.5,
        "reason": f"cup {serial} not tared",
    }


def new_care(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "care_id": f"fresh-care-{serial:06}",
        "at": instant(NOW - timedelta(days=2)),
        "task": "cleaning",
        "note": "a dry brush",
    }


SIEVES = {
    "kind": "sieve",
    "aperture_micrometres": [850, 600, 425, 300, 212, 150, 106, 75],
    "retained_grams": [0.4, 3.1, 7.2, 6.6, 3.4, 1.9, 1.2, 0.8, 0.4],
}


def new_checkpoint(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "checkpoint_id": f"fresh-checkpoint-{serial:06}",
        "ground_at": instant(NOW - timedelta(days=1)),
        "method": "sieve",
        "setting": 4.8,
        "replicates": [{"dose_grams": 25, "distribution": SIEVES}] * 2,
    }


# the tests' service takes the loopback for an exception: nobody there has to prove itself
RECEIVER = "http://127.0.0.1:9/hook"


def new_webhook(ids: Ids, serial: int) -> dict[str, Any]:
    return {
        "webhook_id": f"fresh-webhook-{serial}",
        "url": RECEIVER,
        "types": ["burrline.alert.opened"],
        "grinder_ids": [ids.grinder_id],
    }


Body = Callable[[Ids, int], Any]
NO_BODY: Body | None = None

# operation -> its body (of the ids it is about, and a serial that makes new things new)
BODIES: dict[str, Body | None] = {
    "create_site": new_site,
    "list_sites": NO_BODY,
    "get_site": NO_BODY,
    "update_site": lambda ids, serial: {"name": f"Quay {serial}"},
    "create_grinder": new_grinder,
    "list_grinders": NO_BODY,
    "get_grinder": NO_BODY,
    "update_grinder": lambda ids, serial: {"name": f"Bar {serial}", "motor": {"rated_watts": 350}},
    "fit_burr_set": new_burr_set,
    "list_burr_sets": NO_BODY,
    "get_burr_set": NO_BODY,
    "update_burr_set": lambda ids, serial: {"serial": f"B-{serial}"},
    "void_burr_set": NO_BODY,
    "add_run": new_run,
    "add_runs": lambda ids, serial: {"runs": [new_run(ids, serial)]},
    "list_runs": NO_BODY,
    "get_run": NO_BODY,
    "void_run": NO_BODY,
    "add_readings": new_reading,
    "list_readings": NO_BODY,
    "void_reading": NO_BODY,
    "add_tally": new_tally,
    "add_tallies": lambda ids, serial: {"tallies": [new_tally(ids, serial)]},
    "list_tallies": NO_BODY,
    "void_tally": NO_BODY,
    "set_period": new_period,
    "list_periods": NO_BODY,
    "void_period": NO_BODY,
    "add_correction": new_correction,
    "list_corrections": NO_BODY,
    "revoke_correction": NO_BODY,
    "record_care": new_care,
    "list_care": NO_BODY,
    "void_care": NO_BODY,
    "summarize_sample": lambda ids, serial: {"distribution": SIEVES},
    "add_checkpoint": new_checkpoint,
    "list_checkpoints": NO_BODY,
    "get_checkpoint": NO_BODY,
    "void_checkpoint": NO_BODY,
    "get_break_in": NO_BODY,
    "get_calibration": NO_BODY,
    "compare_burr_sets": NO_BODY,
    "get_cups": NO_BODY,
    "get_throughput": NO_BODY,
    "list_alerts": NO_BODY,
    "acknowledge_alert": NO_BODY,
    "follow_alerts": NO_BODY,
    "get_alert_settings": NO_BODY,
    "set_alert_settings": lambda ids, serial: {
        "long_run": {"longest_run_seconds": 600 + serial % 100},
        "quiet_hours": {"sun": [["00:00", "06:00"]]},
    },
    "get_duty": NO_BODY,
    "get_motor": NO_BODY,
    "get_readiness": NO_BODY,
    "export_account": NO_BODY,
    "get_status": NO_BODY,
    "get_fleet": NO_BODY,
    "create_webhook": new_webhook,
    "list_webhooks": NO_BODY,
    "get_webhook": NO_BODY,
    "update_webhook": lambda ids, serial: {"name": f"phone {serial}"},
    "delete_webhook": NO_BODY,
    "rotate_webhook_secret": lambda ids, serial: {"overlap_seconds": 3600},
    "test_webhook": NO_BODY,
    "list_deliveries": NO_BODY,
    "redeliver": NO_BODY,
    "create_key": lambda ids, serial: {"name": f"scale {serial}"},
    "list_keys": NO_BODY,
    "revoke_key": NO_BODY,
    "get_metrics": NO_BODY,
    "get_livez": NO_BODY,
    "get_readyz": NO_BODY,
    "get_openapi": NO_BODY,
    "get_docs": NO_BODY,
}


# operation -> what its query has to say
QUERIES: dict[str, dict[str, str]] = {"get_readiness": {"run_seconds": "30"}}


def query_of(operation: Operation, ids: Ids) -> dict[str, str]:
    """What the query of a request about these ids has to say."""
    if operation.name == "compare_burr_sets":
        return {"burr_set_ids": named_in_query("burr_set_ids", ids, ids)}
    return QUERIES.get(operation.name, {})


def named_in_query(parameter: str, own: Ids, named: Ids) -> str:
    """The value of a query's parameter that names somebody's object, or one's own beside it."""
    if parameter == "burr_set_ids":
        return f"{own.burr_set_id}-2,{named.burr_set_id}"
    if parameter == "reference_checkpoint_id":  # the first one is to be voided
        return f"{named.checkpoint_id}-2"
    value: str = getattr(named, parameter)
    return value


@dataclass(frozen=True)
class BodyWithId:
    """A body that names somebody else's object in one place."""

    operation: str
    place: str
    kind: str  # which of the ids stands there
    body: Callable[[Ids, Ids, int], Any]  # own ids, the ids to be named, serial

    def __str__(self) -> str:
        return f"{self.operation}-{self.place}"

    @property
    def is_line(self) -> bool:
        """Whether it stands in a line of a batch, which is judged alone."""
        return self.place.startswith(("runs.", "readings.", "tallies."))


# Every place in a body where an id names something that must exist already.
BODIES_WITH_IDS = (
    BodyWithId(
        "create_grinder",
        "site_id",
        "site_id",
        lambda own, named, serial: new_grinder(named, serial),
    ),
    BodyWithId(
        "update_grinder",
        "site_id",
        "site_id",
        lambda own, named, serial: {"site_id": named.site_id},
    ),
    BodyWithId(
        "fit_burr_set",
        "burr_set_id",
        "burr_set_id",
        lambda own, named, serial: {"burr_set_id": named.burr_set_id},
    ),
    BodyWithId(
        "update_burr_set",
        "fittings.grinder_id",
        "grinder_id",
        lambda own, named, serial: {
            "fittings": [{"grinder_id": named.grinder_id, "fitted_at": _fitted_at(serial)}]
        },
    ),
    BodyWithId(
        "add_run", "grinder_id", "grinder_id", lambda own, named, serial: new_run(named, serial)
    ),
    BodyWithId(
        "add_runs",
        "runs.grinder_id",
        "grinder_id",
        lambda own, named, serial: {"runs": [new_run(named, serial)]},
    ),
    BodyWithId(
        "add_runs",
        "watched_grinder_ids",
        "grinder_id",
        lambda own, named, serial: {
            "runs": [new_run(own, serial)],
            "watched_from": instant(NOW - timedelta(hours=2)),
            "watched_until": instant(NOW - timedelta(hours=1)),
            "watched_grinder_ids": [named.grinder_id],
        },
    ),
    BodyWithId(
        "add_readings",
        "grinder_id",
        "grinder_id",
        lambda own, named, serial: new_reading(named, serial),
    ),
    BodyWithId(
        "add_readings",
        "readings.grinder_id",
        "grinder_id",
        lambda own, named, serial: {"readings": [new_reading(named, serial)]},
    ),
    BodyWithId(
        "add_tally", "grinder_id", "grinder_id", lambda own, named, serial: new_tally(named, serial)
    ),
    BodyWithId(
        "add_tallies",
        "tallies.grinder_id",
        "grinder_id",
        lambda own, named, serial: {"tallies": [new_tally(named, serial)]},
    ),
    BodyWithId(
        "add_correction",
        "grinder_id",
        "grinder_id",
        lambda own, named, serial: new_correction(named, serial),
    ),
    *(
        BodyWithId(
            "create_webhook",
            f"{noun}_ids",
            f"{noun}_id",
            lambda own, named, serial, noun=noun: {  # type: ignore[misc]
                "url": RECEIVER,
                f"{noun}_ids": [getattr(named, f"{noun}_id")],
            },
        )
        for noun in ("site", "grinder")
    ),
    *(
        BodyWithId(
            "update_webhook",
            f"{noun}_ids",
            f"{noun}_id",
            lambda own, named, serial, noun=noun: {  # type: ignore[misc]
                f"{noun}_ids": [getattr(named, f"{noun}_id")]
            },
        )
        for noun in ("site", "grinder")
    ),
    BodyWithId(
        "create_key",
        "site_ids",
        "site_id",
        lambda own, named, serial: {"name": "x", "site_ids": [named.site_id]},
    ),
    BodyWithId(
        "create_key",
        "grinder_ids",
        "grinder_id",
        lambda own, named, serial: {"name": "x", "grinder_ids": [named.grinder_id]},
    ),
)
# Places in bodies where the client makes an id up; unique within the account alone.
CHOSEN_IDS = frozenset(
    {
        ("create_site", "site_id"),
        ("create_grinder", "grinder_id"),
        ("fit_burr_set", "burr_set_id"),
        ("add_run", "run_id"),
        ("add_runs", "runs.run_id"),
        ("add_readings", "reading_id"),
        ("add_readings", "readings.reading_id"),
        ("add_tally", "tally_id"),
        ("add_tallies", "tallies.tally_id"),
        ("record_care", "care_id"),
        ("add_checkpoint", "checkpoint_id"),
        ("create_webhook", "webhook_id"),
        ("set_period", "period_id"),
        ("add_correction", "correction_id"),
    }
)
# Places whose name ends like an id's but that need not name anything there is: a device's own
# count of its boots, and the run a reading was taken during, which may come later or never.
OPEN_IDS = frozenset(
    {
        ("add_run", "boot_id"),
        ("add_runs", "runs.boot_id"),
        ("add_readings", "boot_id"),
        ("add_readings", "readings.boot_id"),
        ("add_readings", "run_id"),
        ("add_readings", "readings.run_id"),
        # what measured the doses, in the sender's own words
        ("add_checkpoint", "session_id"),
        ("add_checkpoint", "instrument_id"),
        ("add_checkpoint", "sieve_set_id"),
    }
)


def url_of(operation: Operation, ids: Ids, query: Mapping[str, str] | None = None) -> str:
    """The path of a request, with its query."""
    path = operation.path
    if operation.name == "void_burr_set":  # the first set is needed by the others
        ids = replace(ids, burr_set_id=ids.spare_burr_set_id)
    if operation.name == "delete_webhook":
        ids = replace(ids, webhook_id=ids.spare_webhook_id)
    for name in operation.path_ids:
        path = path.replace(f"<{name}>", getattr(ids, name))
    query = {**query_of(operation, ids), **(query or {})}
    if query:
        path += "?" + "&".join(f"{name}={quote(value, safe='')}" for name, value in query.items())
    return path


def request_of(
    operation: Operation,
    ids: Ids,
    serial: int,
    *,
    body: Any = None,
    query: Mapping[str, str] | None = None,
    headers: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """The keywords of a valid request for Flask's test client, or one with another body."""
    made = BODIES[operation.name]
    if body is None and made is not None:
        body = made(ids, serial)
    sent = {"X-Request-Id": REQUEST_ID}
    keywords: dict[str, Any] = {}
    if operation.needs_if_match:
        sent["If-Match"] = "*"
    if body is not None:
        sent["Content-Type"] = operation.takes_media[0]
        keywords["data"] = json.dumps(body)
    return {**keywords, "method": operation.method, "headers": {**sent, **(headers or {})}}


def ids_in_bodies(document: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Every (operation, place) of a request body in the document that holds an id."""
    for path in document["paths"].values():
        for method, operation in path.items():
            if method == "parameters" or "requestBody" not in operation:
                continue
            for content in operation["requestBody"]["content"].values():
                for place in _places(document, content["schema"], ""):
                    if place.rpartition(".")[2].removesuffix("s").endswith("_id"):
                        yield operation["operationId"], place


def _places(document: Mapping[str, Any], schema: Any, place: str) -> Iterator[str]:
    for name, inner in members_of(document, schema):
        here = f"{place}.{name}" if place else name
        yield here
        yield from _places(document, inner, here)


def members_of(document: Mapping[str, Any], schema: Any) -> Iterator[tuple[str, Any]]:
    """The members an object of this schema may have; of an array, those of its items."""
    if "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    yield from schema.get("properties", {}).items()
    for word in ("oneOf", "anyOf", "allOf"):
        for choice in schema.get(word, ()):
            yield from members_of(document, choice)
    if "items" in schema:
        yield from members_of(document, schema["items"])
