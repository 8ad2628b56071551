"""Requests nobody in good faith would send, and the statuses each may be answered with.

What a case may be answered with comes from the published rules: RFC 8259 (JSON), RFC 7493
(I-JSON), RFC 3339 (instants), RFC 3986 (paths), RFC 7396 (merge patch), RFC 9110 (conditional
requests, media types, methods), and the document of this service.
"""

from __future__ import annotations

import gzip
import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

MEGABYTE = 1024 * 1024


@dataclass(frozen=True)
class Hostile:
    """One request; ``expects`` names every status it may be answered with."""

    name: str
    method: str
    path: str
    expects: frozenset[int]
    body: bytes | None = None
    headers: Mapping[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return self.name


def case(
    name: str,
    method: str,
    path: str,
    *expects: int,
    body: bytes | str | None = None,
    **headers: str,
) -> Hostile:
    sent = {name.replace("_", "-"): value for name, value in headers.items()}
    if body is not None:
        sent.setdefault("Content-Type", "application/json")
    raw = body.encode() if isinstance(body, str) else body
    return Hostile(name, method, path, frozenset(expects), raw, sent)


# --- JSON that is none, or that two readers would read differently (RFC 8259, RFC 7493) ----------

_SITE = b'{"site_id":"json-site","name":%s,"time_zone":"Europe/Lisbon"}'
_WHOLE = _SITE % b'"Quay"'


def _nested(opening: str, closing: str, levels: int) -> bytes:
    return (opening * levels + "0" + closing * levels).encode()


_NOT_JSON: dict[str, bytes] = {
    "nothing": b"",
    "spaces": b" \t\r\n",
    "a word": b"nul",
    "braces the wrong way round": b"}{",
    "byte-order mark": b"\xef\xbb\xbf" + _WHOLE,
    "UTF-16 with byte-order mark": _WHOLE.decode().encode("utf-16"),
    "UTF-16 little-endian": _WHOLE.decode().encode("utf-16-le"),
    "UTF-32 big-endian": _WHOLE.decode().encode("utf-32-be"),
    "Latin-1": _SITE % '"Café"'.encode("latin-1"),
    "byte FF": _SITE % b'"\xff"',
    "overlong UTF-8": _SITE % b'"\xc0\xaf"',
    "a surrogate in UTF-8": _SITE % b'"\xed\xa0\x80"',
    "beyond U+10FFFF": _SITE % b'"\xf4\x90\x80\x80"',
    "trailing comma": _WHOLE[:-1] + b",}",
    "trailing comma in an array": _SITE % b"[1,]",
    "single quotes": _WHOLE.replace(b'"', b"'"),
    "a comment": b"/* */" + _WHOLE,
    "a line comment": _WHOLE + b"// x",
    "bare member name": _WHOLE.replace(b'"site_id"', b"site_id"),
    "JSONP": b"f(" + _WHOLE + b")",
    "a form": b"site_id=json-site&name=Quay",
    "two values": _WHOLE + _WHOLE,
    "two lines": _WHOLE + b"\n" + _WHOLE,
    "a byte after the end": _WHOLE + b"x",
    "NUL after the end": _WHOLE + b"\x00",
    "cut object": _WHOLE[:-1],
    "cut string": _WHOLE[:20],
    "no-break space": b"\xc2\xa0" + _WHOLE,
    "line separator": b"\xe2\x80\xa8" + _WHOLE,
    "form feed": b"\x0c" + _WHOLE,
    "twice the same member": _WHOLE[:-1] + b',"name":"Other"}',
    "twice the same member, once escaped": _WHOLE[:-1] + b',"n\\u0061me":"Other"}',
    "twice the same member, further in": _SITE % b'{"a":1,"a":2}',
    "newline in a string": _SITE % b'"Qu\nay"',
    "NUL in a string": _SITE % b'"Qu\x00ay"',
    "escaped NUL": _SITE % b'"Qu\\u0000ay"',
    "escaped NUL in a member name": _WHOLE[:-1] + b',"a\\u0000":1}',
    "lone high surrogate": _SITE % b'"\\ud83d"',
    "lone low surrogate": _SITE % b'"\\ude00"',
    "surrogates the wrong way round": _SITE % b'"\\ude00\\ud83d"',
    "lone surrogate in a member name": _WHOLE[:-1] + b',"\\ud83d":1}',
    "escape x": _SITE % b'"\\x41"',
    "short escape": _SITE % b'"\\u12"',
    "NaN": _SITE % b"NaN",
    "Infinity": _SITE % b"Infinity",
    "-Infinity": _SITE % b"-Infinity",
    "leading zero": _SITE % b"01",
    "plus sign": _SITE % b"+1",
    "no digit before the point": _SITE % b".5",
    "no digit after the point": _SITE % b"1.",
    "no digit in the exponent": _SITE % b"1e",
    "hexadecimal": _SITE % b"0x10",
    "Arabic digits": _SITE % "٣".encode(),
    "exponent 400": _SITE % b"1e400",
    "exponent -400 of a long number": _SITE % (b"-" + b"9" * 400 + b".0"),
    "exponent of eleven digits": _SITE % b"1e99999999999",
    "2^53": _SITE % b"9007199254740992",
    "-2^53": _SITE % b"-9007199254740992",
    "2^63": _SITE % b"9223372036854775808",
    "an integer of 5000 digits": _SITE % (b"7" * 5000),
    "33 levels": _SITE % _nested("[", "]", 33),
    "20000 arrays deep": _nested("[", "]", 20_000),
    "20000 objects deep": _nested('{"a":', "}", 20_000),
    "100000 arrays opened": b"[" * 100_000,
}


def _json_cases() -> Iterable[Hostile]:
    for name, body in _NOT_JSON.items():
        yield case(f"JSON: {name}", "POST", "/v1/sites", 400, body=body)
    for name, text in {
        "array": "[]",
        "string": '"x"',
        "number": "1",
        "true": "true",
        "null": "null",
        "array of sites": f"[{_WHOLE.decode()}]",
        "31 levels": (_SITE % _nested("[", "]", 30)).decode(),
    }.items():
        yield case(f"JSON: {name} instead of a site", "POST", "/v1/sites", 422, body=text)


# --- texts and ids ------------------------------------------------------------------------------

_BAD_IDS = {
    "empty": "",
    "trailing newline": "bar\n",
    "leading dash": "-bar",
    "upper case": "Bar",
    "Arabic digit": "bar-٣",
    "fullwidth digit": "bar-１",
    "Cyrillic a": "bаr",
    "space": "b ar",
    "slash": "b/ar",
    "encoded slash": "b%2far",
    "dots": "..",
    "traversal": "../own-bar",
    "65 characters": "b" * 65,
    "100 kB": "b" * 100_000,
    "emoji": "bar☕",
    "zero-width space": "bar\u200b",
    "right-to-left override": "bar\u202e",
    "quote": "bar'--",
    "wildcard": "%",
    "template": "{{7*7}}",
}
_NOT_TEXTS = {"null": None, "number": 5, "true": True, "array": ["bar"], "object": {"a": 1}}
_SITE_FIELDS = {"site_id": "text-site", "name": "Quay", "time_zone": "Europe/Lisbon"}
_SERVER_SET = (
    "account_no", "account_id", "created_at", "revision", "site_no", "__proto__", "constructor", "",
)  # fmt: skip
_BAD_ZONES = (
    "../../../../etc/passwd", "/etc/passwd", "Europe", "Europe/", "Europe/Lisbon\n", "localtime",
    "posixrules", "europe/lisbon", "Europe/Lis bon", "Mars/Phobos", "tzdata.zi", "UTC+1", "+01:00",
    "right/Europe/Lisbon", "posix/Europe/Lisbon", "Factory", "e" * 65,
)  # fmt: skip


def _site(**changed: Any) -> str:
    return json.dumps({**_SITE_FIELDS, **changed})


def _text_cases() -> Iterable[Hostile]:
    for name, value in {**_BAD_IDS, **_NOT_TEXTS}.items():
        body = _site(site_id=value)
        yield case(f"site_id: {name}", "POST", "/v1/sites", 422, body=body)
    for name, value in {**_NOT_TEXTS, "empty": "", "201 characters": "x" * 201}.items():
        yield case(f"name: {name}", "POST", "/v1/sites", 422, body=_site(name=value))
    for zone in _BAD_ZONES:
        body = _site(time_zone=zone)
        yield case(f"time_zone: {zone[:30]!r}", "POST", "/v1/sites", 422, body=body)
    for member in _SERVER_SET:
        body = _site(**{member: 1})
        yield case(f"member {member!r} in a site", "POST", "/v1/sites", 422, body=body)
    for name in ("7 chars", "has space in it", "newline-at-the-end\n", "slash/es/in/it", "x" * 129,
                 "non-ascii-é", "٣" * 12):  # fmt: skip
        body = _run(run_id=name)
        yield case(f"run_id: {name[:20]!r}", "POST", "/v1/runs", 422, body=body)


# --- runs ---------------------------------------------------------------------------------------

_RUN_FIELDS = {
    "run_id": "hostile-run-1",
    "grinder_id": "own-bar",
    "started_at": "2026-03-01T08:00:00Z",
    "seconds": 7.5,
    "grams": 18.25,
}


def _run(**changed: Any) -> str:
    kept = {**_RUN_FIELDS, **changed}
    return json.dumps({name: value for name, value in kept.items() if value != "absent"})


_BAD_INSTANTS = {
    "a date": "2026-03-01",
    "no offset": "2026-03-01T08:00:00",
    "a week date": "2026-W09-7T08:00:00Z",
    "an ordinal date": "2026-060T08:00:00Z",
    "basic format": "20260301T080000Z",
    "no seconds": "2026-03-01T08:00Z",
    "a space between": "2026-03-01 08:00:00Z",
    "hour 24": "2026-03-01T24:00:00Z",
    "minute 60": "2026-03-01T08:60:00Z",
    "second 61": "2026-03-01T08:00:61Z",
    "month 13": "2026-13-01T08:00:00Z",
    "30 February": "2026-02-30T08:00:00Z",
    "29 February of no leap year": "2026-02-29T08:00:00Z",
    "offset 24": "2026-03-01T08:00:00+24:00",
    "offset without colon": "2026-03-01T08:00:00+0100",
    "offset in words": "2026-03-01T08:00:00 CET",
    "zone in brackets": "2026-03-01T08:00:00+01:00[Europe/Paris]",
    "Arabic digits": "٢٠٢٦-03-01T08:00:00Z",
    "fullwidth digits": "２０２６-03-01T08:00:00Z",
    "trailing newline": "2026-03-01T08:00:00Z\n",
    "leading space": " 2026-03-01T08:00:00Z",
    "ten fraction digits": "2026-03-01T08:00:00.0123456789Z",
    "a comma": "2026-03-01T08:00:00,5Z",
    "an empty fraction": "2026-03-01T08:00:00.Z",
    "year of five digits": "12026-03-01T08:00:00Z",
    "a negative year": "-0001-03-01T08:00:00Z",
    "an epoch as text": "1772352000",
    "now": "now",
    "empty": "",
    "100 kB": "2" * 100_000,
}
_GOOD_INSTANTS = {
    "lower case": "2026-03-01t08:00:00z",
    "a far offset": "2026-03-01T08:00:00-23:59",
    "nine digits": "2026-03-01T08:00:00.999999999Z",
    "a leap second": "2016-12-31T23:59:60Z",
    "year 0": "0000-01-01T00:00:00Z",
    "year 1": "0001-01-01T00:00:00+23:59",
    "year 9999": "9999-12-31T23:59:59-23:59",
    "before 1970": "1969-12-31T23:59:59.999Z",
}


def _run_cases() -> Iterable[Hostile]:
    for name, text in _BAD_INSTANTS.items():
        yield case(f"instant: {name}", "POST", "/v1/runs", 422, body=_run(started_at=text))
    for name, value in {"number": 1772352000, "true": True, "array": []}.items():
        yield case(f"instant: {name}", "POST", "/v1/runs", 422, body=_run(started_at=value))
    for serial, (name, text) in enumerate(_GOOD_INSTANTS.items()):
        body = _run(run_id=f"hostile-time-{serial}", started_at=text)
        yield case(f"instant: {name}", "POST", "/v1/runs", 201, body=body)
    for member in (
        "received_at",
        "time_source",
        "findings",
        "voided_at",
        "account_no",
        "burr_set_id",
    ):
        body = _run(**{member: None})
        yield case(f"member {member} in a run", "POST", "/v1/runs", 422, body=body)
    # the bounds of the impossible, as the contract names them: 6 h, 50 kg, -40 to 400 degrees
    for name, value in (
        ("seconds", 21_600.001), ("seconds", -0.001), ("grams", 50_000.001), ("grams", -0.001),
        ("motor_celsius", -40.1), ("motor_celsius", 400.1),
        ("ambient_celsius", -40.1), ("ambient_celsius", 400.1),
    ):  # fmt: skip
        body = _run(**{name: value})
        yield case(f"{name} {value}", "POST", "/v1/runs", 422, body=body)
    neither = _run(seconds="absent", grams="absent")
    yield case("neither seconds nor grams", "POST", "/v1/runs", 422, body=neither)
    yield case("both null", "POST", "/v1/runs", 422, body=_run(seconds=None, grams=None))
    yield case("two beginnings", "POST", "/v1/runs", 422, body=_run(age_seconds=5))
    for name, brew in {
        "without method": {},
        "of unknown method": {"method": "magic"},
        "with an unknown member": {"method": "espresso", "crema": 1},
        "as array": [],
        "as text": "espresso",
    }.items():
        yield case(f"brew {name}", "POST", "/v1/runs", 422, body=_run(brew=brew))
    for name in ("grams_basis", "feed", "purpose"):
        for value in ("", "SERVICE", "hopper ", "nonsense", 1, []):
            body = _run(**{name: value})
            yield case(f"{name} {value!r}", "POST", "/v1/runs", 422, body=body)
    yield case("a run of nobody's grinder", "POST", "/v1/runs", 404, body=_run(grinder_id="nil"))


def _batch_cases() -> Iterable[Hostile]:
    def batch(name: str, runs: Any, *expects: int) -> Hostile:
        return case(f"batch: {name}", "POST", "/v1/runs/batch", *expects, body=json.dumps(runs))

    good = {**_RUN_FIELDS, "run_id": "hostile-batch-1"}
    yield batch("no member", {}, 422)
    yield batch("runs null", {"runs": None}, 422)
    yield batch("runs an object", {"runs": {"0": good}}, 422)
    yield batch("runs a text", {"runs": "x" * 1000}, 422)
    yield batch("bare array", [good], 422)
    yield batch("another member", {"runs": [], "account_no": 1}, 422)
    yield batch("empty", {"runs": []}, 200)
    yield batch("5001 lines", {"runs": [0] * 5001}, 422)
    yield batch("5000 lines that are none", {"runs": [None] * 5000}, 200)
    yield batch("lines of every wrong type", {"runs": [None, 1, "x", [], {}, True, [good]]}, 200)
    yield batch("a line with 300 unknown members",
                {"runs": [{f"m{number}": 1 for number in range(300)}]}, 200)  # fmt: skip
    yield batch("one good line among bad ones", {"runs": [None, good, {"run_id": 5}]}, 200)
    yield batch("one id with two contents",
                {"runs": [{**good, "run_id": "hostile-batch-2", "grams": grams}
                          for grams in (1, 2)]}, 200)  # fmt: skip
    yield batch("an id as long as a line may be", {"runs": [{"run_id": "x" * 500_000}]}, 200)
    one_line = b'{"runs":[' + b" " * MEGABYTE + b"]}"
    yield case("batch: over 1 MiB", "POST", "/v1/runs/batch", 413, body=one_line)
    yield case("batch: spaces up to 1 MiB", "POST", "/v1/runs/batch", 200,
               body=b'{"runs":[' + b" " * (MEGABYTE - 11) + b"]}")  # fmt: skip
    many = b'{"runs":[' + b",".join([b"9" * 10] * 90_000) + b"]}"
    yield case("batch: 90000 numbers", "POST", "/v1/runs/batch", 422, body=many)


# --- readings and what people enter -------------------------------------------------------------

_AT = "2026-03-01T08:00:00Z"
_LATER = "2026-03-01T09:00:00Z"
_SIZES = {"kind": "percentiles", "d50_micrometres": 318.5}
_ENTRIES: dict[str, tuple[str, dict[str, Any]]] = {
    "reading": ("/v1/readings", {"grinder_id": "own-bar", "at": _AT, "motor_celsius": 41.5}),
    "tally": (
        "/v1/tallies",
        {"grinder_id": "own-bar", "from": _AT, "to": _LATER, "grams": 5, "basis": "estimated"},
    ),
    "period": ("/v1/grinders/own-bar/periods", {"from": _AT, "to": _LATER, "setting": 4.8}),
    "correction": (
        "/v1/corrections",
        {"grinder_id": "own-bar", "from": _AT, "to": _LATER, "grams_factor": 1, "reason": "none"},
    ),
    "care": ("/v1/grinders/own-bar/care", {"at": _AT, "task": "cleaning"}),
    "checkpoint": (
        "/v1/grinders/own-bar/checkpoints",
        {"ground_at": _AT, "method": "percentiles", "replicates": [{"distribution": _SIZES}]},
    ),
}
_AT_OF = {
    "reading": "at",
    "care": "at",
    "checkpoint": "ground_at",
}  # of the others it is called `from`
_ENTRY_IDS = {
    "reading": "reading_id",
    "tally": "tally_id",
    "care": "care_id",
    "checkpoint": "checkpoint_id",
}
_LATEST = "9999-12-31T23:59:59Z"
_EARLIEST = ("0000-01-01T00:00:00Z", "0001-01-01T00:00:00+23:59", "1899-12-31T23:59:59Z")


def _entry_cases() -> Iterable[Hostile]:
    def entry(kind: str, name: str, *expects: int, **changed: Any) -> Hostile:
        path, fields = _ENTRIES[kind]
        kept = {n: v for n, v in {**fields, **changed}.items() if v != "absent"}
        return case(f"{kind}: {name}", "POST", path, *expects, body=json.dumps(kept))

    for kind, (path, fields) in _ENTRIES.items():
        at = _AT_OF.get(kind, "from")
        for name, text in _BAD_INSTANTS.items():
            yield entry(kind, f"instant, {name}", 422, **{at: text})
        for member in (*_SERVER_SET, "voided_at", "received_at", "period_id", "correction_id"):
            yield entry(kind, f"member {member!r}", 422, **{member: None})
        for name, value in _NOT_TEXTS.items():
            if name != "null":
                yield entry(kind, f"{at} as {name}", 422, **{at: value})
        for early in _EARLIEST:
            yield entry(kind, f"from {early}", 200 if kind == "reading" else 201, **{at: early})
        for name, text in (("array", "[]"), ("text", '"x"'), ("null", "null")):
            yield case(f"{kind}: {name} instead of one", "POST", path, 422, body=text)
        yield case(f"{kind}: nothing told", "POST", path, 422, body="{}")
        yield case(f"{kind}: as a form", "POST", path, 415, body=json.dumps(fields),
                   Content_Type="application/x-www-form-urlencoded")  # fmt: skip
        yield case(f"{kind}: twice a member", "POST", path, 400,
                   body=json.dumps(fields)[:-1] + f',"{at}":"{_AT}"' + "}")  # fmt: skip
        if "grinder_id" in fields:
            yield entry(kind, "of nobody's grinder", 404, grinder_id="nil-bar")
            yield entry(kind, "grinder's id with a newline", 422, grinder_id="own-bar\n")
        if kind in _ENTRY_IDS:
            for name in ("7 chars", "newline-at-the-end\n", "slash/es/in/it", "x" * 129, "٣" * 12):
                yield entry(kind, f"id {name[:20]!r}", 422, **{_ENTRY_IDS[kind]: name})
    yield entry("reading", "to come", 200, at=_LATEST, reading_id="hostile-to-come")
    for kind in ("tally", "period", "correction", "care", "checkpoint"):
        yield entry(kind, "to come", 422, **{_AT_OF.get(kind, "from"): "2026-03-02T08:00:01Z"})
    for kind in ("tally", "period", "correction"):
        yield entry(kind, "ends as it begins", 422, to=_AT)
        yield entry(kind, "ends before it begins", 422, to="2026-03-01T07:00:00Z")
    yield entry("tally", "ends in time to come", 422, to="2026-03-02T08:00:01Z")
    yield entry("tally", "over all of time", 201, **{"from": "0001-01-01T00:00:00Z"})
    yield entry("period", "to the end of time", 201, to=_LATEST)
    yield entry("correction", "to the end of time", 201, to=_LATEST)
    yield entry("correction", "of all of time", 201, **{"from": "0001-01-01T00:00:00Z"}, to=_LATEST)
    yield entry("correction", "by 400 days at the beginning", 201, clock_offset_seconds=-34_560_000)
    yield entry("correction", "of nothing", 422, grams_factor=None)
    yield entry("correction", "of nothing but no void", 422, grams_factor=None, is_void=False)
    yield entry("correction", "factor 0", 422, grams_factor=0)
    yield entry("correction", "factor negative", 422, grams_factor=-1)
    yield entry("correction", "without a reason", 422, reason="absent")
    yield entry("period", "of nothing", 422, setting=None)
    yield entry("tally", "below nothing", 422, grams=-0.001)
    yield entry("tally", "of cleaning", 422, purpose="cleaning")
    yield entry("tally", "of an unknown basis", 422, basis="guessed")
    yield entry("care", "of an unknown task", 422, task="prayer")
    yield entry("care", "note of 1001 characters", 422, note="x" * 1001)
    for name, sizes in (
        ("of nothing", {}),
        ("of an unknown kind", {"kind": "guessed"}),
        ("of no size", {"kind": "percentiles"}),
        ("of two kinds", {**_SIZES, "edge_micrometres": [1, 2]}),
        ("of disordered sizes", {**_SIZES, "d10_micrometres": 400}),
        ("of a negative mass", {"kind": "sieve", "aperture_micrometres": [500],
                                "retained_grams": [1, -1]}),
        ("of masses that are nothing", {"kind": "sieve", "aperture_micrometres": [500],
                                        "retained_grams": [0, 0]}),
    ):  # fmt: skip
        yield entry("checkpoint", f"a dose {name}", 422, replicates=[{"distribution": sizes}])
    yield entry("checkpoint", "without doses", 422, replicates=[])
    yield entry("checkpoint", "of 31 doses", 422, replicates=[{"distribution": _SIZES}] * 31)
    yield entry("checkpoint", "of less than nothing", 422, burr_grams=-1)
    yield entry("checkpoint", "of an unknown method", 422, method="guess")
    yield case("break-in to come", "GET", f"/v1/grinders/own-bar/break-in?as_of={_LATEST}", 422)
    yield case("break-in of old", "GET", f"/v1/grinders/own-bar/break-in?as_of={_EARLIEST[0]}", 200)
    yield case("break-in of nobody's", "GET", "/v1/grinders/nil-bar/break-in", 404)
    yield entry("reading", "of nothing", 422, motor_celsius=None)
    yield entry("reading", "at two times", 422, age_seconds=5)
    yield entry("reading", "uptime of no boot", 422, at="absent", uptime_seconds=5)
    yield entry("reading", "running as text", 422, is_running="true")
    for path in ("tallies/own-tally-0001/void", "periods/own-period-0001/void",
                 "corrections/own-correction-0001/revoke", "care/own-care-0001/void",
                 "checkpoints/own-checkpoint-0001/void",
                 "readings/own-reading-0001/void", "burr-sets/own-burrs-2/void"):  # fmt: skip
        yield case(f"a body where none belongs: {path}", "POST", f"/v1/{path}", 422, body='{"a":1}')
        yield case(f"method: GET {path}", "GET", f"/v1/{path}", 405)
        nobodys = path.replace("own-", "nil-")
        yield case(f"{nobodys}", "POST", f"/v1/{nobodys}", 404)
        newline = "/".join((*path.split("/")[:1], path.split("/")[1] + "%0a", path.split("/")[2]))
        yield case(f"{newline}", "POST", f"/v1/{newline}", 404)


def _tally_batch_cases() -> Iterable[Hostile]:
    def batch(name: str, body: Any, *expects: int) -> Hostile:
        path = "/v1/tallies/batch"
        return case(f"tallies: {name}", "POST", path, *expects, body=json.dumps(body))

    good = {"tally_id": "hostile-tally-1", "grinder_id": "own-bar", "from": _AT, "to": _LATER,
            "grams": 4, "basis": "weighed_in"}  # fmt: skip
    yield batch("left out", {}, 422)
    yield batch("an object", {"tallies": {"0": good}}, 422)
    yield batch("5001 lines", {"tallies": [0] * 5001}, 422)
    yield batch("lines that are none", {"tallies": [None, 1, "x", [], {}, [good]]}, 200)
    yield batch("the same twice among bad ones", {"tallies": [good, {"tally_id": 5}, good]}, 200)
    yield batch("an instant before time", {"tallies": [{**good, "from": "0001-01-01T00:00:00Z"}]},
                200)  # fmt: skip


def _reading_batch_cases() -> Iterable[Hostile]:
    def batch(name: str, body: Any, *expects: int) -> Hostile:
        return case(f"readings: {name}", "POST", "/v1/readings", *expects, body=json.dumps(body))

    good = {"reading_id": "hostile-reading-1", "grinder_id": "own-bar", "at": _AT,
            "motor_celsius": 40}  # fmt: skip
    yield batch("null", {"readings": None}, 422)
    yield batch("an object", {"readings": {"0": good}}, 422)
    yield batch("beside a reading", {"readings": [], **good}, 422)
    yield batch("empty", {"readings": []}, 200)
    yield batch("5001 lines", {"readings": [0] * 5001}, 422)
    yield batch("5000 lines that are none", {"readings": [None] * 5000}, 200)
    yield batch("lines of every wrong type", {"readings": [None, 1, "x", [], {}, True, [good]]},
                200)  # fmt: skip
    yield batch("batches within", {"readings": [{"readings": [good]}]}, 200)
    yield batch("one good line among bad ones", {"readings": [None, good, {"reading_id": 5}]}, 200)
    yield batch("an id as long as a line may be", {"readings": [{"reading_id": "x" * 500_000}]},
                200)  # fmt: skip
    yield case("readings: over 1 MiB", "POST", "/v1/readings", 413,
               body=b'{"readings":[' + b" " * MEGABYTE + b"]}")  # fmt: skip
    watched = {"watched_from": _AT, "watched_until": _LATER}
    for name, changed in {
        "one end": {"watched_until": "absent"},
        "upside down": {"watched_from": _LATER, "watched_until": _AT},
        "grinders alone": {"watched_from": "absent", "watched_until": "absent"},
        "grinders as text": {"watched_grinder_ids": "own-bar"},
        "a grinder twice": {"watched_grinder_ids": ["own-bar", "own-bar"]},
        "501 grinders": {"watched_grinder_ids": [f"g{number}" for number in range(501)]},
        "nobody's grinder beside one's own": {"watched_grinder_ids": ["own-bar", "nil-bar"]},
    }.items():
        body = {"runs": [{**_RUN_FIELDS, "run_id": "hostile-watched-1"}],
                "watched_grinder_ids": ["own-bar"], **watched, **changed}  # fmt: skip
        kept = {n: v for n, v in body.items() if v != "absent"}
        yield case(f"watched: {name}", "POST", "/v1/runs/batch", 422, body=json.dumps(kept))
    for name, ends in {
        "over all of time": ("0000-01-01T00:00:00Z", _LATEST),
        "in time to come": ("9998-01-01T00:00:00Z", _LATEST),
    }.items():
        body = {"runs": [], "watched_from": ends[0], "watched_until": ends[1],
                "watched_grinder_ids": ["own-bar"]}  # fmt: skip
        yield case(f"watched: {name}", "POST", "/v1/runs/batch", 200, 422, body=json.dumps(body))
    for name, value in {
        "a word": "soon", "negative": "-1", "NaN": "nan", "infinite": "inf", "Arabic": "٣",
        "exponent": "1e9", "twelve digits": "9" * 12, "empty": "",
    }.items():  # fmt: skip
        yield case(f"device's uptime: {name}", "POST", "/v1/readings", 400,
                   body=json.dumps(good), X_Device_Boot="17",
                   X_Device_Uptime=value.encode().decode("latin-1"))  # fmt: skip
    yield case("device's boot of 65 characters", "POST", "/v1/readings", 400,
               body=json.dumps(good), X_Device_Boot="b" * 65, X_Device_Uptime="5")  # fmt: skip
    yield case("device's uptime without end", "POST", "/v1/readings", 200,
               body=json.dumps({"reading_id": "hostile-uptime-1", "grinder_id": "own-bar",
                                "boot_id": "17", "uptime_seconds": 0, "motor_celsius": 40}),
               X_Device_Boot="17", X_Device_Uptime="9" * 11)  # fmt: skip


# --- answers over time, lines, the export -------------------------------------------------------

_THROUGHPUT = "/v1/grinders/own-bar/throughput"
_ENDS_OF_TIME = ("0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "0001-01-03T00:00:00Z",
                 "1969-12-31T00:00:00Z", "9999-12-31T23:59:59Z")  # fmt: skip


def _over_time_cases() -> Iterable[Hostile]:
    def get(name: str, path: str, *expects: int) -> Hostile:
        return case(f"over time: {name}", "GET", path, *expects)

    for parameter in ("from", "to", "as_of"):
        for at in _ENDS_OF_TIME:
            for by in ("hour", "day", "week"):
                path = f"{_THROUGHPUT}?by={by}&{parameter}={at}"
                yield get(f"throughput by {by}, {parameter} {at}", path, 200, 422)
            yield get(f"alerts {parameter} {at}", f"/v1/alerts?{parameter}={at}", 200, 422)
        for name, text in _BAD_INSTANTS.items():
            escaped = "".join(f"%{byte:02x}" for byte in text[:300].encode())
            yield get(f"throughput {parameter} {name}", f"{_THROUGHPUT}?{parameter}={escaped}", 422)
    for path in (_THROUGHPUT, "/v1/alerts"):
        yield get(f"{path} upside down", f"{path}?from={_LATER}&to={_AT}", 422)
        yield get(f"{path} to come", f"{path}?as_of=2026-03-02T08:00:00.001Z", 422)
        yield get(f"{path} all of time at its beginning",
                  f"{path}?from=0001-01-01T00:00:00Z&to=0001-01-02T00:00:00Z",
                  200, 422)  # fmt: skip
    yield get("by a minute", f"{_THROUGHPUT}?by=minute", 422)
    yield get("1001 hours", f"{_THROUGHPUT}?by=hour&from=2026-01-01T00:00:00Z", 422)
    yield get("a page of throughput", f"{_THROUGHPUT}?limit=5", 422)
    yield get("alerts of a kind there is not", "/v1/alerts?kind=fire", 422)
    yield get("alerts neither open nor closed", "/v1/alerts?state=ajar", 422)
    yield get("alerts of nobody's grinder", "/v1/alerts?grinder_id=nil-bar", 404)
    yield get("alerts, a newline", "/v1/alerts?grinder_id=own-bar%0a", 422)
    yield get("alerts, NUL", "/v1/alerts?site_id=a%00b", 422)
    yield get("alerts of 93 days", "/v1/alerts?from=2025-11-29T07:59:59Z", 422)
    for text in ("xml", "CSV", "csv ", "", "csv,json"):
        escaped = "".join(f"%{byte:02x}" for byte in text.encode())
        yield get(f"format {text!r}", f"{_RUNS}?format={escaped}", 422)
    yield get("format twice", f"{_RUNS}?format=csv&format=json", 422)
    for media in ("csv", "ndjson"):
        yield get(f"{media}, a page of", f"{_RUNS}?format={media}&limit=1", 422)
        yield get(f"{media} with a cursor", f"{_RUNS}?format={media}&cursor=made-up", 400, 422)
        yield get(f"{media} of nobody's", f"/v1/grinders/nil-bar/runs?format={media}", 404)
        yield get(f"{media} from after to", f"{_RUNS}?format={media}&from={_LATER}&to={_AT}", 200)
        yield get(f"{media} of all of time",
                  f"{_RUNS}?format={media}&from={_ENDS_OF_TIME[0]}&to={_LATEST}", 200)  # fmt: skip
    for accept in (
        "text/csv",
        "application/x-ndjson",
        "text/csv;q=x",
        "*/*;q=0",
        "text/" + "x" * 7000,
    ):
        yield case(f"Accept: {accept[:30]}", "GET", _RUNS, 200, Accept=accept)
    yield case("Accept: csv, a page of", "GET", f"{_RUNS}?limit=1", 422, Accept="text/csv")
    for name in ("tallies", "periods", "corrections", "care", "readings", "checkpoints"):
        path = f"/v1/grinders/own-bar/{name}"
        yield get(f"{name} from after to", f"{path}?from={_LATER}&to={_AT}", 200)
        yield get(f"{name} of all of time", f"{path}?from={_ENDS_OF_TIME[0]}&to={_LATEST}", 200)
        yield get(f"{name} as csv", f"{path}?format=csv", 422)
        yield get(f"{name} of nobody's", f"/v1/grinders/nil-bar/{name}", 404)
    for query in ("limit=1", "format=csv", "account_id=harbour", "cursor=x"):
        yield get(f"export with {query}", f"/v1/export?{query}", 422)
    yield get("export", "/v1/export", 200)
    yield case("export by HEAD", "HEAD", "/v1/export", 200)
    yield case("export by POST", "POST", "/v1/export", 405)
    yield case("export of a range", "GET", "/v1/export", 200, Range="bytes=0-0")


# --- queries, paths, methods --------------------------------------------------------------------

_BAD_LIMITS = (
    "0", "-1", "201", "5000", "", " 5", "5 ", "+5", "1_0", "٣", "１", "0x10", "1e2", "5.0", "05",
    "9" * 5000, "NaN", "null", "true", "5\n", "5;6",
)  # fmt: skip
_RUNS = "/v1/grinders/own-bar/runs"
_STATUS = "/v1/grinders/own-bar/status"


def _query_cases() -> Iterable[Hostile]:
    def get(name: str, path: str, *expects: int) -> Hostile:
        return case(f"query: {name}", "GET", path, *expects)

    for text in _BAD_LIMITS:
        escaped = "".join(f"%{byte:02x}" for byte in text.encode())
        yield get(f"limit={text[:12]!r}", f"/v1/sites?limit={escaped}", 422)
    yield get("limit twice", "/v1/sites?limit=1&limit=2", 422)
    yield get("limit twice, once escaped", "/v1/sites?limit=1&%6cimit=1", 422)
    yield get("limit as array", "/v1/sites?limit[]=1", 422)
    yield get("unknown", "/v1/sites?offset=1", 422)
    yield get("an account", "/v1/sites?account_no=2", 422)
    yield get("nameless", "/v1/sites?=1", 422)
    yield get("200 unknown ones", "/v1/sites?" + "&".join(f"p{n}=1" for n in range(200)), 422)
    yield get("NUL", "/v1/sites?limit=%00", 422)
    yield get("bytes that are no UTF-8", "/v1/sites?cursor=%ff%fe", 400)
    yield get("bad escapes", "/v1/sites?limit=%zz", 422)
    yield get("200 kB", "/v1/sites?cursor=" + "A" * 200_000, 422)
    yield get("unknown of 200 kB", "/v1/sites?" + "A" * 200_000 + "=1", 422)
    yield get("NUL in a filter", "/v1/grinders?site_id=a%00b", 422)
    yield get("quote in a filter", "/v1/grinders?site_id='%20or%201=1--", 422)
    yield get("newline in a filter", "/v1/fleet?site_id=own-site%0a", 422)
    yield get("NUL in the page's filter", "/?site_id=a%00b", 200, 401)
    for name, text in _BAD_INSTANTS.items():
        escaped = "".join(f"%{byte:02x}" for byte in text[:300].encode())
        yield get(f"as_of {name}", f"{_STATUS}?as_of={escaped}", 422)
    yield get("as_of to come", f"{_STATUS}?as_of=2026-03-02T08:00:00.001Z", 422)
    yield get("as_of far to come", f"{_STATUS}?as_of=9999-12-31T23:59:59Z", 422)
    yield get("as_of long ago", f"{_STATUS}?as_of=0001-01-01T00:00:00Z", 200)
    yield get("as_of with a plus unescaped", f"{_STATUS}?as_of=2026-03-01T08:00:00+01:00", 422)
    yield get("from after to",
              f"{_RUNS}?from=2026-03-01T00:00:00Z&to=2026-02-01T00:00:00Z", 200)  # fmt: skip
    yield get("all of time", f"{_RUNS}?from=0000-01-01T00:00:00Z&to=9999-12-31T23:59:59Z", 200)
    yield get("from twice", f"{_RUNS}?from=2026-03-01T00:00:00Z&from=2026-03-01T00:00:00Z", 422)


_ABSENT_PATHS = (
    "/v1", "/v1/", "/v1/sites/", "//v1/sites", "/v1//sites", "/V1/sites", "/v1/sites/own-site/",
    "/v1/Sites", "/v2/sites", "/v1/./sites", "/v1/../v1/sites", "/v1/grinders/../sites",
    "/v1/%2e%2e/v1/sites", "/v1/sites/%2e%2e", "/v1/sites/..", "/v1/sites/own-site%0a",
    "/v1/sites/own-site%0d%0aX-Bad:%201", "/v1/sites/own-site%00", "/v1/sites/%00", "/v1/sites/%20",
    "/v1/sites/own-site%20", "/v1/sites/OWN-SITE", "/v1/sites/own%2dsite%2f",
    "/v1/sites/own-site%2f",
    "/v1/sites/%ff", "/v1/sites/%c0%af", "/v1/sites/%ed%a0%80", "/v1/sites/own-site%E2%80%8B",
    "/v1/sites/%D9%A3", "/v1/sites/" + "a" * 65, "/v1/sites/" + "a" * 60_000,
    "/v1/sites/own-site;a=1",
    "/v1/sites/own-site%3Flimit=1", "/v1/sites/own-site%23", "/v1/sites/'%20or%20'1'='1",
    "/v1/sites/own-site\\..\\x", "/v1/grinders/own-bar/status/",
    "/v1/runs/own-run-0001%0a", "/v1/runs/short",
    "/v1/runs/" + "r" * 129, "/v1/burr-sets/%7B%7B7*7%7D%7D", "/docs/", "/docs/../openapi.json",
    "/docs/..%2f..%2fpyproject.toml", "/docs/index.html", "/docs/%00", "/docs/start.js%00.css",
    "/static/", "/static/../pages/fleet.py", "/static/..%2ffleet.py", "/static/%2e%2e/fleet.py",
    "/static/....//fleet.py", "/static/%2fetc%2fpasswd", "/static/burrline.css%00", "/.git/config",
    "/.env", "/debug/metrics", "/debug", "/console", "/admin", "/favicon.ico", "/openapi.json/",
    "/openapi.yaml", "/healthz", "/livez/",
)  # fmt: skip


def _path_cases() -> Iterable[Hostile]:
    for path in _ABSENT_PATHS:
        yield case(f"path: {path[:50]} ({len(path)})", "GET", path, 404)
    for method, path in (
        ("PUT", "/v1/sites"), ("DELETE", "/v1/sites"), ("PATCH", "/v1/sites"),
        ("DELETE", "/v1/sites/own-site"), ("PUT", "/v1/sites/own-site"),
        ("POST", "/v1/sites/own-site"), ("DELETE", "/v1/runs/own-run-0001"),
        ("PATCH", "/v1/runs/own-run-0001"), ("PUT", "/v1/runs"), ("GET", "/v1/runs"),
        ("GET", "/v1/runs/own-run-0001/void"), ("POST", "/v1/fleet"), ("POST", "/livez"),
        ("DELETE", "/openapi.json"), ("TRACE", "/v1/sites"), ("CONNECT", "/v1/sites"),
        ("PROPFIND", "/v1/sites"), ("BREW", "/v1/sites"), ("POST", "/"), ("PUT", "/docs/start.js"),
    ):  # fmt: skip
        yield case(f"method: {method} {path}", method, path, 405)
    # WSGI (PEP 3333) hands over decoded paths: an encoded slash is a slash, and no id holds one.
    yield case("path: an encoded slash", "GET", "/v1/grinders/own-bar%2fstatus", 200)
    yield case("path: an encoded slash, no GET", "GET", "/v1/runs/own-run-0001%2fvoid", 405)
    yield case("method: the batch is no run", "GET", "/v1/runs/batch", 405)
    yield case("method: OPTIONS", "OPTIONS", "/v1/sites", 204)
    yield case("method: HEAD", "HEAD", "/v1/sites/own-site", 200)
    yield case("method: HEAD of nothing", "HEAD", "/v1/sites/nil-site", 404)
    yield case("method: overridden", "GET", "/v1/sites/own-site", 200,
               X_HTTP_Method_Override="DELETE", X_Method_Override="DELETE")  # fmt: skip


# --- media types, encodings, headers ------------------------------------------------------------

_BAD_TYPES = (
    "", "text/plain", "text/json", "application/x-www-form-urlencoded",
    "multipart/form-data; boundary=x", "application/jsonx", "application/x-ndjson", "application/*",
    "*/*", "application/json, text/plain", "application/vnd.api+json",
    "application/merge-patch+json",
    "application/json; charset=latin-1", "application/json; charset=utf-16",
    "application/json; charset=utf-7", "application", "/json", "; application/json",
)  # fmt: skip
_GOOD_TYPES = (
    "application/json", "APPLICATION/JSON", "application/json;charset=UTF-8",
    'application/json; charset="utf-8"', "application/json; profile=x",
)  # fmt: skip


def _media_cases() -> Iterable[Hostile]:
    body = _run(run_id="hostile-media-1")
    for kind in _BAD_TYPES:
        yield case(f"type: {kind!r}", "POST", "/v1/runs", 415, body=body, Content_Type=kind)
    for serial, kind in enumerate(_GOOD_TYPES):
        body = _run(run_id=f"hostile-type-{serial}")
        yield case(f"type: {kind!r}", "POST", "/v1/runs", 201, body=body, Content_Type=kind)
    bomb = gzip.compress(b" " * 50 * MEGABYTE, compresslevel=9)
    for name, encoding, data in (
        ("gzip", "gzip", gzip.compress(_run().encode())),
        ("a bomb", "gzip", bomb),
        ("gzip that is none", "gzip", _run().encode()),
        ("deflate", "deflate", zlib.compress(_run().encode())),
        ("br", "br", b"\x0b"),
        ("two", "gzip, gzip", gzip.compress(gzip.compress(b"{}"))),
        ("identity and gzip", "identity, gzip", b"{}"),
        ("unknown", "x-made-up", b"{}"),
    ):
        yield case(
            f"encoding: {name}", "POST", "/v1/runs", 415, body=data, Content_Encoding=encoding
        )
    yield case("encoding: identity", "POST", "/v1/runs", 201,
               body=_run(run_id="hostile-coding-1"), Content_Encoding="identity")  # fmt: skip
    for name, patch_type in (
        ("JSON Patch", "application/json-patch+json"),
        ("form", "application/x-www-form-urlencoded"),
    ):
        yield case(f"type of a patch: {name}", "PATCH", "/v1/sites/own-site", 415,
                   body='{"name":"x"}', Content_Type=patch_type, If_Match="*")  # fmt: skip
    for path in ("/v1/runs/own-run-0001/void", "/v1/keys/nilKey00"):
        method = "POST" if path.endswith("void") else "DELETE"
        yield case(f"a body where none belongs: {path}", method, path, 422, body='{"a":1}')


_BAD_TAGS = (
    "r1", '"r1', 'r1"', "'r1'", 'W/"r1"', 'w/"r1"', '"r01"', '"r-1"', '"r+1"', '"r1.0"', '"R1"',
    '"r 1"', '"r٣"', '"r"', '""', "", " ", ",", '"r1";q=1', '"r1" "r2"', '"r9999999999999999999"',
    '"' + "r" * 7000 + '"', ",".join(['"r0"'] * 1500), '*, "r1"', "**", "null", "\x00",
)  # fmt: skip


def _header_cases() -> Iterable[Hostile]:
    for tag in _BAD_TAGS:
        sent = tag.encode().decode("latin-1")
        yield case(f"If-Match: {tag[:20]!r}", "PATCH", "/v1/sites/own-site", 412,
                   body='{"name":"changed"}', If_Match=sent)  # fmt: skip
    yield case("If-Match: none", "PATCH", "/v1/sites/own-site", 428, body='{"name":"changed"}')
    for key in ("short", "k" * 129, "has space in it", '"unclosed-key', 'unopened-key"', '""',
                "slash/es/in/it", "non-ascii-é", "comma,comma", "k" * 7000):  # fmt: skip
        sent = key.encode().decode("latin-1")
        yield case(f"Idempotency-Key: {key[:20]!r} ({len(key)})", "POST", "/v1/sites", 400,
                   body=_site(site_id="idempotent"), Idempotency_Key=sent)  # fmt: skip
    for name, value in {
        "X_Request_Id": "x" * 65,
        "Accept": "text/html;q=0.9, */*;q=0",
        "Accept_Language": "x" * 7000,
        "Range": "bytes=0-0",
        "If_None_Match": '"' * 7000,
        "If_Modified_Since": "yesterday",
        "If_Unmodified_Since": "Thu, 01 Jan 1970 00:00:00 GMT",
        "If_Range": '"r1"',
        "Cookie": "a=b; " * 1400,
        "Origin": "https://elsewhere.example",
        "Host": "elsewhere.example",
        "X_Forwarded_Host": "elsewhere.example",
        "X_Forwarded_Prefix": "/elsewhere",
        "X_Original_URL": "/v1/keys",
        "X_Rewrite_URL": "/v1/keys",
        "Forwarded": "for=1.2.3.4;host=elsewhere.example",
        "Expect": "100-continue",
        "Upgrade": "websocket",
    }.items():
        yield case(f"header {name}", "GET", "/v1/sites/own-site", 200, **{name: value})
    yield case("a preflight from elsewhere", "OPTIONS", "/v1/sites", 204,
               Origin="https://elsewhere.example",
               Access_Control_Request_Method="POST")  # fmt: skip


# --- merge patches ------------------------------------------------------------------------------


def _patch_cases() -> Iterable[Hostile]:
    def patch(name: str, path: str, body: Any, *expects: int) -> Hostile:
        text = body if isinstance(body, str) else json.dumps(body)
        return case(f"patch: {name}", "PATCH", path, *expects, body=text, If_Match="*",
                    Content_Type="application/merge-patch+json")  # fmt: skip

    site, grinder, burrs = "/v1/sites/own-site", "/v1/grinders/own-bar", "/v1/burr-sets/own-burrs"
    for name, body in {
        "array": [], "text": "x", "null": None, "JSON Patch": [{"op": "remove", "path": "/name"}],
    }.items():  # fmt: skip
        for path in (site, grinder, burrs):
            yield patch(f"{name} on {path}", path, json.dumps(body), 422)
    yield patch("name away", site, {"name": None}, 422)
    yield patch("zone away", site, {"time_zone": None}, 422)
    yield patch("id", site, {"site_id": "other"}, 422)
    yield patch("revision", site, {"revision": 1}, 422)
    yield patch("created_at", site, {"created_at": "2026-03-01T08:00:00Z"}, 422)
    yield patch("good and bad", site, {"name": "half", "time_zone": "Mars/Phobos"}, 422)
    yield patch("twice a member", site, '{"name":"a","name":"b"}', 400)
    yield patch("grinder's name away", grinder, {"name": None}, 422)
    yield patch("grinder's site away", grinder, {"site_id": None}, 422)
    yield patch("grinder's id", grinder, {"grinder_id": "other"}, 422)
    yield patch("motor as array", grinder, {"motor": []}, 422)
    yield patch("motor as text", grinder, {"motor": "hot"}, 422)
    yield patch("motor with unknown member", grinder, {"motor": {"__proto__": {}}}, 422)
    yield patch("motor upside down", grinder,
                {"motor": {"caution_celsius": 90, "limit_celsius": 80}}, 422)  # fmt: skip
    yield patch("class of no table", grinder, {"motor": {"thermal_class": 131}}, 422)
    yield patch("duty without a kind", grinder, {"rated_duty": {"on_seconds": 30}}, 422)
    yield patch("duty's kind away", grinder, {"rated_duty": {"kind": None}}, 422)
    yield patch("good and bad of a grinder", grinder,
                {"name": "half", "rated_duty": {"kind": "continuous", "on_seconds": 3}},
                422)  # fmt: skip
    yield patch("effective to come", grinder,
                {"name": "half", "effective_at": "2026-03-02T08:00:01Z"}, 422)  # fmt: skip
    yield patch("effective null", grinder, {"name": "half", "effective_at": None}, 422)
    yield patch("effective in 1900", grinder,
                {"serial": "S1", "effective_at": "1900-01-01T00:00:00Z"}, 200)  # fmt: skip
    yield patch("effective before 1900", grinder,
                {"serial": "S2", "effective_at": "0001-01-01T00:00:00Z"}, 200)  # fmt: skip
    yield patch("effective before 1970, motor", grinder,
                {"motor": {"limit_celsius": 70}, "effective_at": "1969-12-31T23:59:59Z"},
                200)  # fmt: skip
    yield patch("nothing", grinder, {}, 200)
    yield patch("geometry away", burrs, {"geometry": None}, 422)
    yield patch("fittings away", burrs, {"fittings": None}, 422)
    yield patch("fittings as object", burrs, {"fittings": {"0": {}}}, 422)
    yield patch("fittings of wrong things", burrs, {"fittings": [None, 1, "x", []]}, 422)
    at = "2026-01-01T00:00:00Z"
    stay = {"grinder_id": "own-bar", "fitted_at": at}
    yield patch("fitting without a grinder", burrs, {"fittings": [{"fitted_at": at}]}, 422)
    yield patch("a fitting twice", burrs, {"fittings": [stay, stay]}, 409, 422)
    yield patch("501 fittings", burrs, {"fittings": [stay] * 501}, 422)
    yield patch("removed before fitted", burrs,
                {"fittings": [{**stay, "removed_at": "2025-12-31T00:00:00Z"}]},
                409, 422)  # fmt: skip
    yield patch("removed as fitted", burrs,
                {"fittings": [{**stay, "removed_at": at}]}, 409, 422)  # fmt: skip
    yield patch("fitted to come", burrs,
                {"fittings": [{**stay, "fitted_at": "2026-03-02T08:00:01Z"}]}, 422)  # fmt: skip
    yield patch("in two grinders at once", burrs, {"fittings": [
        {**stay, "removed_at": "2026-02-01T00:00:00Z"},
        {"grinder_id": "bey-bar", "fitted_at": "2026-01-15T00:00:00Z",
         "removed_at": "2026-01-20T00:00:00Z"},
    ]}, 409)  # fmt: skip
    yield patch("prior upside down", burrs,
                {"low_prior_grams": 5, "prior_grams": 4, "high_prior_grams": 3}, 422)  # fmt: skip
    yield patch("good and bad of burrs", burrs, {"serial": "half", "fittings": [{}]}, 422)
    fit = "/v1/grinders/own-bar/burr-sets"
    for name, body in {
        "nothing": {},
        "no prior": {"geometry": "flat"},
        "no geometry": {"prior_grams": 0},
        "a new id without description": {"burr_set_id": "fresh", "serial": "x"},
        "fitted_at alone": {"fitted_at": at},
        "fittings": {"geometry": "flat", "prior_grams": 0, "fittings": []},
    }.items():
        yield case(f"fit: {name}", "POST", fit, 422, body=json.dumps(body))
    yield case("fit: a set nobody has", "POST", fit, 404, body='{"burr_set_id":"nil-burrs"}')
    yield case("fit: a set that is there", "POST", fit, 409,
               body='{"burr_set_id":"own-burrs","geometry":"flat","prior_grams":0}')  # fmt: skip
    yield case("fit: to come", "POST", fit, 422,
               body='{"burr_set_id":"own-burrs","fitted_at":"2026-03-02T08:00:01Z"}')  # fmt: skip


# --- keys ---------------------------------------------------------------------------------------


def _key_cases() -> Iterable[Hostile]:
    for name, body in {
        "no scope": {"name": "x", "scopes": []},
        "an unknown scope": {"name": "x", "scopes": ["root"]},
        "a scope twice": {"name": "x", "scopes": ["read", "read"]},
        "scopes as text": {"name": "x", "scopes": "read"},
        "scopes null": {"name": "x", "scopes": None},
        "a secret": {"name": "x", "secret": "burrline_" + "a" * 47},
        "an id": {"name": "x", "key_id": "aaaaaaaa"},
        "an account": {"name": "x", "account_no": 2},
        "expired at birth": {"name": "x", "expires_at": "2026-03-02T08:00:00Z"},
        "201 sites": {"name": "x", "site_ids": [f"s{number}" for number in range(201)]},
        "a site of nobody": {"name": "x", "site_ids": ["own-site", "nil-site"]},
        "sites of wrong type": {"name": "x", "site_ids": [1, None, {}]},
    }.items():
        yield case(f"key: {name}", "POST", "/v1/keys", 422, body=json.dumps(body))


FAMILIES: dict[str, tuple[Hostile, ...]] = {
    "JSON": (*_json_cases(),),
    "texts": (*_text_cases(),),
    "runs": (*_run_cases(),),
    "batches": (*_batch_cases(),),
    "queries": (*_query_cases(),),
    "paths": (*_path_cases(),),
    "media types": (*_media_cases(),),
    "headers": (*_header_cases(),),
    "patches": (*_patch_cases(),),
    "keys": (*_key_cases(),),
    "entries": (*_entry_cases(),),
    "batches of readings": (*_reading_batch_cases(),),
    "batches of tallies": (*_tally_batch_cases(),),
    "answers over time": (*_over_time_cases(),),
}
CORPUS: tuple[Hostile, ...] = tuple(case for cases in FAMILIES.values() for case in cases)

# Texts that forge, split or colour a line of a log where they are written as they are.
LOG_PAYLOADS = (
    'x\n{"level":"info","message":"forged"}', "x\r\nx", "x\rx", "x\n\n", "\x1b[2J\x1b[31mred",
    "x\x00y", "x\u2028y", "x\u2029y", "x\u0085y", "x\x0by\x0cz", "\u202eevil", "\u2066x\u2069",
    '"}', '\\"}\\n', "\\n\\r", "%n%s%d", "{0.__class__}", "${jndi:ldap://x}", "\ufeffx",
    "x\x1c\x1d\x1ey", "\ud83d", "x" * 20_000,
)  # fmt: skip
