"""The SDK's three questions about a motor, and the verb ``ready``, against the real service."""

from __future__ import annotations

import io
import json
import secrets
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from burrline import Client, cli, errors

PLATE: dict[str, Any] = {
    "rated_duty": {"kind": "intermittent", "on_seconds": 150, "cycle_seconds": 600},
    "motor": {"sensor": "housing", "limit_celsius": 75.0},
}


@pytest.fixture
def client(live_service: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Client]:
    monkeypatch.setenv("BURRLINE_URL", live_service.url)
    monkeypatch.setenv("BURRLINE_KEY", live_service.key)
    with Client() as made:
        yield made


@pytest.fixture
def make_grinder(client: Client) -> Any:
    mark = secrets.token_hex(6)
    client.create_site(site_id=f"site-{mark}", name="Mill Lane", time_zone="Europe/Oslo")

    def make(**plate: Any) -> str:
        made = client.create_grinder(
            grinder_id=f"bar-{secrets.token_hex(4)}", site_id=f"site-{mark}", name="Bar", **plate
        )
        return str(made.grinder_id)

    return make


def ran(client: Client, grinder_id: str, *, ago_seconds: float, seconds: float) -> None:
    started_at = datetime.now(UTC) - timedelta(seconds=ago_seconds)
    client.add_run(grinder_id=grinder_id, started_at=started_at, seconds=seconds)


def told(*arguments: str, monkeypatch: pytest.MonkeyPatch) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(sys, "stderr", err)
    code = cli.main(arguments)
    return code, out.getvalue(), err.getvalue()


def test_three_methods_ask_about_a_motor(client: Client, make_grinder: Any) -> None:
    grinder_id = make_grinder(**PLATE)
    ran(client, grinder_id, ago_seconds=1200.0, seconds=100.0)
    duty = client.get_duty(grinder_id)
    assert (duty.on_seconds, duty.rated_on_seconds) == (100.0, 150.0)
    low, high = duty.as_of - timedelta(hours=1), duty.as_of
    hour = client.get_duty(grinder_id, from_at=low, to_at=high, as_of=high)
    assert (hour.from_at, hour.to_at) == (low, high)
    motor = client.get_motor(grinder_id, run_seconds=7.5)
    assert (motor.model, motor.run_seconds, motor.limit_celsius) == ("insufficient", 7.5, 75.0)
    ready = client.get_readiness(grinder_id, run_seconds=60)
    assert (ready.state, ready.longest_run_seconds) == ("ready", 150.0)
    with pytest.raises(errors.APIError):
        client.get_readiness(grinder_id, run_seconds=0)


def test_ready_answers_by_exit_code_and_says_it_in_words(
    client: Client, make_grinder: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    rated, unrated = make_grinder(**PLATE), make_grinder()
    ran(client, rated, ago_seconds=1200.0, seconds=1.0)
    ran(client, rated, ago_seconds=140.0, seconds=140.0)
    expected = [(rated, "5", 0), (rated, "60", 1), (rated, "151", 2), (unrated, "5", 3)]
    for grinder_id, seconds, code in expected:
        found, out, err = told("ready", grinder_id, "--seconds", seconds, monkeypatch=monkeypatch)
        assert (found, err) == (code, "")
        word = ("READY", "WAIT", "NEVER", "UNKNOWN")[code]
        assert out.startswith(f"{word}  {grinder_id}: ")
        assert "nplug" in out
    found, out, _ = told("ready", rated, "--seconds", "60", "--json", monkeypatch=monkeypatch)
    assert found == 1
    assert json.loads(out)["limited_by"] == "duty"


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("ready", "nobody-has-it", "--seconds", "5"), 65),
        (("ready", "bar-1"), 64),
        (("ready", "bar-1", "--seconds", "0"), 64),
        (("ready", "bar-1", "--seconds", "soon"), 64),
        (("ready", "bar-1", "--seconds", "5", "--url", "nowhere"), 78),
        (
            ("ready", "bar-1", "--seconds", "5", "--url", "http://127.0.0.1:9", "--deadline", "1"),
            69,
        ),
    ],
)
def test_what_went_wrong_is_no_answer(
    client: Client, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], code: int
) -> None:
    found, out, err = told(*arguments, monkeypatch=monkeypatch)
    assert (found, out) == (code, "")
    assert err


def test_ready_says_how_to_record_that_somebody_looked_after_a_trip(
    client: Client, make_grinder: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    grinder_id = make_grinder(**PLATE)
    now = datetime.now(UTC)
    client.add_run(
        grinder_id=grinder_id,
        started_at=now - timedelta(hours=1),
        seconds=300.0,
        motor_celsius=79.0,
    )
    ran(client, grinder_id, ago_seconds=1800.0, seconds=10.0)
    found, out, _ = told("ready", grinder_id, "--seconds", "5", monkeypatch=monkeypatch)
    assert found == 3
    command = f"burrline care record {grinder_id} trip_checked"
    assert command in out
    assert told(*command.split()[1:], monkeypatch=monkeypatch)[0] == 0
    assert told("ready", grinder_id, "--seconds", "5", monkeypatch=monkeypatch)[0] == 0
