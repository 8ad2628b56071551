"""The verbs for what people enter: ``care``, ``set``, ``tally``, ``correct``, ``void``."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from burrline._convert import Model
from burrline._show_entries import care_line, correction_line, period_line, tally_line
from burrline._terminal import (
    EX_OK,
    Verbs,
    finite,
    given,
    instant,
    say,
    say_json,
    tell,
    tell_all,
    wrong_usage,
)
from burrline.client import Client

PERIOD_NAMES = ("setting", "coffee_lot", "rpm", "purpose", "feed")
CORRECTING = ("grams_offset", "grams_factor", "clock_offset_seconds")


def add(verbs: Verbs) -> None:
    _add_care(verbs.group("care", "Record, list or void what was done to a grinder."))

    made = verbs.add(
        "set", _set, "Tell what holds from now (or --from) on for runs that leave it out."
    )
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("--setting", type=finite, metavar="N", help="the grind setting")
    made.add_argument("--lot", dest="coffee_lot", metavar="TEXT", help="which coffee")
    made.add_argument("--rpm", type=finite, metavar="N", help="speed of the burrs")
    made.add_argument(
        "--purpose",
        metavar="TEXT",
        help="service, break_in, dial_in, measurement, purge or cleaning",
    )
    made.add_argument("--feed", metavar="TEXT", help="hopper or single_dose")
    add_id(made, "period_id")
    _add_stretch(made)

    made = verbs.add("tally", _tally, "Record grams over a stretch of time, without single runs.")
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("--grams", type=finite, metavar="N", help="coffee over the whole stretch")
    made.add_argument("--basis", metavar="TEXT", help="weighed_out, weighed_in, target, estimated")
    made.add_argument("--purpose", metavar="TEXT", help="default service")
    made.add_argument("--note", metavar="TEXT", help="what else there is to say")
    add_id(made, "tally_id")
    _add_stretch(made)

    made = verbs.add("correct", _correct, "Undo a known mistake of a grinder's devices.")
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("--source", metavar="TEXT", help="only runs of this device")
    made.add_argument("--grams-offset", type=finite, metavar="N", help="grams added to each run")
    made.add_argument(
        "--grams-factor", type=finite, metavar="N", help="what grams are multiplied with"
    )
    made.add_argument(
        "--clock-offset-seconds", type=finite, metavar="N", help="seconds added to each start"
    )
    made.add_argument("--void", dest="is_void", action="store_true", help="these count nothing")
    made.add_argument(
        "--unwatched",
        dest="is_unwatched",
        action="store_true",
        help="nobody watched it then, whatever a sender said",
    )
    made.add_argument("--reason", metavar="TEXT", help="why, for those who look later")
    add_id(made, "correction_id")
    _add_stretch(made)

    made = verbs.add(
        "void",
        void,
        "Take runs, or something else entered, out of every answer.",
        more="Without a flag the ids are of runs. A correction is revoked: its runs count again.",
    )
    made.add_argument("ids", nargs="+", metavar="ID")
    kinds = made.add_mutually_exclusive_group()
    for name in VOIDS:
        flag = "--" + name.replace("_", "-")
        words = name.replace("_", " ")
        kinds.add_argument(
            flag,
            dest="kind",
            action="store_const",
            const=name,
            help=f"each ID is of a {words}",
        )
    made.set_defaults(kind="run")


def _add_care(care: Verbs) -> None:
    made = care.add("record", _record_care, "Record something done to a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument(
        "task",
        metavar="TASK",
        help="cleaning, burrs_removed, alignment, vents_cleaned, motor_replaced, repair, "
        "inspection or trip_checked (somebody looked after a suspected thermal trip)",
    )
    made.add_argument("--at", type=instant, metavar="INSTANT", help="when; default now")
    made.add_argument(
        "--zero-setting", type=finite, metavar="N", help="where the burrs touch, found afterwards"
    )
    made.add_argument("--note", metavar="TEXT", help="what else there is to say")
    add_id(made, "care_id")

    made = care.add("list", _list_care, "List what was done to a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")

    made = care.add("void", void, "Take care entries out of every answer.")
    made.add_argument("ids", nargs="+", metavar="ID")
    made.set_defaults(kind="care")


def add_id(parser: argparse.ArgumentParser, name: str) -> None:
    parser.add_argument(
        "--id",
        dest=name,
        metavar="ID",
        help="8 to 128 letters, digits or . _ : - of your own, so that telling it twice is once; "
        "left out, one is made",
    )


def _add_stretch(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--from",
        dest="from_at",
        type=instant,
        metavar="INSTANT",
        help="when it begins, such as 2026-03-01T08:30:00+01:00",
    )
    parser.add_argument(
        "--to", dest="to_at", type=instant, metavar="INSTANT", help="when it ends, written likewise"
    )
    parser.add_argument(
        "--list", dest="is_list", action="store_true", help="show those recorded instead"
    )


def _record_care(client: Client, options: argparse.Namespace) -> int:
    care = client.record_care(
        options.grinder_id,
        task=options.task,
        **given(options, "at", "care_id", "zero_setting", "note"),
    )
    return tell(options, care, care_line(care))


def _list_care(client: Client, options: argparse.Namespace) -> int:
    return tell_all(options, client.list_care(options.grinder_id, limit=200), care_line)


def _set(client: Client, options: argparse.Namespace) -> int:
    told = given(options, "period_id", *PERIOD_NAMES)
    stretch = given(options, "from_at", "to_at")
    if options.is_list:
        _nothing_beside_list(options, told)
        found = client.list_periods(options.grinder_id, limit=200, **stretch)
        return tell_all(options, found, period_line)
    if not told.keys() - {"period_id"}:
        raise wrong_usage(options, "say what holds")
    period = client.set_period(options.grinder_id, **told, **stretch)
    return tell(options, period, period_line(period))


def _tally(client: Client, options: argparse.Namespace) -> int:
    told = given(options, "grams", "basis", "purpose", "note", "tally_id")
    stretch = given(options, "from_at", "to_at")
    if options.is_list:
        _nothing_beside_list(options, told)
        found = client.list_tallies(options.grinder_id, limit=200, **stretch)
        return tell_all(options, found, tally_line)
    _require(options, grams="--grams", basis="--basis", from_at="--from", to_at="--to")
    tally = client.add_tally(grinder_id=options.grinder_id, **told, **stretch)
    return tell(options, tally, tally_line(tally))


def _correct(client: Client, options: argparse.Namespace) -> int:
    told = given(options, "correction_id", "source", "reason", *CORRECTING)
    told |= {name: True for name in ("is_void", "is_unwatched") if getattr(options, name)}
    stretch = given(options, "from_at", "to_at")
    if options.is_list:
        _nothing_beside_list(options, told)
        found = client.list_corrections(options.grinder_id, limit=200, **stretch)
        return tell_all(options, found, correction_line)
    _require(options, from_at="--from", reason="--reason")
    correction = client.add_correction(grinder_id=options.grinder_id, **told, **stretch)
    return tell(options, correction, correction_line(correction))


VOIDS: dict[str, Callable[[Client, str], Model]] = {
    "run": Client.void_run,
    "reading": Client.void_reading,
    "tally": Client.void_tally,
    "period": Client.void_period,
    "care": Client.void_care,
    "correction": Client.revoke_correction,
    "burr_set": Client.void_burr_set,
    "checkpoint": Client.void_checkpoint,
}


def void(client: Client, options: argparse.Namespace) -> int:
    done = "revoked" if options.kind == "correction" else "voided"
    answers = []
    for one in options.ids:
        answers.append(VOIDS[options.kind](client, one).to_json())
        if not options.json:
            say(f"{one} {done}")
    if options.json:
        say_json(answers)
    return EX_OK


def _require(options: argparse.Namespace, **flags: str) -> None:
    missing = [flag for name, flag in flags.items() if getattr(options, name) is None]
    if missing:
        raise wrong_usage(options, f"needed: {', '.join(missing)}")


def _nothing_beside_list(options: argparse.Namespace, told: dict[str, object]) -> None:
    if told:
        raise wrong_usage(options, "--list goes with --from and --to alone")
