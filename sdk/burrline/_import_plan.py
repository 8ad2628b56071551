"""What importing a notebook would record, held against what is recorded already."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from burrline import errors
from burrline._convert import format_instant
from burrline._notebook import MOST_DAYS, Entry
from burrline._notebook_cells import plain
from burrline.client import Client
from burrline.models import Grinder, Tally

NEW, KNOWN, CONFLICT, VOIDED = "new", "known", "conflict", "voided"
RECORDED, REFUSED = "recorded", "refused"
MOST_NOTE_CHARACTERS = 1000


@dataclass
class Step:
    """One tally to be: what it would say, how it stands to what is recorded, what became of it."""

    entry: Entry
    fields: dict[str, Any]
    outcome: str = NEW
    detail: str = ""
    replaces: str | None = None
    is_voided: bool = False
    """Whether what it replaces is voided, so that its days count nothing until it is recorded."""

    def to_json(self) -> dict[str, Any]:
        said = {**self.fields}
        return {
            "lines": list(self.entry.lines),
            "tally_id": said["tally_id"],
            "grinder_id": said["grinder_id"],
            "from": format_instant(said["from_at"]),
            "to": format_instant(said["to_at"]),
            **{name: said[name] for name in ("grams", "basis", "purpose", "note")},
            "outcome": self.outcome,
            "detail": self.detail or None,
        }


class UnknownGrinder(ValueError):
    """A notebook names a grinder that the service does not have, or names none."""


def owners(
    entries: Iterable[Entry], grinders: Sequence[Grinder], told: Sequence[str]
) -> dict[str | None, str]:
    """Whose the entries are: a grinder's id for each name in the notebook.

    ``told`` is ``ID`` for entries without a name, or ``NAME=ID``.
    """
    ids = {one.grinder_id for one in grinders}
    named = _named(grinders)
    alone, mapped = _mapped(told)
    for grinder_id in (*mapped.values(), *([] if alone is None else [alone])):
        if grinder_id not in ids:
            raise UnknownGrinder(f"there is no grinder {grinder_id!r}")
    found: dict[str | None, str] = {}
    for entry in entries:
        called = entry.grinder
        if called in found:
            continue
        if called is None:
            if alone is None:
                raise UnknownGrinder(
                    f"line {entry.lines[0]} names no grinder: say whose it is by --grinder ID"
                )
            found[called] = alone
            continue
        name = plain(called)
        matching = {mapped[name]} if name in mapped else named.get(name, set())
        if name not in mapped and alone is not None and matching - {alone}:
            raise UnknownGrinder(
                f"line {entry.lines[0]}: {called!r} is another grinder than {alone}: leave out "
                f"--grinder {alone}, or say --grinder '{called}=ID'"
            )
        if len(matching) != 1:
            what = "more than one grinder is" if matching else "no grinder is"
            raise UnknownGrinder(
                f"line {entry.lines[0]}: {what} called {called!r}: say --grinder '{called}=ID'"
            )
        found[called] = next(iter(matching))
    return found


def names_of(grinders: Sequence[Grinder], told: Sequence[str]) -> dict[str | None, str]:
    """Whose each name is, and whose what has none, as far as that is plain."""
    alone, mapped = _mapped(told)
    found: dict[str | None, str] = {
        name: next(iter(ids)) for name, ids in _named(grinders).items() if len(ids) == 1
    }
    found.update(mapped)
    if alone is not None:
        found[None] = alone
    return found


def _named(grinders: Sequence[Grinder]) -> dict[str, set[str]]:
    named: dict[str, set[str]] = defaultdict(set)
    for one in grinders:
        named[plain(one.grinder_id)].add(one.grinder_id)
        named[plain(one.name)].add(one.grinder_id)
    return named


def _mapped(told: Sequence[str]) -> tuple[str | None, dict[str, str]]:
    """``ID`` and ``NAME=ID`` as the command line tells them."""
    alone, mapped = None, {}
    for text in told:
        name, is_mapping, grinder_id = text.rpartition("=")
        if is_mapping:
            mapped[plain(name)] = grinder_id
        else:
            alone = grinder_id
    return alone, mapped


def zone_of(client: Client, grinder: Grinder) -> ZoneInfo:
    name = client.get_site(grinder.site_id).time_zone
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise UnknownGrinder(
            f"this machine does not know the time zone {name!r} (pip install tzdata)"
        ) from None


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The instant a local day begins; where its midnight is skipped, that of the jump.

    >>> midnight(date(2026, 3, 1), ZoneInfo("Europe/Oslo"))
    datetime.datetime(2026, 2, 28, 23, 0, tzinfo=datetime.timezone.utc)
    """
    local = datetime(day.year, day.month, day.day, tzinfo=zone)
    return local.astimezone(timezone.utc)


def steps_of(
    entries: Sequence[Entry],
    owner: Mapping[str | None, str],
    zones: Mapping[str, ZoneInfo],
    *,
    basis: str,
    purpose: str,
) -> list[Step]:
    """A tally for each entry; its id is made of grinder and days, so that twice is once."""
    steps = []
    for entry in entries:
        grinder_id = owner[entry.grinder]
        zone = zones[grinder_id]
        days = str(entry.first) + ("" if entry.last == entry.first else f":{entry.last}")
        fields = {
            "tally_id": f"notebook:{grinder_id}:{days}",
            "grinder_id": grinder_id,
            "from_at": midnight(entry.first, zone),
            "to_at": midnight(entry.last + timedelta(days=1), zone),
            "grams": entry.grams,
            "basis": "estimated" if entry.is_about else basis,
            "purpose": purpose,
            "note": entry.note and entry.note[:MOST_NOTE_CHARACTERS],
        }
        steps.append(Step(entry, fields))
    return steps


