"""How honest the limits of the dial are, on made-up burrs whose truth the core never sees.

    PYTHONPATH=service python tests/simulations/calibration.py [--sets 2000] [--seed 6]

Burrs break in with tau, sittings scatter by 1 % of D50, doses by 2 %, and fines go their own way
besides. Fails when limits meant to cover 95 % cover less than 93 %, when limits are said although
setting and age went along with each other, or when "only coarser" is said too often of burrs whose
fines changed by just the change that matters.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from collections import Counter
from collections.abc import Sequence

from burrline_service.core.better_or_coarser import shift_by_break_in
from burrline_service.core.calibration import calibrate
from burrline_service.core.setting_lines import crossing, line_at
from burrline_service.core.setting_steps import Step

SLOPE, STEP, USUAL = 0.05, 0.5, 5.0
CHANGE, FINES_PER_LOG, REST = 0.12, -0.20, -0.01
LOWEST_COVERAGE = 0.93
HIGHEST_FALSE = 0.05


def made_steps(
    dice: random.Random, design: Sequence[tuple[str, float, float]], tau_grams: float, rest: float
) -> list[Step]:
    """Three doses at each (sitting, grams, setting) of burrs whose truth is the constants above."""
    offs = {sitting: (dice.gauss(0, 0.01), dice.gauss(0, 0.003)) for sitting, _, _ in design}
    rows = []
    for number, (sitting, grams, setting) in enumerate(design):
        done = -math.expm1(-grams / tau_grams)
        log_d50 = math.log(300) + SLOPE * (setting - USUAL) + CHANGE * done + offs[sitting][0]
        fines = 0.14 + FINES_PER_LOG * (SLOPE * (setting - USUAL) + CHANGE * done) + rest * done
        rows.append(
            Step(
                checkpoint_id=f"c{number}",
                sitting=sitting,
                setting=setting,
                above_setting=setting,
                burr_grams=grams,
                age_grams=grams,
                log_d50_ratio=tuple(log_d50 + dice.gauss(0, 0.02) for _ in range(3)),
                fines_fraction=tuple(
                    fines + offs[sitting][1] + dice.gauss(0, 0.004) for _ in range(3)
                ),
                coffee_lot=None,
                seating_count=0,
            )
        )
    return rows


def ladder(sitting: str, grams: float) -> list[tuple[str, float, float]]:
    return [(sitting, grams, setting) for setting in (7.0, 3.0, USUAL)]


DESIGNS = {
    "one ladder": ladder("a", 20_000.0),
    "ladders new and broken in": [*ladder("a", 0.0), *ladder("b", 20_000.0)],
    "a ladder and checkpoints": [
        *((f"s{kilograms}", 1000.0 * kilograms, USUAL) for kilograms in (0, 5, 10, 20)),
        *ladder("z", 30_000.0),
    ],
    "finer as it aged": [
        (f"s{place}", grams, USUAL - place)
        for place, grams in enumerate((0.0, 5_000.0, 10_000.0, 20_000.0))
    ],
}


def run(set_count: int, seed: int, tau_grams: float) -> dict[str, Counter[str]]:
    dice = random.Random(seed)
    told: dict[str, Counter[str]] = {}
    for name, design in DESIGNS.items():
        count = told.setdefault(name, Counter())
        last = max(grams for _, grams, _ in design)
        first = min(grams for _, grams, _ in design)
        moved = math.exp(-first / tau_grams) - math.exp(-last / tau_grams)
        for _ in range(set_count):
            found = calibrate(made_steps(dice, design, tau_grams, REST))
            count["all"] += 1
            count[found.verdict] += 1
            if found.d50 is None or found.verdict not in ("calibrated", "slope_unclear"):
                continue
            low, _, high = _numbers(found.log_d50_per_setting)
            count["slope"] += low <= SLOPE <= high
            count["slopes"] += 1
            wanted = math.log(300) + CHANGE * -math.expm1(-first / tau_grams)
            line = line_at(found.d50, last, less_response=wanted)
            low, _, high = crossing(found.d50, line)
            count["setting"] += low <= -CHANGE * moved / SLOPE <= high
            count["setting bounded"] += math.isfinite(low) and math.isfinite(high)
            shift = shift_by_break_in(found.d50, found.fines, to_grams=last, step_setting=STEP)
            if shift.verdict in ("one_age_only", "no_fines"):
                continue
            count["shifts"] += 1
            low, _, high = _numbers(shift.equal_steps)
            count["steps"] += low <= CHANGE * moved / SLOPE / STEP <= high
            low, _, high = _numbers(shift.fines_change_at_equal_d50)
            count["rest"] += low <= REST * moved <= high
            count[shift.verdict] += 1
    return told


def _numbers(limits: object) -> tuple[float, float, float]:
    low, best, high = (getattr(limits, name) for name in ("low", "best", "high"))
    return (
        -math.inf if low is None else low,
        math.nan if best is None else best,
        math.inf if high is None else high,
    )


def wrong(told: dict[str, Counter[str]], lowest: float = LOWEST_COVERAGE) -> list[str]:
    """What is outside its bar."""
    found = []
    for name, count in told.items():
        for what, of in (("slope", "slopes"), ("setting", "slopes"), ("steps", "shifts"),
                         ("rest", "shifts")):  # fmt: skip
            if count[of] and count[what] < lowest * count[of]:
                found.append(f"{name}: limits of {what} cover {count[what] / count[of]:.3f}")
        if count["shifts"] and count["only_coarser"] > HIGHEST_FALSE * count["shifts"]:
            found.append(f"{name}: only_coarser of {count['only_coarser'] / count['shifts']:.3f}")
    confounded = told["finer as it aged"]
    if confounded["setting_confounded"] < confounded["all"]:
        found.append(f"told although confounded: {dict(confounded)}")
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=6)
    options = parser.parse_args(arguments)
    trouble = []
    for tau in (2_500.0, 6_000.0, 12_000.0):
        told = run(options.sets, options.seed, tau)
        for name, count in told.items():
            shares = {
                what: round(count[what] / count[of], 3)
                for what, of in (("slope", "slopes"), ("setting", "slopes"),
                                 ("setting bounded", "slopes"), ("steps", "shifts"),
                                 ("rest", "shifts"))
                if count[of]
            }  # fmt: skip
            words = {key: n for key, n in count.items() if "_" in key or key == "calibrated"}
            sys.stdout.write(f"tau {tau / 1000:g} kg, {name}: {shares} {words}\n")
        trouble += [f"tau {tau / 1000:g} kg, {one}" for one in wrong(told)]
    sys.stdout.writelines(f"{one}\n" for one in trouble)
    return 1 if trouble else 0


if __name__ == "__main__":
    sys.exit(main())
