"""The verbs about alerts: ``alerts list | acknowledge``, and ``watch``, which runs commands."""

from __future__ import annotations

import argparse
import json
import os
import shlex
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress

from burrline._convert import format_instant
from burrline._terminal import (
    EX_CONFIG,
    EX_NOINPUT,
    EX_OK,
    EX_TEMPFAIL,
    Stop,
    Verbs,
    complain,
    instant,
    positive_seconds,
    say,
    tell,
    tell_all,
)
from burrline.client import Client
from burrline.models import Alert, Event
from burrline.watch import CursorDamaged, follow

FIRST_PAUSE_SECONDS = 1.0
TRIES = 5
COMMAND_SECONDS = 60.0


def add(verbs: Verbs) -> None:
    group = verbs.group("alerts", "List alerts, or say that one was seen.")
    made = group.add("list", _list, "Show what held, the latest first.")
    made.add_argument("grinder_id", nargs="?", metavar="GRINDER")
    made.add_argument("--site", metavar="SITE", help="only of this site")
    made.add_argument("--kind", metavar="KIND", help="only this kind, such as motor_overheat")
    made.add_argument("--open", action="store_true", help="only what holds now")
    made.add_argument("--from", dest="from_at", type=instant, metavar="INSTANT", help="7 days back")
    made = group.add("acknowledge", _acknowledge, "Say that somebody has seen an alert.")
    made.add_argument("alert_id", metavar="ALERT")
    made = verbs.add(
        "watch",
        _watch,
        "Show alerts as they come, or run a command for each.",
        more="The command gets the event as JSON on standard input, and in its environment\n"
        "ALERT_EVENT_ID ALERT_EVENT (opened, closed, changed) ALERT_ID ALERT_KIND\n"
        "ALERT_SEVERITY ALERT_GRINDER ALERT_SITE ALERT_OPENED_AT ALERT_CLOSED_AT\n"
        "ALERT_IS_LATE ALERT_IS_HELD (quiet hours). When it fails it is run again, up to\n"
        "--tries times; then the watch ends with exit code 75, and with --cursor the next\n"
        "one begins with that event. What came too late to call anybody is passed over.\n"
        "No shell is involved: for a pipe, write sh -c '...'.",
    )
    made.add_argument("--exec", dest="command_line", metavar="COMMAND", help="run it per event")
    made.add_argument("--grinder", action="append", metavar="GRINDER", help="only of these")
    made.add_argument("--kind", action="append", metavar="KIND", help="only of these kinds")
    made.add_argument(
        "--cursor", metavar="FILE", help="go on where the last watch ended; made when missing"
    )
    made.add_argument(
        "--from-first", action="store_true", help="without a cursor: all that was ever told"
    )
    made.add_argument("--late", action="store_true", help="also what came too late to call anybody")
    made.add_argument("--tries", type=int, default=TRIES, metavar="N", help="default %(default)s")
    made.add_argument(
        "--command-seconds",
        type=positive_seconds,
        default=COMMAND_SECONDS,
        metavar="SECONDS",
        help="a command that runs longer has failed (default %(default)s)",
    )
    made.add_argument("--count", type=int, metavar="N", help="end after so many events")


def _list(client: Client, options: argparse.Namespace) -> int:
    found = client.list_alerts(
        grinder_id=options.grinder_id,
        site_id=options.site,
        kind=options.kind,
        state="open" if options.open else None,
        from_at=options.from_at,
        limit=200,
    )
    return tell_all(options, found, alert_line)


def _acknowledge(client: Client, options: argparse.Namespace) -> int:
    alert = client.acknowledge_alert(options.alert_id)
    return tell(options, alert, alert_line(alert))


