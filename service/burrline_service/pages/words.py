"""Numbers put into words for people: percent, kilograms, local times."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from ..core.answers import BreakIn, Duty, MotorState, Status, Throughput

DUTY_WORDS = {
    "ok": "within rating",
    "near": "near rating",
    "exceeded": "over rating",
    "unrated": "no rating known",
    "unknown": "cannot tell",
}
MOTOR_WORDS = {"ok": "ok", "warm": "warm", "over": "over limit", "unknown": "cannot tell"}
STAGE_WORDS = {
    "unknown": "no burr set",
    "new": "new",
    "breaking_in": "breaking in",
    "undecided": "undecided",
    "settled": "settled",
    "drifting": "drifting",
    "end_of_life": "end of life",
}
TONES = {"exceeded": "alert", "over": "alert", "near": "caution", "warm": "caution", "ok": "good"}


@dataclass(frozen=True)
class Row:
    """One grinder as the page shows it."""

    grinder_id: str
    site_id: str
    name: str
    urgency: int
    burr_set: str
    through: str
    estimated: str
    today: str
    duty: str
    duty_tone: str
    duty_detail: str
    motor: str
    motor_tone: str
    motor_detail: str
    motor_estimate: str
    stage: str
    sentence: str
    last_run: str


def row_of(status: Status, zone: tzinfo | None, *, now: datetime) -> Row:
    """The words for one status; times in the site's zone."""
    through = status.throughput
    duty_tone = TONES.get(status.duty.state, "plain")
    motor_tone = TONES.get(status.motor.state, "plain")
    return Row(
        grinder_id=status.grinder_id,
        site_id=status.site_id,
        name=status.name,
        urgency={"alert": 2, "caution": 1}.get(duty_tone, 0)
        + 2 * {"alert": 2, "caution": 1}.get(motor_tone, 0),
        burr_set=through.burr_set_id or "none fitted",
        through=through_words(through),
        estimated=estimated_words(through),
        today=_with_estimate(through.today_grams, through.today_estimated_grams),
        duty=DUTY_WORDS[status.duty.state],
        duty_tone=duty_tone,
        duty_detail=duty_detail(status.duty, zone),
        motor=MOTOR_WORDS[status.motor.state],
        motor_tone=motor_tone,
        motor_detail=motor_detail(status.motor, now=now),
        motor_estimate=motor_estimate(status.motor),
        stage=_stage(status.break_in),
        sentence=_sentence(status.break_in),
        last_run="never" if through.last_run_at is None else ago(through.last_run_at, now),
    )


def tally_of(states: list[Status]) -> dict[str, int]:
    """How many grinders call for somebody."""
    return {
        "grinders": len(states),
        "over limit": sum(state.motor.state == "over" for state in states),
        "over rating": sum(state.duty.state == "exceeded" for state in states),
        "breaking in": sum(state.break_in.stage in ("new", "breaking_in") for state in states),
    }


def through_words(through: Throughput) -> str:
    """All that went through the burrs, weighed here or known from before; ``-`` without a set."""
    if through.burr_grams is None:
        return "-"
    grams = through.burr_grams if through.total_burr_grams is None else through.total_burr_grams
    return _with_estimate(grams, through.burr_estimated_grams)


def _with_estimate(grams: float, estimated: float | None) -> str:
    if estimated is None:
        return f"{kilograms(grams)} + ?"
    return f"about {kilograms(grams + estimated)}" if estimated else kilograms(grams)


def estimated_words(through: Throughput) -> str:
    """What of it was before, and what nobody weighed."""
    words = []
    if through.burr_grams is not None and through.total_burr_grams != through.burr_grams:
        words.append(f"{kilograms(through.burr_grams)} weighed here")
    estimated = through.burr_estimated_grams
    if through.burr_grams is not None and estimated is None:
        words.append("some runs came without grams")
    elif estimated:
        words.append(f"about {kilograms(estimated)} not weighed")
    return ", ".join(words)


