"""Shapes of the settings of alerts: what a level sets itself, and what holds in effect."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from marshmallow import EXCLUDE, Schema

from ..core.records import LONGEST_RUN_SECONDS
from .fields import Choice, Inner, StrictBoolean, StrictFloat, StrictInteger, nullable
from .schemas_common import Answer, Body, Query, grinder_id, site_id
from .schemas_sites import OpeningHoursInputSchema

DAY_SECONDS = 86_400.0
MOST_OPEN_SECONDS = 90 * DAY_SECONDS
MOST_RUNS = 50


def _is_on() -> Any:
    return StrictBoolean("Whether it is judged at all.", allow_none=True)


def _minimum() -> Any:
    return StrictFloat(
        "It opens only once it held so long, in seconds.",
        low=0,
        high=DAY_SECONDS,
        allow_none=True,
    )


def _number(description: str, low: float, high: float) -> Callable[[], Any]:
    return lambda: StrictFloat(description, low=low, high=high, allow_none=True)


def _runs() -> Any:
    return StrictInteger(
        "By how many runs in a row it is judged.", low=3, high=MOST_RUNS, allow_none=True
    )


_HELD = {"is_on": _is_on, "minimum_seconds": _minimum}
_MEMBERS: dict[str, dict[str, Callable[[], Any]]] = {
    "motor_overheat": _HELD
    | {
        "release_kelvin": _number(
            "It closes at a reading so far below the limit, in kelvin.", 0.5, 100.0
        )
    },
    "motor_heating": _HELD,
    "duty_exceeded": _HELD
    | {
        "release_fraction": _number(
            "It closes when the on-time is at this fraction of the rating.", 0.1, 1.0
        )
    },
    "long_run": _HELD
    | {
        "longest_run_seconds": _number(
            "A longer run is told of, in seconds.", 1.0, float(LONGEST_RUN_SECONDS)
        )
    },
    "flow_low": _HELD
    | {
        "drop_fraction": _number(
            "How far under the usual flow, as a fraction of it; at least 3 deviations.", 0.05, 0.9
        ),
        "release_fraction": _number(
            "It closes when no more than this fraction of the drop is left.", 0.0, 1.0
        ),
        "run_count": _runs,
    },
    "clock_suspect": {"is_on": _is_on, "run_count": _runs},
    "burr_life": {"is_on": _is_on},
    "silent": {
        "is_on": _is_on,
        "open_seconds": _number(
            "After so much opening time without a run, in seconds.", 600.0, MOST_OPEN_SECONDS
        ),
    },
    "checkpoint_due": {"is_on": _is_on},
    "settled": {"is_on": _is_on},
}
QUIET = (
    "Local hours by day of the week in which notices and cautions call nobody; an `alert` always "
    "does. An empty object: none."
)


class QuietHoursInputSchema(OpeningHoursInputSchema):
    """Local hours by day of the week in which notices and cautions call nobody."""


class QuietHoursSchema(OpeningHoursInputSchema):
    """Local hours by day of the week in which notices and cautions call nobody."""

    class Meta:
        unknown = EXCLUDE


class _Partial(Schema):
    """Answers that hold only what is set."""

    document: Mapping[str, Any] = MappingProxyType({})

    class Meta:
        unknown = EXCLUDE


def _kind_schema(base: type[Schema], kind: str, name: str, ending: str) -> type[Schema]:
    words = kind.title().replace("_", "")
    members = {member: make() for member, make in _MEMBERS[kind].items()}
    made = type(
        f"{words}{name}Schema", (base,), {"__doc__": f"Rules of `{kind}`{ending}", **members}
    )
    assert issubclass(made, Schema)
    return made


def _whole(base: type[Schema], quiet: type[Schema], name: str, doc: str, ending: str) -> Any:
    members = {
        kind: Inner(_kind_schema(base, kind, name, ending), f"Rules of `{kind}`.", allow_none=True)
        for kind in _MEMBERS
    }
    members["quiet_hours"] = nullable(Inner, quiet, QUIET)
    return type(f"Alert{name}Schema", (base,), {"__doc__": doc, **members})


AlertRulesInputSchema = _whole(
    Body,
    QuietHoursInputSchema,
    "RulesInput",
    "All that a level sets itself; what is left out or null is inherited.",
    "; what is left out or null is inherited.",
)
OwnAlertRulesSchema = _whole(
    _Partial,
    QuietHoursSchema,
    "OwnRules",
    "What a level sets itself; what is left out is inherited.",
    " as far as they are set here.",
)
AlertRulesSchema = _whole(
    Answer, QuietHoursSchema, "Rules", "What holds in effect.", ", in effect."
)


class AlertPlaceSchema(Query):
    site_id = site_id("The settings of this site; without it and a grinder, the account's own.")
    grinder_id = grinder_id("The settings of this grinder.")


class AlertSettingsSchema(Answer):
    """The rules of alerts of an account, a site or a grinder."""

    level = Choice("What they are set at.", ("account", "site", "grinder"))
    site_id = site_id("The site, or the one where the grinder stands.", allow_none=True)
    grinder_id = grinder_id("The grinder.", allow_none=True)
    own = Inner(OwnAlertRulesSchema, "What is set here.")
    effective = Inner(AlertRulesSchema, "What holds here, with all that is inherited.")
