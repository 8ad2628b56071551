"""Bodies of many lines: each line is judged alone, and every one gets its outcome."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from marshmallow import Schema, ValidationError, fields

from ..core.errors import Fault, NotFound, Refusal
from ..core.records import RunOutcome
from ..core.run_columns import RunColumns, RunOutcomes
from .problems import fault_body, faults_of

LARGEST_BATCH_COUNT = 5000
LONGEST_ID = 128
MOST_FAULTS_OF_A_LINE = 10

_MESSAGES: dict[str, Any] = {
    "required": "is required",
    "null": "must be an array",
    "invalid": "must be an array",
    "too_many": f"must have at most {LARGEST_BATCH_COUNT} lines",
}


class Lines(fields.Field[list[Any]]):
    """The lines of a batch, unread; ``line`` is the schema by which each is judged alone."""

    default_error_messages = _MESSAGES

    def __init__(self, line: type[Schema], noun: str) -> None:
        super().__init__(
            required=True,
            metadata={
                "description": f"The {noun}, at most {LARGEST_BATCH_COUNT}, within 1 MiB in all."
            },
        )
        self.line = line

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        if len(value) > LARGEST_BATCH_COUNT:
            raise self.make_error("too_many")
        return value


@dataclass(frozen=True)
class Kind:
    """What a batch is made of.

    ``member`` holds the lines in the body, ``id_name`` tells them apart; ``record_of`` reads one
    line and ``conflict`` says what is wrong with a reused id. ``quickly`` makes the records of
    the lines that need no closer look, and None of the others; or columns of all of them.
    """

    member: str
    id_name: str
    record_of: Callable[[Any], Any]
    conflict: Callable[[str], str]
    quickly: Callable[[Sequence[Any]], Sequence[Any]] | None = None


def judge(
    kind: Kind, lines: Sequence[Any], add: Callable[[Any], Sequence[RunOutcome | Refusal]]
) -> dict[str, Any]:
    """Record the good lines by ``add``; answer how many became what, and why not."""
    problems: list[dict[str, Any]] = []
    made = [None] * len(lines) if kind.quickly is None else kind.quickly(lines)
    good: Sequence[Any] = made
    places: Sequence[int] = range(len(lines))
    if not isinstance(made, RunColumns):
        good, places = _by_line(kind, lines, made, problems)
    outcomes = add(good)
    others = outcomes.others if isinstance(outcomes, RunOutcomes) else dict(enumerate(outcomes))
    counts = {
        "accepted": len(outcomes) - len(others),
        "duplicate": 0,
        "conflict": 0,
        "rejected": len(problems),
    }
    for number, outcome in others.items():
        index = places[number]
        where = f"/{kind.member}/{index}"
        if isinstance(outcome, Refusal):
            counts["rejected"] += 1
            member = "grinder_id" if isinstance(outcome, NotFound) else kind.id_name
            faults = tuple(
                replace(one, pointer=f"{where}{one.pointer or ''}") for one in outcome.faults
            ) or (Fault(str(outcome), pointer=f"{where}/{member}"),)
            problems.append(_rejected(kind, index, lines[index], faults))
            continue
        counts[outcome.outcome] += 1
        if outcome.outcome == "conflict":
            fault = Fault(kind.conflict(outcome.run_id), pointer=f"{where}/{kind.id_name}")
            problems.append(_problem(kind, index, outcome.run_id, "conflict", (fault,)))
    return {
        "received": len(lines),
        "accepted": counts["accepted"],
        "duplicates": counts["duplicate"],
        "conflicts": counts["conflict"],
        "rejected": counts["rejected"],
        "problems": sorted(problems, key=lambda problem: problem["index"]),
    }


def _by_line(
    kind: Kind, lines: Sequence[Any], made: Sequence[Any], problems: list[dict[str, Any]]
) -> tuple[list[Any], list[int]]:
    """The records of the good lines and their places; what is wrong with the others is told."""
    good: list[Any] = []
    places: list[int] = []
    for index, (line, record) in enumerate(zip(lines, made, strict=True)):
        try:
            good.append(kind.record_of(line) if record is None else record)
            places.append(index)
        except ValidationError as error:
            faults = faults_of(error, f"/{kind.member}/{index}")
            problems.append(_rejected(kind, index, line, faults))
    return good, places


def _rejected(kind: Kind, index: int, line: Any, faults: tuple[Fault, ...]) -> dict[str, Any]:
    line_id = line.get(kind.id_name) if isinstance(line, dict) else None
    is_readable = isinstance(line_id, str) and len(line_id) <= LONGEST_ID
    return _problem(kind, index, line_id if is_readable else None, "rejected", faults)


def _problem(
    kind: Kind, index: int, line_id: str | None, outcome: str, faults: tuple[Fault, ...]
) -> dict[str, Any]:
    errors = [fault_body(fault) for fault in faults[:MOST_FAULTS_OF_A_LINE]]
    return {"index": index, kind.id_name: line_id, "outcome": outcome, "errors": errors}
