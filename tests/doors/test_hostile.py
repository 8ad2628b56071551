"""Hostile requests: no 5xx, no traceback, a problem document for every no, nothing by halves."""

from __future__ import annotations

import base64
import copy
import dataclasses
import io
import json
import logging
from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

import pytest

from burrline_service.journal import JsonLines
from doors.hostile_corpus import CORPUS, FAMILIES, LOG_PAYLOADS, Hostile
from doors.scene import OWN, Scene
from doors.valid_requests import BODIES, BY_NAME, Ids, members_of, new_run
from every_case import try_each

LEAST_CASES = 150


def check_tidy(answer: Any) -> None:
    """What holds for every answer, whatever was asked."""
    assert answer.status_code < 500
    assert "Traceback" not in answer.text
    request_id = answer.headers["X-Request-Id"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "Set-Cookie" not in answer.headers
    assert not [name for name, _ in answer.headers if name.lower().startswith("access-control")]
    if answer.status_code >= 400 and answer.request.method != "HEAD":
        assert answer.content_type == "application/problem+json"
        problem = answer.get_json()
        assert problem["status"] == answer.status_code
        assert problem["instance"] == f"urn:request:{request_id}"
        assert {"type", "title", "detail"} <= set(problem)
        assert len(answer.data) < 50_000 + len(answer.request.path) * 12


def grinder_grams(scene: Scene) -> float:
    answer = scene.client(scene.key).get("/v1/grinders/own-bar/status")
    assert answer.status_code == 200
    grams: float = answer.get_json()["throughput"]["grinder_grams"]
    return grams


def test_the_corpus_is_as_large_as_promised_and_names_each_case_once() -> None:
    names = [case.name for case in CORPUS]
    assert len(set(names)) == len(names) >= LEAST_CASES


@pytest.mark.parametrize("family", FAMILIES)
def test_a_hostile_request_is_answered_in_order(scene: Scene, family: str) -> None:
    try_each(FAMILIES[family], partial(check_answered_in_order, scene))


def check_answered_in_order(scene: Scene, case: Hostile) -> None:
    may_count = case.path.startswith("/v1/runs") and min(case.expects) < 300
    grams_before = grinder_grams(scene) if may_count else 0
    changes = min(case.expects) < 400 and case.method not in ("GET", "HEAD", "OPTIONS")
    marks, before = scene.marks(), scene.rows() if changes else {}
    answer = scene.client(scene.key).open(
        case.path, method=case.method, data=case.body, headers=dict(case.headers)
    )
    assert answer.status_code in case.expects, answer.text[:500]
    if answer.content_type is None or not answer.content_type.startswith("text/html"):
        check_tidy(answer)
    if answer.status_code >= 400 or case.method in ("GET", "HEAD", "OPTIONS"):
        assert scene.marks() == marks
        return
    after = scene.rows()
    # What was accepted was accepted whole: each run is there, and its grams are counted.
    added = len(after["run"]) - len(before["run"])
    if may_count:
        gained = grinder_grams(scene) - grams_before
        outcome = answer.get_json()
        accepted = outcome["accepted"] if case.path.endswith("batch") else 1
        assert added == accepted
        assert (gained > 0) == (accepted > 0)
        if "received" in outcome:
            counts = ("accepted", "duplicates", "conflicts", "rejected")
            assert sum(outcome[name] for name in counts) == outcome["received"]
    else:
        assert added == 0
        sums = ("grinder_hour", "grinder_day")
        if case.path == "/v1/corrections":  # it changes what runs count for
            sums = ()
        assert [after[name] for name in sums] == [before[name] for name in sums]
    assert scene.client(scene.key).get("/v1/grinders/own-bar").status_code == 200
    assert scene.client(scene.key).get("/v1/fleet").status_code == 200


# --- every number field -------------------------------------------------------------------------

# Written into the body as they stand.
NOT_I_JSON = (
    "NaN", "Infinity", "-Infinity", "1e400", "-1e400", "9007199254740992", "9007199254740993",
    "-9007199254740992", "9223372036854775808", "18446744073709551616", "1" * 5000,
)  # fmt: skip
NOT_NUMBERS = ('"18"', '"NaN"', '""', "true", "false", "[]", "[1]", "{}")
NUMBERS = (
    "0", "-0", "-0.0", "-1", "1", "1.5", "20", "90", "155", "5e-324", "-5e-324", "1e-7",
    "1e308", "-1e308", "1e15", "9007199254740991", "-9007199254740991",
    "0.1000000000000000055511151231257827",
)  # fmt: skip
# Members that cannot stand beside the one tried.
ALTERNATIVES = {
    "rated_duty.duty_fraction": ("on_seconds",),
    "age_seconds": ("started_at", "at"),
    "uptime_seconds": ("started_at", "at"),
}


def number_fields(document: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Every (operation, place, schema) of a number in a request body."""
    for path in document["paths"].values():
        for method, operation in path.items():
            if method != "parameters" and "requestBody" in operation:
                content = next(iter(operation["requestBody"]["content"].values()))
                found = _numbers(document, content["schema"], "")
                for place, schema in dict(found).items():
                    yield operation["operationId"], place, schema


def _numbers(document: Mapping[str, Any], schema: Any, place: str) -> Iterator[tuple[str, Any]]:
    for name, inner in members_of(document, schema):
        here = f"{place}.{name}" if place else name
        kinds = inner.get("type", [])
        if {"number", "integer"} & set([kinds] if isinstance(kinds, str) else kinds):
            yield here, inner
        yield from _numbers(document, inner, here)


def is_within(schema: Mapping[str, Any], value: float) -> bool:
    """Whether the document lets this number in, by its own bounds."""
    kinds = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    if "number" not in kinds and not float(value).is_integer():
        return False
    if "enum" in schema and value not in schema["enum"]:
        return False
    return (
        value >= schema.get("minimum", -float("inf"))
        and value <= schema.get("maximum", float("inf"))
        and value > schema.get("exclusiveMinimum", -float("inf"))
    )


def body_with(operation: str, place: str, token: str, ids: Ids, serial: int) -> str:
    """The operation's valid body, as text, with the token at the place."""
    made = BODIES[operation]
    assert made is not None
    body = copy.deepcopy(made(ids, serial))  # bodies may share their samples
    if place.startswith("readings."):
        body = {"readings": [body]}
    *way, last = place.split(".")
    if way == ["rated_duty"]:
        body["rated_duty"] = {"kind": "intermittent", "on_seconds": 30, "cycle_seconds": 120}
    inner = body
    for name in way:
        inner = inner.setdefault(name, {}) if isinstance(inner, dict) else inner
        if isinstance(inner, list):
            inner = inner[0]
    inner[last] = "@here@"
    if last == "uptime_seconds":
        inner["boot_id"] = "17"
    for name in ALTERNATIVES.get(place.removeprefix("runs.").removeprefix("readings."), ()):
        inner.pop(name, None)
    return json.dumps(body).replace('"@here@"', token)


@pytest.fixture(scope="session")
def fields(document: dict[str, Any]) -> dict[tuple[str, str], Mapping[str, Any]]:
    return {(operation, place): schema for operation, place, schema in number_fields(document)}


FIELDS = [
    (operation, place)
    for operation, places in {
        "add_run": (
            "age_seconds", "uptime_seconds", "seconds", "grams", "energy_joules", "setting", "rpm",
            "motor_celsius", "ambient_celsius", "brew.seconds", "brew.beverage_grams",
            "brew.water_grams", "brew.tds_fraction",
        ),
        "create_grinder": (
            "rated_duty.on_seconds", "rated_duty.cycle_seconds", "rated_duty.duty_fraction",
            "motor.rated_watts", "motor.thermal_class", "motor.caution_celsius",
            "motor.limit_celsius", "grind.setting_step", "grind.low_setting", "grind.high_setting",
            "grind.expected_grams_per_second", "hopper_grams", "retained_grams",
        ),
        "fit_burr_set": (
            "diameter_millimetres", "prior_grams", "low_prior_grams", "high_prior_grams",
            "rated_life_grams",
        ),
        "add_readings": ("age_seconds", "uptime_seconds", "motor_celsius", "ambient_celsius"),
        "add_tally": ("grams",),
        "set_period": ("setting", "rpm"),
        "add_correction": ("grams_offset", "grams_factor", "clock_offset_seconds"),
        "record_care": ("zero_setting",),
        "rotate_webhook_secret": ("overlap_seconds",),
        "set_alert_settings": (
            "clock_suspect.run_count", "duty_exceeded.minimum_seconds",
            "duty_exceeded.release_fraction", "flow_low.drop_fraction", "flow_low.minimum_seconds",
            "flow_low.release_fraction", "flow_low.run_count", "long_run.longest_run_seconds",
            "long_run.minimum_seconds", "motor_heating.minimum_seconds",
            "motor_overheat.minimum_seconds", "motor_overheat.release_kelvin",
            "silent.open_seconds",
        ),
        "add_checkpoint": (
            "setting", "rpm", "burr_grams", "fines_cut_micrometres", "replicates.dose_grams",
        ),
        "summarize_sample": (
            "distribution.pan_low_micrometres", "distribution.top_high_micrometres",
            "distribution.d10_micrometres", "distribution.d50_micrometres",
            "distribution.d90_micrometres", "distribution.fines_fraction",
            "distribution.fines_cut_micrometres", "dose_grams", "fines_cut_micrometres",
        ),
    }.items()
    for place in places
]  # fmt: skip
SAME_FIELDS = {"add_runs": "add_run", "add_tallies": "add_tally",
               "update_grinder": "create_grinder", "update_burr_set": "fit_burr_set"}  # fmt: skip
LINES_OF = {"add_runs": "runs", "add_tallies": "tallies"}
ALL_FIELDS = (
    FIELDS
    + [
        (like, f"{LINES_OF[like]}.{place}" if like in LINES_OF else place)
        for like, operation in SAME_FIELDS.items()
        for of, place in FIELDS
        if of == operation
    ]
    + [(of, f"readings.{place}") for of, place in FIELDS if of == "add_readings"]
)


def test_every_number_of_the_document_is_tried(fields: dict[tuple[str, str], Any]) -> None:
    # a checkpoint's samples have the schema of the sample that is summed up alone
    samples = {
        ("add_checkpoint", f"replicates.{place}")
        for of, place in FIELDS
        if of == "summarize_sample" and place.startswith("distribution.")
    }
    assert set(fields) == set(ALL_FIELDS) | samples


@pytest.fixture(scope="module")
def exported_at_the_end(scene: Scene) -> Iterator[None]:
    """Whatever the tests of numbers left behind, the account is exported whole."""
    yield
    exported = scene.client(scene.key).get("/v1/export")
    assert exported.status_code == 200
    assert json.loads(exported.text.splitlines()[-1])["kind"] == "end"
    for word in (b"NaN", b"Infinity", b":-0.0"):
        assert word not in exported.data


@pytest.mark.usefixtures("exported_at_the_end")
@pytest.mark.parametrize(("name", "place"), ALL_FIELDS)
def test_a_number_field_takes_numbers_within_its_bounds_alone(
    scene: Scene, fields: dict[tuple[str, str], Any], name: str, place: str
) -> None:
    operation, schema = BY_NAME[name], fields[name, place]
    serial = next(scene.serials)
    ids = dataclasses.replace(
        OWN, grinder_id=f"number-bar-{serial}", burr_set_id=f"number-burrs-{serial}"
    )
    client = scene.client(scene.key)
    made = client.post(
        "/v1/grinders",
        json={"grinder_id": ids.grinder_id, "site_id": OWN.site_id, "name": "Trial"},
    )
    assert made.status_code == 201
    fitted = client.post(
        f"/v1/grinders/{ids.grinder_id}/burr-sets",
        json={"burr_set_id": ids.burr_set_id, "geometry": "flat", "prior_grams": 0},
    )
    assert fitted.status_code == 201
    ran = {**new_run(ids, serial), "run_id": f"number-run-{serial}"}  # for corrections to change
    ran["started_at"] = "2026-02-27T12:00:00Z"
    assert client.post("/v1/runs", json=ran).status_code == 201

    def send(token: str) -> tuple[int, Any]:
        """The status of the answer, or for the one line of a batch what it alone would get."""
        text = body_with(name, place, token, ids, next(scene.serials))
        headers = {"Content-Type": operation.takes_media[0], "If-Match": "*"}
        path = operation.open_api_path.format(
            grinder_id=ids.grinder_id, burr_set_id=ids.burr_set_id, webhook_id=OWN.webhook_id
        )
        answer = client.open(path, method=operation.method, data=text, headers=headers)
        check_tidy(answer)
        if place.startswith(("runs.", "readings.", "tallies.")) and answer.status_code == 200:
            return (201 if answer.get_json()["accepted"] else 422), answer
        return answer.status_code, answer

    before = scene.marks()
    if scene.database.is_sqlite:  # these never reach a database, whichever it is
        # JSON is read before any field is: an operation's fields share out what is none
        beside = [other for of, other in ALL_FIELDS if of == name]
        for token in {"NaN", *NOT_I_JSON[beside.index(place) :: len(beside)]}:
            assert send(token)[0] == 400, token[:30]
        for token in NOT_NUMBERS:
            assert send(token)[0] == 422, token
        assert scene.marks() == before
        for token in NUMBERS:
            if not is_within(schema, float(token)):
                status, answer = send(token)
                assert status == 422, f"{token} of {schema}: {answer.text}"
        assert scene.marks() == before
    taken = 0
    unread: set[str] = set()
    for token in (*(one for one in NUMBERS if is_within(schema, float(one))), "null"):
        status, answer = send(token)
        if token == "null":
            assert status in ((200, 201, 422) if "null" in schema["type"] else (422,))
        else:
            assert status in (200, 201, 409, 422), f"{token}: {answer.text}"
        if status >= 400:
            assert scene.marks() == before
            continue
        taken, before = taken + 1, scene.marks()
        # Whatever was taken can be read back, and the status made of it is whole: at the end, as
        # what is made anew each time lies side by side; on SQLite what changes after each, too.
        made_path = answer.headers.get("Location", "") or f"/v1/grinders/{ids.grinder_id}"
        status_path = f"/v1/grinders/{ids.grinder_id}/status"
        unread.add(made_path)
        if made_path.startswith("/v1/grinders/"):
            unread.add(f"{made_path}/status")
        if scene.database.is_sqlite and name != "create_grinder":
            assert client.get(status_path).status_code == 200
            if operation.method != "POST":
                assert client.get(made_path).status_code == 200
        unread.add(status_path)
        assert b"NaN" not in answer.data
        assert b"Infinity" not in answer.data
        assert b":-0.0" not in answer.data
    for path in sorted(unread):
        assert client.get(path).status_code == 200
    lists = ("runs", "burr-sets", "readings", "tallies", "periods", "corrections", "care")
    for path in (*(f"{name}?limit=200" for name in lists), "runs?format=csv", "throughput"):
        assert client.get(f"/v1/grinders/{ids.grinder_id}/{path}").status_code == 200
    assert client.get(f"/v1/alerts?grinder_id={ids.grinder_id}").status_code == 200
    assert taken, "no number at all was taken: the test proves nothing"


# --- cursors ------------------------------------------------------------------------------------


def mangled(cursor: str) -> Iterator[str]:
    """What can happen to a cursor on its way, and what somebody may try with one."""
    yield from (cursor[:-1], cursor[1:], cursor + "A", cursor + "=", cursor + "==", cursor * 2)
    yield from (cursor.swapcase(), cursor[::-1], " " + cursor, cursor + "\n", cursor + "\x00")
    yield from ("A" + cursor[1:], "null", "1", "-1", "[]", "W10", "e30", "..", "é", "٣", "A" * 1024)
    for place in range(0, len(cursor), 3):
        other = "A" if cursor[place] != "A" else "B"
        yield cursor[:place] + other + cursor[place + 1 :]


@pytest.mark.parametrize(
    "path",
    [
        "/v1/sites",
        "/v1/fleet",
        "/v1/alerts",
        *(
            f"/v1/grinders/own-bar/{name}"
            for name in ("runs", "readings", "tallies", "periods", "corrections", "care")
        ),
    ],
)
def test_a_mangled_cursor_is_refused(scene: Scene, path: str) -> None:
    client = scene.client(scene.key)
    cursor = client.get(path, query_string={"limit": 1}).get_json()["next_cursor"]
    assert client.get(path, query_string={"limit": 1, "cursor": cursor}).status_code == 200
    tried = list(dict.fromkeys(mangled(cursor)))
    assert cursor not in tried
    for text in tried:
        answer = client.get(path, query_string={"cursor": text})
        assert answer.status_code == 400, text
        assert answer.get_json()["type"] == "urn:burrline:problem:bad-cursor"
        check_tidy(answer)


def test_a_cursor_serves_its_own_list_and_filters_alone(scene: Scene) -> None:
    client = scene.client(scene.key)
    cursor = client.get("/v1/sites?limit=1").get_json()["next_cursor"]
    for path in (
        "/v1/grinders",
        "/v1/fleet",
        "/v1/alerts",
        "/v1/keys",
        "/v1/grinders/own-bar/runs",
        "/v1/grinders/own-bar/care",
    ):
        assert client.get(path, query_string={"cursor": cursor}).status_code == 400
    runs = "/v1/grinders/own-bar/runs"
    cursor = client.get(runs + "?limit=1").get_json()["next_cursor"]
    for path in (runs + "?from=2026-01-01T00:00:00Z", "/v1/grinders/bey-bar/runs"):
        mark = "&" if "?" in path else "?"
        assert client.get(f"{path}{mark}cursor={cursor}").status_code == 400
    tallies = "/v1/grinders/own-bar/tallies"
    cursor = client.get(tallies + "?limit=1").get_json()["next_cursor"]
    for path in ("care", "periods", "corrections", "readings", "runs"):
        assert client.get(f"/v1/grinders/own-bar/{path}?cursor={cursor}").status_code == 400
    assert client.get(f"/v1/grinders/bey-bar/tallies?cursor={cursor}").status_code == 400


# --- texts that are odd but right ---------------------------------------------------------------


@pytest.mark.parametrize("text", LOG_PAYLOADS, ids=lambda text: repr(text)[:20])
def test_an_odd_text_comes_back_as_it_was_sent_or_is_refused(scene: Scene, text: str) -> None:
    serial = next(scene.serials)
    client = scene.client(scene.key)
    body = {**new_run(OWN, serial), "run_id": f"odd-text-{serial}", "coffee_lot": text}
    answer = client.post("/v1/runs", json=body)
    check_tidy(answer)
    if "\x00" in text or "\ud83d" in text:
        assert answer.status_code == 400
    elif len(text) > 200:
        assert answer.status_code == 422
    else:
        assert answer.status_code == 201
        assert client.get(answer.headers["Location"]).get_json()["coffee_lot"] == text


@pytest.mark.parametrize("text", LOG_PAYLOADS, ids=lambda text: repr(text)[:20])
def test_the_page_for_people_takes_any_filter_and_any_password(scene: Scene, text: str) -> None:
    client = scene.client(None)
    escaped = "".join(f"%{byte:02x}" for byte in text.encode("utf-8", "surrogatepass"))
    page = client.get(f"/?site_id={escaped}", auth=("anyone", scene.key))
    assert page.status_code in (200, 404, 422)
    assert "Traceback" not in page.text
    token = base64.b64encode(b"x:" + text.encode("utf-8", "surrogatepass")).decode()
    assert client.get("/", headers={"Authorization": f"Basic {token}"}).status_code == 401
    assert client.get("/", headers={"Authorization": f"Basic {token[1:]}!"}).status_code == 401


# --- the log ------------------------------------------------------------------------------------


def written(message: str, *arguments: Any, error: Exception | None = None, **extra: str) -> str:
    """What the journal writes for one record."""
    info = None if error is None else (type(error), error, error.__traceback__)
    record = logging.LogRecord("hostile", logging.ERROR, "here", 1, message, arguments, info)
    record.__dict__.update(extra)
    return JsonLines().format(record)


@pytest.mark.parametrize("text", LOG_PAYLOADS, ids=lambda text: repr(text)[:20])
def test_whatever_is_logged_is_one_line_of_json(text: str) -> None:
    try:
        raise RuntimeError(text)
    except RuntimeError as error:
        failed = written("failed: %s", text, error=error)
    lines = (written("%s", text), written("plain", path=text, request_id=text), failed)
    for line in lines:
        assert len(line.splitlines()) == 1  # splits at every kind of line end there is
        assert line.isascii()
        assert line.isprintable()
    first, second, third = (json.loads(line) for line in lines)
    assert first["message"] == text
    assert second["path"] == second["request_id"] == text
    assert third["message"] == f"failed: {text}"
    assert "RuntimeError" in third["traceback"]


@pytest.fixture
def journal() -> Iterator[io.StringIO]:
    """The log as the service writes it."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.addHandler(handler)
    yield stream
    root.removeHandler(handler)


@pytest.mark.parametrize(
    "text", [text for text in LOG_PAYLOADS if text != "\ud83d"], ids=lambda text: repr(text)[:20]
)
def test_a_fault_of_ours_is_one_line_in_the_log_and_says_nothing_outside(
    scene: Scene, journal: io.StringIO, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    def fails(*_: Any, **__: Any) -> Any:
        raise RuntimeError(text + "inner fact")

    endpoint = scene.app.view_functions["list_sites"]
    monkeypatch.setattr(endpoint, "operation", dataclasses.replace(endpoint.operation, act=fails))
    as_sent = text.encode().decode("latin-1")
    answer = scene.client(scene.key).get(
        "/v1/sites",
        environ_overrides={  # as no HTTP server would let them through
            "HTTP_X_REQUEST_ID": as_sent,
            "HTTP_USER_AGENT": as_sent,
            "REMOTE_ADDR": as_sent,
        },
    )
    assert answer.status_code == 500
    assert answer.content_type == "application/problem+json"
    assert "inner fact" not in answer.text
    assert "Traceback" not in answer.text
    assert "RuntimeError" not in answer.text
    (line,) = journal.getvalue().splitlines()
    logged = json.loads(line)
    assert logged["level"] == "error"
    assert "inner fact" in logged["traceback"]
    assert answer.headers["X-Request-Id"] in logged["message"]
