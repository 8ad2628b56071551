"""The families of scale scenes: what happens on the bench, by name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simulations.beyond_families import BEYOND, Play, cup_away, cup_down
from simulations.scale_scenes import (
    Bench,
    Device,
    Scene,
    Spoil,
    draw_device,
    drop_and_double,
    jump_clock,
)


def plain(bench: Bench) -> None:
    for _ in range(2):
        cup_down(bench)
        bench.run()
        cup_away(bench)


def short(bench: Bench) -> None:
    for _ in range(3):
        cup_down(bench)
        bench.run(least_seconds=0.6, most_seconds=2.0)
        cup_away(bench)


def slow(bench: Bench) -> None:
    cup_down(bench)
    bench.run(flow=bench.uniform(0.5, 0.9), grams=bench.log_uniform(5, 100))
    cup_away(bench)


def lifted_soon(bench: Bench) -> None:
    for _ in range(2):
        cup_down(bench)
        bench.run()
        bench.wait(1.0, 2.0)
        bench.lift()
        bench.wait(3, 5)


def placed_soon(bench: Bench) -> None:
    for _ in range(2):
        bench.wait(2, 4)
        bench.place()
        if bench.chance(0.3):
            bench.wait(0.6, 1.2)
            bench.tare()
            bench.wait(0.4, 0.8)
        else:
            bench.wait(1.0, 2.0)
        bench.run(least_seconds=1.5)
        bench.wait(1.0, 4.0)
        bench.lift()
        bench.wait(2, 4)


def pulses(bench: Bench) -> None:
    for _ in range(2):
        cup_down(bench)
        many = int(bench.dice.integers(1, 4))
        bench.run(
            least_seconds=2,
            ramp_seconds=bench.uniform(0, 0.15),
            pulses=tuple((bench.uniform(0.4, 1.7), bench.uniform(0.4, 1)) for _ in range(many)),
        )
        cup_away(bench)


def apart(bench: Bench) -> None:
    """Two runs into one cup, more than two seconds apart."""
    cup_down(bench)
    bench.run()
    bench.wait(2.8, 5)
    bench.run()
    cup_away(bench)


def trickle(bench: Bench) -> None:
    for _ in range(2):
        cup_down(bench)
        if bench.chance(0.6):
            bench.run(trickle=bench.uniform(0.02, 0.15))
            bench.wait(2)
        else:
            bench.run(clump_grams=bench.uniform(0.2, 1.0))
            bench.wait(1.5)
        cup_away(bench)


def tared_during(bench: Bench) -> None:
    cup_down(bench)
    bench.run(least_seconds=3)
    at = bench.truths[-1]
    bench.tares.append(at.started + at.seconds * bench.uniform(0.1, 0.9))
    bench.wait(2.5, 4)
    if bench.chance(0.5):
        bench.tare()
    cup_away(bench)
    bench.tare()
    cup_down(bench)
    bench.run()
    bench.wait(0.5, 2)
    bench.tare()
    cup_away(bench)


def taps(bench: Bench) -> None:
    for _ in range(2):
        cup_down(bench)
        bench.tap()
        bench.wait(0.8, 3)
        bench.run(least_seconds=2)
        start, end = bench.truths[-1].started, bench.now
        for _ in range(int(bench.dice.integers(0, 3))):
            bench.now = bench.uniform(start, end)
            bench.tap()
        bench.now = end
        bench.wait(0.6, 2)
        bench.tap()
        bench.wait(0.6, 2)
        cup_away(bench)


def pressure(bench: Bench) -> None:
    cup_down(bench)
    bench.press()
    bench.wait(1.5, 4)
    bench.run()
    bench.wait(2.5, 5)
    bench.press()
    bench.wait(1.5, 3)
    cup_away(bench)
    bench.press()
    bench.wait(2, 4)


def pressed_during(bench: Bench) -> None:
    cup_down(bench)
    bench.run(least_seconds=6)
    start, end = bench.truths[-1].started, bench.now
    bench.now = start + (end - start) * bench.uniform(0.25, 0.4)
    force = bench.log_uniform(5, 100)
    bench._push(bench.now, 0.2, force, (end - start) * bench.uniform(0.05, 0.3), 0.2)
    bench.now = end
    cup_away(bench)


def vibration(bench: Bench) -> None:
    for _ in range(2):
        cup_down(bench)
        bench.run(shake_grams=bench.log_uniform(0.2, 1.0))
        cup_away(bench)


def hopper(bench: Bench) -> None:
    """Into what stands on the scale anyway; emptied later."""
    bench.wait(3, 5)
    for _ in range(2):
        bench.run(shake_grams=0.2)
        bench.wait(3, 10)
    bench.lift()
    bench.wait(3, 5)


def second_cup(bench: Bench) -> None:
    cup_down(bench)
    bench.run()
    bench.wait(1, 3)
    bench.lift()
    bench.wait(0.5, 2)
    bench.place()
    bench.wait(1, 3)
    bench.run()
    cup_away(bench)


def knocked(bench: Bench) -> None:
    """A portafilter in a fork on the scale, knocked to settle the grounds."""
    bench.wait(2, 3)
    bench.place(bench.uniform(350, 700))
    bench.wait(2, 4)
    bench.tare()
    bench.wait(0.5, 2)
    bench.run()
    bench.wait(0.8, 2)
    for _ in range(int(bench.dice.integers(2, 6))):
        bench.tap()
        bench.wait(0.2, 0.6)
    bench.wait(0.5, 1)
    cup_away(bench)


def long_pause(bench: Bench) -> None:
    cup_down(bench)
    bench.run()
    bench.wait(60, 120)
    bench.run()
    cup_away(bench)


def long_run(bench: Bench) -> None:
    cup_down(bench)
    bench.run(least_seconds=60, most_seconds=200, shake_grams=0.2)
    cup_away(bench)


def idle(bench: Bench) -> None:
    """All that happens on a scale, but nobody grinds."""
    for _ in range(12):
        what = int(bench.dice.integers(7))
        if what == 0:
            bench.place()
            bench.wait(0.5, 6)
            bench.lift()
        elif what == 1:
            bench.tap()
        elif what in (2, 3):
            bench.press()
        elif what == 4:
            bench.tare()
        elif what == 5:
            start = bench.now
            bench.wait(2, 10)
            bench.shakes.append((start, bench.now, bench.log_uniform(0.05, 0.8)))
        else:
            bench.wait(5, 20)
        bench.wait(0.5, 8)


def mixed(bench: Bench) -> None:
    for _ in range(3):
        (plain, short, placed_soon, trickle, taps, pressure, second_cup, idle)[
            int(bench.dice.integers(8))
        ](bench)


PLAYS: dict[str, Play] = {
    play.__name__: play
    for play in (
        plain, short, slow, lifted_soon, placed_soon, pulses, apart, trickle,
        tared_during, taps, pressure, pressed_during, vibration, hopper, second_cup, knocked,
        long_pause, long_run, idle, mixed,
    )
}  # fmt: skip
PLAYS |= {"drift": plain, "clock": plain, "lost": plain, "repeats": plain}


def make_scene(family: str, seed: int) -> Scene:
    """The scene of a family and a seed, always the same."""
    dice = np.random.default_rng([seed, *family.encode()])
    device, spoil = draw_device(dice), _spoil(family, dice)
    device = _of_family(device, family, dice)
    bench = Bench(dice)
    (PLAYS | BEYOND)[family](bench)
    return bench.scene(family, seed, device, spoil)


def _spoil(family: str, dice: np.random.Generator) -> Spoil | None:
    if family == "clock":
        return jump_clock
    if family == "lost" or (family in ("mixed", "idle") and dice.random() < 0.4):
        return drop_and_double
    return None


def _of_family(device: Device, family: str, dice: np.random.Generator) -> Device:
    if family == "drift":
        return replace(device, drift_grams_per_second=float(dice.uniform(-0.01, 0.01)))
    if family == "repeats" or (family in ("mixed", "idle") and dice.random() < 0.3):
        # a display that changes five to ten times a second, read as often or more often
        return replace(device, repeat_seconds=float(dice.uniform(0.1, 0.2)))
    return device
