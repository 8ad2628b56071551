"""``burrline import`` against the real service: shown, asked, recorded once, mended on purpose."""

from __future__ import annotations

import io
import json
import secrets
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from burrline import Client, _importing, errors
from burrline._notebook_amounts import GRAMS
from burrline._progress import Progress, bar
from burrline._verb_import import UNITS
from burrline.cli import main

Run = Callable[..., tuple[int, str, str]]
NOTEBOOKS = Path(__file__).parent / "notebooks"


class Terminal(io.StringIO):
    """Where somebody types these lines, and watches."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def run(
    live_service: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Run:
    monkeypatch.setenv("BURRLINE_URL", live_service.url)
    monkeypatch.setenv("BURRLINE_KEY", live_service.key)

    def act(*arguments: str, typed: str | None = None) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO("") if typed is None else Terminal(typed))
        code = main(("import", *arguments))
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return act


@pytest.fixture(scope="module")
def client(live_service: Any) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        made.create_site(site_id="notebooks", name="Mill Lane", time_zone="Europe/Oslo")
        yield made


@pytest.fixture
def grinder_id(client: Client) -> str:
    grinder_id = f"note-{secrets.token_hex(6)}"
    client.create_grinder(grinder_id=grinder_id, site_id="notebooks", name=f"Name {grinder_id}")
    return grinder_id


def file(folder: Path, text: str) -> str:
    path = folder / "notebook.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def kilograms(client: Client, grinder_id: str) -> float:
    return client.get_status(grinder_id).throughput.grinder_grams / 1000


def test_a_notebook_is_shown_then_sent_and_a_second_time_adds_nothing(
    run: Run, client: Client, grinder_id: str
) -> None:
    book = str(NOTEBOOKS / "german.csv")
    code, out, err = run(book, "--grinder", grinder_id, "--dry-run")
    assert (code, err) == (0, "")
    assert "amounts in column 'Kaffee (kg)', kg" in out
    assert "line 9: a total" in out
    assert "3 tallies, 1034.500 kg in all" in out
    assert out.splitlines()[-1] == "3 new (dry run: nothing was sent)"
    assert kilograms(client, grinder_id) == 0
    code, out, err = run(book, "--grinder", grinder_id, "--yes")
    assert (code, out.splitlines()[-1], err) == (0, "3 recorded", "")
    assert kilograms(client, grinder_id) == 1034.5
    code, out, _ = run(book, "--grinder", grinder_id, "--yes")
    assert (code, out.splitlines()[-1]) == (0, "3 known")
    assert kilograms(client, grinder_id) == 1034.5
    tallies = [*client.list_tallies(grinder_id)]
    # 1 March in Oslo begins at 23:00 the day before in UTC
    assert [(one.from_at.isoformat(), one.grams, one.basis, one.note) for one in tallies] == [
        ("2026-02-28T23:00:00+00:00", 12500.0, "weighed_in", None),
        ("2026-03-01T23:00:00+00:00", 9750.0, "weighed_in", "neue Bohnen"),
        ("2026-03-03T23:00:00+00:00", 1_012_250.0, "weighed_in", "Rösterei"),
    ]
    assert {one.to_at - one.from_at for one in tallies} == {timedelta(days=1)}
    assert client.get_status(grinder_id).throughput.grinder_run_seconds == 0


def test_a_changed_line_is_a_conflict_until_it_is_to_replace(
    run: Run, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    def book(*amounts: str) -> tuple[str, str, str]:
        lines = [f"2026-03-0{n};{one}" for n, one in enumerate(amounts, start=1)]
        return file(tmp_path, "\n".join(["day;kg", *lines])), "--grinder", grinder_id

    assert run(*book("4", "5"), "--yes")[0] == 0
    code, out, err = run(*book("4", "5,5", "6"), "--yes")
    assert (code, out.splitlines()[-1]) == (65, "1 known, 1 conflict, 1 recorded")
    assert err == ("line 3: conflict: 5 kg are recorded; --replace voids that and records this\n")
    assert kilograms(client, grinder_id) == 15
    code, out, err = run(*book("4", "5,5", "6"), "--yes", "--replace")
    assert (code, out.splitlines()[-1], err) == (0, "2 known, 1 recorded", "")
    assert kilograms(client, grinder_id) == 15.5
    assert run(*book("4", "5,5", "6"), "--yes")[1].splitlines()[-1] == "3 known"
    # what was voided by hand stays out, until somebody says otherwise
    client.void_tally(f"notebook:{grinder_id}:2026-03-01")
    assert run(*book("4", "5,5", "6"), "--yes")[1].splitlines()[-1] == "1 voided, 2 known"
    assert kilograms(client, grinder_id) == 11.5
    run(*book("4", "5,5", "6"), "--yes", "--replace")
    assert kilograms(client, grinder_id) == 15.5
    # the same days told otherwise: a week over them
    week = file(tmp_path, "week;kg\n2026-W09;20\n")
    code, _, err = run(week, "--grinder", grinder_id, "--yes")
    assert code == 65
    assert f"tally notebook:{grinder_id}:2026-03-01.2 tells some of this time already" in err
    assert kilograms(client, grinder_id) == 15.5


def test_it_asks_before_it_sends_and_for_what_only_a_person_can_tell(
    run: Run, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    book = file(tmp_path, "date,coffee\n3/1/2026,1.5\n3/2/2026,2.5\n")
    told = (book, "--grinder", grinder_id)
    code, out, err = run(*told, typed="month\nkg\nn\n")
    assert code == 64
    assert "Does the day or the month stand first (line 2)? [day/month] " in err
    assert "Which unit are the amounts in (line 2)? [kg/g/lb/oz] " in err
    assert "Record 2 tallies, 4.000 kg? [y/N] " in err
    assert "2026-03-02" in out
    assert kilograms(client, grinder_id) == 0
    assert run(*told, typed="north\n")[0] == 64
    code, _, err = run(*told)
    assert (code, "--day-first or --month-first" in err) == (64, True)
    code, out, err = run(*told, "--month-first", "--unit", "kg")
    assert (code, "nothing was sent; --yes sends" in err) == (64, True)
    assert run(*told, typed="month\nkg\ny\n")[0] == 0
    assert kilograms(client, grinder_id) == 4


def test_grinders_are_found_by_id_by_name_or_as_told(
    run: Run, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    other = f"{grinder_id}-b"
    client.create_grinder(grinder_id=other, site_id="notebooks", name="Another")
    book = file(tmp_path, f"date;NAME {grinder_id} (kg);Attic (kg)\n2026-03-01;4;1\n")
    code, _, err = run(book, "--yes")
    assert code == 64
    assert "line 2: no grinder is called 'Attic': say --grinder 'Attic=ID'" in err
    assert run(book, "--yes", "--grinder", "Attic=cellar")[0] == 64
    assert run(book, "--yes", "--grinder", f"Attic={other}")[0] == 0
    assert (kilograms(client, grinder_id), kilograms(client, other)) == (4, 1)
    code, _, err = run(file(tmp_path, "date;kg\n2026-03-02;4\n"), "--yes")
    assert (code, "names no grinder: say whose it is by --grinder ID" in err) == (64, True)


def test_json_quiet_faults_and_today(
    run: Run, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    now = datetime.now(UTC)
    lines = ["date;kg", f"{now - timedelta(days=3):%Y-%m-%d};4", "2026-02-30;4",
             f"{now + timedelta(hours=2):%Y-%m-%d};1"]  # fmt: skip
    noon = now.replace(hour=12, minute=0, second=0) - timedelta(days=3)
    client.add_run(grinder_id=grinder_id, grams=18, started_at=noon)
    book = file(tmp_path, "\n".join(lines))
    code, out, err = run(book, "--grinder", grinder_id, "--json", "--dry-run")
    told = json.loads(out)
    assert (code, err, told["is_dry_run"]) == (65, "", True)
    assert [(one["outcome"], one["grams"], one["lines"]) for one in told["tallies"]] == [
        ("new", 4000, [2])
    ]
    assert {(one["line"], one["is_fault"]) for one in told["left_out"]} == {(3, True), (4, False)}
    assert "has runs on 1 of these days" in told["cautions"][0]
    code, out, err = run(book, "--grinder", grinder_id, "--quiet", "--yes")
    assert (code, out, err) == (65, "", "line 3: there is no such day\n")
    assert kilograms(client, grinder_id) == 4.018


def test_a_failure_in_the_middle_tells_what_is_known_and_the_rest_follows(
    run: Run,
    client: Client,
    grinder_id: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    days = [date(2024, 1, 1) + timedelta(days=n) for n in range(5)]
    book = file(tmp_path, "day;kg\n" + "\n".join(f"{day};{n + 1}" for n, day in enumerate(days)))
    monkeypatch.setattr(_importing, "STEPS_AT_ONCE", 2)
    sent, add_tallies = [], Client.add_tallies

    def cut_off(self: Client, tallies: Iterable[Any]) -> Any:
        sent.append([*tallies])
        outcome = add_tallies(self, sent[-1])
        if len(sent) == 2:  # recorded, but the answer is lost
            raise errors.TransportError("no connection")
        return outcome

    with monkeypatch.context() as patch:
        patch.setattr(Client, "add_tallies", cut_off)
        code, _, err = run(book, "--grinder", grinder_id, "--yes", "--per-day")
    assert (code, len(sent)) == (69, 2)
    assert "2 of 5 are known to be recorded; import it again for the rest" in err
    assert kilograms(client, grinder_id) == 10
    code, out, _ = run(book, "--grinder", grinder_id, "--yes", "--per-day")
    assert (code, out.splitlines()[-1]) == (0, "4 known, 1 recorded")
    assert kilograms(client, grinder_id) == 15
    # a day that was mended in the notebook: the old one still counts, and that is said
    lines = [f"{day};{n + 1}" for n, day in enumerate(days) if n != 2]
    mended = file(tmp_path, "\n".join(["day;kg", *lines, f"{days[0] - timedelta(days=1)};3"]))
    _, out, _ = run(mended, "--grinder", grinder_id, "--dry-run", "--per-day")
    told = f"caution: notebook:{grinder_id}:2024-01-03 (3 kg) was recorded of a day that no line"
    assert told in out


def test_names_of_one_grinder_are_told_together(
    run: Run, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    day = "2024-02-01"
    lines = [f"{day};{grinder_id};2", f"{day};Name {grinder_id};2", f"{day};;2", f"{day};left;2"]
    told = ("--grinder", grinder_id, "--grinder", f"left={grinder_id}", "--yes")
    code, out, _ = run(file(tmp_path, "\n".join(["day;grinder;kg", *lines])), *told)
    assert (code, out.splitlines()[-1]) == (0, "1 recorded")
    assert kilograms(client, grinder_id) == 8
    columns = file(tmp_path, "day;AM kg;PM kg\n2024-02-02;1;1\n")
    halves = [f"{half}={grinder_id}" for half in ("AM", "PM")]
    assert run(columns, "--grinder", halves[0], "--grinder", halves[1], "--yes")[0] == 0
    assert kilograms(client, grinder_id) == 10


def test_stopped_amid_replacing_it_tells_what_is_voided(
    run: Run, client: Client, grinder_id: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def book(kilograms: int) -> str:
        return file(tmp_path, f"day;kg\n2024-02-01;{kilograms}\n2024-02-02;{kilograms}\n")

    assert run(book(1), "--grinder", grinder_id, "--yes")[0] == 0

    def stopped(self: Client, tallies: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Client, "add_tallies", stopped)
        code, _, err = run(book(2), "--grinder", grinder_id, "--yes", "--replace")
    assert code == 130
    assert "0 of 2 are known to be recorded; import it again for the rest" in err
    assert "of 2 more what was recorded before is voided already" in err
    assert kilograms(client, grinder_id) == 0
    assert run(book(2), "--grinder", grinder_id, "--yes")[0] == 0
    assert kilograms(client, grinder_id) == 4


def test_exit_codes_of_what_cannot_be_read(run: Run, grinder_id: str, tmp_path: Path) -> None:
    assert run(str(tmp_path / "none.csv"))[0] == 66
    code, out, err = run(file(tmp_path, "hello"), "--grinder", grinder_id, "--yes")
    assert (code, out) == (65, "")
    assert "no line has a date in one cell and an amount in another" in err
    assert run(file(tmp_path, "x"), "--url", "http://127.0.0.1:9", "--deadline", "0.1")[0] == 69


def test_the_units_that_may_be_told_are_those_that_are_read() -> None:
    assert tuple(GRAMS) == UNITS


def test_a_bar_is_drawn_only_where_somebody_watches_long_work() -> None:
    passed = iter(range(100))
    watched, unwatched = Terminal(), io.StringIO()
    for stream in (watched, unwatched):
        with Progress(4, stream=stream, clock=lambda: float(next(passed))) as progress:
            for _ in range(3):
                progress.advance(2)
    assert bar(2, 4) in watched.getvalue()
    assert bar(4, 4) in watched.getvalue()
    assert "6/4" not in watched.getvalue()
    assert watched.getvalue().endswith(" \r")
    assert unwatched.getvalue() == ""
    quick = Terminal()
    with Progress(4, stream=quick, clock=lambda: 0.0) as progress:
        progress.advance(4)
    assert quick.getvalue() == ""
