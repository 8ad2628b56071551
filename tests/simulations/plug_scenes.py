"""Plugs that never were: what a metering plug says of a grinder, quick or slow, honest or stale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulations.scale_scenes import Scene, TrueRun

FAMILIES = ("quick", "each_second", "each_five", "each_ten", "stale", "shared", "stalled", "idle")


@dataclass(frozen=True)
class Plug:
    """How one plug meters and tells."""

    interval_seconds: float
    resolution_watts: float
    noise_fraction: float


def make_plug_scene(
    family: str,
    seed: int,
    truths: list[TrueRun] | None = None,
    offset_seconds: float = 0.0,
    lasts_seconds: float = 0.0,
) -> Scene:
    """The scene of a family and a seed; of given runs, on a clock that may be off."""
    dice = np.random.default_rng([seed, FAMILIES.index(family), 77])
    interval = {"quick": 0.1, "each_five": 5.0, "each_ten": 10.0}.get(family, 1.0)
    plug = Plug(interval, float(dice.choice([0.1, 1.0])), float(dice.uniform(0.002, 0.03)))
    runs = truths if truths is not None else ([] if family == "idle" else _runs(dice, interval))
    end = max((run.started + run.seconds for run in runs), default=600.0) + 4 * interval + 15
    end = max(end, lasts_seconds)
    begin = min((run.started for run in runs), default=0.0) - 10 * interval - 15
    begin = begin if truths is not None else 0.0
    idle, load = (
        float(dice.uniform(0.5, 3.0)),
        float(np.exp(dice.uniform(np.log(150), np.log(1200)))),
    )
    steps = np.diff(np.arange(begin, end, plug.interval_seconds))
    at = begin + np.cumsum(steps * dice.uniform(0.9, 1.1, len(steps)))
    drawn = np.full(len(at), idle)
    if family in ("shared", "idle"):
        # another appliance's standby and its small heater on the same plug
        drawn += float(dice.uniform(2, 15)) + 20.0 * (
            np.sin(at / float(dice.uniform(20, 60))) > 0.7
        )
    for run in runs:
        since = at - run.started
        on = (since >= 0) & (since < run.seconds)
        wander = 1 + 0.08 * np.sin(since * float(dice.uniform(0.5, 3)))
        share = float(dice.uniform(0.45, 0.7)) if dice.random() < 0.15 else 1.0  # without beans
        power = (
            load * share * wander * (1 + float(dice.uniform(1, 4)) * np.exp(-since.clip(0) / 0.08))
        )
        if family == "stalled":
            power = power * np.where(since > 0.7 * run.seconds, 2.5, 1.0)
        drawn = np.where(on, drawn + power, drawn)
    told = drawn * (1 + plug.noise_fraction * dice.normal(0, 1, len(at)))
    told = np.round(told / plug.resolution_watts) * plug.resolution_watts
    if family == "stale":
        for i in range(1, len(told)):
            if dice.random() < 0.3:
                told[i] = told[i - 1]
    samples = [(float(t) + offset_seconds, float(w)) for t, w in zip(at, told, strict=True)]
    if family == "stale":
        samples = [s for sample in samples for s in ([sample] * (2 if dice.random() < 0.1 else 1))]
    return Scene("plug " + family, seed, samples, list(runs), float(end - begin))


def _runs(dice: np.random.Generator, interval: float) -> list[TrueRun]:
    """Runs as a plug could know them: no shorter than three of its intervals."""
    now, found = 20 * interval, []
    for _ in range(6):
        now += float(dice.uniform(max(5.0, 5 * interval), 60 + 5 * interval))
        seconds = float(
            np.exp(dice.uniform(np.log(max(2.0, 3 * interval)), np.log(40 + 10 * interval)))
        )
        found.append(TrueRun(now, seconds, None))
        now += seconds
    return found
