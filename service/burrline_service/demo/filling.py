"""Posts the story to a service through the SDK, and goes on with it where it stopped."""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial

from burrline import Client, errors

from . import scenario
from .fleet import CHAIN, GRINDERS, PLACES, Placed

OK, FAILED, USAGE, UNAVAILABLE, NO_PERMISSION, INTERRUPTED = 0, 1, 64, 69, 77, 130
"""Exit codes after sysexits.h; 130 is what a shell shows after Ctrl-C."""


def fill(
    url: str,
    key: str | None,
    *,
    now: datetime | None = None,
    day_count: int = scenario.DAY_COUNT,
) -> int:
    """Fill a running service with the demo fleet; returns the exit code.

    ``now`` is the instant the story leads up to (left out: this one), ``day_count`` how many days
    of runs lead there. Filled again, a service keeps what it has: sites, grinders and burr sets
    that are there stay as they are, and each grinder's story goes on after its last run.
    """
    began = time.monotonic()
    until = now or datetime.now(UTC)
    until = until.replace(microsecond=until.microsecond // 1000 * 1000)
    try:
        with Client(url, key, user_agent="demo") as client:
            client.get_readyz()  # asked once: a service that is not there is told of at once
            filling = _Filling(client, until, day_count)
            filling.make_places()
            filling.measure()
            filling.send_runs()
    except (errors.AuthenticationError, errors.PermissionDenied) as error:
        return _failed(NO_PERMISSION, f"the key in BURRLINE_KEY will not do ({error})")
    except (errors.TransportError, errors.ServerError, errors.NotFound) as error:
        return _failed(UNAVAILABLE, f"the service at {url} cannot be used ({_short(error)})")
    except errors.APIError as error:
        return _failed(FAILED, f"the service refused what was sent ({error})")
    except ValueError as error:
        return _failed(USAGE, str(error))
    except KeyboardInterrupt:
        return _failed(INTERRUPTED, "stopped; started again, it goes on from here")
    if filling.refusals:
        return _failed(FAILED, f"{len(filling.refusals)} runs refused, as {filling.refusals[0]}")
    print(f"{filling.summary()}; in {time.monotonic() - began:.1f} s")
    return OK


class _Filling:
    """One filling of one service."""

    def __init__(self, client: Client, now: datetime, day_count: int) -> None:
        self.client, self.now, self.day_count = client, now, day_count
        self.made: Counter[str] = Counter()
        self.found: Counter[str] = Counter()
        self.refusals: list[str] = []

    def make_places(self) -> None:
        """Make sites, grinders and burr sets, those that are not there yet."""
        for body in scenario.sites():
            self._make("sites", partial(self.client.create_site, **body))
        for body in scenario.grinders(self.now):
            self._make("grinders", partial(self.client.create_grinder, **body))
        for grinder_id, body in scenario.burr_sets(self.now):
            self._make("burr sets", partial(self.client.fit_burr_set, grinder_id, **body))

    def measure(self) -> None:
        """Enter the checkpoints, those that are not there yet."""
        for grinder_id, body in scenario.checkpoints(self.now, self.day_count):
            self._make("checkpoints", partial(self.client.add_checkpoint, grinder_id, **body))

    def send_runs(self) -> None:
        """Send each grinder's runs, site by site; after its last run, where it has some."""
        free_at = self._free_at() if self.found["grinders"] else {}
        for place in PLACES:
            grinders = [placed for placed in GRINDERS if placed.site_id == place.site_id]
            before_count = self.made["runs"]
            for number, placed in enumerate(grinders, 1):
                _say(f"{place.name}: grinder {number} of {len(grinders)}", end="")
                self._send(placed, free_at.get(placed.grinder_id))
            count = self.made["runs"] - before_count
            _say(f"{place.name}: {len(grinders)} grinders, {count:,} runs")

    def summary(self) -> str:
        """What is there now and what was done for it."""
        nouns = ("sites", "grinders", "burr sets", "checkpoints")
        places = ", ".join(f"{self.made[noun] + self.found[noun]} {noun}" for noun in nouns)
        there = ", ".join(f"{self.found[noun]} {noun}" for noun in nouns if self.found[noun])
        if not there:
            return f"demo fleet {CHAIN}: {places}, {self.made['runs']:,} runs"
        return (
            f"demo fleet {CHAIN}: {places} (there already and left as they were: {there}); "
            f"runs added after the last ones recorded: {self.made['runs']:,}"
        )

    def _make(self, noun: str, create: Callable[[], object]) -> None:
        try:
            create()
        except errors.Conflict:
            self.found[noun] += 1
        else:
            self.made[noun] += 1

    def _send(self, placed: Placed, free_at: datetime | None) -> None:
        runs = scenario.runs_of(placed, self.now, self.day_count)
        if free_at is not None:  # its new burrs were broken in last time
            runs = [
                run
                for run in runs
                if run["started_at"] > free_at and run.get("purpose") != "break_in"
            ]
        outcome = self.client.add_runs(runs)
        self.made["runs"] += outcome.accepted
        self.refusals += [
            f"{one.run_id} {one.outcome}: {'; '.join(fault.detail for fault in one.errors)}"
            for one in outcome.problems
        ]

    def _free_at(self) -> dict[str, datetime]:
        """Until when each of the fleet's grinders that has runs is busy; retired ones for ever."""
        kinds = {placed.grinder_id: placed.kind for placed in GRINDERS}
        free_at = {}
        for status in self.client.get_fleet(limit=200):
            kind, last_at = kinds.get(status.grinder_id), status.throughput.last_run_at
            if kind is None or last_at is None:
                continue
            for run in self.client.list_runs(status.grinder_id, from_at=last_at, limit=200):
                lasted = run.seconds or (run.grams or 0.0) / kind.grams_per_second
                last_at = max(last_at, run.started_at + timedelta(seconds=lasted))
            free_at[status.grinder_id] = last_at + timedelta(seconds=5)
        for grinder in self.client.list_grinders(limit=200):
            if grinder.retired_at is not None and grinder.grinder_id in free_at:
                free_at[grinder.grinder_id] = max(self.now, free_at[grinder.grinder_id])
        return free_at


def _short(error: errors.APIError) -> str:
    """What went wrong, without the library's own words where nothing was answered."""
    return str(error) if error.status else str(error).partition(" (")[0]


def _say(text: str, *, end: str = "\n") -> None:
    """Progress on standard error; a line that is going to be replaced only on a terminal."""
    if sys.stderr.isatty():
        print(f"\r\033[K{text}", end=end, file=sys.stderr, flush=True)
    elif end:
        print(text, file=sys.stderr, flush=True)


def _failed(code: int, sentence: str) -> int:
    if sys.stderr.isatty():
        print("\r\033[K", end="", file=sys.stderr)
    print(f"burrline-service: demo: {sentence}", file=sys.stderr)
    return code