def held_against(steps: Sequence[Step], tallies: Sequence[Tally], *, is_replacing: bool) -> None:
    """Tell for each step of one grinder whether it is new, known, voided or in conflict."""
    versions: dict[str, dict[int, Tally]] = defaultdict(dict)
    for tally in tallies:
        base, number = version_of(tally.tally_id)
        versions[base][number] = tally
    by_day = _by_day(tallies, steps)
    for step in steps:
        base = step.fields["tally_id"]
        ours = versions.get(base, {})
        live = [tally for tally in ours.values() if tally.voided_at is None]
        other = next(
            (
                tally
                for day in _days_of(step.fields["from_at"], step.fields["to_at"])
                for tally in by_day.get(day, ())
                if version_of(tally.tally_id)[0] != base
                and tally.from_at < step.fields["to_at"]
                and step.fields["from_at"] < tally.to_at
            ),
            None,
        )
        if any(_is_same(tally, step) for tally in live):
            step.outcome = KNOWN
        elif other is not None:
            step.outcome = CONFLICT
            step.detail = f"tally {other.tally_id} tells some of this time already"
        elif live and not is_replacing:
            step.outcome, step.detail = CONFLICT, _difference(live[0], step)
        elif (
            ours and not live and not is_replacing and any(_is_same(o, step) for o in ours.values())
        ):
            step.outcome, step.detail = VOIDED, "was voided; --replace records it again"
        elif ours:
            step.replaces = live[0].tally_id if live else None
            step.fields["tally_id"] = f"{base}.{max(ours) + 1}"


def _by_day(tallies: Sequence[Tally], steps: Sequence[Step]) -> dict[int, list[Tally]]:
    """The tallies that count, by the days (of UTC) they tell of, as far as steps go."""
    from_at = min(step.fields["from_at"] for step in steps)
    to_at = max(step.fields["to_at"] for step in steps)
    found: dict[int, list[Tally]] = defaultdict(list)
    for tally in tallies:
        if tally.voided_at is None and tally.from_at < to_at and from_at < tally.to_at:
            for day in _days_of(max(tally.from_at, from_at), min(tally.to_at, to_at)):
                found[day].append(tally)
    return found


def _days_of(from_at: datetime, to_at: datetime) -> range:
    return range(from_at.toordinal(), to_at.toordinal() + 1)


def tallies_around(client: Client, grinder_id: str, steps: Sequence[Step]) -> list[Tally]:
    """The grinder's tallies that may tell of the same time."""
    from_at = min(step.fields["from_at"] for step in steps) - timedelta(days=MOST_DAYS + 1)
    to_at = max(step.fields["to_at"] for step in steps)
    return [*client.list_tallies(grinder_id, from_at=from_at, to_at=to_at, limit=200)]


def record(client: Client, steps: Sequence[Step]) -> None:
    """Record steps that are new, in one go; what one replaces is voided first.

    Sent again, or killed in between and imported again, each counts once.
    """
    sent = [step for step in steps if _is_voided(client, step)]
    outcome = client.add_tallies([step.fields for step in sent])
    for step in sent:
        step.outcome = RECORDED
    for problem in outcome.problems:
        step = sent[problem.index]
        step.outcome = CONFLICT if problem.outcome == "conflict" else REFUSED
        step.detail = "; ".join(fault.detail for fault in problem.errors)


def _is_voided(client: Client, step: Step) -> bool:
    """Void what a step replaces; False where the service will not have that."""
    if step.replaces is None:
        return True
    try:
        client.void_tally(step.replaces)
        step.is_voided = True
    except errors.ClientError as error:
        if isinstance(error, (errors.AuthenticationError, errors.RateLimited)):
            raise
        step.outcome, step.detail = REFUSED, str(error)
        return False
    return True


def version_of(tally_id: str) -> tuple[str, int]:
    """Whose version a notebook's tally is, and the number of it: 1 for the first."""
    found = re.fullmatch(r"(notebook:.+)\.(\d{1,6})", tally_id)
    return (tally_id, 1) if found is None else (found[1], int(found[2]))


def _is_same(tally: Tally, step: Step) -> bool:
    said = step.fields
    return (
        abs(tally.grams - said["grams"]) < 0.0006
        and tally.from_at == said["from_at"]
        and tally.to_at == said["to_at"]
        and tally.basis == said["basis"]
        and tally.purpose == said["purpose"]
        and (tally.note or None) == (said["note"] or None)
    )


def _difference(tally: Tally, step: Step) -> str:
    said = step.fields
    if abs(tally.grams - said["grams"]) >= 0.0006:
        was = f"{tally.grams / 1000:g} kg are recorded"
    elif (tally.from_at, tally.to_at) != (said["from_at"], said["to_at"]):
        was = "recorded by another time zone"
    else:
        was = "recorded with another note, basis or purpose"
    return f"{was}; --replace voids that and records this"
