"""An account moves from SQLite to PostgreSQL and back, and every answer moves with it.

Nothing published is checked here; what is held to is the service itself, before and after.
"""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

import full_house
from answers import AnswerCheck, CheckedClient
from apps import quick_app
from burrline_service.actions import access, admin, entries, export, history, ingest, keep, restore
from burrline_service.actions.export_lines import Names
from burrline_service.core.errors import AccountNotEmpty, ExportDamaged, OutOfReach
from burrline_service.core.records import Caller, Run, RunOutcome
from burrline_service.core.stream_cells import StreamCell, merge_cells
from burrline_service.settings import read_settings
from burrline_service.store import outgoing, stream_cells
from burrline_service.store.database import Database, open_database
from burrline_service.store.tables import (
    OF_ACCOUNT,
    SUM_NAMES,
    WEBHOOK_TABLES,
    grinder,
    grinder_day,
    grinder_hour,
    grinder_state,
)
from databases import MadeDatabase, make_sqlite_database, make_sqlite_template, open_in_haste
from full_house import DAY, HOUR, NOW, OPENED_AT
from services import ROOT, LiveService, run_service_command, service_environment

LATER = NOW + HOUR
GRINDERS = ("bar-1", "bar-2", "spare")
# what an account holds that an export leaves out; this list may only shrink
LEFT_OUT = {"access_key", "motor_fit", "reply", "stream_told"} | {
    table.name for table in WEBHOOK_TABLES
}


@pytest.fixture
def open_sqlite(session_folder: Path, tmp_path: Path) -> Iterator[Callable[[], Database]]:
    """``open_sqlite()`` opens a fresh, migrated file each time."""
    opened: list[Database] = []

    def make() -> Database:
        made = make_sqlite_database(make_sqlite_template(session_folder), tmp_path)
        opened.append(open_in_haste(made.url))
        return opened[-1]

    yield make
    for database in opened:
        database.close()


