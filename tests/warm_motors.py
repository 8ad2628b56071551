"""Motors with a hidden truth: runs of some days, and what a sensor would have read."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import datetime, timedelta

from burrline_service.core.entered import Reading
from burrline_service.core.records import Run
from burrline_service.core.thermal import Thermal, trajectory_celsius

TRUE_MOTOR = Thermal(
    rise_kelvin=110.0,
    heating_time_constant_seconds=1200.0,
    cooling_time_constant_seconds=2600.0,
    ambient_celsius=22.0,
)
DAY_SECONDS = 86_400.0


def working_spans(
    until: datetime, *, days: int, seed: int = 1, longest_seconds: float = 400.0
) -> list[tuple[datetime, float]]:
    """Starts and lengths in s of runs over some days, eight hours each, ending by an instant."""
    dice = random.Random(seed)
    spans = []
    for day in range(days):
        at = until - timedelta(days=day, hours=8)
        end = until - timedelta(days=day)
        while True:
            at += timedelta(seconds=round(dice.uniform(120.0, 2400.0), 3))
            seconds = round(dice.uniform(20.0, longest_seconds), 3)
            if at + timedelta(seconds=seconds) > end:
                break
            spans.append((at, seconds))
            at += timedelta(seconds=seconds)
    return sorted(spans)


def warm_runs(
    spans: Sequence[tuple[datetime, float]],
    *,
    motor: Thermal = TRUE_MOTOR,
    grinder_id: str = "bar-1",
    seed: int = 2,
    first: int = 1,
) -> list[Run]:
    """The runs with what was read at each one's end: noise of half a kelvin, tenths."""
    dice = random.Random(seed)
    starts = [at.timestamp() for at, _ in spans]
    ends = [at.timestamp() + seconds for at, seconds in spans]
    true = trajectory_celsius(starts, ends, ends, motor)
    return [
        Run(
            run_id=f"warm-{grinder_id}-{number:06d}",
            grinder_id=grinder_id,
            started_at=at,
            seconds=seconds,
            motor_celsius=round(float(celsius) + dice.gauss(0.0, 0.5), 1),
        )
        for number, ((at, seconds), celsius) in enumerate(zip(spans, true, strict=True), first)
    ]


def rest_readings(
    spans: Sequence[tuple[datetime, float]],
    *,
    after_seconds: float = 900.0,
    every: int = 3,
    motor: Thermal = TRUE_MOTOR,
    grinder_id: str = "bar-1",
    seed: int = 3,
) -> list[Reading]:
    """What was read some minutes after every third run, while the motor rested or not."""
    dice = random.Random(seed)
    starts = [at.timestamp() for at, _ in spans]
    ends = [at.timestamp() + seconds for at, seconds in spans]
    at = [end + after_seconds for end in ends[::every]]
    true = trajectory_celsius(starts, ends, at, motor)
    return [
        Reading(
            grinder_id=grinder_id,
            at=datetime.fromtimestamp(instant, tz=spans[0][0].tzinfo),
            motor_celsius=round(float(celsius) + dice.gauss(0.0, 0.5), 1),
        )
        for instant, celsius in zip(at, true, strict=True)
    ]


def true_celsius(
    spans: Sequence[tuple[datetime, float]], at: datetime, *, motor: Thermal = TRUE_MOTOR
) -> float:
    """How hot the motor truly is."""
    return float(
        trajectory_celsius(
            [start.timestamp() for start, _ in spans],
            [start.timestamp() + seconds for start, seconds in spans],
            [at.timestamp()],
            motor,
        )[0]
    )
