"""Following the feed: through everything but a refusal, at least once, in order."""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from burrline import Client, cli, errors
from burrline._alerts import Feed
from burrline.models import Event
from burrline.watch import CursorDamaged, follow
from burrline_service.actions import noticing
from burrline_service.app import utc_now
from burrline_service.store.database import open_database
from fake_time import FakeTime


def an_event(number: int, kind: str = "long_run", grinder_id: str = "bar-1") -> Event:
    data = {"kind": kind, "grinder_id": grinder_id, "alert_id": f"alert-{number}"}
    return Event(
        event_id=f"event-{number}",
        type="burrline.alert.opened",
        at=datetime(2026, 3, 1, tzinfo=UTC),
        is_late=False,
        is_held=False,
        data=data,
    )


class FakeClient:
    """A feed in memory that breaks where it is told to."""

    def __init__(self, events: list[Event], page_count: int = 3, **broken: Exception) -> None:
        self.events, self.page_count = events, page_count
        self.broken = {int(name[1:]): error for name, error in broken.items()}
        self.asked: list[tuple[str | None, str | None]] = []

    def _events(
        self, cursor: str | None, start: str | None, wait_seconds: int, *, is_retried: bool
    ) -> Feed:
        self.asked.append((cursor, start))
        if len(self.asked) in self.broken:
            raise self.broken[len(self.asked)]
        position = int(cursor or 0)
        items = self.events[position : position + self.page_count]
        return Feed(tuple(items), str(position + len(items)))


def taken(client: Any, time: FakeTime, count: int, **settings: Any) -> list[str]:
    """The ids of so many events, each taken."""
    found: list[str] = []
    following = follow(client, sleep=time.sleep, clock=time.clock, uniform=max, **settings)
    for event in following:
        found.append(event.event_id)
        if len(found) == count:
            with pytest.raises(StopIteration):
                following.send(True)
            break
    return found


ALL = [an_event(number) for number in range(8)]
IDS = [event.event_id for event in ALL]


def test_events_come_in_order_and_broken_requests_are_waited_out(fake_time: FakeTime) -> None:
    client = FakeClient(
        ALL,
        _1=errors.TransportError("no service"),
        _2=errors.ServerError("busy"),
        _4=errors.RateLimited("slowly"),
    )
    assert taken(client, fake_time, 8) == IDS
    assert fake_time.pauses_seconds == [1.0, 2.0, 1.0]
    assert client.asked[0] == (None, "first")


def test_a_refusal_ends_it(fake_time: FakeTime) -> None:
    client: Any = FakeClient(ALL, _1=errors.AuthenticationError("no"))
    with pytest.raises(errors.AuthenticationError):
        next(follow(client, sleep=fake_time.sleep))


def test_it_goes_on_after_what_was_taken(fake_time: FakeTime, tmp_path: Path) -> None:
    path = tmp_path / "cursor"
    seen: list[str] = []
    for count in (1, 1, 3, 2, 1):
        seen += taken(FakeClient(ALL), fake_time, count, cursor_path=path)
    assert seen == IDS


def test_what_was_given_but_not_taken_is_given_again(fake_time: FakeTime, tmp_path: Path) -> None:
    path = tmp_path / "cursor"
    first: Any = FakeClient(ALL)
    following = follow(first, cursor_path=path)
    assert [next(following).event_id for _ in range(3)] == IDS[:3]
    following.close()  # it was at work on the third when it ended
    assert taken(FakeClient(ALL), fake_time, 2, cursor_path=path) == IDS[2:4]


def test_what_is_not_asked_for_is_passed_over(fake_time: FakeTime) -> None:
    mixed = [an_event(1), an_event(2, "silent"), an_event(3, grinder_id="bar-2"), an_event(4)]
    found = taken(FakeClient(mixed), fake_time, 2, kinds=["long_run"], grinder_ids=["bar-1"])
    assert found == ["event-1", "event-4"]


def test_an_answer_that_comes_at_once_and_empty_is_not_asked_for_again_at_once(
    fake_time: FakeTime,
) -> None:
    client: Any = FakeClient([])
    asked = iter([False, False, False, True])
    events = follow(
        client,
        is_stopping=lambda: next(asked),
        sleep=fake_time.sleep,
        clock=fake_time.clock,
        uniform=max,
    )
    assert list(events) == []
    assert fake_time.pauses_seconds == [2.0] * 3


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"cursor": 5, "taken": []}'])
def test_a_damaged_cursor_is_told_of(tmp_path: Path, text: str) -> None:
    path = tmp_path / "cursor"
    path.write_text(text)
    client: Any = FakeClient(ALL)
    with pytest.raises(CursorDamaged, match="cursor"):
        next(follow(client, cursor_path=path))


