"""Numbers for whoever watches an account's grinders, or the worker."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from .. import __version__
from ..core.open_metrics import Family, Sample
from ..core.records import Caller
from ..store import claims, grinders, measured
from ..store.database import Connection, Database
from . import reach

MOST_GRINDERS = 2000
FRESH = timedelta(minutes=15)  # a temperature that is older tells nothing of now
SEVERITIES = ("notice", "caution", "alert")


def build() -> Family:
    about = "The release that runs."
    return Family(
        "burrline_build", "info", about, samples=[Sample(1, (("version", __version__),), "_info")]
    )


def account_families(database: Database, caller: Caller, *, now: datetime) -> list[Family]:
    """What is told of the grinders within the caller's reach, and of the account's deliveries."""

    def work(connection: Connection) -> list[Family]:
        rows = grinders.listed(
            connection,
            caller.account_no,
            as_of=now,
            site_id=None,
            limit=MOST_GRINDERS + 1,
            after=None,
            within=reach.within(caller),
        )
        shown = rows[:MOST_GRINDERS]
        names = {
            row.grinder_no: (
                ("grinder_id", row.grinder.grinder_id),
                ("site_id", row.grinder.site_id),
            )
            for row in shown
        }
        found = _of_grinders(connection, caller.account_no, names, now=now)
        about = "1 where there are more grinders than are shown here."
        is_cut = Sample(int(len(rows) > MOST_GRINDERS))
        found.append(Family("burrline_grinders_cut", "gauge", about, samples=[is_cut]))
        if not caller.is_bound:
            found += _of_deliveries(connection, caller.account_no, now=now)
        return found

    return database.read(caller.account_no, work)


def worker_families(
    jobs: Mapping[str, tuple[int, int]], outcomes: Mapping[str, int]
) -> list[Family]:
    """What the worker has done since its start: things done and failures by job, attempts."""
    verdicts = {"delivered": 0, "failed": 0, "gone": 0, "slow_down": 0, **outcomes}
    done = {name: done_count for name, (done_count, _) in jobs.items()}
    failures = {name: failure_count for name, (_, failure_count) in jobs.items()}
    return [
        counted("burrline_jobs_done", "Things done, by job.", "job", done),
        counted("burrline_jobs_failed", "Turns that failed, by job.", "job", failures),
        counted("burrline_delivery_attempts", "Attempts, by outcome.", "outcome", verdicts),
    ]


def backlog_families(database: Database, *, now: datetime) -> list[Family]:
    """What waits in all accounts together, for the worker's keeper."""
    found = claims.backlog(database)
    return _waiting(found, now)


def _of_grinders(
    connection: Connection,
    account_no: int,
    names: Mapping[int, tuple[tuple[str, str], ...]],
    *,
    now: datetime,
) -> list[Family]:
    totals = measured.totals(connection, account_no)
    celsius = measured.latest_celsius(connection, account_no, sorted(names), since=now - FRESH)
    alerts = measured.open_alerts(connection, account_no)
    kept = [(labels, *totals.get(number, (0, 0, 0))) for number, labels in names.items()]
    return [
        Family(
            "burrline_runs",
            "counter",
            "Runs that count. Falls when runs are voided.",
            samples=[Sample(runs, labels, "_total") for labels, runs, _, _ in kept],
        ),
        Family(
            "burrline_motor_run_seconds",
            "counter",
            "Motor-on time of runs. Falls when runs are voided.",
            "seconds",
            [Sample(on_ms / 1000, labels, "_total") for labels, _, on_ms, _ in kept],
        ),
        Family(
            "burrline_ground_grams",
            "counter",
            "Coffee of runs, without tallies. Falls when runs are voided.",
            "grams",
            [Sample(mg / 1000, labels, "_total") for labels, _, _, mg in kept],
        ),
        Family(
            "burrline_motor_temperature_celsius",
            "gauge",
            "The latest reading of the last 15 minutes.",
            "celsius",
            [Sample(celsius[number], names[number]) for number in names if number in celsius],
        ),
        Family(
            "burrline_alerts_open",
            "gauge",
            "Alerts that are noticed and open.",
            samples=[
                Sample(alerts.get((number, severity), 0), (*labels, ("severity", severity)))
                for number, labels in names.items()
                for severity in SEVERITIES
            ],
        ),
    ]


def _of_deliveries(connection: Connection, account_no: int, *, now: datetime) -> list[Family]:
    overdue_since = measured.overdue_since(connection, account_no, now=now)
    lag_seconds = 0.0 if overdue_since is None else _age_seconds(overdue_since, now)
    given_up = measured.given_up_count(connection, account_no)
    return [
        *_waiting(measured.waiting(connection, account_no), now),
        Family(
            "burrline_worker_lag_seconds",
            "gauge",
            "Since when a delivery is due that no worker has taken.",
            "seconds",
            [Sample(lag_seconds)],
        ),
        Family(
            "burrline_deliveries_given_up",
            "gauge",
            "Deliveries given up within the last 30 days.",
            samples=[Sample(given_up)],
        ),
    ]


def _waiting(found: claims.Backlog, now: datetime) -> list[Family]:
    age_seconds = 0.0 if found.oldest_at is None else _age_seconds(found.oldest_at, now)
    return [
        Family(
            "burrline_deliveries_waiting",
            "gauge",
            "Deliveries that have not arrived yet.",
            samples=[Sample(found.waiting_count)],
        ),
        Family(
            "burrline_deliveries_oldest_age_seconds",
            "gauge",
            "How long the oldest of them has waited.",
            "seconds",
            [Sample(age_seconds)],
        ),
    ]


def counted(name: str, about: str, label: str, counts: Mapping[str, int]) -> Family:
    """A counter with one label, in the order of its values."""
    samples: Iterable[Sample] = (
        Sample(count, ((label, value),), "_total") for value, count in sorted(counts.items())
    )
    return Family(name, "counter", about, samples=list(samples))


def _age_seconds(since: datetime, now: datetime) -> float:
    return max(0.0, (now - since).total_seconds())
