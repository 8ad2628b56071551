"""The technician's verbs against the real service: what they do, say and answer."""

from __future__ import annotations

import json
import math
import secrets
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from burrline import Client, models
from burrline._break_in_words import break_in_lines
from burrline._convert import format_instant
from burrline.cli import main
from burrline.models import Limits

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def client(live_service: Any) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        yield made


@pytest.fixture
def run(
    live_service: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Run:
    """Runs a command; gives exit code, standard output, standard error."""
    monkeypatch.setenv("BURRLINE_URL", live_service.url)
    monkeypatch.setenv("BURRLINE_KEY", live_service.key)

    def act(*arguments: str) -> tuple[int, str, str]:
        code = main(arguments)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return act


@pytest.fixture
def mark() -> str:
    """What tells this test's objects from those of others."""
    return secrets.token_hex(6)


@pytest.fixture
def site_id(client: Client, mark: str) -> str:
    site_id = f"site-{mark}"
    return client.create_site(site_id=site_id, name="Mill Lane", time_zone="UTC").site_id


@pytest.fixture
def grinder_id(client: Client, site_id: str, mark: str) -> str:
    made = client.create_grinder(grinder_id=f"bar-{mark}", site_id=site_id, name="Bar left")
    return made.grinder_id


def ago(**amount: float) -> str:
    return format_instant(datetime.now(UTC).replace(microsecond=0) - timedelta(**amount))


def good(answer: tuple[int, str, str]) -> str:
    code, out, err = answer
    assert (code, err) == (0, "")
    return out


def grams(client: Client, grinder_id: str) -> float:
    return client.get_status(grinder_id).throughput.grinder_grams


# --- the grind ----------------------------------------------------------------------------------

SIEVES = "aperture_micrometres,retained_grams\n600,4\n425,7\n300,6.5\n150,4.5\npan,{pan}\n"


def _doses(folder: Path) -> list[str]:
    files = []
    for number, pan in enumerate((3.0, 3.1, 2.9)):
        file = folder / f"dose-{number}.csv"
        file.write_text(SIEVES.format(pan=pan))
        files.append(str(file))
    return files


def test_checkpoints_are_added_from_tables_listed_and_voided(
    run: Run, client: Client, grinder_id: str, mark: str, tmp_path: Path
) -> None:
    at = datetime.now(UTC) - timedelta(days=3)
    client.fit_burr_set(
        grinder_id, burr_set_id=f"set-{mark}", geometry="flat", diameter_millimetres=64,
        prior_grams=0, fitted_at=at,
    )  # fmt: skip
    client.add_run(grinder_id=grinder_id, grams=2500, started_at=at + timedelta(hours=1))
    told = ("--setting", "4.8", "--lot", "lot-7", "--sieves", "bar", "--dose", "25")
    added = good(
        run("checkpoint", "add", grinder_id, "--sieve", *_doses(tmp_path), *told,
            "--at", ago(days=1), "--id", f"check-{mark}")
    )  # fmt: skip
    assert added.startswith(f"check-{mark}: ")
    assert f"set-{mark} at 2.5 kg, setting 4.8, lot-7, sieve: D50" in added
    assert "(3 doses)" in added
    assert good(run("checkpoint", "list", grinder_id)) == added
    # four sieves, and the pan's 3 g of 25 g lie below 150 um: 12 % is finer than that
    sizes = client.get_checkpoint(f"check-{mark}").pooled
    assert 300 < (sizes.d50_micrometres or 0) < 425
    words = good(run("break-in", grinder_id))
    assert "1 checkpoint counts so far" in words
    assert f"2.5 kg check-{mark}: D50" in words
    # the run before told neither seconds nor a setting
    assert "no_evidence: No run so far tells" in words
    assert "1 left out. No seconds were measured.\n" in words
    answer = json.loads(good(run("break-in", grinder_id, "--json")))
    assert answer == client.get_break_in(grinder_id).to_json() | {"as_of": answer["as_of"]}
    earlier = json.loads(good(run("break-in", grinder_id, "--json", "--as-of", ago(days=2))))
    assert earlier["checkpoints"] == []
    assert good(run("checkpoint", "void", f"check-{mark}")) == f"check-{mark} voided\n"
    assert "(voided " in good(run("checkpoint", "list", grinder_id))
    assert client.get_break_in(grinder_id).checkpoints == ()


def test_the_flow_is_told_beside_the_checkpoints(
    client: Client, grinder_id: str, mark: str
) -> None:
    at = datetime.now(UTC) - timedelta(days=3)
    client.fit_burr_set(
        grinder_id, burr_set_id=f"flow-{mark}", geometry="flat", prior_grams=0, fitted_at=at
    )
    answer = client.get_break_in(grinder_id)
    assert answer.stream is not None
    known = replace(
        answer.stream, run_count=20, session_count=1, from_grams=0.0, at_grams=9_500.0, setting=4.8,
        grams_per_second=Limits(low=2.1, best=2.25, high=2.4),
        grams_per_second_per_step=Limits(low=None, best=0.011, high=None),
    )  # fmt: skip
    words = break_in_lines(replace(answer, stream=known))
    assert "2.25 (2.1 to 2.4) g/s at setting 4.8 (95 %)" in words
    assert "0.011 (? to ?) g/s for a step coarser (95 %)" in words
    assert "from 20 runs on 1 day, 0 kg to 9.5 kg through the set" in words
    assert known.next in words
    assert "g/s" not in break_in_lines(replace(answer, stream=None))


def test_what_is_left_is_told_by_measurement_beside_the_forecast(
    run: Run, client: Client, grinder_id: str, mark: str
) -> None:
    """Doses along 600 um + 190 um (1 - exp(-m / 6.5 kg)): far more than such burrs change."""
    at = datetime.now(UTC) - timedelta(days=30)
    client.fit_burr_set(
        grinder_id, burr_set_id=f"set-{mark}", geometry="flat", diameter_millimetres=98,
        prior_grams=0, fitted_at=at,
    )  # fmt: skip
    for number, kilograms in enumerate((0.0, 2.0, 4.0, 6.0, 8.0)):
        d50 = 600 - 190 * math.expm1(-kilograms / 6.5)
        client.add_checkpoint(
            grinder_id, method="percentiles", ground_at=at + timedelta(days=1 + number),
            setting=5.0, burr_grams=1000 * kilograms,
            replicates=[
                {"distribution": {"kind": "percentiles", "d50_micrometres": d50 + off}}
                for off in (-2.0, 0.0, 2.0)
            ],
        )  # fmt: skip
    answer, words = client.get_break_in(grinder_id), good(run("break-in", grinder_id))
    assert answer.forecast is not None
    assert answer.remaining_grams != answer.forecast.remaining_grams.best
    assert "(95 %, measured; forecast from such burrs: " in words
    # no run was recorded: the kilograms to go count from the last checkpoint
    due = answer.next_checkpoint_grams or 0.0
    assert f"checkpoint at {due / 1000:.0f} kg, after {(due - 8000) / 1000:.0f} kg more" in words
    assert "more kilograms than the recorded runs" in words
    unknown = replace(
        answer, low_remaining_grams=0.0, remaining_grams=None, high_remaining_grams=None
    )
    assert "nobody can tell how much" in break_in_lines(unknown)
    worn = replace(unknown, stage="end_of_life")
    assert "nobody can tell how much" not in break_in_lines(worn)


def test_the_dial_the_sets_and_the_cups_are_told_in_words_and_as_json(
    run: Run, client: Client, grinder_id: str, mark: str
) -> None:
    """A ladder 5 % of D50 a unit apart; a shot; and another set beside it without any ladder."""
    at = datetime.now(UTC) - timedelta(days=30)
    for days, burr_set_id in ((-1, f"old-{mark}"), (0, f"set-{mark}")):
        client.fit_burr_set(
            grinder_id, burr_set_id=burr_set_id, geometry="flat", diameter_millimetres=64,
            prior_grams=0, fitted_at=at + timedelta(days=days),
        )  # fmt: skip
    assert "no_checkpoints" in good(run("calibration", grinder_id))
    for minutes, setting in enumerate((7.0, 3.0, 5.0)):
        d50 = 300 * math.exp(0.05 * (setting - 5))
        client.add_checkpoint(
            grinder_id, method="percentiles", ground_at=at + timedelta(days=1, minutes=minutes),
            setting=setting, session_id="ladder", burr_grams=2000,
            checkpoint_id=f"{mark}-{setting}",
            replicates=[
                {"distribution": {"kind": "percentiles", "d50_micrometres": d50 + off,
                                  "fines_fraction": 0.14 - off / 1000}}
                for off in (-2.0, 0.0, 2.0)
            ],
        )  # fmt: skip
    words = good(run("calibration", grinder_id, "--d50", "286"))
    assert "calibrated" in words
    assert "Setting 4.04" in words  # 5 - ln(300 / 286) / 0.05
    assert "one age" in words
    answer = json.loads(good(run("calibration", grinder_id, "--d50", "286", "--json")))
    asked = client.get_calibration(grinder_id, reference_d50_micrometres=286)
    assert answer == asked.to_json() | {"as_of": answer["as_of"]}
    named = good(run("calibration", grinder_id, "--checkpoint", f"{mark}-3.0"))
    assert "Setting 3 " in named
    code, _, err = run("calibration", grinder_id, "--d50", "1", "--checkpoint", "x")
    assert (code, "not allowed with" in err) == (64, True)

    both = (f"set-{mark}", f"old-{mark}")
    words = good(run("compare", *both))
    assert "At a D50 of 300 " in words
    assert "No checkpoint has its setting recorded" in words
    answer = json.loads(good(run("compare", *both, "--json")))
    assert answer == client.compare_burr_sets(both).to_json() | {"as_of": answer["as_of"]}
    code, _, err = run("compare", f"set-{mark}")
    assert (code, "burr_set_ids" in err) == (65, True)

    client.add_run(
        grinder_id=grinder_id, grams=18, seconds=7, setting=5.0, started_at=at + timedelta(days=2),
        brew={"method": "espresso", "seconds": 27, "beverage_grams": 36, "tds_fraction": 0.1},
    )  # fmt: skip
    words = good(run("cups", grinder_id))
    assert "1 cup looked at" in words
    assert "20 %" in words
    answer = json.loads(good(run("cups", grinder_id, "--json")))
    assert answer == client.get_cups(grinder_id).to_json() | {"as_of": answer["as_of"]}


def test_a_table_is_summed_up_or_refused_with_its_line(
    run: Run, grinder_id: str, tmp_path: Path
) -> None:
    (file, *_) = _doses(tmp_path)
    assert "D50 um" in good(run("checkpoint", "summarize", "--sieve", file))
    code, _, err = run("checkpoint", "add", grinder_id, "--laser", file)
    assert (code, "is no table for --laser" in err) == (64, True)
    Path(file).write_text("aperture_micrometres,retained_grams\n600,4\n")
    code, out, err = run("checkpoint", "add", grinder_id, "--sieve", file)
    assert (code, out) == (65, "")
    assert err == f"burrline: {file}: Add a row pan with what lay in it (0 if it was empty).\n"
    code, _, err = run("checkpoint", "add", grinder_id, "--sieve", str(tmp_path / "none.csv"))
    assert code == 66


def test_break_in_of_a_grinder_without_burrs_says_so(run: Run, grinder_id: str) -> None:
    words = good(run("break-in", grinder_id))
    assert "no burr set is in" in words
    assert "unknown (expected, not measured)" in words


# --- sites, readings, throughput ----------------------------------------------------------------


def test_a_site_is_created_changed_shown_and_listed(run: Run, mark: str) -> None:
    site_id = f"hall-{mark}"
    told = ("--name", "Market hall", "--time-zone", "Europe/Oslo")
    assert good(run("site", "create", site_id, *told)) == f"{site_id} created\n"
    assert good(run("site", "update", site_id, "--name", "Hall")) == f"{site_id} updated\n"
    line = good(run("site", "show", site_id))
    assert line == f"{site_id}: Hall, Europe/Oslo\n"
    assert line in good(run("site", "list"))
    assert json.loads(good(run("site", "show", site_id, "--json")))["name"] == "Hall"
    assert run("site", "update", site_id)[0] == 64
    assert run("site", "show", "nowhere")[0] == 65


def test_a_reading_is_recorded_once_listed_and_voided(
    run: Run, client: Client, grinder_id: str, mark: str
) -> None:
    told = ("--motor-celsius", "41.5", "--ambient-celsius", "21", "--idle", "--at", ago(minutes=3),
            "--id", f"reading-{mark}")  # fmt: skip
    assert good(run("reading", "record", grinder_id, *told)) == f"{grinder_id} recorded\n"
    assert good(run("reading", "record", grinder_id, *told)) == f"{grinder_id} known before\n"
    (line,) = good(run("reading", "list", grinder_id)).splitlines()
    assert line.startswith(f"reading-{mark}: ")
    assert line.endswith(" UTC, motor 41.5 C, room 21 C, rests")
    assert good(run("reading", "void", f"reading-{mark}")) == f"reading-{mark} voided\n"
    assert "(voided " in good(run("reading", "list", grinder_id))
    assert run("reading", "record", grinder_id)[0] == 64
    code, out, err = run("reading", "record", grinder_id, "--motor-celsius", "9000")
    assert (code, out) == (65, "")
    assert "motor_celsius" in err
    assert next(iter(client.list_readings(grinder_id))).voided_at is not None


def test_throughput_is_a_row_for_each_local_day(run: Run, client: Client, grinder_id: str) -> None:
    noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    for hours, seconds in ((0, 60), (1, 65), (24, 30)):
        client.add_run(
            grinder_id=grinder_id, grams=500, seconds=seconds,
            started_at=noon + timedelta(hours=hours),
        )  # fmt: skip
    told = ("--from", "2026-03-02T00:00:00Z", "--to", "2026-03-04T00:00:00Z")
    rows = [line.split() for line in good(run("throughput", grinder_id, *told)).splitlines()]
    assert rows == [
        ["day", "(UTC)", "kg", "runs", "motor", "on"],
        ["2026-03-02", "1.00", "2", "2", "min", "5", "s"],
        ["2026-03-03", "0.50", "1", "30", "s"],
    ]
    answer = json.loads(good(run("throughput", grinder_id, "--by", "hour", "--json", *told)))
    assert len(answer["buckets"]) == 48


# --- grinder ------------------------------------------------------------------------------------


def test_a_grinder_is_created_changed_and_shown(
    run: Run, client: Client, site_id: str, mark: str
) -> None:
    grinder_id = f"filter-{mark}"
    made = good(
        run(
            "grinder", "create", grinder_id, "--site", site_id, "--name", "Filter",
            "--duty-kind", "intermittent", "--on-seconds", "30", "--cycle-seconds", "120",
            "--sensor", "housing", "--limit-celsius", "75", "--hopper-grams", "1200",
        )
    )  # fmt: skip
    assert made == f"{grinder_id} created\n"
    changed = good(
        run(
            "grinder", "update", grinder_id, "--caution-celsius", "60", "--retained-grams", "2.5",
            "--clear", "hopper_grams", "--clear", "sensor",
        )
    )  # fmt: skip
    assert changed == f"{grinder_id} updated\n"
    kept = client.get_grinder(grinder_id)
    assert kept.rated_duty is not None
    assert (kept.rated_duty.on_seconds, kept.rated_duty.cycle_seconds) == (30, 120)
    assert kept.motor is not None
    assert (kept.motor.caution_celsius, kept.motor.limit_celsius) == (60, 75)
    assert (kept.motor.sensor, kept.hopper_grams, kept.retained_grams) == (None, None, 2.5)
    shown = [
        line.split(maxsplit=1) for line in good(run("grinder", "show", grinder_id)).split("\n")
    ]
    assert ["limit_celsius", "75"] in shown
    assert ["duty_kind", "intermittent"] in shown
    assert not any(row and row[0] == "sensor" for row in shown)
    code, out, _ = run("grinder", "show", grinder_id, "--json")
    assert (code, models.Grinder.from_json(json.loads(out))) == (0, kept)


def test_a_grinder_goes_out_of_service_and_comes_back(
    run: Run, client: Client, grinder_id: str
) -> None:
    first, second, end = ago(days=9), ago(days=2), ago(days=1)
    good(run("grinder", "update", grinder_id, "--out-of-service", f"{first}/{ago(days=8)}"))
    good(run("grinder", "update", grinder_id, "--out-of-service", second))
    assert client.get_grinder(grinder_id).out_of_service[1].to_at is None
    good(run("grinder", "update", grinder_id, "--out-of-service", f"{second}/{end}"))
    kept = [span.to_json() for span in client.get_grinder(grinder_id).out_of_service]
    assert [span["from"] for span in kept] == [first, second]
    assert kept[1]["to"] == end


def test_a_change_may_be_dated_back(run: Run, client: Client, grinder_id: str) -> None:
    good(run("grinder", "update", grinder_id, "--name", "Bar 2", "--effective-at", ago(hours=1)))
    past = client.get_status(grinder_id, as_of=datetime.now(UTC) - timedelta(minutes=30))
    before = client.get_status(grinder_id, as_of=datetime.now(UTC) - timedelta(hours=2))
    assert (before.name, past.name) == ("Bar left", "Bar 2")


# --- burrs --------------------------------------------------------------------------------------


def test_burrs_are_fitted_listed_mended_and_voided(
    run: Run, client: Client, grinder_id: str, mark: str
) -> None:
    wrong, right = ago(days=3), ago(days=4)
    first, mistake = f"flat-{mark}", f"oops-{mark}"
    good(
        run(
            "burrs", "fit", grinder_id, first, "--geometry", "flat", "--prior-grams", "unknown",
            "--diameter-millimetres", "64", "--fitted-at", wrong,
        )
    )  # fmt: skip
    assert client.get_burr_set(first).prior_grams is None
    out = good(run("burrs", "mend", first, "--fitted-at", right, "--burr-serial", "B-7"))
    assert "burr_serial B-7" in out
    kept = client.get_burr_set(first)
    assert [format_instant(stay.fitted_at) for stay in kept.fittings] == [right]
    good(
        run("burrs", "fit", grinder_id, mistake, "--geometry", "conical", "--prior-grams", "0",
            "--fitted-at", ago(days=1))
    )  # fmt: skip
    assert client.get_status(grinder_id).throughput.burr_set_id == mistake
    assert good(run("burrs", "void", mistake)) == f"{mistake} voided\n"
    assert client.get_status(grinder_id).throughput.burr_set_id == first
    good(run("burrs", "mend", first, "--removed-at", ago(hours=1)))
    assert client.get_status(grinder_id).throughput.burr_set_id is None
    good(run("burrs", "mend", first, "--removed-at", "none", "--stay", "1"))
    assert client.get_status(grinder_id).throughput.burr_set_id == first
    listed = good(run("burrs", "list", grinder_id)).splitlines()
    assert [line.split(":")[0] for line in listed if first in line] == [first]
    assert run("burrs", "mend", first, "--fitted-at", right, "--stay", "2")[0] == 65


# --- care, set, tally, correct, void ------------------------------------------------------------


def test_care_is_recorded_listed_and_voided(run: Run, client: Client, grinder_id: str) -> None:
    out = good(
        run("care", "record", grinder_id, "burrs_removed", "--zero-setting", "0.4", "--at",
            ago(hours=2), "--note", "dry brush")
    )  # fmt: skip
    care_id = out.partition(":")[0]
    assert "burrs_removed" in out
    assert "zero at 0.4: dry brush" in out
    assert good(run("care", "list", grinder_id)) == out
    assert good(run("care", "void", care_id)) == f"{care_id} voided\n"
    (kept,) = client.list_care(grinder_id)
    assert kept.voided_at is not None
    assert "(voided " in good(run("care", "list", grinder_id))


def test_what_holds_is_set_from_now_on(run: Run, client: Client, grinder_id: str) -> None:
    begins = ago(hours=1)
    out = good(run("set", grinder_id, "--setting", "4.8", "--lot", "lot-0712", "--from", begins))
    assert "setting 4.8, lot lot-0712" in out
    run_id = client.add_run(grinder_id=grinder_id, grams=18, seconds=7).run_id
    kept = client.get_run(run_id)
    assert (kept.setting, kept.coffee_lot) == (4.8, "lot-0712")
    assert sorted(kept.from_period) == ["coffee_lot", "setting"]
    assert good(run("set", grinder_id, "--list")) == out
    good(run("void", "--period", out.partition(":")[0]))
    assert client.get_run(run_id).setting is None


def test_a_tally_is_recorded_once_and_voided(
    run: Run, client: Client, grinder_id: str, mark: str
) -> None:
    tally = (
        "tally", grinder_id, "--id", f"note-{mark}", "--grams", "4180", "--basis", "weighed_in",
        "--from", ago(days=1), "--to", ago(hours=2), "--note", "four bags",
    )  # fmt: skip
    assert good(run(*tally)) == good(run(*tally)) == good(run("tally", grinder_id, "--list"))
    assert grams(client, grinder_id) == 4180
    good(run("void", "--tally", f"note-{mark}"))
    assert grams(client, grinder_id) == 0


def test_a_correction_is_made_and_revoked(run: Run, client: Client, grinder_id: str) -> None:
    client.add_run(grinder_id=grinder_id, grams=20, source="scale")
    out = good(
        run("correct", grinder_id, "--from", ago(hours=1), "--source", "scale", "--grams-offset",
            "-2.5", "--reason", "cup not tared")
    )  # fmt: skip
    assert "grams + -2.5 of scale" in out
    assert grams(client, grinder_id) == 17.5
    assert good(run("correct", grinder_id, "--list")) == out
    correction_id = out.partition(":")[0]
    assert good(run("void", "--correction", correction_id)) == f"{correction_id} revoked\n"
    assert grams(client, grinder_id) == 20
    good(run("correct", grinder_id, "--from", ago(hours=1), "--void", "--reason", "a test"))
    assert grams(client, grinder_id) == 0


def test_runs_and_readings_are_voided_by_their_ids(
    run: Run, client: Client, grinder_id: str, mark: str
) -> None:
    ids = [client.add_run(grinder_id=grinder_id, grams=18).run_id for _ in range(2)]
    code, out, _ = run("void", *ids, "--json")
    assert (code, [one["run_id"] for one in json.loads(out)]) == (0, ids)
    assert grams(client, grinder_id) == 0
    client.add_readings(grinder_id=grinder_id, reading_id=f"read-{mark}", motor_celsius=70)
    assert client.get_status(grinder_id).motor.reading_celsius == 70
    good(run("void", "--reading", f"read-{mark}"))
    assert client.get_status(grinder_id).motor.reading_celsius is None
    code, out, err = run("void", f"none-{mark}")
    assert (code, out) == (65, "")
    assert err.startswith("404 ")


@pytest.mark.parametrize(
    "arguments",
    [
        ("grinder",),
        ("grinder", "create", "bar-1", "--site", "mill-lane"),
        ("grinder", "update", "bar-1"),
        ("grinder", "update", "bar-1", "--limit-celsius", "nan"),
        ("grinder", "update", "bar-1", "--clear", "colour"),
        ("grinder", "update", "bar-1", "--out-of-service", "today"),
        ("burrs", "mend", "flat-a"),
        ("care", "record", "bar-1"),
        ("set", "bar-1"),
        ("set", "bar-1", "--list", "--setting", "4"),
        ("tally", "bar-1", "--grams", "100", "--basis", "target"),
        ("correct", "bar-1", "--grams-factor", "1.1", "--reason", "why"),
        ("void",),
        ("void", "--tally", "--period", "x"),
        ("apply",),
    ],
    ids=" ".join,
)
def test_wrong_usage_is_told_before_anything_is_sent(arguments: tuple[str, ...], run: Run) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (64, "")
    assert err.startswith("burrline")


# --- apply --------------------------------------------------------------------------------------

HEADER = (
    "site_id,site_name,time_zone,grinder_id,name,limit_celsius,hopper_grams,burr_set_id,geometry,"
    "prior_grams,fitted_at\n"
)


@pytest.fixture
def write(tmp_path: Path, mark: str) -> Callable[..., str]:
    """Writes a file of lines, ``@`` standing for this test's mark; gives its name."""

    def act(*lines: str) -> str:
        file = tmp_path / "fleet.csv"
        file.write_text(HEADER + "".join(f"{line}\n" for line in lines).replace("@", mark))
        return str(file)

    return act


LINES = (
    "s-@,Mill Lane,Europe/Oslo,g-@,Bar left,75,1200,b-@,flat,0,2026-02-01T08:00:00Z",
    "s-@,,,h-@,Bar right,,,,,,",
)


def outcomes(answer: tuple[int, str, str]) -> list[tuple[int, str, str]]:
    return [(one["line"], one["noun"], one["outcome"]) for one in json.loads(good(answer))["done"]]


def test_a_fleet_is_made_and_applied_again_nothing_changes(
    run: Run, client: Client, write: Callable[..., str], mark: str
) -> None:
    file = write(*LINES)
    things = [(2, "site"), (2, "grinder"), (2, "burr set"), (3, "grinder")]
    dry = run("apply", file, "--dry-run", "--json")
    assert outcomes(dry) == [(*one, "created") for one in things]
    assert f"s-{mark}" not in {site.site_id for site in client.list_sites(limit=200)}
    out = good(run("apply", file))
    assert out.splitlines() == [
        f"line 2: site s-{mark} created",
        f"line 2: grinder g-{mark} created",
        f"line 2: burr set b-{mark} created",
        f"line 3: grinder h-{mark} created",
        "4 created, 0 updated, 0 unchanged, 0 failed",
    ]
    status = client.get_status(f"g-{mark}")
    assert (status.site_id, status.throughput.burr_set_id) == (f"s-{mark}", f"b-{mark}")
    etag = client.get_grinder(f"g-{mark}").etag
    assert outcomes(run("apply", file, "--json")) == [(*one, "unchanged") for one in things]
    assert client.get_grinder(f"g-{mark}").etag == etag


def test_only_what_differs_is_changed(
    run: Run, client: Client, write: Callable[..., str], mark: str
) -> None:
    good(run("apply", write(*LINES)))
    changed = (
        "s-@,Mill Lane 2,,g-@,,80,-,b-@,,250,2026-01-31T08:00:00Z",
        "s-@,,,h-@,Bar right,,,,,,",
    )
    file = write(*changed)
    dry = good(run("apply", file, "--dry-run"))
    assert f"grinder g-{mark} would be updated (hopper_grams, limit_celsius)" in dry
    assert client.get_site(f"s-{mark}").name == "Mill Lane"
    assert good(run("apply", file)).splitlines() == [
        f"line 2: site s-{mark} updated (site_name)",
        f"line 2: grinder g-{mark} updated (hopper_grams, limit_celsius)",
        f"line 2: burr set b-{mark} updated (prior_grams, fitted_at)",
        f"line 3: grinder h-{mark} unchanged",
        "0 created, 3 updated, 1 unchanged, 0 failed",
    ]
    kept = client.get_grinder(f"g-{mark}")
    assert kept.motor is not None
    assert (kept.name, kept.motor.limit_celsius, kept.hopper_grams) == ("Bar left", 80, None)
    burr_set = client.get_burr_set(f"b-{mark}")
    assert burr_set.prior_grams == 250
    assert [format_instant(stay.fitted_at) for stay in burr_set.fittings] == [
        "2026-01-31T08:00:00.000Z"
    ]
    assert good(run("apply", file)).endswith("0 created, 0 updated, 4 unchanged, 0 failed\n")


def test_a_burr_set_moves_to_the_grinder_the_file_names(
    run: Run, client: Client, write: Callable[..., str], mark: str
) -> None:
    good(run("apply", write(*LINES)))
    file = write("s-@,,,h-@,,,,b-@,,,2026-02-10T08:00:00Z", "s-@,,,g-@,,,,c-@,conical,unknown,")
    assert good(run("apply", file)).endswith("1 created, 1 updated, 3 unchanged, 0 failed\n")
    sets = {
        one: client.get_status(one).throughput.burr_set_id for one in (f"g-{mark}", f"h-{mark}")
    }
    assert sets == {f"g-{mark}": f"c-{mark}", f"h-{mark}": f"b-{mark}"}
    assert good(run("apply", file)).endswith("0 created, 0 updated, 5 unchanged, 0 failed\n")


def test_a_file_with_a_history_of_sets_is_applied_once(
    run: Run, client: Client, write: Callable[..., str], mark: str
) -> None:
    file = write(
        "s-@,Mill Lane,UTC,g-@,Bar left,,,b-@,flat,0,2026-01-01T08:00:00Z",
        "s-@,,,g-@,,,,c-@,flat,0,2026-02-01T08:00:00Z",
    )
    good(run("apply", file))
    assert client.get_status(f"g-{mark}").throughput.burr_set_id == f"c-{mark}"
    assert good(run("apply", file)).endswith("0 created, 0 updated, 4 unchanged, 0 failed\n")


def test_what_the_service_refuses_is_told_and_the_rest_goes_on(
    run: Run, client: Client, write: Callable[..., str], mark: str
) -> None:
    file = write(
        "s-@,Mill Lane,Europe/Atlantis,,,,,,,,",
        "t-@,Quay,UTC,g-@,Bar left,900,,,,,",
        "t-@,,,h-@,,,,,,,",
        "t-@,,,i-@,Bar right,,,,,,",
    )
    code, out, err = run("apply", file)
    assert code == 65
    assert out.splitlines() == [
        f"line 3: site t-{mark} created",
        f"line 5: grinder i-{mark} created",
        "2 created, 0 updated, 0 unchanged, 3 failed",
    ]
    told = err.splitlines()
    assert [line.split(":")[0] for line in told] == ["line 2", "line 3", "line 4"]
    assert "#/time_zone" in told[0]
    assert "#/motor/limit_celsius" in told[1]
    assert told[2] == f"line 4: grinder h-{mark}: name needed for a new grinder"


def test_a_file_with_a_faulty_line_is_not_applied_at_all(
    run: Run, client: Client, write: Callable[..., str], mark: str
) -> None:
    code, out, err = run("apply", write(LINES[0], "s-@,,,h-@,Bar right,hot,,,,,"))
    assert (code, out) == (65, "")
    assert err.startswith("line 3: limit_celsius: 'hot' is not a number\n")
    assert f"s-{mark}" not in {site.site_id for site in client.list_sites(limit=200)}
    assert run("apply", str(Path("nowhere") / "fleet.csv"))[0] == 66


def test_a_dry_run_tells_where_a_grinder_would_have_no_site(
    run: Run, write: Callable[..., str]
) -> None:
    file = write("s-@,,,g-@,Bar left,,,,,,")
    for dry in ((), ("--dry-run",)):
        code, _, err = run("apply", file, *dry)
        assert code == 65
        assert "site_name and time_zone needed for a new site" in err


def test_the_help_of_apply_names_every_column(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    from burrline._fleet import COLUMNS

    with pytest.raises(SystemExit) as ended:
        run("apply", "--help")
    assert ended.value.code == 0
    words = set(capsys.readouterr().out.replace(",", " ").split())
    assert words >= set(COLUMNS)
