"""What a grinder's plate and a burr set's description may say, and how a change is merged in.

The plate is kept as plain JSON (instants as RFC 3339 text), so that one shape serves the store,
the merge-patch (RFC 7396) and the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields as members_of
from datetime import UTC, datetime
from typing import Any

from .plausible import DAYS
from .records import (
    BurrSet,
    Fitting,
    Grind,
    Grinder,
    Motor,
    RatedDuty,
    Site,
    Span,
)

PLATE_NAMES = (
    "name",
    "model",
    "serial",
    "rated_duty",
    "motor",
    "grind",
    "hopper_grams",
    "retained_grams",
    "retired_at",
    "out_of_service",
)
SITE_NAMES = ("name", "time_zone", "opening_hours", "closed_days")
INNER_NAMES = {
    name: tuple(member.name for member in members_of(kind))
    for name, kind in (("rated_duty", RatedDuty), ("motor", Motor), ("grind", Grind))
} | {"opening_hours": DAYS}
"""Members of the inner objects of plates and sites."""
DESCRIPTION_NAMES = (
    "geometry",
    "diameter_millimetres",
    "burr_model",
    "serial",
    "material",
    "coating",
    "pre_treated",
    "prior_grams",
    "low_prior_grams",
    "high_prior_grams",
    "rated_life_grams",
)


def merged(target: Mapping[str, Any], patch: Mapping[str, Any]) -> dict[str, Any]:
    """Apply a JSON merge patch: null removes a member, objects merge, all else replaces.

    Source: RFC 7396 section 2.
    """
    result = dict(target)
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        elif isinstance(value, Mapping):
            inner = result.get(name)
            result[name] = merged(inner if isinstance(inner, Mapping) else {}, value)
        else:
            result[name] = value
    return result


def composed(first: Mapping[str, Any], second: Mapping[str, Any]) -> dict[str, Any]:
    """The one merge patch of a plate that does what ``first`` and then ``second`` do.

    An object that ``first`` removed and ``second`` begins anew takes nothing along from before:
    each of its members that ``second`` does not name is removed.
    """
    result = dict(first)
    for name, value in second.items():
        if isinstance(value, Mapping) and name in result:
            inner = result[name]
            if inner is None:
                inner = dict.fromkeys(INNER_NAMES[name])
            result[name] = composed(inner, value)
        else:
            result[name] = value
    return result


def folded(patches: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """The plate after all patches, in the order given."""
    plate: dict[str, Any] = {}
    for patch in patches:
        plate = merged(plate, patch)
    return plate


def plain(fields: Mapping[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    """The named fields as JSON values (instants as text), without the nulls of new objects."""
    return {name: _plain_value(fields[name]) for name in names if name in fields}


def without_nulls(fields: Mapping[str, Any]) -> dict[str, Any]:
    return merged({}, fields)


def site_of(
    description: Mapping[str, Any], *, site_id: str, created_at: datetime, revision: int
) -> Site:
    """The record of a kept description of a site."""
    return Site(
        site_id=site_id,
        name=description["name"],
        time_zone=description["time_zone"],
        created_at=created_at,
        opening_hours=description.get("opening_hours"),
        closed_days=tuple(description.get("closed_days") or ()),
        revision=revision,
    )


def grinder_of(
    plate: Mapping[str, Any],
    *,
    grinder_id: str,
    site_id: str,
    created_at: datetime,
    revision: int,
) -> Grinder:
    """The record of a kept plate."""
    duty, motor, grind = plate.get("rated_duty"), plate.get("motor"), plate.get("grind")
    retired_at = plate.get("retired_at")
    return Grinder(
        grinder_id=grinder_id,
        site_id=site_id,
        created_at=created_at,
        revision=revision,
        name=plate["name"],
        model=plate.get("model"),
        serial=plate.get("serial"),
        rated_duty=None if duty is None else RatedDuty(**duty),
        motor=None if motor is None else Motor(**motor),
        grind=None if grind is None else Grind(**grind),
        hopper_grams=plate.get("hopper_grams"),
        retained_grams=plate.get("retained_grams"),
        retired_at=None if retired_at is None else datetime.fromisoformat(retired_at),
        out_of_service=tuple(
            Span(
                datetime.fromisoformat(span["from"]),
                None if span.get("to") is None else datetime.fromisoformat(span["to"]),
            )
            for span in plate.get("out_of_service") or ()
        ),
    )


def burr_set_of(
    description: Mapping[str, Any],
    *,
    burr_set_id: str,
    created_at: datetime,
    revision: int,
    fittings: tuple[Fitting, ...],
    voided_at: datetime | None = None,
) -> BurrSet:
    """The record of a kept description."""
    return BurrSet(
        burr_set_id=burr_set_id,
        created_at=created_at,
        revision=revision,
        fittings=fittings,
        voided_at=voided_at,
        **{name: description[name] for name in DESCRIPTION_NAMES if name in description},
    )


def _plain_value(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, list | tuple):
        return [_plain_value(inner) for inner in value]
    if isinstance(value, Mapping):
        return {name: _plain_value(inner) for name, inner in value.items()}
    return value
