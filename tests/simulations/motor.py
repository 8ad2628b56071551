"""How honest are a motor's intervals and forecasts? Hidden two-body motors tell.

Run ``PYTHONPATH=service python tests/simulations/motor.py [--motors N] [--seed S]``: it prints what
was found beside its bars and ends with 1 outside them. The constants of the service were chosen
with other seeds than the default one.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[1]))

from burrline_service.core.episode_facts import DatedLimits, Episode, Reading, Stretch
from burrline_service.core.episode_heating import DatedFit, heating_episodes
from burrline_service.core.thermal_fit import ambient_then_celsius, fit_motor
from burrline_service.core.thermal_forecast import motors_at, temperatures_celsius
from burrline_service.core.thermal_motor import MotorFit
from burrline_service.core.thermal_response import responses
from simulations.hidden_motors import (
    DAY_SECONDS,
    Floats,
    Told,
    make_motor,
    overuse_motor,
    use_motor,
    watch_motor,
)

DAYS = 4
NOW_SECONDS = 3 * DAY_SECONDS  # of the last day's midnight: what comes before is history
COVERAGE_BAR = (0.85, 0.97)
HIT_BAR = 0.95
FALSE_BAR = 0.02
PATTERNS = ("break_in", "mixed", "cafe")
# a limit that a healthy motor stays clear of by this and by this part of its usual rise
MARGIN_KELVIN = 8.0
MARGIN_FRACTION = 0.15


@dataclass
class Found:
    """What the simulation counts; one entry of each list per motor that was answered."""

    asked: int = 0
    statuses: Counter[tuple[str, str]] = field(default_factory=Counter)
    now: list[float] = field(default_factory=list)
    ahead: list[float] = field(default_factory=list)
    width_kelvin: list[float] = field(default_factory=list)
    constants_only: list[float] = field(default_factory=list)
    by_case: dict[tuple[str, str], list[tuple[float, float]]] = field(default_factory=dict)
    overheats: int = 0
    hits: int = 0
    silent_overheats: int = 0
    lead_seconds: list[float] = field(default_factory=list)
    healthy: int = 0
    false_forecasts: int = 0

    @property
    def answered_fraction(self) -> float:
        return len(self.now) / self.asked

    def shares(self) -> dict[str, float]:
        """The numbers that have a bar."""
        mean = lambda values: float(np.mean(values)) if values else float("nan")  # noqa: E731
        return {
            "coverage of the temperature now": mean(self.now),
            "coverage of forecasts": mean(self.ahead),
            "coverage by constants alone": mean(self.constants_only),
            "overheats forecast": self.hits / max(self.overheats, 1),
            "false forecasts": self.false_forecasts / max(self.healthy, 1),
        }

    def is_within_bars(self) -> bool:
        found = self.shares()
        low, high = COVERAGE_BAR
        return (
            low <= found["coverage of the temperature now"] <= high
            and low <= found["coverage of forecasts"] <= high
            and found["coverage by constants alone"] < low
            and found["overheats forecast"] >= HIT_BAR
            and found["false forecasts"] < FALSE_BAR
        )


def simulate(motors: int, seed: int, *, first: int = 0, is_warning: bool = True) -> Found:
    """Make motors, watch them for three days, ask and forecast on the fourth."""
    found = Found()
    for number in range(first, motors):
        dice = np.random.default_rng([seed, number])
        motor = make_motor(dice)
        pattern = PATTERNS[number % len(PATTERNS)]
        starts, ends = use_motor(pattern, DAYS, dice)
        watched = {
            "days": DAYS,
            "is_idle_read": bool(dice.integers(2)),
            "is_run_read": pattern != "cafe" and bool(dice.integers(2)),
            "is_room_read": bool(dice.integers(3) == 0),
        }
        told = watch_motor(motor, starts, ends, dice, **watched)
        _ask(found, told, pattern, dice)
        if is_warning:
            overuse = overuse_motor(pattern, starts, ends, dice)
            _warn(found, told, watch_motor(motor, *overuse, dice, **watched))
    return found


def fit_until(told: Told, until_seconds: float) -> MotorFit:
    """The fit of what was known at an instant."""
    begun = told.on_starts_seconds < until_seconds
    read = told.reading_at_seconds <= until_seconds
    room = told.room_at_seconds <= until_seconds
    return fit_motor(
        told.on_starts_seconds[begun],
        np.minimum(told.on_ends_seconds[begun], until_seconds),
        told.reading_at_seconds[read],
        told.readings_celsius[read],
        body=told.motor.sensor,  # type: ignore[arg-type]
        ambient_at_seconds=told.room_at_seconds[room],
        ambient_readings_celsius=told.room_celsius[room],
    )


def _ask(found: Found, told: Told, pattern: str, dice: np.random.Generator) -> None:
    """Questions at random instants of two hours, and ten minutes ahead of a moment in them."""
    cut = NOW_SECONDS + float(dice.uniform(8.0, 14.0)) * 3600.0
    fit = fit_until(told, cut)
    found.asked += 1
    found.statuses[(pattern, fit.status)] += 1
    if fit.status in ("insufficient", "level_only"):
        return
    at = np.sort(dice.uniform(cut, cut + 1800.0, 30))
    inside, width = _covered(fit, told, at, read_until=np.inf)
    ahead = cut + np.arange(60.0, 601.0, 60.0)
    ahead_inside, _ = _covered(fit, told, ahead, read_until=cut)
    found.now.append(inside)
    found.ahead.append(ahead_inside)
    found.width_kelvin.append(width)
    case = (pattern, told.motor.sensor)
    found.by_case.setdefault(case, []).append((inside, ahead_inside))
    if fit.status == "identified":
        found.constants_only.append(_covered_by_constants(fit, told, at))


def _covered(fit: MotorFit, told: Told, at: Floats, *, read_until: float) -> tuple[float, float]:
    recent = told.reading_at_seconds > at[0] - DAY_SECONDS
    recent &= told.reading_at_seconds <= read_until
    room = told.room_at_seconds <= min(read_until, at[-1])
    late = told.on_ends_seconds > at[0] - DAY_SECONDS
    motors = motors_at(
        fit,
        told.on_starts_seconds[late],
        told.on_ends_seconds[late],
        told.reading_at_seconds[recent],
        told.readings_celsius[recent],
        at,
        ambient_at_seconds=told.room_at_seconds[room],
        ambient_readings_celsius=told.room_celsius[room],
    )
    low, _, high = temperatures_celsius(motors).T
    truth = told.truth_at(at)
    return float(np.mean((low <= truth) & (truth <= high))), float(np.mean(high - low))


def _covered_by_constants(fit: MotorFit, told: Told, at: Floats) -> float:
    """What the constants of one body and their covariance alone would say: far too sure."""
    assert fit.rise_kelvin is not None
    assert fit.heating_time_constant_seconds is not None
    assert fit.cooling_time_constant_seconds is not None
    assert fit.ambient_celsius is not None
    point = np.array(
        [
            np.log(fit.rise_kelvin.best),
            np.log(fit.heating_time_constant_seconds.best),
            np.log(fit.cooling_time_constant_seconds.best),
            fit.ambient_celsius.best,
        ]
    )
    moves = np.vstack([np.zeros(4), 1e-4 * np.eye(4), -1e-4 * np.eye(4)]) + point
    shares = responses(
        told.on_starts_seconds, told.on_ends_seconds, at, np.exp(moves[:, 1]), np.exp(moves[:, 2])
    )
    said = moves[:, 3:4] + np.exp(moves[:, :1]) * shares
    slopes = (said[1:5] - said[5:]) / 2e-4
    spread = np.sqrt(np.einsum("in,ij,jn->n", slopes, np.array(fit.covariance), slopes))
    room = 0.0
    if fit.ambient_source == "measured":
        known = told.room_at_seconds <= fit.fitted_seconds
        rooms = told.room_at_seconds[known], told.room_celsius[known]
        room = ambient_then_celsius(at, told.room_at_seconds, told.room_celsius)
        room = room - ambient_then_celsius([fit.fitted_seconds], *rooms)[0]
    truth = told.truth_at(at)
    return float(np.mean(np.abs(said[0] + room - truth) <= 1.645 * spread))


def _warn(found: Found, told: Told, overused: Told) -> None:
    """The last day as ever, and overused; the limit is clear of what the motor ever reached."""
    hottest = float(told.truth_celsius.max())
    rise = hottest - float(told.truth_celsius.min())
    limit = hottest + max(MARGIN_KELVIN, MARGIN_FRACTION * rise)
    found.healthy += 1
    if _episodes(told, _fits(told), limit):
        found.false_forecasts += 1
    today = overused.truth_seconds >= NOW_SECONDS
    clock, truth = overused.truth_seconds[today], overused.truth_celsius[today]
    if truth.max() < limit:
        return
    crossing = float(clock[np.argmax(truth >= limit)])
    fits = _fits(overused)
    at_crossing = [one.fit for one in fits if one.from_ms <= 1000 * crossing][-1]
    if not at_crossing.is_forecasting:
        found.silent_overheats += 1
        return
    found.overheats += 1
    for episode in _episodes(overused, fits, limit):
        closed_ms = np.inf if episode.closed_at_ms is None else episode.closed_at_ms
        if episode.opened_at_ms < 1000 * crossing <= closed_ms:
            found.hits += 1
            found.lead_seconds.append(crossing - episode.opened_at_ms / 1000)
            return


def _fits(told: Told) -> list[DatedFit]:
    hours = (0.0, 10.0, 12.0)
    return [
        DatedFit(round(1000 * at), fit_until(told, at))
        for at in NOW_SECONDS + 3600.0 * np.array(hours)
    ]


def _episodes(told: Told, fits: list[DatedFit], limit_celsius: float) -> tuple[Episode, ...]:
    late = told.on_ends_seconds > NOW_SECONDS - DAY_SECONDS
    read = told.reading_at_seconds > NOW_SECONDS - DAY_SECONDS
    milliseconds = lambda seconds: np.round(1000 * seconds).astype(int).tolist()  # noqa: E731
    stretches = zip(
        milliseconds(told.on_starts_seconds[late]),
        milliseconds(told.on_ends_seconds[late]),
        strict=True,
    )
    return heating_episodes(
        fits,
        [Stretch(*one) for one in stretches],
        [
            Reading(at_ms, celsius)
            for at_ms, celsius in zip(
                milliseconds(told.reading_at_seconds[read]),
                told.readings_celsius[read].tolist(),
                strict=True,
            )
        ],
        [DatedLimits(0, limit_celsius=limit_celsius)],
        since_ms=round(1000 * NOW_SECONDS),
        until_ms=round(1000 * DAYS * DAY_SECONDS),
        ambient=[
            Reading(at_ms, celsius)
            for at_ms, celsius in zip(
                milliseconds(told.room_at_seconds), told.room_celsius.tolist(), strict=True
            )
        ],
    )


def report(found: Found) -> str:
    """What was found, beside its bars."""
    shares = found.shares()
    bars = {
        "coverage of the temperature now": "0.85 to 0.97",
        "coverage of forecasts": "0.85 to 0.97",
        "coverage by constants alone": "below 0.85, or the misfit would be needless",
        "overheats forecast": "at least 0.95",
        "false forecasts": "below 0.02 of healthy motor days",
    }
    lines = [f"{name:34}{share:6.3f}   bar: {bars[name]}" for name, share in shares.items()]
    lines.append(f"{'answered':34}{found.answered_fraction:6.3f}   of {found.asked} motors")
    lines.append(f"{'median width of 90 % interval':34}{np.median(found.width_kelvin):6.2f} K")
    for case, pairs in sorted(found.by_case.items()):
        now, ahead = np.mean(pairs, axis=0)
        lines.append(f"  {' '.join(case):32}{now:6.3f} now, {ahead:.3f} ahead, {len(pairs)} motors")
    lead = np.percentile(found.lead_seconds, [10, 50, 90]) if found.lead_seconds else [0, 0, 0]
    lines.append(
        f"lead time {lead[0]:.0f}, {lead[1]:.0f}, {lead[2]:.0f} s (10th, 50th, 90th of 100); "
        f"{found.hits} of {found.overheats} overheats, {found.silent_overheats} more where the "
        f"readings allow no forecast; {found.false_forecasts} false on {found.healthy} healthy days"
    )
    seen = [
        f"{pattern} {name} {count}" for (pattern, name), count in sorted(found.statuses.items())
    ]
    lines.append("statuses: " + ", ".join(seen))
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--motors", type=int, default=54)
    parser.add_argument("--seed", type=int, default=11)
    chosen = parser.parse_args(arguments)
    found = simulate(chosen.motors, chosen.seed)
    sys.stdout.write(report(found) + "\n")
    if not found.is_within_bars():
        sys.stdout.write("outside its bars\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
