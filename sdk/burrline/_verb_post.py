"""The verb ``post``: one run, a file of runs, or runs as they end, through a spool or not."""

from __future__ import annotations

import argparse
from typing import Any

from burrline import _verb_spool
from burrline._batches import merge
from burrline._lines import read_lines
from burrline._progress import Progress
from burrline._terminal import (
    EX_DATAERR,
    EX_OK,
    EX_USAGE,
    Stop,
    Verbs,
    attribute,
    complain,
    content_of,
    instant,
    say,
    say_json,
)
from burrline.client import Client
from burrline.models import RunBatchOutcome

STEP_COUNT = 5000
"""Runs between two looks at the bar."""

NUMBER_FLAGS = {
    "grams": "what was ground",
    "seconds": "how long the motor ran",
    "setting": "grind setting",
    "motor-celsius": "motor temperature at the run's end",
    "ambient-celsius": "temperature of the room",
    "rpm": "speed of the burrs",
    "energy-joules": "energy drawn",
    "age-seconds": "seconds since the run began, instead of --started-at",
}
WORD_FLAGS = {
    "run-id": "id of the run; left out, a fresh one",
    "grams-basis": "weighed_out, weighed_in, target or estimated",
    "feed": "hopper or single_dose",
    "purpose": "service, break_in, dial_in, measurement, purge or cleaning",
    "coffee-lot": "what coffee",
    "source": "which device tells this",
}


def add(verbs: Verbs) -> None:
    post = verbs.add("post", _post, "Record one run, or a file of runs.")
    post.add_argument("grinder_id", nargs="?", metavar="GRINDER")
    for flag, text in NUMBER_FLAGS.items():
        post.add_argument(f"--{flag}", type=float, metavar="N", help=text)
    for flag, text in WORD_FLAGS.items():
        post.add_argument(f"--{flag}", metavar="TEXT", help=text)
    post.add_argument("--started-at", type=instant, metavar="INSTANT", help="RFC 3339")
    post.add_argument("--file", metavar="FILE", help="one JSON object per line; - for stdin")
    post.add_argument(
        "--stdin",
        action="store_true",
        help="runs as they end, one JSON object per line, each through the spool",
    )
    post.add_argument(
        "--spool",
        nargs="?",
        const="",
        metavar="FILE",
        help="put it on disk first; exit code 75: there it is, and will be sent another time",
    )


def _post(client: Client, options: argparse.Namespace) -> int:
    named = {
        name: getattr(options, name)
        for name in (*map(attribute, (*NUMBER_FLAGS, *WORD_FLAGS)), "started_at")
        if getattr(options, name) is not None
    }
    if (options.grinder_id is not None) + (options.file is not None) + options.stdin != 1:
        raise Stop(EX_USAGE, "burrline post: name a grinder, or a --file of runs, or --stdin")
    if options.stdin and not named:
        return _verb_spool.post_stream(client, options)
    if options.grinder_id is not None and options.spool is not None:
        run = {"grinder_id": options.grinder_id, **named}
        options.spool = options.spool or None
        return _verb_spool.post_one(client, options, run)
    if options.grinder_id is not None:
        outcome = client.add_run(grinder_id=options.grinder_id, **named)
        if options.json:
            say_json(outcome.to_json())
        elif not options.quiet:
            say(f"{outcome.run_id} {outcome.outcome}")
            for finding in outcome.findings:
                say(f"  {finding.code}: {finding.detail}")
        return EX_OK
    if named:
        raise Stop(EX_USAGE, "burrline post: with --file or --stdin, the values come from there")
    if options.spool is not None:
        raise Stop(EX_USAGE, "burrline post: --spool goes with a grinder or with --stdin")
    return _post_file(client, options)


def _post_file(client: Client, options: argparse.Namespace) -> int:
    lines, faults = read_lines(content_of(options.file))
    outcome = _sent(client, [run for _, run in lines])
    told = list(faults)
    for problem in outcome.problems:
        details = "; ".join(f"{one.pointer or ''} {one.detail}".strip() for one in problem.errors)
        told.append((lines[problem.index][0], f"{problem.run_id} {problem.outcome}: {details}"))
    for number, detail in sorted(told):
        complain(f"line {number}: {detail}")
    if options.json:
        say_json({**outcome.to_json(), "unreadable": len(faults)})
    elif not options.quiet:
        say(_summary(outcome, len(faults)))
    return EX_DATAERR if faults or outcome.rejected or outcome.conflicts else EX_OK


def _sent(client: Client, runs: list[dict[str, Any]]) -> RunBatchOutcome:
    """All runs, some at a time, so that a bar can tell how far they are."""
    merged = client.add_runs(runs[:STEP_COUNT])
    with Progress(len(runs)) as progress:
        for first in range(STEP_COUNT, len(runs), STEP_COUNT):
            progress.advance(STEP_COUNT)
            outcome = client.add_runs(runs[first : first + STEP_COUNT])
            merged = merge(merged, outcome, first, "runs")
    return merged


def _summary(outcome: RunBatchOutcome, unreadable_count: int) -> str:
    return (
        f"{outcome.received + unreadable_count} runs: {outcome.accepted} accepted, "
        f"{outcome.duplicates} known before, {outcome.conflicts} in conflict, "
        f"{outcome.rejected + unreadable_count} refused"
    )
