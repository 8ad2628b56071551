"""What ``burrline import`` does: a notebook of past kilograms becomes tallies."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import Any

from burrline._import_cautions import cautions_of
from burrline._import_plan import (
    CONFLICT,
    NEW,
    RECORDED,
    REFUSED,
    Step,
    UnknownGrinder,
    held_against,
    names_of,
    owners,
    record,
    steps_of,
    tallies_around,
    zone_of,
)
from burrline._notebook import LeftOut, Notebook, Question, Settings, Unreadable, read_notebook
from burrline._notebook_sums import unlikely
from burrline._progress import Progress
from burrline._terminal import (
    EX_DATAERR,
    EX_OK,
    EX_USAGE,
    Stop,
    complain,
    content_of,
    say,
    say_json,
)
from burrline._verb_import import month_of
from burrline.client import Client

STEPS_AT_ONCE = 250
"""Tallies of one request: few enough that a bar moves, many enough to be quick."""


MEANINGS: dict[str, dict[str, bool]] = {
    "is_day_first": {"day": True, "month": False},
    "is_year_first": {"yes": True, "no": False},
    "is_serial": {"yes": True, "no": False},
    "is_running_total": {"total": True, "day": False},
}
"""What an answer means to a setting, where that is not the answer itself."""


def import_notebook(client: Client, options: argparse.Namespace) -> int:
    """Read, show, ask, record; gives the exit code."""
    content = content_of(options.file)
    is_asking = sys.stdin.isatty() and options.file != "-" and not (options.yes or options.json)
    grinders = [*client.list_grinders(limit=200)]
    names = [name for one in grinders for name in (one.grinder_id, one.name)]
    names += [text.rpartition("=")[0] for text in options.grinders if "=" in text]
    try:
        whose = names_of(grinders, options.grinders)
        notebook = _read(content, options, names, whose, is_asking=is_asking)
        owner = owners(notebook.entries, grinders, options.grinders)
        used = {one.grinder_id: one for one in grinders if one.grinder_id in owner.values()}
        zones = {grinder_id: zone_of(client, one) for grinder_id, one in used.items()}
    except Unreadable as error:
        raise Stop(EX_DATAERR, f"burrline: {options.file}: {error}") from None
    except (Question, UnknownGrinder) as error:
        raise Stop(EX_USAGE, f"burrline: {options.file}: {error}") from None
    steps = steps_of(notebook.entries, owner, zones, basis=options.basis, purpose=options.purpose)
    now = datetime.now(timezone.utc)
    early = [step for step in steps if step.fields["to_at"] > now]
    steps = [step for step in steps if step not in early]
    left_out = [LeftOut(one.entry.lines[-1], "", "the day is not over yet") for one in early]
    notebook = replace(notebook, left_out=(*notebook.left_out, *left_out))
    cautions: list[str] = []
    for grinder_id in used:
        own = [step for step in steps if step.fields["grinder_id"] == grinder_id]
        if not own:
            continue
        tallies = tallies_around(client, grinder_id, own)
        held_against(own, tallies, is_replacing=options.replace)
        cautions += cautions_of(client, grinder_id, own, tallies)
    cautions += unlikely(notebook.entries)
    if not options.json and not options.quiet:
        _show(notebook, steps, cautions)
    new = [step for step in steps if step.outcome == NEW]
    if new and not options.dry_run:
        _send(client, options, new, is_asking=is_asking)
    return _told(options, notebook, steps, cautions)


def _read(
    content: bytes,
    options: argparse.Namespace,
    names: Sequence[str],
    whose: Mapping[str | None, str],
    *,
    is_asking: bool,
) -> Notebook:
    """The notebook, with what only a person can tell asked for where one is there."""
    settings = Settings(
        is_day_first=options.is_day_first,
        is_year_first=options.is_year_first,
        unit=options.unit,
        year=options.year,
        decimal_mark=options.decimal_mark,
        is_running_total=options.is_running_total,
        columns=tuple(options.columns),
        counts_repeats=options.count_repeats,
        month=options.month,
        date_column=options.date_column,
        is_serial=options.is_serial,
    )
    # days that are not over by a site's own clock are left out later
    tomorrow = datetime.now().astimezone().date() + timedelta(days=1)
    while True:
        try:
            return read_notebook(content, settings, today=tomorrow, known_names=names, owners=whose)
        except Question as question:
            if not is_asking:
                raise
            given = {question.name: _answer(question)}
            settings = replace(settings, **given)


def _answer(question: Question) -> Any:
    answers = f" [{'/'.join(question.answers)}]" if question.answers else ""
    said = _asked(f"{question.text}{answers} ")
    if question.name == "year":
        if said.isdigit() and len(said) == 4:
            return int(said)
        raise question
    if question.name == "columns":
        return tuple(one.strip() for one in said.split(","))
    if question.name == "month":
        try:
            return month_of(said)
        except argparse.ArgumentTypeError:
            raise question from None
    if said not in question.answers:
        raise question
    return MEANINGS.get(question.name, {}).get(said, said)


def _asked(text: str) -> str:
    sys.stderr.write(text)
    sys.stderr.flush()
    return sys.stdin.readline().strip()


def _send(
    client: Client, options: argparse.Namespace, new: Sequence[Step], *, is_asking: bool
) -> None:
    if not options.yes:
        if not is_asking:
            raise Stop(EX_USAGE, "burrline import: nothing was sent; --yes sends, --dry-run shows")
        try:
            said = _asked(f"Record {len(new)} tallies, {_kilograms(new)} kg? [y/N] ")
        except KeyboardInterrupt:
            complain("\nburrline import: nothing was sent")
            raise
        if said.casefold() not in ("y", "yes"):
            raise Stop(EX_USAGE, "burrline import: nothing was sent")
    try:
        with Progress(len(new)) as progress:
            for first in range(0, len(new), STEPS_AT_ONCE):
                steps = new[first : first + STEPS_AT_ONCE]
                record(client, steps)
                progress.advance(len(steps))
    except BaseException:  # Ctrl-C too: what is done stays done
        done = sum(step.outcome == RECORDED for step in new)
        complain(
            f"burrline: {done} of {len(new)} are known to be recorded; import it again for the rest"
        )
        bare = sum(step.is_voided and step.outcome != RECORDED for step in new)
        if bare:
            complain(f"burrline: of {bare} more what was recorded before is voided already")
        raise


def _told(
    options: argparse.Namespace,
    notebook: Notebook,
    steps: Sequence[Step],
    cautions: Sequence[str],
) -> int:
    counts = Counter(step.outcome for step in steps)
    faults = [one for one in notebook.left_out if one.is_fault]
    if options.json:
        say_json(
            {
                "is_dry_run": options.dry_run,
                "tallies": [step.to_json() for step in steps],
                "left_out": [vars(one) for one in notebook.left_out],
                "understood": list(notebook.facts),
                "cautions": list(cautions),
            }
        )
    else:
        for one in faults if options.quiet else ():
            complain(f"line {one.line}: {one.reason}")
        for step in steps:
            if step.outcome in (CONFLICT, REFUSED):
                complain(f"line {step.entry.lines[0]}: {step.outcome}: {step.detail}")
        if not options.quiet:
            told = ", ".join(f"{count} {outcome}" for outcome, count in counts.items())
            dry = " (dry run: nothing was sent)" if options.dry_run else ""
            say(f"{told or 'nothing to record'}{dry}")
    is_bad = faults or counts[CONFLICT] or counts[REFUSED]
    return EX_DATAERR if is_bad else EX_OK


def _show(notebook: Notebook, steps: Sequence[Step], cautions: Sequence[str]) -> None:
    say("understood:")
    for fact in notebook.facts:
        say(f"  {fact}")
    rows = [
        (
            ",".join(map(str, step.entry.lines[:3])) + ("..." if step.entry.lines[3:] else ""),
            step.fields["grinder_id"],
            step.entry.days_words,
            f"{step.fields['grams'] / 1000:.3f}",
            step.outcome + (" (about)" if step.entry.is_about else ""),
            step.fields["note"] or "",
        )
        for step in steps
    ]
    table = [("line", "grinder", "days", "kg", "", "note"), *rows]
    widths = [max(len(row[n]) for row in table) for n in range(6)]
    for row in table:
        cells = [
            cell.rjust(width) if n == 3 else cell.ljust(width)
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        say("  ".join(cells).rstrip())
    say(f"{len(steps)} tallies, {_kilograms(steps)} kg in all")
    if notebook.left_out:
        say("left out:")
    for one in notebook.left_out:
        say(f"  line {one.line}: {one.reason}{'  <-- mend this' if one.is_fault else ''}")
    for caution in cautions:
        say(f"caution: {caution}")


def _kilograms(steps: Sequence[Step]) -> str:
    return f"{sum(step.fields['grams'] for step in steps) / 1000:.3f}"
