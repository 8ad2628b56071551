"""Filling a real service with the demo: all states show, and filling again harms nothing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from burrline import Client, models
from burrline_service.demo import fill
from burrline_service.demo.fleet import GRINDERS, PLACES
from databases import free_port
from services import LiveService

DAY_COUNT = 1  # enough for every state but the kilograms of a fortnight


@pytest.fixture(scope="module")
def filled(live_service: LiveService) -> LiveService:
    """A service filled an hour ago by the story's clock."""
    an_hour_ago = datetime.now(UTC) - timedelta(hours=1)
    code = fill(live_service.url, live_service.key, now=an_hour_ago, day_count=DAY_COUNT)
    assert code == 0
    return live_service


@pytest.fixture
def client(filled: LiveService) -> Iterator[Client]:
    with Client(filled.url, filled.key) as made:
        yield made


def fleet(client: Client) -> dict[str, models.Status]:
    return {status.grinder_id: status for status in client.get_fleet(limit=200)}


def test_everything_arrives_and_is_counted(client: Client) -> None:
    assert len(list(client.list_sites())) == len(PLACES)
    grinders = {one.grinder_id: one for one in client.list_grinders()}
    assert grinders.keys() == {placed.grinder_id for placed in GRINDERS}
    assert [one.grinder_id for one in grinders.values() if one.retired_at] == ["ferry-old-bar"]
    run_counts = [one.throughput.burr_run_count for one in fleet(client).values()]
    assert sum(count or 0 for count in run_counts) > 500


def test_filled_again_the_story_goes_on_and_every_state_is_there(
    filled: LiveService, client: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    before = fleet(client)
    now = datetime.now(UTC)
    assert fill(filled.url, filled.key, now=now, day_count=DAY_COUNT) == 0
    said = capsys.readouterr()
    assert "there already" in said.out
    assert said.out.count("\n") == 1
    assert [line.partition(":")[0] for line in said.err.splitlines()] == [
        place.name for place in PLACES
    ]

    after = fleet(client)
    assert {one.duty.state for one in after.values()} == {
        "ok", "near", "exceeded", "unrated", "unknown",
    }  # fmt: skip
    assert {one.motor.state for one in after.values()} == {"ok", "warm", "over", "unknown"}
    assert {one.break_in.stage for one in after.values()} == {
        "unknown", "new", "breaking_in", "undecided",
    }  # fmt: skip
    assert {one.break_in.verdict for one in after.values()} >= {
        "past_expected_kilograms", "prior_kilograms_unknown",
    }  # fmt: skip
    assert after["yard-line-1"].motor.state == "over"
    assert after["yard-line-2"].motor.state == "warm"
    assert after["yard-tasting-1"].duty.state == "exceeded"
    assert after["yard-tasting-2"].duty.state == "near"
    assert after["yard-lab-1"].break_in.stage == "breaking_in"
    assert after["yard-lab-2"].break_in.stage == "new"
    assert after["yard-spare"].duty.state == "unknown"

    grown = {
        name
        for name in after
        if after[name].throughput.grinder_run_seconds > before[name].throughput.grinder_run_seconds
    }
    assert {"yard-line-1", "yard-line-2", "yard-tasting-1"} <= grown
    assert "ferry-old-bar" not in grown

    assert fill(filled.url, filled.key, now=now, day_count=DAY_COUNT) == 0
    assert "recorded: 0;" in capsys.readouterr().out
    assert {name: one.throughput.last_run_at for name, one in fleet(client).items()} == {
        name: one.throughput.last_run_at for name, one in after.items()
    }

    runs = list(client.list_runs("yard-line-1", from_at=now - timedelta(hours=3), limit=200))
    assert len(runs) > 20
    for earlier, later in pairwise(runs):
        assert earlier.seconds is not None
        assert earlier.started_at + timedelta(seconds=earlier.seconds) < later.started_at


def test_implausible_is_only_what_the_story_means_to_be(client: Client) -> None:
    found = {
        finding.code
        for placed in GRINDERS
        for run in client.list_runs(placed.grinder_id, limit=200)
        for finding in run.findings
    }
    assert found == {"motor_over_limit"}


def test_a_bad_key_is_one_line_and_77(
    filled: LiveService, capsys: pytest.CaptureFixture[str]
) -> None:
    assert fill(filled.url, filled.key[:-1] + "x") == 77
    assert capsys.readouterr().err.count("\n") == 1


def test_a_key_that_may_only_read_is_77(filled: LiveService, client: Client) -> None:
    reader = client.create_key(name="reader", scopes=["read"])
    assert fill(filled.url, reader.secret) == 77


def test_an_address_where_nothing_answers_is_one_line_and_69(
    capsys: pytest.CaptureFixture[str],
) -> None:
    url = f"http://127.0.0.1:{free_port()}"
    assert fill(url, "burrline_example") == 69
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert url in said


def test_an_address_that_is_none_is_64() -> None:
    assert fill("ftp://example.org", "burrline_example") == 64


def test_ctrl_c_is_one_line_and_130(
    filled: LiveService, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(self: Client, runs: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Client, "add_runs", interrupted)
    assert fill(filled.url, filled.key, day_count=DAY_COUNT) == 130
    said = capsys.readouterr()
    assert said.err.count("\n") == 1
    assert said.out == ""