def kilograms(grams: float) -> str:
    """Grams as kilograms with about three figures.

    >>> kilograms(18.2), kilograms(2504.0), kilograms(27300.0)
    ('18 g', '2.50 kg', '27.3 kg')
    """
    if grams < 1000:
        return f"{grams:.0f} g"
    if grams < 10_000:
        return f"{grams / 1000:.2f} kg"
    return f"{grams / 1000:.1f} kg" if grams < 100_000 else f"{grams / 1000:,.0f} kg"


def duty_detail(duty: Duty, zone: tzinfo | None) -> str:
    minutes = f"{duty.cycle_seconds / 60:g} min"
    if duty.high_fraction - duty.low_fraction > 0.005:
        share = f"{percent(duty.low_fraction)} to {percent(duty.high_fraction)}"
    else:
        share = percent(duty.low_fraction)
    text = f"{share} of {minutes} on"
    if duty.rated_on_seconds is not None and duty.state != "unrated":
        text += f", rated {percent(duty.rated_on_seconds / duty.cycle_seconds)}"
    if duty.state == "exceeded" and duty.ready_at is not None:
        text += f"; back within it at {duty.ready_at.astimezone(zone or UTC):%H:%M:%S %Z}"
    return text


def motor_detail(motor: MotorState, *, now: datetime) -> str:
    if motor.reading_celsius is None:
        return "no reading"
    assert motor.read_at is not None
    text = f"{motor.reading_celsius:.1f} °C {ago(motor.read_at, now)}"
    if motor.sensor not in (None, "none"):
        text += f" ({motor.sensor})"
    if motor.limit_celsius is not None:
        text += f", limit {motor.limit_celsius:g} °C"
        if motor.state == "unknown":
            text += "; too long ago to judge"
    return text


def motor_estimate(motor: MotorState) -> str:
    """What the temperature model says of the body that carries the sensor; empty without one."""
    best, low, high = motor.estimate_celsius, motor.low_celsius, motor.high_celsius
    if best is None or low is None or high is None:
        return ""
    body = motor.sensor if motor.sensor in ("winding", "housing") else "motor"
    text = f"estimated now, {body}: {best:.0f} °C ({low:.0f} to {high:.0f} °C, 90 %)"
    if motor.seconds_to_limit is not None:
        if motor.seconds_to_limit <= 0:
            return f"{text}; may be at its limit"
        text += f"; run on, at its limit in {lasting(motor.seconds_to_limit)} or later"
    return text


def lasting(seconds: float) -> str:
    """How long, in the largest fitting unit, rounded down.

    >>> lasting(42.9), lasting(150.0), lasting(9000.0)
    ('42 s', '2 min', '2 h')
    """
    unit, length = next((one for one in (("h", 3600), ("min", 60)) if seconds >= one[1]), ("s", 1))
    return f"{int(seconds // length)} {unit}"


def percent(fraction: float) -> str:
    """A fraction as percent.

    >>> percent(0.253), percent(0.004), percent(1.0)
    ('25 %', '0.4 %', '100 %')
    """
    return f"{fraction * 100:.1f} %" if 0 < fraction < 0.0995 else f"{fraction * 100:.0f} %"


def ago(at: datetime, now: datetime) -> str:
    """How long ago, in the largest fitting unit."""
    elapsed = max(now - at, timedelta(0))
    for unit, length in (("d", 86400), ("h", 3600), ("min", 60)):
        if elapsed.total_seconds() >= length:
            return f"{int(elapsed.total_seconds() // length)} {unit} ago"
    return f"{int(elapsed.total_seconds())} s ago"


def _stage(break_in: BreakIn) -> str:
    """The stage and, where there is one to speak of, what it rests on."""
    words = STAGE_WORDS[break_in.stage]
    return words if break_in.stage == "unknown" else f"{words}, {break_in.basis}"


def _sentence(break_in: BreakIn) -> str:
    return break_in.sentence