# --- against the service -------------------------------------------------------------------------


@pytest.fixture
def client(live_service: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Client]:
    monkeypatch.setenv("BURRLINE_URL", live_service.url)
    monkeypatch.setenv("BURRLINE_KEY", live_service.key)
    with Client() as made:
        yield made


@pytest.fixture
def overheated(client: Client, live_service: Any) -> str:
    """A grinder whose motor is over its limit, and somebody noticed."""
    mark = secrets.token_hex(4)
    client.create_site(site_id=f"site-{mark}", name="Mill Lane", time_zone="Europe/Oslo")
    client.create_grinder(
        grinder_id=f"bar-{mark}",
        site_id=f"site-{mark}",
        name="Bar",
        motor={"sensor": "housing", "limit_celsius": 75.0},
    )
    started_at = datetime.now(UTC) - timedelta(seconds=30)
    client.add_run(
        grinder_id=f"bar-{mark}", started_at=started_at, seconds=20.0, motor_celsius=81.0
    )
    database = open_database(live_service.settings["BURRLINE_DATABASE_URL"])
    noticing.watch(database, now=utc_now())
    database.close()
    return f"bar-{mark}"


def test_the_methods_of_alerts(client: Client, overheated: str) -> None:
    (alert,) = client.list_alerts(grinder_id=overheated)
    assert alert.alert_id is not None
    assert client.acknowledge_alert(alert.alert_id).acknowledged_at is not None
    page = client.follow_alerts()
    assert page.items[-1].data["alert_id"] == alert.alert_id
    assert client.follow_alerts(cursor=page.next_cursor, wait_seconds=0).items == ()
    held = client.get_alert_settings(grinder_id=overheated)
    changed = client.set_alert_settings(
        {"silent": {"is_on": False}}, grinder_id=overheated, if_match=held
    )
    assert changed.effective.silent is not None
    assert changed.effective.silent.is_on is False
    with pytest.raises(errors.PreconditionFailed):
        client.set_alert_settings({}, grinder_id=overheated, if_match=held)
    assert client.set_alert_settings(silent=None, grinder_id=overheated).own.silent is None


COMMAND = """
import json, os, pathlib, sys
event = json.load(sys.stdin)
folder = pathlib.Path(sys.argv[1])
tries = folder / "tries"
tries.write_text(tries.read_text() + "." if tries.exists() else ".")
if len(tries.read_text()) <= int(sys.argv[2]):
    sys.exit(3)
told = {name: value for name, value in os.environ.items() if name.startswith("ALERT_")}
(folder / "told").write_text(json.dumps({"event": event, "told": told}))
"""


def test_watch_runs_a_command_until_it_succeeds_and_keeps_what_failed(
    client: Client, overheated: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    script = tmp_path / "command.py"
    script.write_text(COMMAND)
    given = ["watch", "--grinder", overheated, "--from-first", "--cursor", str(tmp_path / "c")]
    given += ["--exec", f"{sys.executable} {script} {tmp_path} 3", "--count", "1"]
    assert cli.main([*given, "--tries", "1"]) == 75
    assert "gave up on event" in capfd.readouterr().err
    assert cli.main([*given, "--tries", "2"]) == 75
    assert cli.main([*given, "--tries", "1"]) == 0
    found = json.loads((tmp_path / "told").read_text())
    assert found["event"]["data"]["grinder_id"] == overheated
    assert found["told"]["ALERT_KIND"] == "motor_overheat"
    assert found["told"]["ALERT_EVENT"] == "opened"
    assert found["told"]["ALERT_GRINDER"] == overheated
    assert found["told"]["ALERT_CLOSED_AT"] == ""
    assert json.loads((tmp_path / "c").read_text())["taken"]


def test_watch_and_alerts_say_a_line_each(
    client: Client, overheated: str, capfd: pytest.CaptureFixture[str]
) -> None:
    given = ["watch", "--grinder", overheated, "--from-first", "--count", "1"]
    assert cli.main(given) == 0
    assert f" opened alert motor_overheat {overheated}" in capfd.readouterr().out
    assert cli.main([*given, "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["data"]["grinder_id"] == overheated
    assert cli.main(["alerts", "list", overheated, "--open"]) == 0
    line = capfd.readouterr().out
    assert f"alert motor_overheat {overheated}, open" in line
    assert cli.main(["alerts", "acknowledge", line.split()[-1]]) == 0
    assert "(seen)" in capfd.readouterr().out
    assert cli.main(["watch", "--exec", "no-such-command-anywhere", *given[1:]]) == 66
    assert cli.main(["watch", "--exec", "'", *given[1:]]) == 78
