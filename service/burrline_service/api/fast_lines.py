"""The quick way from a line of a batch to its run, for lines nothing can be said against.

The schema is the contract: what is checked here is read off it once, and a line is taken only
when the schema would surely give the same run. Any other line, wrong or merely unusual, is left
to the schema itself, so that what it says and what it makes of a value are its own.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

from marshmallow import Schema, missing, validate

from ..core.records import Run
from ..core.run_columns import RunColumns
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
_COMMON_INSTANT = (
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](?:\.[0-9]{3})?Z"
)
_COMMON_INSTANTS = re.compile(rf"{_COMMON_INSTANT}(?:\n{_COMMON_INSTANT})*")
_PLAIN_SETS = re.compile(r"(?:\[[A-Za-z0-9._:-]+\](?:\{[0-9,]+\}|[*+])?)+")  # match no line's end
_TIMES = ("started_at", "age_seconds", "uptime_seconds")
_TOLD_BY_DEVICE = frozenset(("age_seconds", "uptime_seconds", "boot_id"))
_NUMBERS = frozenset((float, int))
_TEXTS = frozenset((str,))


class Plan(NamedTuple):
    """What the members of a line are held to, by kind of member."""

    numbers: Mapping[str, tuple[float, float]]
    texts: Mapping[str, Callable[[Sequence[str]], bool]]
    words: Mapping[str, frozenset[str]]
    instants: frozenset[str]
    nullable: frozenset[str]
    required: frozenset[str]


def plan_of(schema: Schema) -> Plan:
    """The checks that a schema's fields make; a field of another make has no place here."""
    numbers: dict[str, tuple[float, float]] = {}
    texts: dict[str, Callable[[Sequence[str]], bool]] = {}
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
            matches = [_whole_texts(check) for check in checks]
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
) -> RunColumns | list[Run | None]:
    """All the runs as columns, or the run of each line, with None where only the schema can tell.

    Lines with the same members go through the checks together, member by member; where one of
    them is doubtful, each of them alone.
    """
    alike: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for index, line in enumerate(lines):
        if type(line) is dict:
            alike[tuple(line)].append(index)
    made: list[tuple[list[int], RunColumns | list[Run | None]]] = []
    for names, places in alike.items():
        group = lines if len(places) == len(lines) else [lines[index] for index in places]
        made.append(
            (places, _together(plan, names, group) or [_alone(plan, one, clock) for one in group])
        )
    whole = [(places, runs) for places, runs in made if isinstance(runs, RunColumns)]
    if sum(len(places) for places, _ in whole) == len(lines):
        return whole[0][1] if len(whole) == 1 else RunColumns.joined(len(lines), whole)
    found: list[Run | None] = [None] * len(lines)
    for places, runs in made:
        for index, run in zip(places, runs, strict=True):
            found[index] = run
    return found


def _together(
    plan: Plan, names: tuple[str, ...], group: Sequence[dict[str, Any]]
) -> RunColumns | None:
    """The runs of lines with these members, or None when any line is doubtful."""
    if not plan.required.issubset(names) or ("seconds" not in names and "grams" not in names):
        return None
    if not _TOLD_BY_DEVICE.isdisjoint(names):
        return None
    told: dict[str, Sequence[Any]] = {}
    columns = zip(*map(dict.values, group), strict=True)
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
    return RunColumns(len(group), told)


def _numbers(bounds: tuple[float, float] | None, column: Sequence[Any]) -> list[float] | None:
    if bounds is None or not (bounds[0] <= min(column) and max(column) <= bounds[1]):
        return None
    if math.isnan(sum(column)):  # `min` and `max` may pass NaN by
        return None
    return [value + 0.0 for value in column]


def _texts(plan: Plan, name: str, column: Sequence[Any]) -> Sequence[Any] | None:
    if name in plan.texts:
        return column if plan.texts[name](column) else None
    if name in plan.instants:
        return plain_instants(column)
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
    return RunColumns(1, {name: (value,) for name, value in placed(told, clock).items()})[0]


def plain_instants(texts: Sequence[str]) -> Sequence[datetime] | None:
    """The instants of texts in the common form; None where one needs to be read with more care."""
    if _COMMON_INSTANTS.fullmatch("\n".join(texts)):  # not one of them can hold a line's end
        try:
            instants = [datetime.fromisoformat(text) for text in texts]
        except ValueError:
            return None
        if min(instants) >= EARLIEST and max(instants) < LATEST:
            return instants
    with_care = [plain_instant(text) for text in texts]
    return None if None in with_care else with_care  # type: ignore[return-value]


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


def _whole_texts(check: Any) -> Callable[[Sequence[str]], bool] | None:
    """Whether all texts of a column pass the check."""
    if type(check) is FullMatch:
        each = re.compile(check.pattern, re.ASCII)
        if _PLAIN_SETS.fullmatch(check.pattern) is None:
            return lambda column: all(map(each.fullmatch, column))
        whole = re.compile(f"(?:{check.pattern})(?:\n(?:{check.pattern}))*", re.ASCII)

        def match(column: Sequence[str]) -> bool:
            joined = "\n".join(column)  # one search for all, where no text has lines
            if joined.count("\n") == len(column) - 1 and whole.fullmatch(joined):
                return True
            return all(map(each.fullmatch, column))

        return match
    if type(check) is validate.Length and check.equal is None:
        low, high = check.min or 0, math.inf if check.max is None else check.max
        return lambda column: low <= min(map(len, column)) and max(map(len, column)) <= high
    return None


def _all_of(
    checks: list[Callable[[Sequence[str]], bool]],
) -> Callable[[Sequence[str]], bool]:
    return lambda column: all(check(column) for check in checks)
