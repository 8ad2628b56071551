"""The verbs ``site``, ``reading`` and ``throughput``."""

from __future__ import annotations

import argparse
from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from burrline._show import lasting
from burrline._show_entries import instant_words
from burrline._terminal import (
    EX_DATAERR,
    EX_OK,
    Verbs,
    complain,
    finite,
    given,
    instant,
    say,
    say_json,
    tell,
    tell_all,
    wrong_usage,
)
from burrline._verbs_entries import add_id, void
from burrline.client import Client
from burrline.models import Bucket, History, Reading, Site


def add(verbs: Verbs) -> None:
    site = verbs.group("site", "Create, change, show or list sites.")
    made = site.add("create", _create_site, "Create a site.")
    made.add_argument("site_id", metavar="SITE")
    made.add_argument("--name", required=True, metavar="TEXT", help="its name, for people")
    made.add_argument(
        "--time-zone", required=True, metavar="ZONE", help="IANA name, such as Europe/Oslo"
    )
    made = site.add("update", _update_site, "Change a site's name or time zone.")
    made.add_argument("site_id", metavar="SITE")
    made.add_argument("--name", metavar="TEXT", help="its name, for people")
    made.add_argument("--time-zone", metavar="ZONE", help="IANA name, such as Europe/Oslo")
    made.add_argument(
        "--effective-at", type=instant, metavar="INSTANT", help="from when on; default now"
    )
    made = site.add("show", _show_site, "Show a site.")
    made.add_argument("site_id", metavar="SITE")
    site.add("list", _list_sites, "List the sites.")

    reading = verbs.group("reading", "Record, list or void temperatures between runs.")
    made = reading.add(
        "record",
        _record_reading,
        "Record what a motor's sensor says, or that it runs now.",
        more="Idle readings count as much as warm ones: they show how the motor cools.",
    )
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument("--motor-celsius", type=finite, metavar="N", help="the motor's sensor")
    made.add_argument("--ambient-celsius", type=finite, metavar="N", help="the room")
    runs = made.add_mutually_exclusive_group()
    runs.add_argument(
        "--running", dest="is_running", action="store_const", const=True, help="the motor runs"
    )
    runs.add_argument(
        "--idle", dest="is_running", action="store_const", const=False, help="the motor rests"
    )
    when = made.add_mutually_exclusive_group()
    when.add_argument("--at", type=instant, metavar="INSTANT", help="when; default now")
    when.add_argument(
        "--age-seconds", type=finite, metavar="N", help="how long ago, instead of --at"
    )
    made.add_argument("--run-id", metavar="ID", help="the run it was read during")
    made.add_argument("--source", metavar="TEXT", help="which device tells this")
    add_id(made, "reading_id")
    made = reading.add("list", _list_readings, "List the readings of a grinder.")
    made.add_argument("grinder_id", metavar="GRINDER")
    _add_stretch(made)
    made = reading.add("void", void, "Take readings out of every answer.")
    made.add_argument("ids", nargs="+", metavar="ID")
    made.set_defaults(kind="reading")

    made = verbs.add(
        "throughput", _throughput, "Show kilograms and motor time by hour, day or week."
    )
    made.add_argument("grinder_id", metavar="GRINDER")
    made.add_argument(
        "--by", choices=("hour", "day", "week"), default="day", help="default %(default)s"
    )
    _add_stretch(made)
    made.add_argument("--as-of", type=instant, metavar="INSTANT", help="default now")


def _add_stretch(made: argparse.ArgumentParser) -> None:
    made.add_argument(
        "--from", dest="from_at", type=instant, metavar="INSTANT", help="where it begins"
    )
    made.add_argument("--to", dest="to_at", type=instant, metavar="INSTANT", help="where it ends")


# --- sites --------------------------------------------------------------------------------------


def _create_site(client: Client, options: argparse.Namespace) -> int:
    site = client.create_site(
        site_id=options.site_id, name=options.name, time_zone=options.time_zone
    )
    return tell(options, site, f"{site.site_id} created")