@pytest.fixture(scope="module")
def filled_file(session_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The filled account as a file of SQLite, in one piece."""
    folder = tmp_path_factory.mktemp("house")
    made = make_sqlite_database(make_sqlite_template(session_folder), folder)
    database = open_in_haste(made.url)
    full_house.fill(database)
    database.close()
    whole = folder / "whole.sqlite3"
    connection = sqlite3.connect(made.url.removeprefix("sqlite:///"))
    connection.execute("VACUUM INTO ?", (str(whole),))
    connection.close()
    return whole


@pytest.fixture
def house(filled_file: Path, tmp_path: Path) -> Iterator[tuple[Database, Caller]]:
    """The filled account on SQLite."""
    database = open_in_haste(make_sqlite_database(filled_file, tmp_path).url)
    yield database, admin.owner(database, account_id="lantern", now=NOW)
    database.close()


def exported(database: Database, caller: Caller, *, now: datetime = NOW) -> list[bytes]:
    return list(export.export_account(database, caller, now=now))


def imported(database: Database, lines: list[bytes]) -> Caller:
    restore.import_account(database, lines=lambda: lines)
    return admin.owner(database, account_id="lantern", now=NOW)


# --- every answer -------------------------------------------------------------------------------


class Answers:
    """What a service answers about the house, word for word."""

    def __init__(self, database: Database, caller: Caller, check: AnswerCheck) -> None:
        settings = read_settings({"BURRLINE_DATABASE_URL": database.url})
        app = quick_app(settings, database, clock=lambda: LATER)
        http = app.test_client()
        assert isinstance(http, CheckedClient)
        http.answer_check = check
        _, http.key = access.create_key(database, caller, name="mover", now=NOW)
        self.http, self.database, self.caller = http, database, caller
        self.found: dict[str, Any] = {}

    def ask(self) -> dict[str, Any]:
        """Body and ETag of every answer; of a list, the items of all pages."""
        self._list("/v1/sites")
        self._list("/v1/grinders")
        self._list("/v1/fleet")
        self._one("/v1/sites/mill-lane", "/v1/sites/quay")
        for grinder_id in GRINDERS:
            at = f"/v1/grinders/{grinder_id}"
            self._one(f"{at}/break-in")
            self._one(at, f"{at}/status", f"{at}/runs?format=csv", f"{at}/runs?format=ndjson")
            for as_of in (NOW, NOW - 3 * DAY - 17 * HOUR, NOW - 29 * DAY):
                self._one(f"{at}/status?as_of={text(as_of)}")
                self._one(f"{at}/break-in?as_of={text(as_of)}")
                self._throughput(grinder_id, "hour", as_of=as_of)
                self._throughput(grinder_id, "day", as_of=as_of)
            self._throughput(grinder_id, "week", from_at=OPENED_AT)
            for noun in (
                "burr-sets", "runs", "readings", "tallies", "periods", "corrections", "care",
                "checkpoints",
            ):  # fmt: skip
                self._list(f"{at}/{noun}")
        for burr_set_id in ("first", "second", "late", "mistaken"):
            self._one(f"/v1/burr-sets/{burr_set_id}")
        self._one("/v1/checkpoints/grind-test-0", "/v1/checkpoints/grind-test-3")
        self._one("/v1/runs/bar-1-083-02", "/v1/runs/bar-1-083-05")
        return self.found

    def _one(self, *paths: str) -> None:
        for path in paths:
            answer = self.http.get(path)
            assert answer.status_code == 200, (path, answer.text)
            self.found[path] = (answer.headers.get("ETag"), answer.get_data())

    def _throughput(self, grinder_id: str, by: Any, **asked: datetime) -> None:
        found = history.get_throughput(
            self.database, self.caller, grinder_id=grinder_id, by=by, now=LATER, **asked
        )
        self.found[f"throughput of {grinder_id} by {by}, {asked}"] = found

    def _list(self, path: str) -> None:
        items: list[str] = []
        cursor: str | None = None
        while True:
            query = {"limit": "200", **({} if cursor is None else {"cursor": cursor})}
            answer = self.http.get(path, query_string=query)
            assert answer.status_code == 200, (path, answer.text)
            items += map(json.dumps, answer.json["items"])
            cursor = answer.json["next_cursor"]
            if cursor is None:
                break
        self.found[path] = items


def text(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


def test_an_account_moves_to_the_other_database_and_back(
    house: tuple[Database, Caller],
    postgresql_database: MadeDatabase,
    open_sqlite: Callable[[], Database],
    answer_check: AnswerCheck,
) -> None:
    first, caller = house
    lines = exported(first, caller)
    answers = Answers(first, caller, answer_check).ask()
    assert len(answers) > 50
    assert len(answers["/v1/grinders/bar-1/runs"]) > 200

    second = open_database(postgresql_database.url)
    try:
        moved = imported(second, lines)
        assert Answers(second, moved, answer_check).ask() == answers
        again = exported(second, moved, now=LATER)
        assert again[1:] == lines[1:]
        assert again[0] != lines[0]  # it tells another instant
    finally:
        second.close()

    third = open_sqlite()
    back = imported(third, again)
    assert Answers(third, back, answer_check).ask() == answers
    assert exported(third, back) == lines
    for table in (grinder_hour, grinder_day):
        assert kept_sums(third, back, table) == kept_sums(first, caller, table)
    told = [flow_of(one, mover) for one, mover in ((first, caller), (third, back))]
    assert told[0] == told[1]
    assert sum(map(len, told[0].values())) > 100
    touched, states = third.read(back.account_no, touched_and_states)
    assert {(number, states[number]) for number, _ in touched} == touched


def flow_of(database: Database, caller: Caller) -> dict[str, list[Any]]:
    """What runs tell of the flow, of archived ones too, by grinder and named as in an export."""

    def work(connection: Any) -> dict[str, list[Any]]:
        names = Names.of(outgoing.places(connection, caller.account_no))
        found = {}
        for number, name in names.grinders.items():
            folded = stream_cells.fold(connection, caller.account_no, number)
            rows = stream_cells.cell_rows(
                connection, caller.account_no, number, folded, from_hour=-(10**6), to_hour=10**6
            )
            found[name] = names.stream(merge_cells(StreamCell(*row) for row in rows))
        return found

    return database.read(caller.account_no, work)


def touched_and_states(connection: Any) -> tuple[set[tuple[int, int]], dict[int, int]]:
    """(grinder, revision that touched it) of all hours, and the revision of each grinder."""
    hours = select(grinder_hour.c.grinder_no, grinder_hour.c.touched_revision, grinder_hour.c.hour)
    states = select(grinder_state.c.grinder_no, grinder_state.c.revision)
    rows = connection.execute(hours).all()
    assert len(rows) > 100
    return {(row[0], row[1]) for row in rows}, dict(map(tuple, connection.execute(states)))


def kept_sums(database: Database, caller: Caller, table: Any) -> set[tuple[Any, ...]]:
    """The sums that are not all zero, with the grinder's name."""
    unit = table.primary_key.columns[2]
    statement = select(
        grinder.c.grinder_id, unit, table.c.purpose, *(table.c[name] for name in SUM_NAMES)
    ).join(grinder, grinder.c.grinder_no == table.c.grinder_no)
    rows = database.read(caller.account_no, lambda connection: connection.execute(statement).all())
    return {tuple(row) for row in rows if any(row[3:])}


def test_the_house_has_something_in_every_table(house: tuple[Database, Caller]) -> None:
    """A table that comes anew has to be exported, and told of here."""
    database, caller = house
    counts = database.read(
        caller.account_no,
        lambda connection: {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in OF_ACCOUNT
        },
    )
    assert {name for name, count in counts.items() if count == 0} == LEFT_OUT
    kinds = {json.loads(line)["kind"] for line in exported(database, caller)}
    assert kinds == {
        "header", "account", "site", "grinder", "burr_set", "source", "tally", "period",
        "correction", "care", "checkpoint", "watched", "reading", "run", "archived_hours",
        "archived_run", "alert_setting", "alert", "end",
    }  # fmt: skip


# --- life goes on -------------------------------------------------------------------------------


def word(outcome: object) -> str:
    return outcome.outcome if isinstance(outcome, RunOutcome) else type(outcome).__name__


def test_posting_goes_on_as_if_nothing_had_moved(
    house: tuple[Database, Caller],
    postgresql_database: MadeDatabase,
    answer_check: AnswerCheck,
) -> None:
    first, caller = house
    second = open_database(postgresql_database.url)
    try:
        moved = imported(second, exported(first, caller))
        old = [*full_house.runs_of_the_house(), *full_house.late_runs()]
        other = [Run(old[0].run_id, "bar-1", old[0].started_at, seconds=1.0, grams=1.0)]
        new = [
            Run("new-with-scale", "bar-1", NOW - 5 * HOUR, seconds=8.0, grams=18.0, source="scale"),
            Run("new-with-plug", "bar-1", NOW - 5 * HOUR, seconds=8.5, grams=19.9, source="plug"),
            Run("new-with-third", "bar-2", NOW - 5 * HOUR, seconds=8.5, source="third"),
            Run("new-and-late-1", "bar-1", OPENED_AT + 9 * DAY, grams=17.5, source="plug"),
        ]
        for runs, expected in ((old, "duplicate"), (other, "conflict"), (new, "accepted")):
            for database, who in ((first, caller), (second, moved)):
                outcomes = ingest.add_runs(database, who, runs=runs, now=LATER)
                assert {word(outcome) for outcome in outcomes} == {expected}
        for database, who in ((first, caller), (second, moved)):
            fields = {"from_at": NOW, "setting": 4.6}
            made, is_new = entries.set_period(
                database, who, grinder_id="bar-2", fields=fields, now=LATER
            )
            assert is_new
            assert made.period_id not in {"second-lot", "never-was"}
            ingest.void_run(database, who, run_id="bar-1-083-01", now=LATER)
            entries.revoke_correction(database, who, correction_id="scale-high", now=LATER)
        assert (
            Answers(second, moved, answer_check).ask() == Answers(first, caller, answer_check).ask()
        )
    finally:
        second.close()


def test_an_import_goes_into_an_empty_account_only(
    house: tuple[Database, Caller], open_sqlite: Callable[[], Database]
) -> None:
    first, caller = house
    lines = exported(first, caller)
    second = open_sqlite()
    moved = imported(second, lines)
    with pytest.raises(AccountNotEmpty, match="'lantern' is not empty"):
        imported(second, lines)
    assert exported(second, moved) == lines

    admin.create_account(second, account_id="branch", name="Branch", now=NOW)
    branch = admin.owner(second, account_id="branch", now=NOW)
    access.create_key(second, branch, name="a key is nothing in the way", now=NOW)
    restore.import_account(second, lines=lambda: lines, account_id="branch")
    assert exported(second, branch)[2:4] != lines[2:4]  # the account's line differs, and so `check`
    assert bare(exported(second, branch)) == bare(lines)


def bare(lines: list[bytes]) -> list[dict[str, Any]]:
    """The things between the account and the closing line, without their checks."""
    return [{**json.loads(line), "check": None} for line in lines[2:-1]]


def test_a_bound_key_cannot_export(house: tuple[Database, Caller]) -> None:
    database, caller = house
    bound = Caller(caller.account_no, caller.scopes, "bound", site_ids=frozenset({"mill-lane"}))
    with pytest.raises(OutOfReach):
        export.export_account(database, bound, now=NOW)


# --- a transfer that goes wrong -----------------------------------------------------------------


def altered(line: bytes) -> bytes:
    return line.replace(b"00", b"01", 1)


@pytest.mark.parametrize(
    ("spoil", "line_number", "says"),
    [
        (lambda lines: lines[:-1], 39, "the file was cut"),
        (lambda lines: lines[:17], 17, "the file was cut"),
        (lambda lines: [*lines[:17], lines[17][:30]], 18, "is not whole"),
        (lambda lines: [*lines[:17], lines[17][:-1]], 18, "is not whole"),
        (lambda lines: [], 0, "the file was cut"),
        (lambda lines: [*lines[:20], altered(lines[20]), *lines[21:]], 21, "was altered"),
        (lambda lines: [altered(lines[0]), *lines[1:]], 1, "was altered"),
        (lambda lines: [*lines[:20], *lines[21:]], 21, "was altered"),
        (lambda lines: [*lines[:20], lines[21], lines[20], *lines[22:]], 21, "was altered"),
        (lambda lines: [*lines[:20], lines[20], *lines[20:]], 22, "was altered"),
        (lambda lines: [*lines, lines[-1]], 41, "behind the closing line"),
        (lambda lines: [line.replace(b"\n", b"\r\n") for line in lines], 1, "is not whole"),
    ],
)
def test_a_cut_or_altered_file_is_refused_at_its_line(
    open_sqlite: Callable[[], Database],
    spoil: Callable[[list[bytes]], list[bytes]],
    line_number: int,
    says: str,
) -> None:
    first = open_sqlite()
    caller = small_house(first)
    lines = exported(first, caller)
    assert len(lines) == 40
    second = open_sqlite()
    with pytest.raises(ExportDamaged, match=says) as refused:
        imported(second, spoil(lines))
    assert refused.value.line_number == line_number
    assert admin.list_accounts(second) == []
    assert exported(second, imported(second, lines)) == lines


def small_house(database: Database) -> Caller:
    """Enough for 40 lines: header, account, site, grinder, 35 runs, end."""
    admin.create_account(database, account_id="lantern", name="Lantern", now=OPENED_AT)
    caller = admin.owner(database, account_id="lantern", now=OPENED_AT)
    full_house.places.create_site(
        database,
        caller,
        fields={"site_id": "quay", "name": "Quay", "time_zone": "Europe/Dublin"},
        now=OPENED_AT,
    )
    full_house.places.create_grinder(
        database,
        caller,
        fields={"grinder_id": "bar-1", "site_id": "quay", "name": "bar-1"},
        now=OPENED_AT,
    )
    runs = [
        Run(f"small-{number:05d}", "bar-1", OPENED_AT + number * HOUR, seconds=8.0, grams=18.0)
        for number in range(35)
    ]
    ingest.add_runs(database, caller, runs=runs, now=NOW)
    return caller


def test_an_import_that_breaks_off_leaves_nothing(
    house: tuple[Database, Caller], postgresql_database: MadeDatabase
) -> None:
    """The second reading fails late: all that was put back until then is gone again."""
    lines = exported(*house)
    readings_of_the_file = 0

    def breaking() -> Iterator[bytes]:
        nonlocal readings_of_the_file
        readings_of_the_file += 1
        yield from lines if readings_of_the_file == 1 else lines[:-20]
        if readings_of_the_file == 2:
            raise OSError("the disk is gone")

    second = open_database(postgresql_database.url)
    try:
        with pytest.raises(OSError, match="the disk is gone"):
            restore.import_account(second, lines=breaking)
        caller = admin.owner(second, account_id="lantern", now=NOW)
        assert len(exported(second, caller)) == 3  # header, account, end
        assert exported(second, imported(second, lines)) == lines
    finally:
        second.close()


KILLED = """
import os, signal, sys
from burrline_service.actions import restore
from burrline_service.store.database import open_database
url, file, limit = sys.argv[1], sys.argv[2], int(sys.argv[3])
times = 0
def lines():
    global times
    times += 1
    for number, line in enumerate(open(file, "rb")):
        if times == 2 and number == limit:
            os.kill(os.getpid(), signal.SIGKILL)
        yield line
restore.import_account(open_database(url), lines=lines)
"""


def test_a_killed_import_leaves_nothing_and_can_be_done_again(
    house: tuple[Database, Caller], made_database: MadeDatabase, tmp_path: Path
) -> None:
    lines = exported(*house)
    file = tmp_path / "lantern.ndjson"
    file.write_bytes(b"".join(lines))
    done = subprocess.run(
        [sys.executable, "-c", KILLED, made_database.url, str(file), str(len(lines) - 5)],
        env=service_environment({}),
        cwd=ROOT,
        timeout=120,
    )
    assert done.returncode == -signal.SIGKILL
    second = open_database(made_database.url)
    try:
        assert exported(second, imported(second, lines)) == lines
    finally:
        second.close()


# --- an export while others write ---------------------------------------------------------------


@pytest.mark.parametrize("taken_share", [0.02, 0.3, 0.6, 0.9, 0.97, 0.999])
@pytest.mark.parametrize("is_archived_before", [False, True])
def test_retention_and_new_runs_during_an_export_lose_and_double_nothing(
    open_sqlite: Callable[[], Database],
    monkeypatch: pytest.MonkeyPatch,
    taken_share: float,
    is_archived_before: bool,
) -> None:
    """At whatever line the export is overtaken, every run from before counts exactly once."""
    monkeypatch.setattr(export, "PAGE_COUNT", 37)
    first = open_sqlite()
    caller = small_house(first)
    start = OPENED_AT + 2 * DAY
    runs = [
        Run(f"more-{number:05d}", "bar-1", start + number * 3 * HOUR, seconds=7.0, grams=17.0,
            source=("scale", "plug")[number % 2])
        for number in range(500)
    ]  # fmt: skip
    ingest.add_runs(first, caller, runs=runs, now=NOW)
    if is_archived_before:
        keep.archive_runs(first, retained_days=60, now=NOW)
    before = grams_of(first, caller)
    assert before == (35 * 18 + 500 * 17, 535)
    lines: list[bytes] = []
    for line in export.export_account(first, caller, now=NOW):
        lines.append(line)
        if len(lines) == round(taken_share * 541):
            keep.archive_runs(first, retained_days=40, now=NOW)
            late = Run("late-one", "bar-1", OPENED_AT + DAY, grams=1000.0, source="third")
            ingest.add_runs(first, caller, runs=[late], now=NOW)
    assert grams_of(first, caller) == (before[0] + 1000, 536)
    second = open_sqlite()
    moved = imported(second, lines)
    # the late run was sent while the export ran: it may be in it or not, but wholly
    assert grams_of(second, moved) in (before, (before[0] + 1000, 536))
    outcomes = ingest.add_runs(second, moved, runs=runs, now=NOW)
    assert {word(outcome) for outcome in outcomes} == {"duplicate"}
    ingest.add_runs(second, moved, runs=[late], now=NOW)
    assert grams_of(second, moved) == (before[0] + 1000, 536)


def grams_of(database: Database, caller: Caller) -> tuple[float, int]:
    """Grams and runs of the one grinder, by the sums of days."""
    statement = select(func.sum(grinder_day.c.grams_mg), func.sum(grinder_day.c.run_count))
    grams_mg, count = database.read(
        caller.account_no, lambda connection: connection.execute(statement).one()
    )
    return grams_mg / 1000, count


# --- by the command lines -----------------------------------------------------------------------


def test_the_command_lines_move_an_account(
    live_service: LiveService, open_sqlite: Callable[[], Database], tmp_path: Path
) -> None:
    database = open_database(live_service.settings["BURRLINE_DATABASE_URL"])
    try:
        caller = full_house.fill(database, "moving")
        _, key = access.create_key(database, caller, name="mover", now=NOW)
        lines = exported(database, caller)
    finally:
        database.close()
    done = subprocess.run(
        [sys.executable, "-m", "burrline", "export", "--url", live_service.url],
        env={**service_environment({}), "BURRLINE_KEY": key},
        capture_output=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    written = done.stdout.splitlines(keepends=True)
    assert written[1:] == lines[1:]

    file = tmp_path / "moving.ndjson"
    file.write_bytes(done.stdout)
    second = open_sqlite()
    settings = {"BURRLINE_DATABASE_URL": second.url, "BURRLINE_DATA_DIR": str(tmp_path)}
    cut = tmp_path / "cut.ndjson"
    cut.write_bytes(done.stdout[:-200])
    refused = run_service_command(settings, "import", str(cut))
    assert refused.returncode == 1
    assert "the file was cut" in refused.stderr
    took = run_service_command(settings, "import", str(file))
    assert took.returncode == 0, took.stderr
    run_count = sum(json.loads(line)["kind"] == "run" for line in written[1:-1])
    assert run_count > 0
    assert f"run\t{run_count}\n" in took.stdout
    assert exported(second, admin.owner(second, account_id="moving", now=NOW)) == lines
    again = run_service_command(settings, "import", str(file))
    assert again.returncode == 1
    assert "'moving' is not empty" in again.stderr
