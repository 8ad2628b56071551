"""Numbers for whoever watches an account's grinders, or the worker."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from .. import __version__
from ..core.open_metrics import Family, Sample
from ..core.records import Caller
from ..store import claims, early, landmarks, measured, standing
from ..store.database import Connection, Database
from ..store.measured import Totals
from ..store.tables import DAY_MS
from ..store.types import to_milliseconds
from . import reach
from .remembered import Remembered

PAST: Remembered[dict[int, tuple[int, Totals]]] = Remembered(16)
"""By account and day: of each grinder its early revision, and its totals before that day."""
NO_DAY = 1_000_000
MOST_GRINDERS = 5000
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
        rows = standing.places(
            connection,
            caller.account_no,
            as_of=now,
            limit=MOST_GRINDERS + 1,
            within=reach.within(caller),
        )
        names = {
            number: (("grinder_id", grinder_id), ("site_id", site_id))
            for number, grinder_id, site_id in rows[:MOST_GRINDERS]
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
    totals = _totals(connection, account_no, names, now=now)
    motors = landmarks.latest_motors(
        connection,
        account_no,
        names,
        at_ms=to_milliseconds(now),
        motor_from_ms=to_milliseconds(now - FRESH),
    )
    alerts = measured.open_alerts(connection, account_no)
    kept = [(labels, *totals.get(number, Totals())) for number, labels in names.items()]
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
            "The latest of the last 15 minutes, read beside runs or at their end.",
            "celsius",
            [Sample(motors[number][1] / 10, names[number]) for number in names if number in motors],
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


def _totals(
    connection: Connection, account_no: int, grinder_nos: Iterable[int], *, now: datetime
) -> dict[int, Totals]:
    """Totals of each grinder since its first run, those of its past as they were last time.

    While its early revision stands, nothing has changed before the ten minutes in which a change
    is received; a whole day between leaves time for any transaction that was under way.
    """
    border_day = early.fit_border_ms(to_milliseconds(now)) // DAY_MS - 1
    revisions = measured.early_revisions(connection, account_no)
    shown = [number for number in grinder_nos if number in revisions]
    past = PAST.get(connection.engine, (account_no, border_day)) or {}
    unknown = [n for n in shown if n not in past or past[n][0] != revisions[n]]
    if unknown:
        found = measured.totals(connection, account_no, unknown, from_day=0, until_day=border_day)
        past = past | {n: (revisions[n], found.get(n, Totals())) for n in unknown}
        PAST.put(connection.engine, (account_no, border_day), past)
    lately = measured.totals(connection, account_no, shown, from_day=border_day, until_day=NO_DAY)
    return {n: past[n][1].plus(lately.get(n, Totals())) for n in shown}


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
