"""What a grinder's plate and a burr set's description may say, and how a change is merged in.

The plate is kept as plain JSON (instants as RFC 3339 text), so that one shape serves the store,
the merge-patch (RFC 7396) and the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields as members_of
from datetime import UTC, datetime
from typing import Any

from .errors import Fault, Invalid
from .records import BurrSet, Fitting, Grind, Grinder, Motor, RatedDuty

PLATE_NAMES = (
    "name",
    "model",
    "serial",
    "rated_duty",
    "motor",
    "grind",
    "hopper_grams",
    "retired_at",
)
INNER_NAMES = {
    name: tuple(member.name for member in members_of(kind))
    for name, kind in (("rated_duty", RatedDuty), ("motor", Motor), ("grind", Grind))
}
"""Members of the plate's inner objects."""
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
        retired_at=None if retired_at is None else datetime.fromisoformat(retired_at),
    )


def burr_set_of(
    description: Mapping[str, Any],
    *,
    burr_set_id: str,
    created_at: datetime,
    revision: int,
    fittings: tuple[Fitting, ...],
) -> BurrSet:
    """The record of a kept description."""
    return BurrSet(
        burr_set_id=burr_set_id,
        created_at=created_at,
        revision=revision,
        fittings=fittings,
        **{name: description[name] for name in DESCRIPTION_NAMES if name in description},
    )


def check_plate(plate: Mapping[str, Any]) -> None:
    """Refuse a plate whose parts contradict each other, naming each fault."""
    faults: list[Fault] = []
    duty = plate.get("rated_duty")
    if duty is not None:
        faults += _duty_faults(duty)
    motor = plate.get("motor") or {}
    caution, limit = motor.get("caution_celsius"), motor.get("limit_celsius")
    if caution is not None and limit is not None and caution >= limit:
        faults.append(
            Fault(f"must be below limit_celsius ({limit:g})", pointer="/motor/caution_celsius")
        )
    grind = plate.get("grind") or {}
    low, high = grind.get("low_setting"), grind.get("high_setting")
    if low is not None and high is not None and low >= high:
        faults.append(Fault(f"must be below high_setting ({high:g})", pointer="/grind/low_setting"))
    if faults:
        raise Invalid(*faults)


def _duty_faults(duty: Mapping[str, Any]) -> list[Fault]:
    kind = duty.get("kind")
    on, cycle, fraction = (
        duty.get(name) for name in ("on_seconds", "cycle_seconds", "duty_fraction")
    )
    where = "/rated_duty"
    if kind is None:
        return [Fault("is required", pointer=f"{where}/kind")]
    faults = []
    if kind == "continuous" and (on is not None or cycle is not None or fraction is not None):
        faults.append(Fault("continuous duty (S1) has no times or fraction", pointer=where))
    if kind == "short_time":
        if on is None:
            faults.append(
                Fault("short-time duty (S2) needs on_seconds", pointer=f"{where}/on_seconds")
            )
        if fraction is not None:
            faults.append(
                Fault("short-time duty (S2) has no duty_fraction", pointer=f"{where}/duty_fraction")
            )
    if kind == "intermittent" and (on is None) == (fraction is None):
        faults.append(
            Fault(
                "intermittent duty (S3) needs on_seconds or duty_fraction, one of the two",
                pointer=where,
            )
        )
    if kind == "intermittent" and on is not None and cycle is None:
        faults.append(
            Fault(
                "on_seconds needs the cycle_seconds it is meant for",
                pointer=f"{where}/cycle_seconds",
            )
        )
    if on is not None and cycle is not None and on > cycle:
        faults.append(
            Fault(f"must not exceed cycle_seconds ({cycle:g})", pointer=f"{where}/on_seconds")
        )
    return faults


def check_description(description: Mapping[str, Any]) -> None:
    """Refuse a burr-set description that lacks its geometry or contradicts itself."""
    faults: list[Fault] = []
    if description.get("geometry") is None:
        faults.append(Fault("is required", pointer="/geometry"))
    low, best, high = (
        description.get(name) for name in ("low_prior_grams", "prior_grams", "high_prior_grams")
    )
    known = [value for value in (low, best, high) if value is not None]
    if known != sorted(known):
        faults.append(
            Fault(
                "low_prior_grams, prior_grams and high_prior_grams must not decrease",
                pointer="/prior_grams",
            )
        )
    if faults:
        raise Invalid(*faults)


def _plain_value(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, Mapping):
        return {name: _plain_value(inner) for name, inner in value.items()}
    return value
