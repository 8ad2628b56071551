"""Refusing what cannot be on a plate, about a site, or of a burr set: each fault named."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from .calendar import is_time_zone
from .errors import Fault, Invalid

_CLOCK_TIME = re.compile("([01][0-9]|2[0-3]):[0-5][0-9]")
_DATE = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def check_site(description: Mapping[str, Any]) -> None:
    """Refuse a time zone that does not exist and hours or days that are none."""
    faults: list[Fault] = []
    if not is_time_zone(description["time_zone"]):
        faults.append(
            Fault(
                "must be a name of the IANA time zone database, such as Europe/Lisbon",
                pointer="/time_zone",
            )
        )
    for day, spans in (description.get("opening_hours") or {}).items():
        where = f"/opening_hours/{day}"
        if day not in DAYS:
            faults.append(Fault(f"must be one of {', '.join(DAYS)}", pointer=where))
        for number, span in enumerate(spans or ()):
            if len(span) != 2 or not all(_is_clock_time(text) for text in span):
                faults.append(
                    Fault(
                        'must be two local times such as ["07:00", "19:30"]',
                        pointer=f"{where}/{number}",
                    )
                )
    for number, text in enumerate(description.get("closed_days") or ()):
        if not _is_date(text):
            faults.append(
                Fault("must be a date such as 2026-12-25", pointer=f"/closed_days/{number}")
            )
    if faults:
        raise Invalid(*faults)


def _is_clock_time(text: Any) -> bool:
    return isinstance(text, str) and _CLOCK_TIME.fullmatch(text) is not None


def _is_date(text: Any) -> bool:
    if not isinstance(text, str) or not _DATE.fullmatch(text):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


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
    for number, span in enumerate(plate.get("out_of_service") or ()):
        begins, ends = span["from"], span.get("to")
        if ends is not None and datetime.fromisoformat(ends) <= datetime.fromisoformat(begins):
            faults.append(Fault("must be later than from", pointer=f"/out_of_service/{number}/to"))
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
