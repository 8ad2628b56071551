"""The journal: one JSON object a line, whatever is said."""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from burrline_service.journal import EXTRAS, JsonLines, start_journal


def record(message: str, *arguments: object, **more: object) -> logging.LogRecord:
    made = logging.LogRecord(
        "burrline.test", logging.WARNING, __file__, 1, message, arguments, None
    )
    made.__dict__.update(more)
    return made


def formatted(made: logging.LogRecord) -> dict[str, object]:
    text = JsonLines().format(made)
    assert text.isascii()
    assert text.isprintable()
    line: dict[str, object] = json.loads(text)
    return line


@given(st.text())
def test_any_message_is_one_line_of_printable_ascii(message: str) -> None:
    assert formatted(record("%s", message))["message"] == message


def test_a_line_says_when_how_grave_and_from_whom() -> None:
    made = record("%d runs", 7)
    line = formatted(made)
    assert (line["message"], line["level"], line["from"]) == ("7 runs", "warning", "burrline.test")
    at = datetime.fromisoformat(str(line["at"]))
    assert at.utcoffset() == timedelta(0)
    assert abs(at.timestamp() - made.created) < 0.002
    assert set(line) == {"at", "level", "from", "message"}


def test_a_request_is_told_by_its_extras_and_by_nothing_else() -> None:
    given_extras = {name: f"{name}\n" for name in EXTRAS}
    line = formatted(record("x", **given_extras, authorization="Bearer s3cret", password="s3cret"))
    assert {name: line[name] for name in EXTRAS} == given_extras
    assert "s3cret" not in json.dumps(line)


def test_an_extra_that_is_no_json_is_told_as_text() -> None:
    assert formatted(record("x", path=timedelta(seconds=5)))["path"] == "0:00:05"


def test_a_traceback_stays_within_its_line() -> None:
    try:
        raise ValueError("first\nsecond")
    except ValueError:
        made = record("x", exc_info=sys.exc_info())
    assert "ValueError: first\nsecond" in str(formatted(made)["traceback"])


@pytest.fixture
def root() -> Iterator[logging.Logger]:
    """The root logger, put back as it was."""
    found = logging.getLogger()
    before = found.handlers[:], found.level
    yield found
    found.handlers[:], level = before[0], before[1]
    found.setLevel(level)


def test_the_journal_goes_to_standard_error_from_its_level_on(
    root: logging.Logger, capsys: pytest.CaptureFixture[str]
) -> None:
    start_journal("warning")
    start_journal("warning")  # a second start doubles nothing
    logging.getLogger("burrline.somewhere").info("unheard")
    logging.getLogger("burrline.somewhere").error("heard\nonce")
    said = capsys.readouterr()
    assert said.out == ""
    (line,) = said.err.splitlines()
    assert json.loads(line)["message"] == "heard\nonce"