def _update_site(client: Client, options: argparse.Namespace) -> int:
    patch = given(options, "name", "time_zone")
    if not patch:
        raise wrong_usage(options, "say what to change")
    site = client.update_site(options.site_id, patch | given(options, "effective_at"))
    return tell(options, site, f"{site.site_id} updated")


def _show_site(client: Client, options: argparse.Namespace) -> int:
    site = client.get_site(options.site_id)
    return tell(options, site, site_line(site))


def _list_sites(client: Client, options: argparse.Namespace) -> int:
    return tell_all(options, client.list_sites(limit=200), site_line)


def site_line(site: Site) -> str:
    return f"{site.site_id}: {site.name}, {site.time_zone}"


# --- readings -----------------------------------------------------------------------------------


def _record_reading(client: Client, options: argparse.Namespace) -> int:
    told = given(options, "motor_celsius", "ambient_celsius", "is_running")
    if not told:
        raise wrong_usage(options, "say what was read")
    rest = given(options, "at", "age_seconds", "run_id", "source", "reading_id")
    outcome = client.add_readings(grinder_id=options.grinder_id, **told, **rest)
    if options.json:
        say_json(outcome.to_json())
    else:
        new = "recorded" if outcome.accepted else "known before" if outcome.duplicates else ""
        if new:
            say(f"{options.grinder_id} {new}")
        for problem in outcome.problems:
            details = "; ".join(one.detail for one in problem.errors)
            complain(f"{problem.reading_id} {problem.outcome}: {details}")
    return EX_DATAERR if outcome.conflicts or outcome.rejected else EX_OK


def _list_readings(client: Client, options: argparse.Namespace) -> int:
    found = client.list_readings(
        options.grinder_id, limit=200, **given(options, "from_at", "to_at")
    )
    return tell_all(options, found, reading_line)


def reading_line(reading: Reading) -> str:
    said = []
    if reading.motor_celsius is not None:
        said.append(f"motor {reading.motor_celsius:g} C")
    if reading.ambient_celsius is not None:
        said.append(f"room {reading.ambient_celsius:g} C")
    if reading.is_running is not None:
        said.append("runs" if reading.is_running else "rests")
    voided = "" if reading.voided_at is None else f" (voided {instant_words(reading.voided_at)})"
    return f"{reading.reading_id}: {instant_words(reading.at)}, {', '.join(said)}{voided}"


# --- throughput ---------------------------------------------------------------------------------


def _throughput(client: Client, options: argparse.Namespace) -> int:
    history = client.get_throughput(
        options.grinder_id, by=options.by, **given(options, "from_at", "to_at", "as_of")
    )
    if options.json:
        say_json(history.to_json())
    else:
        say(history_lines(history))
    return EX_OK


def history_lines(history: History) -> str:
    """A row for each bucket, by the site's clock where this machine knows its zone."""
    zone: tzinfo | None
    try:
        zone = ZoneInfo(history.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        zone = None
    clock = history.time_zone if zone is not None else "UTC"
    table = [(f"{history.by} ({clock})", "kg", "runs", "motor on")]
    table += [_bucket_row(bucket, history.by, zone) for bucket in history.buckets]
    widths = [max(len(row[n]) for row in table) for n in range(4)]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if n else cell.ljust(width)
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in table
    )


def _bucket_row(bucket: Bucket, by: str, zone: tzinfo | None) -> tuple[str, str, str, str]:
    begins: datetime = bucket.from_at if zone is None else bucket.from_at.astimezone(zone)
    kilograms = f"{bucket.grams / 1000:.2f}"
    if bucket.estimated_grams is None:
        kilograms += "+?"
    elif bucket.estimated_grams:
        kilograms = f"~{(bucket.grams + bucket.estimated_grams) / 1000:.2f}"
    return (
        begins.strftime("%Y-%m-%d %H:%M" if by == "hour" or zone is None else "%Y-%m-%d"),
        kilograms,
        str(bucket.run_count),
        lasting(bucket.run_seconds),
    )
