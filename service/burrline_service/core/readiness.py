"""May a grinder run so long now, and if not, when: duty and temperature put together.

The rules, from the strongest on:

1. A suspected thermal trip nobody looked at: ``unknown``, whatever else is known.
2. ``never`` where one limit never allows the length.
3. ``wait`` where one limit asks for it for certain: the duty of what is *known* to have run, or
   the temperature. The wait told is enough even if the motor ran in all unknown time.
4. ``unknown`` where the rating allows what is known to have run, but not all that may have: time
   nobody watched, grams without seconds. A temperature cannot make up for it, since a housing
   lags behind its winding by minutes.
5. ``ready`` where the rating allows it whatever happened, or, on an unrated grinder, the
   temperature does. A temperature that nobody knows takes nothing from a rating that allows the
   run: a sensor makes no grinder worse off.
6. Else ``unknown``: no limit is known, or nothing of the temperature.

Ready is advice and never a permission.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Literal

from .answers import Allowance, Readiness

Limit = Literal["duty", "temperature", "suspected_trip", "no_limit_known"]
State = Literal["ready", "wait", "never", "unknown"]


def judge_readiness(
    *,
    now_at: datetime,
    run_seconds: float,
    known_duty: Allowance | None,
    possible_duty: Allowance | None,
    coverage_fraction: float,
    temperature: Allowance | None,
    is_trip_suspected: bool,
) -> Readiness:
    """Say whether a run of a given length is within all known limits now, and if not, when.

    ``trip: unknown;  else never > wait > unknown duty > ready > unknown``; wait = max of waits

    Parameters
    ----------
    now_at : datetime
        The instant judged, aware.
    run_seconds : float
        Length of the run asked for in s, >= 0.
    known_duty : Allowance or None
        What the rating makes of the runs known; None = the plate gives no rating with numbers.
    possible_duty : Allowance or None
        What it makes of all that may have run; None = the same as what is known. Of no account
        without ``known_duty``.
    coverage_fraction : float
        Known share of the rating's trailing cycle, 0 to 1.
    temperature : Allowance or None
        What the limit makes of the high bound of the temperature now; None = no limit is known,
        state ``unknown`` = there is a limit and the temperature cannot be told.
    is_trip_suspected : bool
        Whether a thermal trip is suspected that nobody has acknowledged.

    Returns
    -------
    answers.Readiness
        ``limited_by`` is None when ready; waits are rounded up and the longest run down to the
        millisecond.

    Raises
    ------
    ValueError
        A naive instant, a negative length, or a coverage outside 0 to 1.

    Valid
    -----
    Each limit once waited for stays open until the motor runs again, so the longest wait is
    enough for all.

    Source
    ------
    Definition made here; the rules stand at the head of this module.

    Examples
    --------
    >>> from datetime import UTC
    >>> judge_readiness(now_at=datetime(2026, 5, 4, 12, tzinfo=UTC), run_seconds=60.0,
    ...     known_duty=Allowance("wait", 410.0, 30.0), possible_duty=None, coverage_fraction=1.0,
    ...     temperature=None, is_trip_suspected=False).sentence
    'Wait 6 min 50 s: the duty rating has no room for a run of 1 min yet.'
    """
    if now_at.utcoffset() is None:
        raise ValueError("now_at must be aware (have an offset)")
    if not 0 <= run_seconds < math.inf:
        raise ValueError(f"run_seconds must be finite and at least 0, not {run_seconds}")
    if not 0 <= coverage_fraction <= 1:
        raise ValueError(f"coverage_fraction must be from 0 to 1, not {coverage_fraction}")
    worst_duty = known_duty if known_duty is None or possible_duty is None else possible_duty
    state, limited_by = _verdict(known_duty, worst_duty, temperature, is_trip_suspected)
    wait: float | None = None
    if state == "ready":
        wait = 0.0
    elif state == "wait":
        wait = _longest_wait(known_duty, worst_duty, temperature)
    if wait is not None:
        wait = math.ceil(round(wait * 1000, 3)) / 1000
    longest = None if is_trip_suspected else _longest_run(worst_duty, temperature)
    said = _sentence(state, limited_by, run_seconds, wait, known_duty, worst_duty, temperature)
    if known_duty is not None and coverage_fraction < 1:
        known_percent = math.floor(100 * coverage_fraction)
        said += f" Only {known_percent} % of the rating's last cycle is known."
    return Readiness(
        state=state,
        run_seconds=run_seconds,
        ready_at=None if wait is None else now_at + timedelta(milliseconds=round(wait * 1000)),
        wait_seconds=wait,
        limited_by=limited_by,
        longest_run_seconds=longest,
        coverage_fraction=coverage_fraction,
        sentence=said,
    )


def _verdict(
    known: Allowance | None,
    worst: Allowance | None,
    temperature: Allowance | None,
    is_trip_suspected: bool,
) -> tuple[State, Limit | None]:
    if is_trip_suspected:
        return "unknown", "suspected_trip"
    for state in ("never", "wait"):
        is_duty = known is not None and known.state == state
        is_temperature = temperature is not None and temperature.state == state
        if is_duty or is_temperature:
            return _as_state(state), _longer(known, temperature, is_duty, is_temperature)
    if known is not None and worst is not None:
        is_allowed = known.state == "ready" and worst.state == "ready"
        return ("ready", None) if is_allowed else ("unknown", "duty")
    if temperature is None:
        return "unknown", "no_limit_known"
    return ("ready", None) if temperature.state == "ready" else ("unknown", "temperature")


def _as_state(word: str) -> State:
    return "never" if word == "never" else "wait"


def _longer(
    known: Allowance | None, temperature: Allowance | None, is_duty: bool, is_temperature: bool
) -> Limit:
    """Which of the limits that ask for it asks for more; an unknown wait is the longest."""
    if not is_temperature:
        return "duty"
    if not is_duty or known is None or temperature is None:
        return "temperature"
    if temperature.wait_seconds is None and temperature.state == "wait":
        return "temperature"
    return "temperature" if (temperature.wait_seconds or 0) > (known.wait_seconds or 0) else "duty"


def _longest_wait(
    known: Allowance | None, worst: Allowance | None, temperature: Allowance | None
) -> float | None:
    waits = [0.0]
    for limit in (known, worst, None if _is_silent(temperature) else temperature):
        if limit is None:
            continue
        if limit.wait_seconds is None:
            return None
        waits.append(limit.wait_seconds)
    return max(waits)


def _is_silent(temperature: Allowance | None) -> bool:
    """Whether nothing can be said of the temperature, so that it asks for no wait."""
    return temperature is not None and temperature.state == "unknown"


def _longest_run(worst: Allowance | None, temperature: Allowance | None) -> float | None:
    """The shorter of what both allow now; a rating alone decides where no temperature is known."""
    allowed = [] if worst is None else [worst.longest_run_seconds]
    if temperature is not None and (worst is None or not _is_silent(temperature)):
        allowed.append(temperature.longest_run_seconds)
    known = [seconds for seconds in allowed if seconds is not None]
    if not known or len(known) < len(allowed) or min(known) == math.inf:
        return None
    return math.floor(round(min(known) * 1000, 3)) / 1000


def _sentence(
    state: State,
    limited_by: Limit | None,
    run_seconds: float,
    wait: float | None,
    known: Allowance | None,
    worst: Allowance | None,
    temperature: Allowance | None,
) -> str:
    run = f"a run of {_spoken(run_seconds)}"
    if limited_by == "suspected_trip":
        return (
            "A thermal cut-out seems to have stopped this motor, and it may restart by itself: "
            "unplug it, let it cool, look at it, then enter that you did."
        )
    if limited_by == "no_limit_known":
        return "Neither a duty rating nor a temperature limit is known for this grinder."
    if state == "ready":
        limits = "duty rating has" if known is not None else "temperature limit has"
        if known is not None and temperature is not None and temperature.state == "ready":
            limits = "duty rating and temperature limit have"
        return f"Its {limits} room for {run} now; this is advice, not a permission."
    if state == "never":
        if limited_by == "duty":
            return f"The duty rating never allows {run}."
        return f"Even from cold, {run} would pass the temperature limit."
    if state == "wait":
        if wait is None:
            return "Wait: how long the motor needs to cool is not known."
        if limited_by == "duty":
            return f"Wait {_spoken(wait)}: the duty rating has no room for {run} yet."
        return f"Wait {_spoken(wait)}: after {run} from now the motor would pass its limit."
    if limited_by == "temperature":
        return f"How warm {run} would make the motor is not known well enough."
    if known is not None and known.state == "unknown":
        asks = "The duty rating asks for rest until cold, and how this motor cools is not known"
        if known.wait_seconds is None:
            return f"{asks}."
        return f"{asks}; after {_spoken(known.wait_seconds)} of rest it is taken for cold."
    later = (
        ""
        if worst is None or not worst.wait_seconds
        else (f"; after {_spoken(worst.wait_seconds)} of rest it has room in any case")
    )
    return f"The duty rating has room for {run} only if the motor stood in unknown time{later}."


def _spoken(seconds: float) -> str:
    if seconds < 60:
        return f"{math.ceil(round(seconds * 10, 3)) / 10:g} s"
    whole = math.ceil(round(seconds, 3))
    hours, rest = divmod(whole, 3600)
    parts = ((hours, "h"), (rest // 60, "min"), (rest % 60, "s"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count)
