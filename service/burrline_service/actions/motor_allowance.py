"""What a motor's temperature limit allows from an instant on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..core.answers import Allowance
from ..core.duty_wait import allowance_of
from ..core.heat import STALE_SECONDS
from ..core.thermal_ahead import rest_before_run, seconds_to_limit
from ..core.thermal_allowance import allow_by_reading, allow_by_slope
from ..core.thermal_slope import safe_run_seconds
from .motor_heat import Heat, estimate_of

DEFAULT_RUN_SECONDS = 60.0
"""The run that a rest is told for unless another one is named (our choice)."""


@dataclass(frozen=True)
class Ahead:
    """What comes, in s: until the limit when it runs on, and the rest before a run.

    Each by its careful bound; inf = never, None = not known.
    """

    to_limit_seconds: float | None
    rest_seconds: float | None
    is_hopeless: bool


def ahead_of(heat: Heat, run_seconds: float) -> Ahead:
    limit = heat.limit_celsius
    if limit is None or heat.warm is None or not heat.fit.is_forecasting:
        return Ahead(None, None, False)
    rest = rest_before_run(heat.warm, run_seconds, limit)
    return Ahead(
        to_limit_seconds=seconds_to_limit(heat.warm, limit).low,
        rest_seconds=rest.high,
        is_hopeless=math.isinf(rest.best),
    )


def advice_of(heat: Heat, run_seconds: float) -> tuple[float | None, float | None]:
    """Seconds to the limit and rest before a run, None where they never come or nobody knows."""
    ahead = ahead_of(heat, run_seconds)
    to_limit, rest = ahead.to_limit_seconds, ahead.rest_seconds
    slope, high = heat.fit.slope_kelvin_per_second, heat.high_celsius
    is_bounded = heat.fit.status == "slope_only" and heat.limit_celsius is not None
    if is_bounded and slope is not None and high is not None and heat.limit_celsius is not None:
        to_limit = safe_run_seconds(high, heat.limit_celsius, slope.high)
        rest = 0.0 if run_seconds <= to_limit else None
    return _finite(to_limit), _finite(rest)


def _finite(seconds: float | None) -> float | None:
    return None if seconds is None or math.isinf(seconds) else round(seconds, 1)


def temperature_allowance(heat: Heat, run_seconds: float) -> Allowance | None:
    """What the temperature limit allows; None where no limit is known.

    What is forecast holds for runs as long as the motor has been seen to run, and half as long
    again: beyond, it can say that a run is too long, never that it is not.
    """
    limit = heat.limit_celsius
    if limit is None:
        return None
    fit = heat.fit
    if heat.warm is not None and fit.is_forecasting:
        return _forecast_allowance(heat, run_seconds, limit)
    high, slope = heat.high_celsius, fit.slope_kelvin_per_second
    if fit.status == "slope_only" and high is not None and slope is not None:
        ambient = None if fit.ambient_celsius is None else fit.ambient_celsius.high
        return allow_by_slope(high, run_seconds, limit, slope.high, ambient)
    if heat.fresh_celsius is not None:
        return allow_by_reading(heat.fresh_celsius, limit)
    return Allowance("unknown", None, None)


def _forecast_allowance(heat: Heat, run_seconds: float, limit: float) -> Allowance:
    if heat.fresh_celsius is not None and heat.fresh_celsius >= limit and not _is_believed(heat):
        # wild or not: the state says "over" until the reading is old, and so does this
        assert heat.reading is not None
        stale = STALE_SECONDS - (heat.at_ms - heat.reading[0]) / 1000
        rest = ahead_of(heat, run_seconds)
        waits = [stale + 0.001, rest.rest_seconds or 0.0]
        if rest.is_hopeless:
            return Allowance("never", None, 0.0)
        return Allowance("wait", None if math.isinf(waits[1]) else max(waits), 0.0)
    ahead = ahead_of(heat, run_seconds)
    assert ahead.to_limit_seconds is not None
    assert ahead.rest_seconds is not None
    valid = heat.fit.valid_run_seconds or 0.0
    longest = min(ahead.to_limit_seconds, valid)
    if ahead.is_hopeless:
        return Allowance("never", None, longest)
    if math.isinf(ahead.rest_seconds):
        is_over = heat.high_celsius is not None and heat.high_celsius >= limit
        return Allowance("wait" if is_over else "unknown", None, longest)
    if run_seconds > valid and ahead.rest_seconds == 0:
        return Allowance("unknown", None, longest)
    return allowance_of(ahead.rest_seconds, longest)


def _is_believed(heat: Heat) -> bool:
    """Whether the estimate follows the latest reading: was so hot then, and cools since."""
    if heat.resting is None or heat.reading is None or heat.limit_celsius is None:
        return heat.high_celsius is not None and heat.high_celsius >= (heat.limit_celsius or 0.0)
    since_ms, base = heat.resting
    then = estimate_of(heat.fit, base)
    return since_ms == heat.reading[0] and then is not None and then.high >= heat.limit_celsius
