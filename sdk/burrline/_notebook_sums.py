"""From a notebook's lines to one amount per day: sums, repeats, running totals, overlaps."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

MANY_GRAMS_A_DAY = 250_000
FEW_GRAMS_A_DAY = 40
"""Beyond these (common practice, no source) somebody should look twice."""

OUTSIZED = 200.0


@dataclass(frozen=True)
class Entry:
    """Grams of a grinder over whole days, the first and the last included."""

    lines: tuple[int, ...]
    grinder: str | None
    first: date
    last: date
    grams: float
    note: str | None = None
    is_about: bool = False
    identity: tuple[str, str] = ("", "")
    """The line as written and its time of day, by which repeats are known."""
    part: int = 0
    """The line of the title amid the lines under which it stands; 0 where there is none."""

    @property
    def days_words(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first} to {self.last}"


@dataclass(frozen=True)
class LeftOut:
    """A line that is not sent, and why; a fault is one that somebody should mend."""

    line: int
    text: str
    reason: str
    is_fault: bool = False


def added_up(
    entries: Sequence[Entry], left_out: list[LeftOut], *, counts_repeats: bool = False
) -> list[Entry]:
    """One entry for each grinder and stretch; lines that say the same twice count once."""
    groups: dict[tuple[str | None, date, date], list[Entry]] = defaultdict(list)
    for entry in entries:
        group = groups[entry.grinder, entry.first, entry.last]
        same = next((one for one in group if one.identity == entry.identity), None)
        if same is not None and same.lines != entry.lines and not counts_repeats:
            reason = f"says the same as line {same.lines[0]} (--count-repeats counts both)"
            left_out.append(LeftOut(entry.lines[0], entry.identity[0], reason))
        elif group and group[0].part != entry.part and entry.grams:
            reason = (
                f"its day is told in line {group[0].lines[0]} already, and line {entry.part} "
                "begins another part: whose is it? Name grinders there, or in a column"
            )
            left_out.append(LeftOut(entry.lines[0], entry.identity[0], reason, True))
        elif entry.grams == 0:
            left_out.append(LeftOut(entry.lines[0], entry.identity[0], "nothing was ground"))
        else:
            group.append(entry)
    return [_sum_of(group) for group in groups.values() if group]


def _sum_of(group: Sequence[Entry]) -> Entry:
    if len(group) == 1:
        return group[0]
    notes = dict.fromkeys(one.note for one in group if one.note)
    return replace(
        group[0],
        lines=tuple(dict.fromkeys(line for one in group for line in one.lines)),
        grams=round(math.fsum(one.grams for one in group), 3),
        note="; ".join(notes) or None,
        is_about=any(one.is_about for one in group),
    )


def differences(readings: Sequence[Entry], left_out: list[LeftOut]) -> list[Entry]:
    """What lies between the readings of a running total, each taken at the end of its day.

    A reading that stands above the next one although that goes on from the one before is a slip
    and left out; else a total that falls began anew, and nobody knows what lies between.
    """
    ordered = sorted(readings, key=lambda one: (one.last, one.lines))
    found: list[Entry] = []
    before: Entry | None = None
    for place, now in enumerate(ordered):
        after = ordered[place + 1] if place + 1 < len(ordered) else None
        if before is None:
            _leave(left_out, now, "the first reading: the total counts from here on")
        elif after is not None and before.grams <= after.grams < now.grams:
            _leave(left_out, now, "stands above the next reading", is_fault=True)
            continue
        elif now.grams < before.grams:
            reason = f"the total fell from line {before.lines[0]}: it counts anew from here on"
            _leave(left_out, now, reason, is_fault=True)
        elif now.last == before.last:
            found.append(replace(now, grams=round(now.grams - before.grams, 3)))
        else:
            grams = round(now.grams - before.grams, 3)
            found.append(replace(now, first=before.last + timedelta(days=1), grams=grams))
        before = now
    return found


def without_outsized(entries: Sequence[Entry], left_out: list[LeftOut]) -> list[Entry]:
    """Those that are not hundreds of times as much as others, and more than anybody grinds."""
    by_day = {id(one): one.grams / ((one.last - one.first).days + 1) for one in entries}
    least = min(by_day.values(), default=0.0)
    kept = []
    for one in entries:
        grams = by_day[id(one)]
        if grams > MANY_GRAMS_A_DAY and grams > OUTSIZED * least:
            reason = f"{grams / 1000:g} kg in a day, beside {least / 1000:g} kg: are these grams?"
            _leave(left_out, one, reason, is_fault=True)
        else:
            kept.append(one)
    return kept


def without_overlaps(entries: Sequence[Entry], left_out: list[LeftOut]) -> list[Entry]:
    """Those whose days no other line tells as well; a longer stretch gives way to its days."""
    kept: list[Entry] = []
    told: dict[tuple[str | None, int], Entry] = {}
    for entry in sorted(entries, key=lambda one: (one.last - one.first, one.lines)):
        days = [
            (entry.grinder, day)
            for day in range(entry.first.toordinal(), entry.last.toordinal() + 1)
        ]
        # each once, in the order of their days
        within = [*{id(told[day]): told[day] for day in days if day in told}.values()]
        if not within:
            kept.append(entry)
            told.update(dict.fromkeys(days, entry))
            continue
        is_sum = math.isclose(math.fsum(one.grams for one in within), entry.grams, abs_tol=0.5)
        lines = ", ".join(str(one.lines[0]) for one in within[:4])
        many = f"line{'s' if len(within) > 1 else ''} {lines}{', ...' if len(within) > 4 else ''}"
        reason = f"the sum of {many}" if is_sum else f"some of its days are told by {many} as well"
        _leave(left_out, entry, reason, is_fault=not is_sum)
    return kept


def _leave(left_out: list[LeftOut], entry: Entry, reason: str, *, is_fault: bool = False) -> None:
    left_out.append(LeftOut(entry.lines[0], entry.identity[0], reason, is_fault))


def unlikely(entries: Sequence[Entry]) -> list[str]:
    """Cautions where so much, or so little, of a day rather tells of another unit.

    >>> unlikely([Entry((2,), None, date(2026, 3, 1), date(2026, 3, 1), 4_200_000.0)])
    ['line 2: 4200 kg in a day: are these grams?']
    """
    by_day = [(one, one.grams / ((one.last - one.first).days + 1)) for one in entries]
    many = [one for one in by_day if one[1] > MANY_GRAMS_A_DAY]
    found = [
        f"line {one.lines[0]}: {grams / 1000:g} kg in a day: are these grams?"
        for one, grams in many[:1]
    ]
    if by_day and all(grams < FEW_GRAMS_A_DAY for _, grams in by_day):
        found.append("less than two doses on every day: are these kilograms?")
    return found