def _watch(client: Client, options: argparse.Namespace) -> int:
    words = _words(options.command_line)
    done_count = 0
    try:
        events = follow(
            client,
            cursor_path=options.cursor,
            start="first" if options.from_first else "latest",
            kinds=options.kind,
            grinder_ids=options.grinder,
        )
        for event in events:
            if event.is_late and not options.late:
                continue
            if words is None:
                _show(event, options)
            else:
                _run(event, words, options)
            done_count += 1
            if done_count == options.count:
                with suppress(StopIteration):
                    events.send(True)
                break
    except CursorDamaged as error:
        raise Stop(EX_CONFIG, f"burrline watch: {error}") from None
    except OSError as error:
        if isinstance(error, BrokenPipeError) or options.cursor is None:
            raise
        raise Stop(EX_CONFIG, f"burrline watch: {options.cursor}: {error.strerror}") from None
    return EX_OK


def _words(command_line: str | None) -> list[str] | None:
    if command_line is None:
        return None
    try:
        words = shlex.split(command_line)
    except ValueError as error:
        raise Stop(EX_CONFIG, f"burrline watch: --exec: {error}") from None
    if not words:
        raise Stop(EX_CONFIG, "burrline watch: --exec names no command")
    return words


def _run(
    event: Event,
    words: list[str],
    options: argparse.Namespace,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Run the command until it succeeds; Stop when it will not."""
    content = json.dumps(event.to_json()).encode()
    environment = {**os.environ, **environment_of(event)}
    for number in range(max(1, options.tries)):
        if number:
            sleep(min(60.0, FIRST_PAUSE_SECONDS * 2.0 ** (number - 1)))
        try:
            ended = subprocess.run(
                words,
                input=content,
                env=environment,
                timeout=options.command_seconds,
                check=False,
            )
        except FileNotFoundError:
            raise Stop(EX_NOINPUT, f"burrline watch: there is no command {words[0]}") from None
        except PermissionError:
            raise Stop(EX_CONFIG, f"burrline watch: {words[0]} cannot be run") from None
        except subprocess.TimeoutExpired:
            complain(f"burrline watch: {words[0]} took longer than {options.command_seconds:g} s")
            continue
        if ended.returncode == 0:
            return
        complain(f"burrline watch: {words[0]} ended with {ended.returncode}")
    raise Stop(EX_TEMPFAIL, f"burrline watch: gave up on event {event.event_id}")


def environment_of(event: Event) -> dict[str, str]:
    """An event as variables; what it does not tell is empty."""
    data = event.data
    told = {
        "EVENT_ID": event.event_id,
        "EVENT": event.type.rpartition(".")[2],
        "ID": data.get("alert_id"),
        "KIND": data.get("kind"),
        "SEVERITY": data.get("severity"),
        "GRINDER": data.get("grinder_id"),
        "SITE": data.get("site_id"),
        "OPENED_AT": data.get("opened_at"),
        "CLOSED_AT": data.get("closed_at"),
        "IS_LATE": "true" if event.is_late else "false",
        "IS_HELD": "true" if event.is_held else "false",
    }
    return {f"ALERT_{name}": "" if value is None else str(value) for name, value in told.items()}


def _show(event: Event, options: argparse.Namespace) -> None:
    if options.json:
        sys.stdout.write(json.dumps(event.to_json()) + "\n")
    else:
        say(event_line(event))
    sys.stdout.flush()


def event_line(event: Event) -> str:
    data = event.data
    word = event.type.rpartition(".")[2]
    stages = [
        stage for stage in (data.get("from_stage"), data.get("to_stage")) if stage is not None
    ]
    what = data.get("kind") or " -> ".join(stages)
    about = " ".join(
        str(one) for one in (data.get("severity"), what, data.get("grinder_id")) if one is not None
    )
    notes = [name for name in ("late", "held") if getattr(event, f"is_{name}")]
    return f"{format_instant(event.at)} {word} {about}" + (
        f" ({', '.join(notes)})" if notes else ""
    )


def alert_line(alert: Alert) -> str:
    ended = "open" if alert.closed_at is None else f"until {format_instant(alert.closed_at)}"
    seen = "" if alert.acknowledged_at is None else " (seen)"
    name = "" if alert.alert_id is None else f" {alert.alert_id}"
    return (
        f"{format_instant(alert.opened_at)} {alert.severity} {alert.kind} {alert.grinder_id}, "
        f"{ended}{seen}{name}"
    )
