"""Operations on what people enter about a grinder: tallies, periods, corrections, care."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema

from ..actions import entries
from ..core.errors import AlreadyExists, CorrectionArchived, NotFound, PeriodArchived, Refusal
from . import schemas_corrections as corrections
from . import schemas_entries as shapes
from .entry_examples import (
    CARE,
    CORRECTION,
    NEW_CARE,
    NEW_CORRECTION,
    NEW_PERIOD,
    NEW_TALLY,
    PERIOD,
    TALLY,
    VOIDED_AT,
)
from .operation import Link, Operation

ONCE = {
    201: "Recorded now.",
    200: "Recorded before under this id with the same content; nothing changed.",
}


def _list(
    name: str, noun: str, tag: str, act: Any, page: type[Schema], example: Any, description: str
) -> Operation:
    return Operation(
        name=name,
        method="GET",
        path=f"/v1/grinders/<grinder_id>/{name.removeprefix('list_')}",
        tag=tag,
        summary=f"List a grinder's {noun}",
        description=f"{description}, in the order of when they begin.",
        act=act,
        scope="read",
        query=shapes.EntryFilterSchema,
        gives=page,
        is_list=True,
        gives_example={"items": [example], "next_cursor": None},
    )


def _void(
    name: str,
    path: str,
    tag: str,
    summary: str,
    description: str,
    act: Any,
    gives: type[Schema],
    example: Any,
    refuses: tuple[type[Refusal], ...] = (),
) -> Operation:
    again = "Revoking" if name.startswith("revoke") else "Voiding"
    return Operation(
        name=name,
        method="POST",
        path=path,
        tag=tag,
        summary=summary,
        description=(
            f"{description} It stays readable, marked. {again} it again changes nothing. There is "
            "no body."
        ),
        act=act,
        scope="care:write",
        gives=gives,
        refuses=refuses,
        gives_example=example,
    )


OPERATIONS = (
    Operation(
        name="add_tally",
        method="POST",
        path="/v1/tallies",
        tag="Tallies",
        summary="Record a tally",
        description=(
            "Kilograms without single runs: a notebook's day, a till's count, a break-in done "
            "elsewhere. They count evenly over their stretch, as kilograms alone: never as motor "
            "time, temperature or evidence of flow, and how long the motor ran then is unknown. "
            "The same tally again is once."
        ),
        act=entries.add_tally,
        scope="runs:write",
        takes=shapes.NewTallySchema,
        gives=shapes.TallySchema,
        status=201,
        tells_new=True,
        statuses=ONCE,
        refuses=(NotFound, AlreadyExists),
        is_replayable=True,
        links=(Link("void_tally", {"tally_id": "$response.body#/tally_id"}),),
        takes_example=NEW_TALLY,
        gives_example=TALLY,
    ),
    _list(
        "list_tallies",
        "tallies",
        "Tallies",
        entries.list_tallies,
        shapes.TallyPageSchema,
        TALLY,
        "Every tally, voided ones marked",
    ),
    _void(
        "void_tally",
        "/v1/tallies/<tally_id>/void",
        "Tallies",
        "Void a tally",
        "Take a tally out of every total.",
        entries.void_tally,
        shapes.TallySchema,
        {**TALLY, "voided_at": VOIDED_AT},
    ),
    Operation(
        name="set_period",
        method="POST",
        path="/v1/grinders/<grinder_id>/periods",
        tag="Periods",
        summary="Set what no device knows",
        description=(
            "What holds from an instant (without one, now) on for runs that leave it out. For each "
            "member the period with the latest `from` that has it wins, of two that begin together "
            "the one whose id sorts last; what a run says itself always holds. The same period "
            "again under its `period_id` is once."
        ),
        act=entries.set_period,
        scope="care:write",
        takes=shapes.NewPeriodSchema,
        gives=shapes.PeriodSchema,
        status=201,
        tells_new=True,
        statuses=ONCE,
        refuses=(AlreadyExists, PeriodArchived),
        is_replayable=True,
        links=(Link("void_period", {"period_id": "$response.body#/period_id"}),),
        takes_example=NEW_PERIOD,
        gives_example=PERIOD,
    ),
    _list(
        "list_periods",
        "periods",
        "Periods",
        entries.list_periods,
        shapes.PeriodPageSchema,
        PERIOD,
        "Every period, voided ones marked",
    ),
    _void(
        "void_period",
        "/v1/periods/<period_id>/void",
        "Periods",
        "Void a period",
        "As if it had never been set; what the periods before it said holds again.",
        entries.void_period,
        shapes.PeriodSchema,
        {**PERIOD, "voided_at": VOIDED_AT},
    ),
    Operation(
        name="add_correction",
        method="POST",
        path="/v1/corrections",
        tag="Corrections",
        summary="Correct a known mistake",
        description=(
            "Undo a mistake of a grinder's devices in every answer, for runs sent before and "
            "after: grams are multiplied, then the offsets added; starts are moved; or the runs "
            "count for nothing. A time said to be watched that was not is taken back by "
            "`is_unwatched`. Several corrections compose, in any order alike. The raw runs "
            "stay. A run whose start is moved counts at the corrected start in every answer, also "
            "of an instant (`as_of`): a correction is known wherever its runs are. The same "
            "correction again under its `correction_id` is once."
        ),
        act=entries.add_correction,
        scope="care:write",
        takes=corrections.NewCorrectionSchema,
        gives=corrections.CorrectionSchema,
        status=201,
        tells_new=True,
        statuses=ONCE,
        refuses=(NotFound, AlreadyExists, CorrectionArchived),
        is_replayable=True,
        links=(Link("revoke_correction", {"correction_id": "$response.body#/correction_id"}),),
        takes_example=NEW_CORRECTION,
        gives_example=CORRECTION,
    ),
    _list(
        "list_corrections",
        "corrections",
        "Corrections",
        entries.list_corrections,
        corrections.CorrectionPageSchema,
        CORRECTION,
        "Every correction, revoked ones marked",
    ),
    _void(
        "revoke_correction",
        "/v1/corrections/<correction_id>/revoke",
        "Corrections",
        "Revoke a correction",
        "The runs count again as they were sent.",
        entries.revoke_correction,
        corrections.CorrectionSchema,
        {**CORRECTION, "revoked_at": VOIDED_AT},
        refuses=(CorrectionArchived,),
    ),
    Operation(
        name="record_care",
        method="POST",
        path="/v1/grinders/<grinder_id>/care",
        tag="Care",
        summary="Record care",
        description=(
            "Something done to the grinder at an instant (without one, now). Taking the burrs out "
            "moves the zero point: tell the `zero_setting` found afterwards. The same entry again "
            "is once."
        ),
        act=entries.record_care,
        scope="care:write",
        takes=shapes.NewCareSchema,
        gives=shapes.CareEntrySchema,
        status=201,
        tells_new=True,
        statuses=ONCE,
        refuses=(AlreadyExists, PeriodArchived),
        is_replayable=True,
        links=(Link("void_care", {"care_id": "$response.body#/care_id"}),),
        takes_example=NEW_CARE,
        gives_example=CARE,
    ),
    _list(
        "list_care",
        "care",
        "Care",
        entries.list_care,
        shapes.CareEntryPageSchema,
        CARE,
        "Every entry, voided ones marked",
    ),
    _void(
        "void_care",
        "/v1/care/<care_id>/void",
        "Care",
        "Void a care entry",
        "As if it had not been done.",
        entries.void_care,
        shapes.CareEntrySchema,
        {**CARE, "voided_at": VOIDED_AT},
    ),
)
