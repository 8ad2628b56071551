"""How often the checkpoint rule calls too early, too late, and how often its limits hold.

    PYTHONPATH=service python tests/simulations/settling.py [--runs 400] [--seed 1]

Burrs with a hidden truth are measured every 5 kg up to 60 kg, three doses each time, and judged
after each checkpoint by the public function, as a technician would. Every sitting is off by its
own amount (1 % of D50, 0.3 points of fines) beside the scatter of the doses. The limits are looked
at after five checkpoints, 0 to 20 kg. The command fails outside these bars:

- called settled too early: at most 3 % with tau = 6 kg, at most 7 % with tau = 12 kg;
- two-sided 95 % limits of tau, the settled value and what remains hold in 93 to 99 % of sets.

The truths are made up, not measured burrs.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from burrline_service.core.joining import Row
from burrline_service.core.settling import Settling, assess_settling

LAST_KILOGRAMS = 60.0
STEP_KILOGRAMS = 5.0
DOSES = 3
SESSION = 0.01  # of D50
FINES_SESSION = 0.003
FINES_SCATTER = 0.005
FIRST_D50, FIRST_FINES = 300.0, 0.14
FINES_PER_D50 = -1 / 3  # 12 % of D50 go with 4 points of fines
DELTA_D50, DELTA_FINES = 0.03, 0.01
EARLY_BARS = {6.0: 0.03, 12.0: 0.07}
COVERAGE_BAR = (0.93, 0.99)
STARTED_AT = datetime(2026, 5, 4, 8, tzinfo=UTC)


@dataclass(frozen=True)
class Truth:
    """A made-up burr set: its change of D50 as a share, by kilograms, done at infinity."""

    name: str
    remaining: Callable[[float], float]  # share of the first D50 still to come
    tau: float | None  # the one tau, where there is one

    def d50(self, kilograms: float) -> float:
        return FIRST_D50 * (1 + self.remaining(0.0) - self.remaining(kilograms))

    def fines(self, kilograms: float) -> float:
        done = self.remaining(0.0) - self.remaining(kilograms)
        return FIRST_FINES + FINES_PER_D50 * done

    def settles_kilograms(self) -> float:
        """The first kilograms, to 0.1, at which what is to come does not matter."""
        return next(m / 10 for m in range(2000) if self.is_settled(m / 10))

    def is_settled(self, kilograms: float) -> bool:
        to_come = self.remaining(kilograms)
        return (
            FIRST_D50 * to_come < DELTA_D50 * self.d50(kilograms)
            and abs(FINES_PER_D50) * to_come < DELTA_FINES
        )


def exponential(name: str, change: float, tau: float) -> Truth:
    return Truth(name, lambda m: change * float(np.exp(-m / tau)), tau)


TRUTHS = (
    exponential("98 mm like, tau 6", 0.12, 6.0),
    exponential("64 mm like, tau 2.5", 0.10, 2.5),
    exponential("small conical, 2 %", 0.02, 1.5),
    Truth(
        "two phases, 3 and 25",
        lambda m: 0.08 * float(np.exp(-m / 3)) + 0.04 * float(np.exp(-m / 25)),
        None,
    ),
    exponential("slow, tau 12", 0.12, 12.0),
    exponential("very slow, tau 30", 0.12, 30.0),
)


def measured_rows(
    truth: Truth, kilograms: Sequence[float], scatter: float, dice: np.random.Generator
) -> list[Row]:
    """What a technician would write down: doses that share what their sitting is off by."""
    rows = []
    for number, at in enumerate(kilograms):
        sitting = FIRST_D50 * SESSION * dice.standard_normal()
        d50 = truth.d50(at) + sitting
        d50 = d50 + scatter * FIRST_D50 * dice.standard_normal(DOSES)
        fines = truth.fines(at) + FINES_SESSION * dice.standard_normal()
        fines = fines + FINES_SCATTER * dice.standard_normal(DOSES)
        rows.append(
            Row(
                checkpoint_id=f"c{number:02d}",
                ground_at=STARTED_AT + timedelta(days=number),
                burr_grams=1000 * at,
                d50_micrometres=tuple(map(float, d50)),
                fines_fraction=tuple(float(min(max(value, 0.0), 1.0)) for value in fines),
                coffee_lot=None,
                seating_count=0,
            )
        )
    return rows


@dataclass(frozen=True)
class Calls:
    """When a truth was called settled, over all runs; None = never."""

    truth: Truth
    scatter: float
    called_kilograms: tuple[float | None, ...]

    @property
    def early(self) -> float:
        calls = [at for at in self.called_kilograms if at is not None]
        wrong = sum(not self.truth.is_settled(at) for at in calls)
        return wrong / len(self.called_kilograms)

    @property
    def never(self) -> float:
        return sum(at is None for at in self.called_kilograms) / len(self.called_kilograms)

    @property
    def middle_kilograms(self) -> float:
        calls = [np.inf if at is None else at for at in self.called_kilograms]
        return float(np.median(calls))

    @property
    def late_kilograms(self) -> float:
        """How far past the settling of the truth the calls come, on average of those that do."""
        settled = self.truth.settles_kilograms()
        late = [at - settled for at in self.called_kilograms if at is not None and at >= settled]
        return float(np.mean(late)) if late else float("nan")

    def by(self, kilograms: float) -> float:
        calls = self.called_kilograms
        return sum(at is not None and at <= kilograms for at in calls) / len(calls)


def simulate_calls(truth: Truth, scatter: float, runs: int, seed: int) -> Calls:
    places = np.arange(0.0, LAST_KILOGRAMS + 1, STEP_KILOGRAMS)
    called: list[float | None] = []
    for run in range(runs):
        dice = np.random.default_rng([seed, run, round(1000 * scatter)])
        rows = measured_rows(truth, places.tolist(), scatter, dice)
        first = None
        for count in range(4, len(rows) + 1):
            if assess_settling(rows[:count]).decision == "settled":
                first = float(places[count - 1])
                break
        called.append(first)
    return Calls(truth, scatter, tuple(called))


@dataclass(frozen=True)
class Coverage:
    """How often the limits held the truth, and how often tau had no upper one."""

    truth: Truth
    scatter: float
    held: dict[str, float]
    unbounded: float


def simulate_coverage(truth: Truth, scatter: float, runs: int, seed: int) -> Coverage:
    places = (0.0, 5.0, 10.0, 15.0, 20.0)
    held: dict[str, list[bool]] = {}
    unbounded = 0
    for run in range(runs):
        dice = np.random.default_rng([seed, 1_000_000 + run, round(1000 * scatter)])
        settling = assess_settling(measured_rows(truth, places, scatter, dice))
        for name, is_held in held_limits(truth, settling).items():
            held.setdefault(name, []).append(is_held)
        unbounded += settling.tau_grams is None or settling.tau_grams.high is None
    shares = {name: float(np.mean(values)) for name, values in held.items()}
    return Coverage(truth, scatter, shares, unbounded / runs)


def held_limits(truth: Truth, settling: Settling) -> dict[str, bool]:
    """Which of the limits hold the truth; an absent limit is infinite and holds it."""

    def holds(limits: object, value: float) -> bool:
        low, high = getattr(limits, "low", None), getattr(limits, "high", None)
        return (low is None or low <= value) and (high is None or value <= high)

    assert truth.tau is not None
    d50 = next(response for response in settling.responses if response.name == "d50")
    total, left = truth.remaining(0.0), truth.remaining(20.0)
    return {
        "tau": holds(settling.tau_grams, 1000 * truth.tau),
        "settled": holds(d50.settled, FIRST_D50 * (1 + total)),
        "remaining": holds(d50.remaining, FIRST_D50 * left),
        "bound": d50.most_to_come_response is None or FIRST_D50 * left <= d50.most_to_come_response,
    }


def broken_bars(calls: Sequence[Calls], coverages: Sequence[Coverage]) -> list[str]:
    """What lies outside the bars, beyond what the number of runs lets one expect at most."""
    found = []
    for call in calls:
        bar = EARLY_BARS.get(call.truth.tau or 0.0)
        if bar is not None and call.early > bar:
            found.append(f"{call.truth.name}, CV {call.scatter:.1%}: {call.early:.1%} too early")
    low, high = COVERAGE_BAR
    for coverage in coverages:
        for name in ("tau", "settled", "remaining"):
            share = coverage.held[name]
            if not low <= share <= high:
                found.append(
                    f"{coverage.truth.name}, CV {coverage.scatter:.1%}: {name} held in {share:.1%}"
                )
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    write = sys.stdout.write
    calls = [
        simulate_calls(truth, scatter, asked.runs, asked.seed)
        for scatter in (0.015, 0.03)
        for truth in TRUTHS
    ]
    write(f"{asked.runs} runs, seed {asked.seed}; called by 15/20/25/30/40 kg\n")
    write(f"{'truth':22} {'CV':>5} {'settles':>8} {'early':>6} {'median':>7} {'late by':>8} ")
    write(f"{'never':>6}   called by\n")
    for call in calls:
        by = " ".join(f"{call.by(at):.2f}" for at in (15, 20, 25, 30, 40))
        write(
            f"{call.truth.name:22} {call.scatter:5.1%} {call.truth.settles_kilograms():8.1f} "
            f"{call.early:6.1%} {call.middle_kilograms:7.0f} {call.late_kilograms:8.1f} "
            f"{call.never:6.1%}   {by}\n"
        )
    coverages = [
        simulate_coverage(truth, scatter, asked.runs, asked.seed)
        for scatter in (0.015, 0.03)
        for truth in TRUTHS
        if truth.tau in EARLY_BARS
    ]
    write(f"\n{'limits after 20 kg':22} {'CV':>5} {'tau':>6} {'settled':>8} {'remain':>7} "
          f"{'bound':>6} {'no upper tau':>13}\n")  # fmt: skip
    for coverage in coverages:
        held = coverage.held
        write(
            f"{coverage.truth.name:22} {coverage.scatter:5.1%} {held['tau']:6.1%} "
            f"{held['settled']:8.1%} {held['remaining']:7.1%} {held['bound']:6.1%} "
            f"{coverage.unbounded:13.1%}\n"
        )
    broken = broken_bars(calls, coverages)
    for line in broken:
        write(f"outside the bar: {line}\n")
    return 1 if broken else 0


if __name__ == "__main__":
    raise SystemExit(main())
