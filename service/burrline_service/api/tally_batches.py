"""The operation on many tallies at once: a whole notebook in a request or two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from marshmallow import fields

from ..actions import entries
from ..core.errors import Refusal
from ..core.records import Caller, RunOutcome
from .batches import Kind, Lines, judge
from .entry_examples import NEW_TALLY
from .fields import Array, Choice, StrictInteger, nullable
from .operation import TALLY_ID, Operation
from .schemas_common import Answer, Body, FaultSchema
from .schemas_entries import NewTallySchema, entry_id


class TallyLineSchema(NewTallySchema):
    """A tally among many: its id is needed, so that sending it again is once."""

    tally_id = entry_id(
        "The tally's id, chosen by you, used once for ever.",
        TALLY_ID,
        "notebook-2026-06-30",
        required=True,
    )


class TallyBatchSchema(Body):
    """Tallies in any order, of any grinders; a bad line never blocks a good one."""

    tallies = Lines(TallyLineSchema, "tallies")


class TallyProblemSchema(Answer):
    """A tally that was not recorded, and why."""

    index = StrictInteger("Its place in `tallies`, from 0.")
    tally_id = nullable(fields.String, metadata={"description": "Its id, where readable."})
    outcome = Choice(
        "`conflict`: the id was used before with other content. `rejected`: see `errors`.",
        ("conflict", "rejected"),
    )
    errors = Array(fields.Nested(FaultSchema), "What is wrong with it; pointers from the body.")


class TallyBatchOutcomeSchema(Answer):
    """What became of the tallies: the counts add up to `received`."""

    received = StrictInteger("Tallies in the request. Compare it with what you sent.")
    accepted = StrictInteger("Tallies recorded now.")
    duplicates = StrictInteger("Tallies recorded before, voided ones among them.")
    conflicts = StrictInteger("Tallies whose id has other content.")
    rejected = StrictInteger("Tallies refused.")
    problems = Array(fields.Nested(TallyProblemSchema), "Every conflict and refusal.")


@cache
def _line_schema() -> TallyLineSchema:
    return TallyLineSchema()


def add_tallies(
    database: Any, caller: Caller, *, fields: Mapping[str, Any], now: datetime
) -> dict[str, Any]:
    """Judge each line alone, record the good ones, answer for every one."""

    def add(sent: Sequence[Mapping[str, Any]]) -> Sequence[RunOutcome | Refusal]:
        return entries.add_tallies(database, caller, sent=sent, now=now) if sent else []

    kind = Kind(
        member="tallies",
        id_name="tally_id",
        record_of=lambda line: _line_schema().load(line),
        conflict=lambda tally_id: (
            f"Tally {tally_id!r} was recorded before with other content; the first one is kept."
        ),
    )
    return judge(kind, fields["tallies"], add)


OPERATIONS = (
    Operation(
        name="add_tallies",
        method="POST",
        path="/v1/tallies/batch",
        tag="Tallies",
        summary="Record many tallies",
        description=(
            "Up to 5000 tallies within 1 MiB, of any grinders, each with its id. Each is judged "
            "alone; a bad one never blocks a good one. Sending the same batch again is harmless."
        ),
        act=add_tallies,
        scope="runs:write",
        takes=TallyBatchSchema,
        gives=TallyBatchOutcomeSchema,
        statuses={200: "Each has its outcome; those not recorded are under `problems`."},
        takes_example={
            "tallies": [
                NEW_TALLY,
                {**NEW_TALLY, "tally_id": "notebook-2026-06-31", "to": NEW_TALLY["from"]},
            ]
        },
        gives_example={
            "received": 2,
            "accepted": 1,
            "duplicates": 0,
            "conflicts": 0,
            "rejected": 1,
            "problems": [
                {
                    "index": 1,
                    "tally_id": "notebook-2026-06-31",
                    "outcome": "rejected",
                    "errors": [
                        {
                            "detail": "must be later than from",
                            "pointer": "#/tallies/1/to",
                        }
                    ],
                }
            ],
        },
    ),
)
