"""Runs of made-up burrs whose flow steadies within weeks, seldom and large: cheap to record."""

from __future__ import annotations

import math
import random
from datetime import timedelta

from burrline_service.core.records import Caller, Run
from burrline_service.store.database import Database
from small_chain import DAY, HOUR, NOW, a_run, fit, new_chain, send

DAYS = 26
RUNS_A_DAY = 28
DOSE_GRAMS = 40.0
FITTED_AT = NOW - DAYS * DAY - 6 * HOUR
SLOPE = 0.05  # of ln flow per unit of the dial
TAU_GRAMS, CHANGE = 3000.0, 0.10


def steady_runs(days: int = DAYS, *, number: int = 0, **fields: object) -> list[Run]:
    """Each day from noon UTC on, at two settings in turn; a dose scatters by 3 %."""
    dice = random.Random(4)
    runs = []
    for place in range(days * RUNS_A_DAY):
        day, of_day = divmod(place, RUNS_A_DAY)
        setting = 4.8 + 0.5 * (of_day // 7 % 2)
        log_flow = (
            0.9 - CHANGE * math.exp(-place * DOSE_GRAMS / TAU_GRAMS) + SLOPE * (setting - 4.8)
            + dice.gauss(0.0, 0.03)
        )  # fmt: skip
        given = {"setting": setting, "feed": "hopper", "coffee_lot": "lot-7", **fields}
        runs.append(
            a_run(
                number + place,
                NOW - (DAYS - day) * DAY + of_day * timedelta(minutes=9),
                grams=DOSE_GRAMS,
                seconds=round(DOSE_GRAMS / math.exp(log_flow), 3),
                **given,
            )
        )
    return runs


def steady_chain(database: Database, days: int = DAYS, **fields: object) -> Caller:
    """``bar-1`` with a new set in it, and those runs."""
    caller = new_chain(
        database,
        grind={"setting_step": 0.1, "coarser": "higher", "low_setting": 0.0, "high_setting": 10.0},
    )
    fit(database, caller, "bar-1", f"set-{caller.account_no}", FITTED_AT, diameter_millimetres=98.0)
    send(database, caller, steady_runs(days, **fields))
    return caller
