"""The quick way from a line of a batch to its run, for lines nothing can be said against.

The schema is the contract: what is checked here is read off it once, and a line is taken only
when the schema would surely give the same run. Any other line, wrong or merely unusual, is left
to the schema itself, so that what it says and what it makes of a value are its own.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

from marshmallow import Schema, missing, validate

from ..core.records import Run
from .checks import FullMatch
from .device_clock import DeviceClock, placed
from .fields import Choice, Instant, StrictFloat, Text
from .instants import EARLIEST, LATEST

# Narrower than RFC 3339 and what `read_instant` takes: no leap second, no lower-case letters.
# The hour and the offset are bounded here, as not every Python refuses the same ones.
_PLAIN_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]{1,9})?"
    r"(?:Z|[+-](?:[01][0-9]|2[0-3]):[0-5][0-9])"
)
_TIMES = ("started_at", "age_seconds", "uptime_seconds")
_TOLD_BY_DEVICE = ("age_seconds", "uptime_seconds", "boot_id")
_NUMBERS = frozenset((float, int))
_TEXTS = frozenset((str,))
_LEFT_OUT = {member.name: member.default for member in dataclasses.fields(Run)}


class Plan(NamedTuple):
    """What the members of a line are held to, by kind of member."""

    numbers: Mapping[str, tuple[float, float]]
    texts: Mapping[str, Callable[[str], object]]
    words: Mapping[str, frozenset[str]]
    instants: frozenset[str]
    nullable: frozenset[str]
    required: frozenset[str]


def plan_of(schema: Schema) -> Plan:
    """The checks that a schema's fields make; a field of another make has no place here."""
    numbers: dict[str, tuple[float, float]] = {}
    texts: dict[str, Callable[[str], object]] = {}
    words: dict[str, frozenset[str]] = {}
    instants = set()
    for name, field in schema.load_fields.items():
        checks = list(field.validators)
        if field.load_default is not missing or field.data_key not in (None, name):
            continue
        if type(field) is Instant and not checks:
            instants.add(name)
        elif type(field) is StrictFloat and len(checks) == 1:
            (bounds,) = checks
            if type(bounds) is validate.Range and _is_closed(bounds):
                numbers[name] = (bounds.min, bounds.max)
        elif type(field) is Choice and len(checks) == 1 and type(checks[0]) is validate.OneOf:
            words[name] = frozenset(checks[0].choices)
        elif type(field) is Text and checks:
            matches = [_whole_text(check) for check in checks]
            if all(matches):
                texts[name] = _all_of([match for match in matches if match is not None])
    kept = {*numbers, *texts, *words, *instants}
    return Plan(
        numbers,
        texts,
        words,
        frozenset(instants),
        frozenset(name for name in kept if schema.load_fields[name].allow_none),
        frozenset(name for name, field in schema.load_fields.items() if field.required),
    )


def quick_runs(
    plan: Plan, lines: Sequence[Any], clock: DeviceClock | None = None
) -> list[Run | None]:
    """The run of each line, or None where only the schema can tell.

    Lines with the same members go through the checks together, member by member; where one of
    them is doubtful, each of them alone.
    """
    runs: list[Run | None] = [None] * len(lines)
    alike: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for index, line in enumerate(lines):
        if type(line) is dict:
            alike[tuple(line)].append(index)
    for names, places in alike.items():
        group = [lines[index] for index in places]
        made: Sequence[Run | None] | None = _together(plan, names, group)
        if made is None:
            made = [_alone(plan, line, clock) for line in group]
        for index, run in zip(places, made, strict=True):
            runs[index] = run
    return runs


def _together(
    plan: Plan, names: tuple[str, ...], group: Sequence[dict[str, Any]]
) -> list[Run] | None:
    """The runs of lines with these members, or None when any line is doubtful."""
    if not plan.required.issubset(names) or ("seconds" not in names and "grams" not in names):
        return None
    told: dict[str, Sequence[Any]] = {}
    columns = zip(*(line.values() for line in group), strict=True)
    for name, column in zip(names, columns, strict=True):
        kinds = set(map(type, column))
        values: Sequence[Any] | None = None
        if kinds <= _NUMBERS:
            values = _numbers(plan.numbers.get(name), column)
        elif kinds == _TEXTS:
            values = _texts(plan, name, column)
        if values is None:
            return None
        told[name] = values
    if not told.keys().isdisjoint(_TOLD_BY_DEVICE):
        return None
    members = tuple(told)
    return [_run(zip(members, values, strict=True)) for values in zip(*told.values(), strict=True)]


def _numbers(bounds: tuple[float, float] | None, column: Sequence[Any]) -> list[float] | None:
    if bounds is None or not (bounds[0] <= min(column) and max(column) <= bounds[1]):
        return None
    if math.isnan(sum(column)):  # `min` and `max` may pass NaN by
        return None
    return [value + 0.0 for value in column]


def _texts(plan: Plan, name: str, column: Sequence[Any]) -> Sequence[Any] | None:
    if name in plan.texts:
        return column if all(map(plan.texts[name], set(column))) else None
    if name in plan.instants:
        instants = [plain_instant(text) for text in column]
        return None if None in instants else instants
    return column if name in plan.words and plan.words[name].issuperset(column) else None


def _alone(plan: Plan, line: dict[str, Any], clock: DeviceClock | None) -> Run | None:
    """The run of one line; a member that is null counts as left out where it may be null."""
    told: dict[str, Any] = {}
    for name, value in line.items():
        kind = type(value)
        taken: Sequence[Any] | None = None
        if kind is str:
            taken = _texts(plan, name, (value,))
        elif kind in _NUMBERS:
            taken = _numbers(plan.numbers.get(name), (value,))
        elif value is None and name in plan.nullable:
            continue
        if taken is None:
            return None
        told[name] = taken[0]
    if not plan.required <= told.keys() or ("seconds" not in told and "grams" not in told):
        return None
    if sum(name in told for name in _TIMES) > 1:
        return None
    if "uptime_seconds" in told and "boot_id" not in told:
        return None
    return _run(placed(told, clock).items())


def _run(members: Iterable[tuple[str, Any]]) -> Run:
    """A run of checked members: as its own constructor makes it, in a quarter of the time."""
    run = object.__new__(Run)
    run.__dict__.update(_LEFT_OUT)
    run.__dict__.update(members)
    return run


def plain_instant(text: str) -> datetime | None:
    """The instant of a text in the common form; None where it has to be read with more care."""
    match = _PLAIN_INSTANT.fullmatch(text)
    if match is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    if not EARLIEST.year < at.year < LATEST.year:
        return None
    if match.end(1) - match.start(1) > 4:
        at = at.replace(microsecond=at.microsecond // 1000 * 1000)
    return at if at.tzinfo is UTC else at.astimezone(UTC)


def _is_closed(bounds: validate.Range) -> bool:
    has_both = bounds.min is not None and bounds.max is not None
    return has_both and bounds.min_inclusive and bounds.max_inclusive


def _whole_text(check: Any) -> Callable[[str], object] | None:
    if type(check) is FullMatch:
        return re.compile(check.pattern, re.ASCII).fullmatch
    if type(check) is validate.Length and check.equal is None:
        low, high = check.min or 0, "" if check.max is None else check.max
        return re.compile(f".{{{low},{high}}}", re.DOTALL).fullmatch
    return None


def _all_of(matches: list[Callable[[str], object]]) -> Callable[[str], object]:
    if len(matches) == 1:
        return matches[0]
    return lambda text: all(match(text) for match in matches) or None
