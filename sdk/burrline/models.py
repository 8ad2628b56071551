"""GENERATED from the OpenAPI document by openapi/build.py: do not edit.

What the service answers, as frozen dataclasses. Instants are aware and UTC. Fields this release
does not know are kept in ``extra``; ``etag``, where there is one, is for the next change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from burrline._convert import (
    Fields,
    Model,
    anything,
    choice,
    flag,
    instant,
    integer,
    listed,
    mapped,
    nullable,
    number,
    text,
)

__all__ = [
    "Alert",
    "AlertOwnRules",
    "AlertRules",
    "AlertSettings",
    "AtEqualD50",
    "Attempt",
    "BatchProblem",
    "BreakIn",
    "BreakInAnswer",
    "Brew",
    "BrewInput",
    "Bucket",
    "BurrLifeOwnRules",
    "BurrLifeRules",
    "BurrSet",
    "Calibration",
    "CareEntry",
    "Caution",
    "Checkpoint",
    "CheckpointDueOwnRules",
    "CheckpointDueRules",
    "CheckpointWithSamples",
    "ClockSuspectOwnRules",
    "ClockSuspectRules",
    "Compared",
    "ComparedSet",
    "Correction",
    "Cups",
    "CupsLeftOut",
    "Curve",
    "CurvePoint",
    "Delivery",
    "Difference",
    "Distribution",
    "Duty",
    "DutyExceededOwnRules",
    "DutyExceededRules",
    "DutyHour",
    "DutyReport",
    "Event",
    "Extractions",
    "Fault",
    "Finding",
    "Fit",
    "Fitting",
    "FlowLowOwnRules",
    "FlowLowRules",
    "FlowSlope",
    "Forecast",
    "GradedCheckpoint",
    "Grind",
    "GrindSlope",
    "Grinder",
    "History",
    "Key",
    "KeyWithSecret",
    "Ladder",
    "Limits",
    "Liveness",
    "LogNormalFit",
    "LongRunOwnRules",
    "LongRunRules",
    "MeasuredCheckpoint",
    "Method",
    "Missing",
    "Mode",
    "Motor",
    "MotorHeatingOwnRules",
    "MotorHeatingRules",
    "MotorOverheatOwnRules",
    "MotorOverheatRules",
    "MotorReport",
    "MotorState",
    "NewReading",
    "NewRun",
    "OpenAlert",
    "OpeningHours",
    "ParameterLimits",
    "Parameters",
    "Period",
    "PooledSizes",
    "Prior",
    "QuietHours",
    "RatedDuty",
    "Readiness",
    "Reading",
    "ReadingBatchOutcome",
    "ReadingProblem",
    "Redial",
    "Reference",
    "Replicate",
    "ReplicateWithSample",
    "ResponseFit",
    "RosinRammlerFit",
    "Run",
    "RunBatchOutcome",
    "RunOutcome",
    "RunReadiness",
    "RunsLeftOut",
    "Said",
    "SampleSizes",
    "SampleSummary",
    "Segment",
    "SetComparison",
    "SettledOwnRules",
    "SettledRules",
    "Shift",
    "ShotTimes",
    "SilentOwnRules",
    "SilentRules",
    "Site",
    "Span",
    "Spread",
    "StageChange",
    "Status",
    "Stream",
    "SuspectedTrip",
    "Tally",
    "TallyBatchOutcome",
    "TallyProblem",
    "Throughput",
    "Webhook",
    "WebhookWithSecret",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert(Model):
    """A condition of a grinder, from when until when it held."""

    alert_id: str | None = None
    """The alert's id, once it was noticed."""
    kind: Literal[
        "motor_overheat",
        "motor_heating",
        "duty_exceeded",
        "long_run",
        "flow_low",
        "clock_suspect",
        "burr_life",
        "silent",
        "checkpoint_due",
        "settled",
    ]
    """What held."""
    severity: Literal["notice", "caution", "alert"]
    """How much it matters."""
    grinder_id: str
    """The grinder."""
    site_id: str
    """The site it stands at."""
    opened_at: datetime
    """When it began."""
    closed_at: datetime | None = None
    """When it ended; null while it lasts."""
    facts: Mapping[str, float | None]
    """The numbers behind it: `peak_celsius` and `limit_celsius`; `lead_seconds`, `limit_celsius`
    and `reach_probability`; `peak_on_seconds`, `rated_on_seconds` and `cycle_seconds`;
    `run_seconds` and `longest_run_seconds`; `flow_fraction` of the usual flow and `run_count`;
    `open_seconds`; `behind_seconds`; `due_grams`; `burr_grams`; `rated_life_grams`.
    """
    noticed_at: datetime | None = None
    """When burrline noticed it and told of it."""
    is_late: bool | None = None
    """Whether its facts came so late that nobody was called: it is recorded, no more."""
    acknowledged_at: datetime | None = None
    """When somebody said that they had seen it."""
    acknowledged_by: str | None = None
    """The id of the key that said so."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Alert") -> Alert:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            alert_id=fields.maybe("alert_id", text),
            kind=fields.need("kind", choice),
            severity=fields.need("severity", choice),
            grinder_id=fields.need("grinder_id", text),
            site_id=fields.need("site_id", text),
            opened_at=fields.need("opened_at", instant),
            closed_at=fields.maybe("closed_at", instant),
            facts=fields.need("facts", mapped(nullable(number))),
            noticed_at=fields.maybe("noticed_at", instant),
            is_late=fields.maybe("is_late", flag),
            acknowledged_at=fields.maybe("acknowledged_at", instant),
            acknowledged_by=fields.maybe("acknowledged_by", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertOwnRules(Model):
    """What a level sets itself; what is left out is inherited."""

    motor_overheat: MotorOverheatOwnRules | None = None
    """Rules of `motor_overheat`."""
    motor_heating: MotorHeatingOwnRules | None = None
    """Rules of `motor_heating`."""
    duty_exceeded: DutyExceededOwnRules | None = None
    """Rules of `duty_exceeded`."""
    long_run: LongRunOwnRules | None = None
    """Rules of `long_run`."""
    flow_low: FlowLowOwnRules | None = None
    """Rules of `flow_low`."""
    clock_suspect: ClockSuspectOwnRules | None = None
    """Rules of `clock_suspect`."""
    burr_life: BurrLifeOwnRules | None = None
    """Rules of `burr_life`."""
    silent: SilentOwnRules | None = None
    """Rules of `silent`."""
    checkpoint_due: CheckpointDueOwnRules | None = None
    """Rules of `checkpoint_due`."""
    settled: SettledOwnRules | None = None
    """Rules of `settled`."""
    quiet_hours: QuietHours | None = None
    """Local hours by day of the week in which notices and cautions call nobody; an `alert` always
    does. An empty object: none.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "AlertOwnRules") -> AlertOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            motor_overheat=fields.maybe("motor_overheat", MotorOverheatOwnRules.from_json),
            motor_heating=fields.maybe("motor_heating", MotorHeatingOwnRules.from_json),
            duty_exceeded=fields.maybe("duty_exceeded", DutyExceededOwnRules.from_json),
            long_run=fields.maybe("long_run", LongRunOwnRules.from_json),
            flow_low=fields.maybe("flow_low", FlowLowOwnRules.from_json),
            clock_suspect=fields.maybe("clock_suspect", ClockSuspectOwnRules.from_json),
            burr_life=fields.maybe("burr_life", BurrLifeOwnRules.from_json),
            silent=fields.maybe("silent", SilentOwnRules.from_json),
            checkpoint_due=fields.maybe("checkpoint_due", CheckpointDueOwnRules.from_json),
            settled=fields.maybe("settled", SettledOwnRules.from_json),
            quiet_hours=fields.maybe("quiet_hours", QuietHours.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertRules(Model):
    """What holds in effect."""

    motor_overheat: MotorOverheatRules | None = None
    """Rules of `motor_overheat`."""
    motor_heating: MotorHeatingRules | None = None
    """Rules of `motor_heating`."""
    duty_exceeded: DutyExceededRules | None = None
    """Rules of `duty_exceeded`."""
    long_run: LongRunRules | None = None
    """Rules of `long_run`."""
    flow_low: FlowLowRules | None = None
    """Rules of `flow_low`."""
    clock_suspect: ClockSuspectRules | None = None
    """Rules of `clock_suspect`."""
    burr_life: BurrLifeRules | None = None
    """Rules of `burr_life`."""
    silent: SilentRules | None = None
    """Rules of `silent`."""
    checkpoint_due: CheckpointDueRules | None = None
    """Rules of `checkpoint_due`."""
    settled: SettledRules | None = None
    """Rules of `settled`."""
    quiet_hours: QuietHours | None = None
    """Local hours by day of the week in which notices and cautions call nobody; an `alert` always
    does. An empty object: none.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "AlertRules") -> AlertRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            motor_overheat=fields.maybe("motor_overheat", MotorOverheatRules.from_json),
            motor_heating=fields.maybe("motor_heating", MotorHeatingRules.from_json),
            duty_exceeded=fields.maybe("duty_exceeded", DutyExceededRules.from_json),
            long_run=fields.maybe("long_run", LongRunRules.from_json),
            flow_low=fields.maybe("flow_low", FlowLowRules.from_json),
            clock_suspect=fields.maybe("clock_suspect", ClockSuspectRules.from_json),
            burr_life=fields.maybe("burr_life", BurrLifeRules.from_json),
            silent=fields.maybe("silent", SilentRules.from_json),
            checkpoint_due=fields.maybe("checkpoint_due", CheckpointDueRules.from_json),
            settled=fields.maybe("settled", SettledRules.from_json),
            quiet_hours=fields.maybe("quiet_hours", QuietHours.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertSettings(Model):
    """The rules of alerts of an account, a site or a grinder."""

    level: Literal["account", "site", "grinder"]
    """What they are set at."""
    site_id: str | None = None
    """The site, or the one where the grinder stands."""
    grinder_id: str | None = None
    """The grinder."""
    own: AlertOwnRules
    """What is set here."""
    effective: AlertRules
    """What holds here, with all that is inherited."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)
    etag: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "AlertSettings", *, etag: str | None = None
    ) -> AlertSettings:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            level=fields.need("level", choice),
            site_id=fields.maybe("site_id", text),
            grinder_id=fields.maybe("grinder_id", text),
            own=fields.need("own", AlertOwnRules.from_json),
            effective=fields.need("effective", AlertRules.from_json),
            extra=fields.rest(),
            etag=etag,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AtEqualD50(Model):
    """The fines of a set at the setting where its D50 is the common one."""

    verdict: str
    """`told`, or why not: a verdict of the calibration, `no_fines`, `no_common_d50`,
    `shift_unclear`.
    """
    sentence: str
    """The same for a person."""
    fines_fraction: Limits
    """Fines there, as a fraction; two-sided 95 % limits."""
    fines_change: Limits
    """Their change by break-in at an equal D50, as a fraction; two-sided 95 % limits."""
    less_first_fines_fraction: Limits
    """Fines there less those of the first set, as a fraction; null for the first, and where they
    were measured in another way; two-sided 95 % limits.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "AtEqualD50") -> AtEqualD50:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            fines_fraction=fields.need("fines_fraction", Limits.from_json),
            fines_change=fields.need("fines_change", Limits.from_json),
            less_first_fines_fraction=fields.need("less_first_fines_fraction", Limits.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt(Model):
    """One attempt to deliver."""

    attempted_at: datetime
    """When it began."""
    status: int | None = None
    """The answer's HTTP status; null: there was none."""
    seconds: float
    """How long it took, in seconds."""
    answer: str | None = None
    """How the answer began, where there was a body."""
    error: str | None = None
    """What went wrong; null: nothing."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Attempt") -> Attempt:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            attempted_at=fields.need("attempted_at", instant),
            status=fields.maybe("status", integer),
            seconds=fields.need("seconds", number),
            answer=fields.maybe("answer", text),
            error=fields.maybe("error", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchProblem(Model):
    """A line that was not recorded, and why."""

    index: int
    """The line's place in `runs`, from 0."""
    run_id: str | None = None
    """Its run id, where readable."""
    outcome: Literal["conflict", "rejected"]
    """`conflict`: the id was used before with other content. `rejected`: see `errors`."""
    errors: tuple[Fault, ...]
    """What is wrong with it; pointers from the body."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "BatchProblem") -> BatchProblem:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            index=fields.need("index", integer),
            run_id=fields.maybe("run_id", text),
            outcome=fields.need("outcome", choice),
            errors=fields.need("errors", listed(Fault.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakIn(Model):
    """The break-in stage, and what it rests on; `get_break_in` tells the rest."""

    stage: Literal[
        "unknown", "new", "breaking_in", "undecided", "settled", "drifting", "end_of_life"
    ]
    """`settled` is never said without a measurement or, `inferred`, a flow that has steadied:
    expectation ends in `undecided`.
    """
    basis: Literal["measured", "inferred", "expected"]
    """`measured` by checkpoints, `inferred`, or only `expected` of such burrs."""
    verdict: str
    """The reason, as a code."""
    sentence: str
    """The same for a person."""
    burr_grams: float | None = None
    """Grams through the set that count for it."""
    low_remaining_grams: float | None = None
    """Lower two-sided 95 % limit of what is left, in grams: by the checkpoints where they bound it,
    else a forecast from them and such burrs, else by a rule of thumb; null: unknown.
    """
    remaining_grams: float | None = None
    """Likeliest of it, in grams; 0 once measured as settled; null: unknown, or passed."""
    high_remaining_grams: float | None = None
    """Upper two-sided 95 % limit of it, in grams; null: unknown."""
    next_checkpoint_grams: float | None = None
    """At so many grams through the set the next checkpoint decides most; null: unknown, or none is
    needed.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "BreakIn") -> BreakIn:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            stage=fields.need("stage", choice),
            basis=fields.need("basis", choice),
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            burr_grams=fields.maybe("burr_grams", number),
            low_remaining_grams=fields.maybe("low_remaining_grams", number),
            remaining_grams=fields.maybe("remaining_grams", number),
            high_remaining_grams=fields.maybe("high_remaining_grams", number),
            next_checkpoint_grams=fields.maybe("next_checkpoint_grams", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakInAnswer(Model):
    """How far the burr set in a grinder has broken in, with all it rests on."""

    grinder_id: str
    """The grinder."""
    burr_set_id: str | None = None
    """The set that is in; null: none is recorded."""
    as_of: datetime
    """The instant this answer is for."""
    stage: Literal[
        "unknown", "new", "breaking_in", "undecided", "settled", "drifting", "end_of_life"
    ]
    """`settled` is never said without a measurement or, `inferred`, a flow that has steadied."""
    basis: Literal["measured", "inferred", "expected"]
    """What the stage rests on."""
    verdict: str
    """The reason, as a code."""
    sentence: str
    """The same for a person."""
    findings: tuple[str, ...]
    """Every code that holds for the checkpoints, not only the one of the verdict."""
    settled_at: datetime | None = None
    """When the doses that proved it settled were ground; null: it is not proven."""
    burr_grams: float | None = None
    """Grams through the set since tracking began."""
    total_burr_grams: float | None = None
    """The same and what went through before, in grams; null where unknown."""
    low_remaining_grams: float | None = None
    """Lower limit of what is left, in grams: of the fit where it has both limits, else of the
    forecast unless the checkpoints contradict it; null: unknown.
    """
    remaining_grams: float | None = None
    """Likeliest of what is left, in grams; 0 only once measured as settled; null: unknown."""
    high_remaining_grams: float | None = None
    """Upper limit of it, in grams; 0 only once measured as settled; null: unknown."""
    next_checkpoint_grams: float | None = None
    """At so many grams through the set the next checkpoint decides most; null: none needed."""
    rated_life_grams: float | None = None
    """What the set is rated for, in grams; null: not told."""
    fit: Fit
    """What the checkpoints tell, without any prior."""
    forecast: Forecast | None = None
    """What is expected; null without a burr set."""
    checkpoints: tuple[MeasuredCheckpoint, ...]
    """Of this set, in the order of time."""
    curve: Curve
    """The fitted curve."""
    cautions: tuple[Said, ...]
    """What to heed."""
    changes: tuple[StageChange, ...]
    """When measurements changed the stage, in order."""
    stream: Stream | None = None
    """What ordinary runs tell of the flow; null without a burr set."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "BreakInAnswer") -> BreakInAnswer:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            burr_set_id=fields.maybe("burr_set_id", text),
            as_of=fields.need("as_of", instant),
            stage=fields.need("stage", choice),
            basis=fields.need("basis", choice),
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            findings=fields.need("findings", listed(text)),
            settled_at=fields.maybe("settled_at", instant),
            burr_grams=fields.maybe("burr_grams", number),
            total_burr_grams=fields.maybe("total_burr_grams", number),
            low_remaining_grams=fields.maybe("low_remaining_grams", number),
            remaining_grams=fields.maybe("remaining_grams", number),
            high_remaining_grams=fields.maybe("high_remaining_grams", number),
            next_checkpoint_grams=fields.maybe("next_checkpoint_grams", number),
            rated_life_grams=fields.maybe("rated_life_grams", number),
            fit=fields.need("fit", Fit.from_json),
            forecast=fields.maybe("forecast", Forecast.from_json),
            checkpoints=fields.need("checkpoints", listed(MeasuredCheckpoint.from_json)),
            curve=fields.need("curve", Curve.from_json),
            cautions=fields.need("cautions", listed(Said.from_json)),
            changes=fields.need("changes", listed(StageChange.from_json)),
            stream=fields.maybe("stream", Stream.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Brew(Model):
    """The drink made from this run."""

    method: Literal["espresso", "percolation", "immersion"]
    """How it was brewed."""
    seconds: float | None = None
    """Contact time, in seconds."""
    beverage_grams: float | None = None
    """The drink's mass, in grams."""
    water_grams: float | None = None
    """The water poured, in grams."""
    tds_fraction: float | None = None
    """Dissolved solids as a fraction of the drink's mass."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Brew") -> Brew:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            method=fields.need("method", choice),
            seconds=fields.maybe("seconds", number),
            beverage_grams=fields.maybe("beverage_grams", number),
            water_grams=fields.maybe("water_grams", number),
            tds_fraction=fields.maybe("tds_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BrewInput(Model):
    """The drink made from this run."""

    method: Literal["espresso", "percolation", "immersion"]
    """How it was brewed."""
    seconds: float | None = None
    """Contact time, in seconds."""
    beverage_grams: float | None = None
    """The drink's mass, in grams."""
    water_grams: float | None = None
    """The water poured, in grams."""
    tds_fraction: float | None = None
    """Dissolved solids as a fraction of the drink's mass (9.1 % is 0.091)."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "BrewInput") -> BrewInput:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            method=fields.need("method", choice),
            seconds=fields.maybe("seconds", number),
            beverage_grams=fields.maybe("beverage_grams", number),
            water_grams=fields.maybe("water_grams", number),
            tds_fraction=fields.maybe("tds_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket(Model):
    """What went through in one local hour, day or week."""

    from_at: datetime = field(metadata={"json": "from"})
    """Where the bucket begins."""
    to_at: datetime = field(metadata={"json": "to"})
    """Where it ends; a day has 23 or 25 hours when the clock shifts."""
    grams: float
    """Coffee, in grams."""
    estimated_grams: float | None = None
    """What nobody weighed, beside `grams`, in grams; null: it cannot be told."""
    cleaning_grams: float
    """Cleaning material, in grams; no coffee."""
    run_count: int
    """Runs that started in it."""
    run_seconds: float
    """Motor-on time of these runs, in seconds."""
    grams_by_purpose: Mapping[str, float]
    """Grams by the purpose of the run; purposes without grams left out."""
    open_seconds: float
    """Opening hours of the site in it, up to the instant, in seconds."""
    covered_seconds: float
    """How much of them is known run by run, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Bucket") -> Bucket:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            from_at=fields.need("from", instant),
            to_at=fields.need("to", instant),
            grams=fields.need("grams", number),
            estimated_grams=fields.maybe("estimated_grams", number),
            cleaning_grams=fields.need("cleaning_grams", number),
            run_count=fields.need("run_count", integer),
            run_seconds=fields.need("run_seconds", number),
            grams_by_purpose=fields.need("grams_by_purpose", mapped(number)),
            open_seconds=fields.need("open_seconds", number),
            covered_seconds=fields.need("covered_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BurrLifeOwnRules(Model):
    """Rules of `burr_life` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "BurrLifeOwnRules") -> BurrLifeOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BurrLifeRules(Model):
    """Rules of `burr_life`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "BurrLifeRules") -> BurrLifeRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BurrSet(Model):
    """A burr set and where it has been."""

    burr_set_id: str
    """The burr set's id."""
    geometry: Literal["flat", "conical", "other"]
    """The shape of the burrs: `flat`, `conical` or `other`."""
    diameter_millimetres: float | None = None
    """Outer diameter, in millimetres."""
    burr_model: str | None = None
    """The maker's name of the burrs."""
    serial: str | None = None
    """The set's serial number."""
    material: str | None = None
    """What the burrs are made of."""
    coating: str | None = None
    """Their coating."""
    pre_treated: Literal["none", "factory", "outside", "unknown"]
    """Whether the burrs were broken in before they came, and where."""
    prior_grams: float | None = None
    """Grams ground with the set before burrline: 0 for a new one, null if unknown."""
    low_prior_grams: float | None = None
    """At least so many grams before burrline."""
    high_prior_grams: float | None = None
    """At most so many grams before burrline."""
    rated_life_grams: float | None = None
    """The maker's rated life, in grams."""
    fittings: tuple[Fitting, ...]
    """Every stay of the set, oldest first."""
    created_at: datetime
    """When burrline recorded the burr set."""
    voided_at: datetime | None = None
    """When it was voided; null: it counts."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)
    etag: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "BurrSet", *, etag: str | None = None
    ) -> BurrSet:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            burr_set_id=fields.need("burr_set_id", text),
            geometry=fields.need("geometry", choice),
            diameter_millimetres=fields.maybe("diameter_millimetres", number),
            burr_model=fields.maybe("burr_model", text),
            serial=fields.maybe("serial", text),
            material=fields.maybe("material", text),
            coating=fields.maybe("coating", text),
            pre_treated=fields.need("pre_treated", choice),
            prior_grams=fields.maybe("prior_grams", number),
            low_prior_grams=fields.maybe("low_prior_grams", number),
            high_prior_grams=fields.maybe("high_prior_grams", number),
            rated_life_grams=fields.maybe("rated_life_grams", number),
            fittings=fields.need("fittings", listed(Fitting.from_json)),
            created_at=fields.need("created_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
            etag=etag,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration(Model):
    """How the dial of a grinder moves its grind, with all it rests on."""

    grinder_id: str
    """The grinder."""
    burr_set_id: str | None = None
    """The set that is in; null: none is recorded."""
    as_of: datetime
    """The instant this answer is for."""
    verdict: str
    """`calibrated`, or why not: `no_checkpoints`, `setting_unrecorded`, `too_few_checkpoints`,
    `one_setting_only`, `no_replicates`, `setting_confounded`, `slope_unclear`, `no_burr_set`.
    """
    sentence: str
    """The same for a person."""
    burr_grams: float | None = None
    """Grams through the set at which the settings are told."""
    setting: float | None = None
    """The setting of the latest checkpoint used."""
    zero_setting: float | None = None
    """Where the burrs touch, as last recorded."""
    setting_step: float | None = None
    """One step of the dial; null: not recorded, a step then means one unit."""
    coarser: Literal["higher", "lower"] | None = None
    """The direction of the dial, by the plate."""
    grind: GrindSlope
    """What a step does to the grind."""
    flow: FlowSlope
    """What a step does to the flow."""
    reference: Reference | None = None
    """What is to be brought back; null: nothing known."""
    redials: tuple[Redial, ...]
    """How to turn the dial, by response."""
    break_in_shift: Shift
    """Whether the break-in made it better, or only coarser."""
    ladder: Ladder | None = None
    """What to measure; null: nothing is missing."""
    checkpoints: tuple[GradedCheckpoint, ...]
    """Of this set, in the order of time."""
    cautions: tuple[Said, ...]
    """What to heed."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Calibration") -> Calibration:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            burr_set_id=fields.maybe("burr_set_id", text),
            as_of=fields.need("as_of", instant),
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            burr_grams=fields.maybe("burr_grams", number),
            setting=fields.maybe("setting", number),
            zero_setting=fields.maybe("zero_setting", number),
            setting_step=fields.maybe("setting_step", number),
            coarser=fields.maybe("coarser", choice),
            grind=fields.need("grind", GrindSlope.from_json),
            flow=fields.need("flow", FlowSlope.from_json),
            reference=fields.maybe("reference", Reference.from_json),
            redials=fields.need("redials", listed(Redial.from_json)),
            break_in_shift=fields.need("break_in_shift", Shift.from_json),
            ladder=fields.maybe("ladder", Ladder.from_json),
            checkpoints=fields.need("checkpoints", listed(GradedCheckpoint.from_json)),
            cautions=fields.need("cautions", listed(Said.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CareEntry(Model):
    """Something done to a grinder."""

    care_id: str
    """The entry's id."""
    grinder_id: str
    """The grinder it was done to."""
    at: datetime
    """When it was done."""
    task: Literal[
        "cleaning",
        "burrs_removed",
        "alignment",
        "vents_cleaned",
        "motor_replaced",
        "repair",
        "inspection",
        "trip_checked",
    ]
    """What was done. `motor_replaced` starts `motor_run_seconds` anew; after `burrs_removed` the
    zero point is another: tell it.
    """
    zero_setting: float | None = None
    """The setting at which the burrs touch, as found afterwards."""
    note: str | None = None
    """What else there is to say."""
    created_at: datetime
    """When burrline recorded the entry."""
    voided_at: datetime | None = None
    """When it was voided; null: it counts."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "CareEntry") -> CareEntry:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            care_id=fields.need("care_id", text),
            grinder_id=fields.need("grinder_id", text),
            at=fields.need("at", instant),
            task=fields.need("task", choice),
            zero_setting=fields.maybe("zero_setting", number),
            note=fields.maybe("note", text),
            created_at=fields.need("created_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution(Model):
    """What to beware of."""

    text: str
    """For a person."""
    source: str
    """Who says so."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Caution") -> Caution:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            text=fields.need("text", text),
            source=fields.need("source", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint(Model):
    """The grind measured at one moment of a burr set's life."""

    checkpoint_id: str
    """The checkpoint's id."""
    grinder_id: str
    """The grinder it was ground with."""
    burr_set_id: str | None = None
    """The set that was in; null: none is recorded."""
    ground_at: datetime
    """When the doses were ground."""
    measured_at: datetime | None = None
    """When their sizes were measured."""
    session_id: str | None = None
    """Samples measured in one sitting share it."""
    setting: float | None = None
    """The grind setting, in the machine's own scale."""
    rpm: float | None = None
    """Burr speed, in revolutions per minute."""
    burr_grams: float | None = None
    """Grams through the set by `ground_at`, of runs begun before it; the mean over the doses where
    they differ. Worked out whenever it is asked for, so a late run moves it. Null: no set is
    recorded, or a dose was ground while another one was in.
    """
    burr_grams_basis: Literal["given", "runs"] | None = None
    """`given` with the checkpoint, or counted from `runs`."""
    method: Literal["sieve", "laser", "imaging", "percentiles"]
    """How the sizes were measured."""
    instrument_id: str | None = None
    """Which instrument."""
    sieve_set_id: str | None = None
    """Which sieves."""
    dispersant: str | None = None
    """What the grounds were dispersed in."""
    coffee_lot: str | None = None
    """Which coffee, in your own words."""
    note: str | None = None
    """What else there is to say."""
    fines_cut_micrometres: float
    """What fines are finer than, in micrometres."""
    replicates: tuple[Replicate, ...]
    """The doses."""
    pooled: PooledSizes
    """The doses together."""
    created_at: datetime
    """When burrline recorded the checkpoint."""
    voided_at: datetime | None = None
    """When it was voided; null: it counts."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Checkpoint") -> Checkpoint:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            checkpoint_id=fields.need("checkpoint_id", text),
            grinder_id=fields.need("grinder_id", text),
            burr_set_id=fields.maybe("burr_set_id", text),
            ground_at=fields.need("ground_at", instant),
            measured_at=fields.maybe("measured_at", instant),
            session_id=fields.maybe("session_id", text),
            setting=fields.maybe("setting", number),
            rpm=fields.maybe("rpm", number),
            burr_grams=fields.maybe("burr_grams", number),
            burr_grams_basis=fields.maybe("burr_grams_basis", choice),
            method=fields.need("method", choice),
            instrument_id=fields.maybe("instrument_id", text),
            sieve_set_id=fields.maybe("sieve_set_id", text),
            dispersant=fields.maybe("dispersant", text),
            coffee_lot=fields.maybe("coffee_lot", text),
            note=fields.maybe("note", text),
            fines_cut_micrometres=fields.need("fines_cut_micrometres", number),
            replicates=fields.need("replicates", listed(Replicate.from_json)),
            pooled=fields.need("pooled", PooledSizes.from_json),
            created_at=fields.need("created_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckpointDueOwnRules(Model):
    """Rules of `checkpoint_due` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "CheckpointDueOwnRules"
    ) -> CheckpointDueOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckpointDueRules(Model):
    """Rules of `checkpoint_due`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "CheckpointDueRules") -> CheckpointDueRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckpointWithSamples(Model):
    """A checkpoint with every distribution as it was sent."""

    checkpoint_id: str
    """The checkpoint's id."""
    grinder_id: str
    """The grinder it was ground with."""
    burr_set_id: str | None = None
    """The set that was in; null: none is recorded."""
    ground_at: datetime
    """When the doses were ground."""
    measured_at: datetime | None = None
    """When their sizes were measured."""
    session_id: str | None = None
    """Samples measured in one sitting share it."""
    setting: float | None = None
    """The grind setting, in the machine's own scale."""
    rpm: float | None = None
    """Burr speed, in revolutions per minute."""
    burr_grams: float | None = None
    """Grams through the set by `ground_at`, of runs begun before it; the mean over the doses where
    they differ. Worked out whenever it is asked for, so a late run moves it. Null: no set is
    recorded, or a dose was ground while another one was in.
    """
    burr_grams_basis: Literal["given", "runs"] | None = None
    """`given` with the checkpoint, or counted from `runs`."""
    method: Literal["sieve", "laser", "imaging", "percentiles"]
    """How the sizes were measured."""
    instrument_id: str | None = None
    """Which instrument."""
    sieve_set_id: str | None = None
    """Which sieves."""
    dispersant: str | None = None
    """What the grounds were dispersed in."""
    coffee_lot: str | None = None
    """Which coffee, in your own words."""
    note: str | None = None
    """What else there is to say."""
    fines_cut_micrometres: float
    """What fines are finer than, in micrometres."""
    replicates: tuple[ReplicateWithSample, ...]
    """The doses, as sent."""
    pooled: PooledSizes
    """The doses together."""
    created_at: datetime
    """When burrline recorded the checkpoint."""
    voided_at: datetime | None = None
    """When it was voided; null: it counts."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "CheckpointWithSamples"
    ) -> CheckpointWithSamples:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            checkpoint_id=fields.need("checkpoint_id", text),
            grinder_id=fields.need("grinder_id", text),
            burr_set_id=fields.maybe("burr_set_id", text),
            ground_at=fields.need("ground_at", instant),
            measured_at=fields.maybe("measured_at", instant),
            session_id=fields.maybe("session_id", text),
            setting=fields.maybe("setting", number),
            rpm=fields.maybe("rpm", number),
            burr_grams=fields.maybe("burr_grams", number),
            burr_grams_basis=fields.maybe("burr_grams_basis", choice),
            method=fields.need("method", choice),
            instrument_id=fields.maybe("instrument_id", text),
            sieve_set_id=fields.maybe("sieve_set_id", text),
            dispersant=fields.maybe("dispersant", text),
            coffee_lot=fields.maybe("coffee_lot", text),
            note=fields.maybe("note", text),
            fines_cut_micrometres=fields.need("fines_cut_micrometres", number),
            replicates=fields.need("replicates", listed(ReplicateWithSample.from_json)),
            pooled=fields.need("pooled", PooledSizes.from_json),
            created_at=fields.need("created_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSuspectOwnRules(Model):
    """Rules of `clock_suspect` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    run_count: int | None = None
    """By how many runs in a row it is judged."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ClockSuspectOwnRules") -> ClockSuspectOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            run_count=fields.maybe("run_count", integer),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSuspectRules(Model):
    """Rules of `clock_suspect`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    run_count: int | None = None
    """By how many runs in a row it is judged."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ClockSuspectRules") -> ClockSuspectRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            run_count=fields.maybe("run_count", integer),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared(Model):
    """What changed since the checkpoint before."""

    response: Literal["d50", "fines"]
    """D50 in micrometres, or fines as a fraction."""
    before_checkpoint_id: str
    """The checkpoint before."""
    difference: Difference | None = None
    """How far; null: see `reason`."""
    reason: Said | None = None
    """Why the two cannot be compared; null: they can."""
    sentence: str
    """The same for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Compared") -> Compared:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            response=fields.need("response", choice),
            before_checkpoint_id=fields.need("before_checkpoint_id", text),
            difference=fields.maybe("difference", Difference.from_json),
            reason=fields.maybe("reason", Said.from_json),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedSet(Model):
    """One burr set of a comparison."""

    burr_set_id: str
    """The burr set's id."""
    burr_model: str | None = None
    """Which burrs, in your own words."""
    geometry: Literal["flat", "conical", "other"]
    """Their shape."""
    diameter_millimetres: float | None = None
    """Their diameter, in millimetres."""
    verdict: str
    """How far it has broken in, by its checkpoints, as a code."""
    sentence: str
    """The same for a person."""
    checkpoint_count: int
    """On how many checkpoints that rests."""
    tau_grams: Limits
    """How fast the change fades, in grams; two-sided 95 % limits."""
    settles_at_grams: Limits
    """When less than the change that matters is left, in grams; two-sided 95 % limits."""
    d50_change_micrometres: Limits
    """Whole change of D50 at one setting, in micrometres; two-sided 95 % limits."""
    fines_change_fraction: Limits
    """Whole change of the fines at one setting, as a fraction; two-sided 95 % limits."""
    settled_d50_micrometres: Limits
    """The D50 it approaches, in micrometres; two-sided 95 % limits."""
    settled_fines_fraction: Limits
    """The fines it approaches, as a fraction; two-sided 95 % limits."""
    at_equal_d50: AtEqualD50
    """The same at an equal D50."""
    curve: Curve
    """Its curve on kilograms."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ComparedSet") -> ComparedSet:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            burr_set_id=fields.need("burr_set_id", text),
            burr_model=fields.maybe("burr_model", text),
            geometry=fields.need("geometry", choice),
            diameter_millimetres=fields.maybe("diameter_millimetres", number),
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            checkpoint_count=fields.need("checkpoint_count", integer),
            tau_grams=fields.need("tau_grams", Limits.from_json),
            settles_at_grams=fields.need("settles_at_grams", Limits.from_json),
            d50_change_micrometres=fields.need("d50_change_micrometres", Limits.from_json),
            fines_change_fraction=fields.need("fines_change_fraction", Limits.from_json),
            settled_d50_micrometres=fields.need("settled_d50_micrometres", Limits.from_json),
            settled_fines_fraction=fields.need("settled_fines_fraction", Limits.from_json),
            at_equal_d50=fields.need("at_equal_d50", AtEqualD50.from_json),
            curve=fields.need("curve", Curve.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction(Model):
    """A known mistake, undone in every answer until it is revoked; several compose."""

    correction_id: str
    """The correction's id."""
    grinder_id: str
    """The grinder whose runs are wrong."""
    source: str | None = None
    """Only runs of this device; null: of every one."""
    from_at: datetime = field(metadata={"json": "from"})
    """Runs that started here or later, by the start as sent."""
    to_at: datetime | None = field(default=None, metadata={"json": "to"})
    """And before here; null: without end."""
    grams_offset: float | None = None
    """What is added to each run, in grams."""
    grams_factor: float | None = None
    """What grams are multiplied with."""
    clock_offset_seconds: float | None = None
    """What is added to each start, in seconds."""
    is_void: bool
    """Whether these runs count for nothing."""
    is_unwatched: bool
    """Whether the grinder was not watched then, whatever batches said by `watched_from` and
    `watched_until`, of whichever source.
    """
    reason: str
    """Why, for those who look later."""
    created_at: datetime
    """When burrline recorded the correction."""
    revoked_at: datetime | None = None
    """When it was revoked; null: it is in force."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Correction") -> Correction:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            correction_id=fields.need("correction_id", text),
            grinder_id=fields.need("grinder_id", text),
            source=fields.maybe("source", text),
            from_at=fields.need("from", instant),
            to_at=fields.maybe("to", instant),
            grams_offset=fields.maybe("grams_offset", number),
            grams_factor=fields.maybe("grams_factor", number),
            clock_offset_seconds=fields.maybe("clock_offset_seconds", number),
            is_void=fields.need("is_void", flag),
            is_unwatched=fields.need("is_unwatched", flag),
            reason=fields.need("reason", text),
            created_at=fields.need("created_at", instant),
            revoked_at=fields.maybe("revoked_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cups(Model):
    """What the cups say beside the grind: evidence, never a verdict on the burrs."""

    grinder_id: str
    """The grinder."""
    burr_set_id: str | None = None
    """The set that is in; null: none is recorded."""
    as_of: datetime
    """The instant this answer is for."""
    verdict: str
    """`both_sides`, `one_side_only`, `not_settled`, `no_cups` or `no_burr_set`."""
    sentence: str
    """The same for a person."""
    settled_at: datetime | None = None
    """When the doses that proved it were ground; null: not proven."""
    before_from: datetime | None = None
    """From when on cups before the proof were looked at."""
    after_from: datetime | None = None
    """From when on cups after the proof were looked at."""
    cup_count: int
    """Cups looked at."""
    is_cut_off: bool
    """Whether there were more than are looked at."""
    shot_seconds: ShotTimes
    """Espresso times."""
    extraction: tuple[Method, ...]
    """By brew method; empty without measured cups."""
    left_out: tuple[CupsLeftOut, ...]
    """Cups that were not used, and why."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Cups") -> Cups:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            burr_set_id=fields.maybe("burr_set_id", text),
            as_of=fields.need("as_of", instant),
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            settled_at=fields.maybe("settled_at", instant),
            before_from=fields.maybe("before_from", instant),
            after_from=fields.maybe("after_from", instant),
            cup_count=fields.need("cup_count", integer),
            is_cut_off=fields.need("is_cut_off", flag),
            shot_seconds=fields.need("shot_seconds", ShotTimes.from_json),
            extraction=fields.need("extraction", listed(Method.from_json)),
            left_out=fields.need("left_out", listed(CupsLeftOut.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CupsLeftOut(Model):
    """Cups that were not used for one of the two."""

    use: Literal["extraction", "shot_seconds"]
    """For what."""
    code: str
    """Why, as a code."""
    cup_count: int
    """How many."""
    sentence: str
    """The same for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "CupsLeftOut") -> CupsLeftOut:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            use=fields.need("use", choice),
            code=fields.need("code", text),
            cup_count=fields.need("cup_count", integer),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve(Model):
    """The fitted curve for drawing, at the level of the latest coffee and seating."""

    d50_micrometres: tuple[CurvePoint, ...]
    """Empty without a fit of it."""
    fines_fraction: tuple[CurvePoint, ...]
    """Empty without a fit of it."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Curve") -> Curve:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            d50_micrometres=fields.need("d50_micrometres", listed(CurvePoint.from_json)),
            fines_fraction=fields.need("fines_fraction", listed(CurvePoint.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint(Model):
    """A point of the curve with its band."""

    burr_grams: float
    """Grams through the set."""
    low: float | None = None
    """Lower edge of the band, two-sided 95 %."""
    best: float | None = None
    """The curve."""
    high: float | None = None
    """Upper edge of the band, two-sided 95 %."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "CurvePoint") -> CurvePoint:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            burr_grams=fields.need("burr_grams", number),
            low=fields.maybe("low", number),
            best=fields.maybe("best", number),
            high=fields.maybe("high", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery(Model):
    """One event on its way to one webhook."""

    event_id: str
    """The event's id: the `webhook-id` of each attempt."""
    type: str
    """The event's type."""
    state: Literal["waiting", "delivered", "failed"]
    """How it stands; `failed` ones are sent again by `redeliver`."""
    attempt_count: int
    """Attempts of this round, up to ten."""
    next_attempt_at: datetime | None = None
    """Not tried again before; null: no more."""
    made_at: datetime
    """When it was to be delivered."""
    done_at: datetime | None = None
    """When it arrived or was given up; null: it waits."""
    attempts: tuple[Attempt, ...]
    """The latest attempts, the last one first."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Delivery") -> Delivery:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            event_id=fields.need("event_id", text),
            type=fields.need("type", text),
            state=fields.need("state", choice),
            attempt_count=fields.need("attempt_count", integer),
            next_attempt_at=fields.maybe("next_attempt_at", instant),
            made_at=fields.need("made_at", instant),
            done_at=fields.maybe("done_at", instant),
            attempts=fields.need("attempts", listed(Attempt.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference(Model):
    """A difference with its two-sided 95 % limits, in the response's unit."""

    change: float
    """This less the one before."""
    low: float | None = None
    """The lower limit; null: scatter unknown."""
    high: float | None = None
    """The upper limit; null: scatter unknown."""
    verdict: Literal["rose", "fell", "no_change_shown", "scatter_unknown"]
    """`no_change_shown` proves nothing about the change still to come."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Difference") -> Difference:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            change=fields.need("change", number),
            low=fields.maybe("low", number),
            high=fields.maybe("high", number),
            verdict=fields.need("verdict", choice),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Distribution(Model):
    """Particle sizes of one dose, as one of four kinds; members of the other kinds stay out."""

    kind: Literal["sieve", "classes", "particles", "percentiles"]
    """How the sizes are told."""
    aperture_micrometres: tuple[float, ...] | None = None
    """`sieve`: the apertures, in order."""
    retained_grams: tuple[float, ...] | None = None
    """`sieve`: the mass on each, in grams, and then the pan's."""
    pan_low_micrometres: float | None = None
    """`sieve`: the smallest size in the pan, where known. In micrometres."""
    top_high_micrometres: float | None = None
    """`sieve`: the largest size on the top sieve, where known. In micrometres."""
    edge_micrometres: tuple[float, ...] | None = None
    """`classes`: the edges in order, one more than classes."""
    volume_fraction: tuple[float, ...] | None = None
    """`classes`: the share of the volume in each."""
    count: tuple[float, ...] | None = None
    """`classes`: instead, the particles in each."""
    diameter_micrometres: tuple[float, ...] | None = None
    """`particles`: each diameter."""
    d10_micrometres: float | None = None
    """`percentiles`: 10 % of the mass is finer. In micrometres."""
    d50_micrometres: float | None = None
    """`percentiles`: half of the mass is finer. In micrometres."""
    d90_micrometres: float | None = None
    """`percentiles`: 90 % of the mass is finer. In micrometres."""
    fines_fraction: float | None = None
    """`percentiles`: the share finer than `fines_cut_micrometres`, 0 to 1."""
    fines_cut_micrometres: float | None = None
    """`percentiles`: what its fines are finer than. In micrometres."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Distribution") -> Distribution:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            kind=fields.need("kind", choice),
            aperture_micrometres=fields.maybe("aperture_micrometres", listed(number)),
            retained_grams=fields.maybe("retained_grams", listed(number)),
            pan_low_micrometres=fields.maybe("pan_low_micrometres", number),
            top_high_micrometres=fields.maybe("top_high_micrometres", number),
            edge_micrometres=fields.maybe("edge_micrometres", listed(number)),
            volume_fraction=fields.maybe("volume_fraction", listed(number)),
            count=fields.maybe("count", listed(number)),
            diameter_micrometres=fields.maybe("diameter_micrometres", listed(number)),
            d10_micrometres=fields.maybe("d10_micrometres", number),
            d50_micrometres=fields.maybe("d50_micrometres", number),
            d90_micrometres=fields.maybe("d90_micrometres", number),
            fines_fraction=fields.maybe("fines_fraction", number),
            fines_cut_micrometres=fields.maybe("fines_cut_micrometres", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty(Model):
    """On-time against the plate, over the cycle that ends at `as_of`."""

    state: Literal["ok", "near", "exceeded", "unrated", "unknown"]
    """`unrated`: the plate is not recorded. `unknown`: too little is known of the cycle."""
    on_seconds: float
    """Motor-on time within the cycle, in seconds."""
    cycle_seconds: float
    """The cycle looked at, in seconds."""
    rated_on_seconds: float | None = None
    """The on-time the plate allows in one cycle, in seconds."""
    low_fraction: float
    """On-time at least, as a fraction of the cycle."""
    high_fraction: float
    """On-time at most, as a fraction of the cycle: with estimated run times, and what is not
    covered taken as on.
    """
    coverage_fraction: float
    """How much of the cycle is known, 0 to 1."""
    ready_at: datetime | None = None
    """When the on-time is back within the rating (as_of when it is); null: not known. Of duty
    alone, whatever the temperature: advice, not permission.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Duty") -> Duty:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            state=fields.need("state", choice),
            on_seconds=fields.need("on_seconds", number),
            cycle_seconds=fields.need("cycle_seconds", number),
            rated_on_seconds=fields.maybe("rated_on_seconds", number),
            low_fraction=fields.need("low_fraction", number),
            high_fraction=fields.need("high_fraction", number),
            coverage_fraction=fields.need("coverage_fraction", number),
            ready_at=fields.maybe("ready_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyExceededOwnRules(Model):
    """Rules of `duty_exceeded` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    release_fraction: float | None = None
    """It closes when the on-time is at this fraction of the rating."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "DutyExceededOwnRules") -> DutyExceededOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            release_fraction=fields.maybe("release_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyExceededRules(Model):
    """Rules of `duty_exceeded`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    release_fraction: float | None = None
    """It closes when the on-time is at this fraction of the rating."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "DutyExceededRules") -> DutyExceededRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            release_fraction=fields.maybe("release_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyHour(Model):
    """Motor-on time in one hour by the site's clock; the first and last may be cut."""

    from_at: datetime = field(metadata={"json": "from"})
    """Where it begins."""
    to_at: datetime = field(metadata={"json": "to"})
    """Where it ends."""
    on_seconds: float
    """Known motor-on time in it, in seconds."""
    low_fraction: float
    """On-time at least, as a fraction of it."""
    high_fraction: float
    """On-time at most, as a fraction of it: with estimated run times, and what is not covered taken
    as on.
    """
    coverage_fraction: float
    """How much of it is known, 0 to 1."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "DutyHour") -> DutyHour:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            from_at=fields.need("from", instant),
            to_at=fields.need("to", instant),
            on_seconds=fields.need("on_seconds", number),
            low_fraction=fields.need("low_fraction", number),
            high_fraction=fields.need("high_fraction", number),
            coverage_fraction=fields.need("coverage_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyReport(Model):
    """Motor-on time over a stretch of time, and how the grinder stands at `as_of`."""

    grinder_id: str
    """The grinder."""
    time_zone: str
    """The site's time zone, by whose clock the hours are cut."""
    as_of: datetime
    """The instant this answer is for."""
    from_at: datetime = field(metadata={"json": "from"})
    """Where the stretch begins."""
    to_at: datetime = field(metadata={"json": "to"})
    """Where it ends."""
    on_seconds: float
    """Known motor-on time in the stretch, in seconds; overlaps once."""
    low_fraction: float
    """On-time at least, as a fraction of the stretch."""
    high_fraction: float
    """On-time at most, as a fraction of the stretch: with estimated run times, and what is not
    covered taken as on.
    """
    coverage_fraction: float
    """How much of the stretch is known, 0 to 1."""
    cycle_seconds: float
    """The cycle of the plate's rating, in seconds; 600 where it names none."""
    rated_on_seconds: float | None = None
    """The on-time the plate allows in one cycle, in seconds; null: unrated."""
    rolling_maximum_on_seconds: float
    """The most known on-time in any one cycle that ends within the stretch, exact, in seconds."""
    rolling_maximum_at: datetime | None = None
    """Where the first such cycle ends; null: nothing ran."""
    state: Literal["ok", "near", "exceeded", "unrated", "unknown"]
    """How the cycle that ends at `as_of` stands: as in the status."""
    ready_at: datetime | None = None
    """When the on-time is back within the rating (as_of when it is); null: not known. Of duty
    alone, whatever the temperature: advice, not permission.
    """
    rest_seconds: float | None = None
    """How long until then, in seconds; null: not known."""
    longest_run_seconds: float | None = None
    """The longest run that the rating allows to begin at `as_of`, in seconds; null: the plate sets
    no bound, or it is not known.
    """
    hours: tuple[DutyHour, ...]
    """The stretch hour by hour, the earliest first."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "DutyReport") -> DutyReport:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            time_zone=fields.need("time_zone", text),
            as_of=fields.need("as_of", instant),
            from_at=fields.need("from", instant),
            to_at=fields.need("to", instant),
            on_seconds=fields.need("on_seconds", number),
            low_fraction=fields.need("low_fraction", number),
            high_fraction=fields.need("high_fraction", number),
            coverage_fraction=fields.need("coverage_fraction", number),
            cycle_seconds=fields.need("cycle_seconds", number),
            rated_on_seconds=fields.maybe("rated_on_seconds", number),
            rolling_maximum_on_seconds=fields.need("rolling_maximum_on_seconds", number),
            rolling_maximum_at=fields.maybe("rolling_maximum_at", instant),
            state=fields.need("state", choice),
            ready_at=fields.maybe("ready_at", instant),
            rest_seconds=fields.maybe("rest_seconds", number),
            longest_run_seconds=fields.maybe("longest_run_seconds", number),
            hours=fields.need("hours", listed(DutyHour.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Event(Model):
    """Something that was told: an alert opened or closed, or a burr set's stage changed."""

    event_id: str
    """The event's id: tell by it whether you had it before."""
    type: Literal[
        "burrline.alert.opened",
        "burrline.alert.closed",
        "burrline.stage.changed",
        "burrline.webhook.test",
    ]
    """What it tells."""
    at: datetime
    """When it happened."""
    is_late: bool
    """Whether it came too late to call anybody."""
    is_held: bool
    """Whether quiet hours hold it back from those who are called."""
    data: Mapping[str, Any]
    """Of an alert: `alert_id`, `kind`, `severity`, `grinder_id`, `site_id`, `opened_at`,
    `closed_at`, `noticed_at`, `is_late`, `facts`, and `reason`: `withdrawn` when its facts were
    taken back, `joined` when it turned out to be part of another, `part` and `again` when facts
    told late changed what was told before; else null. Of a stage: `burr_set_id`, `grinder_id`,
    `site_id`, `at`, `from_stage`, `to_stage`, `basis`, `verdict`, `burr_grams`, `is_late`.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Event") -> Event:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            event_id=fields.need("event_id", text),
            type=fields.need("type", choice),
            at=fields.need("at", instant),
            is_late=fields.need("is_late", flag),
            is_held=fields.need("is_held", flag),
            data=fields.need("data", mapped(anything)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Extractions(Model):
    """Extraction yields on one side."""

    cup_count: int
    """Cups used."""
    mean_fraction: Limits
    """Mean extraction yield, as a fraction of the dose; two-sided 95 % limits."""
    sd_fraction: float | None = None
    """Standard deviation between cups, as a fraction of the dose; null: one cup."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Extractions") -> Extractions:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            cup_count=fields.need("cup_count", integer),
            mean_fraction=fields.need("mean_fraction", Limits.from_json),
            sd_fraction=fields.maybe("sd_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault(Model):
    """One thing wrong with one value."""

    detail: str
    """What is wrong, for a person."""
    pointer: str | None = None
    """Where in the body: a JSON pointer (RFC 6901) as URI fragment."""
    parameter: str | None = None
    """Which parameter or header, for values outside the body."""
    in_: Literal["query", "path", "header"] | None = field(default=None, metadata={"json": "in"})
    """Where the parameter stands."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Fault") -> Fault:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            detail=fields.need("detail", text),
            pointer=fields.maybe("pointer", text),
            parameter=fields.maybe("parameter", text),
            in_=fields.maybe("in", choice),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Model):
    """Something implausible about a run; it counts all the same."""

    code: str
    """Which finding."""
    detail: str
    """The finding, for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Finding") -> Finding:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            code=fields.need("code", text),
            detail=fields.need("detail", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit(Model):
    """The curve `y(m) = settled + (start - settled) exp(-m / tau)` through the checkpoints."""

    tau_grams: Limits
    """How fast the change fades, in grams; two-sided 95 % limits."""
    settles_at_grams: Limits
    """When less than the smallest change that matters is left, in grams through the set; two-sided
    95 % limits.
    """
    d50_micrometres: ResponseFit
    """The median size, in micrometres."""
    fines_fraction: ResponseFit
    """The fines, as a fraction."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Fit") -> Fit:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            tau_grams=fields.need("tau_grams", Limits.from_json),
            settles_at_grams=fields.need("settles_at_grams", Limits.from_json),
            d50_micrometres=fields.need("d50_micrometres", ResponseFit.from_json),
            fines_fraction=fields.need("fines_fraction", ResponseFit.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting(Model):
    """One stay of the set in a grinder: from `fitted_at` up to, not including, `removed_at`."""

    grinder_id: str
    """The grinder it sat in."""
    fitted_at: datetime
    """When it was fitted."""
    removed_at: datetime | None = None
    """When it was taken out; null: still in."""
    is_removal_implied: bool
    """Whether nobody entered the removal: another set was fitted then, or this one elsewhere. If
    that is voided or moved, the stay goes on.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Fitting") -> Fitting:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            fitted_at=fields.need("fitted_at", instant),
            removed_at=fields.maybe("removed_at", instant),
            is_removal_implied=fields.need("is_removal_implied", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowLowOwnRules(Model):
    """Rules of `flow_low` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    drop_fraction: float | None = None
    """How far under the usual flow, as a fraction of it; at least 3 deviations."""
    release_fraction: float | None = None
    """It closes when no more than this fraction of the drop is left."""
    run_count: int | None = None
    """By how many runs in a row it is judged."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "FlowLowOwnRules") -> FlowLowOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            drop_fraction=fields.maybe("drop_fraction", number),
            release_fraction=fields.maybe("release_fraction", number),
            run_count=fields.maybe("run_count", integer),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowLowRules(Model):
    """Rules of `flow_low`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    drop_fraction: float | None = None
    """How far under the usual flow, as a fraction of it; at least 3 deviations."""
    release_fraction: float | None = None
    """It closes when no more than this fraction of the drop is left."""
    run_count: int | None = None
    """By how many runs in a row it is judged."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "FlowLowRules") -> FlowLowRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            drop_fraction=fields.maybe("drop_fraction", number),
            release_fraction=fields.maybe("release_fraction", number),
            run_count=fields.maybe("run_count", integer),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowSlope(Model):
    """How far the dial moves the flow, as the runs tell; a step counts towards coarser."""

    verdict: str
    """`calibrated`, or why not, as a code."""
    sentence: str
    """The same for a person."""
    log_flow_per_setting: Limits
    """Change of ln flow per unit of the dial, upwards; two-sided 95 % limits."""
    grams_per_second_per_step: Limits
    """Change of the flow per step, in grams per second; two-sided 95 % limits."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "FlowSlope") -> FlowSlope:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            log_flow_per_setting=fields.need("log_flow_per_setting", Limits.from_json),
            grams_per_second_per_step=fields.need("grams_per_second_per_step", Limits.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast(Model):
    """What is expected from prior and checkpoints together; it never enters the verdict."""

    prior: Prior
    """What is believed before measuring."""
    checkpoint_count: int
    """On how many checkpoints it rests besides; 0: the prior alone."""
    response: Literal["d50", "fines"] | None = None
    """Which response was used; null: none."""
    tau_grams: Limits
    """How fast the change fades, in grams; two-sided 95 % limits."""
    settles_at_grams: Limits
    """When it settles, in grams through the set; two-sided 95 % limits."""
    remaining_grams: Limits
    """How much is left until then, in grams; two-sided 95 % limits."""
    settled_probability: float | None = None
    """How likely it has settled by now, 0 to 1; null: nothing measured."""
    is_prior_conflict: bool
    """These burrs change farther, or at another pace, than their class: mind the fit instead."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Forecast") -> Forecast:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            prior=fields.need("prior", Prior.from_json),
            checkpoint_count=fields.need("checkpoint_count", integer),
            response=fields.maybe("response", choice),
            tau_grams=fields.need("tau_grams", Limits.from_json),
            settles_at_grams=fields.need("settles_at_grams", Limits.from_json),
            remaining_grams=fields.need("remaining_grams", Limits.from_json),
            settled_probability=fields.maybe("settled_probability", number),
            is_prior_conflict=fields.need("is_prior_conflict", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedCheckpoint(Model):
    """A checkpoint as the calibration sees it."""

    checkpoint_id: str
    """The checkpoint."""
    grinder_id: str
    """Where it was ground."""
    ground_at: datetime
    """When."""
    session_id: str | None = None
    """The sitting it was measured in."""
    setting: float | None = None
    """The grind setting."""
    burr_grams: float | None = None
    """Grams through the set by then."""
    coffee_lot: str | None = None
    """Which coffee."""
    pooled: PooledSizes
    """Its doses together."""
    is_used: bool
    """Whether it is part of the fit."""
    left_out: tuple[Said, ...]
    """Why it, or some value of it, is left out."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "GradedCheckpoint") -> GradedCheckpoint:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            checkpoint_id=fields.need("checkpoint_id", text),
            grinder_id=fields.need("grinder_id", text),
            ground_at=fields.need("ground_at", instant),
            session_id=fields.maybe("session_id", text),
            setting=fields.maybe("setting", number),
            burr_grams=fields.maybe("burr_grams", number),
            coffee_lot=fields.maybe("coffee_lot", text),
            pooled=fields.need("pooled", PooledSizes.from_json),
            is_used=fields.need("is_used", flag),
            left_out=fields.need("left_out", listed(Said.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Grind(Model):
    """How the grind is set on this machine; settings are in its own scale."""

    setting_step: float | None = None
    """The smallest step, in units of the setting."""
    low_setting: float | None = None
    """The lowest setting."""
    high_setting: float | None = None
    """The highest setting."""
    coarser: Literal["higher", "lower"] | None = None
    """Which way the grind gets coarser."""
    expected_grams_per_second: float | None = None
    """The usual flow, in grams per second."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Grind") -> Grind:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            setting_step=fields.maybe("setting_step", number),
            low_setting=fields.maybe("low_setting", number),
            high_setting=fields.maybe("high_setting", number),
            coarser=fields.maybe("coarser", choice),
            expected_grams_per_second=fields.maybe("expected_grams_per_second", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GrindSlope(Model):
    """How far the dial moves the grind; a step counts towards the coarser side."""

    log_d50_per_setting: Limits
    """Change of ln D50 per unit of the dial, upwards; two-sided 95 % limits."""
    d50_micrometres_per_step: Limits
    """Change of D50 per step at the reference, in micrometres; two-sided 95 % limits."""
    fines_fraction_per_step: Limits
    """Change of the fines per step, as a fraction; two-sided 95 % limits."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "GrindSlope") -> GrindSlope:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            log_d50_per_setting=fields.need("log_d50_per_setting", Limits.from_json),
            d50_micrometres_per_step=fields.need("d50_micrometres_per_step", Limits.from_json),
            fines_fraction_per_step=fields.need("fines_fraction_per_step", Limits.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Grinder(Model):
    """A grinder with what its plate says."""

    grinder_id: str
    """The grinder's id, chosen by you."""
    site_id: str
    """The site it stands at."""
    name: str
    """The grinder's name, for people."""
    model: str | None = None
    """The maker's model name."""
    serial: str | None = None
    """The serial number off the plate."""
    rated_duty: RatedDuty | None = None
    """The rated duty; null: unrated."""
    motor: Motor | None = None
    """The motor."""
    grind: Grind | None = None
    """The grind setting."""
    hopper_grams: float | None = None
    """What the hopper holds, in grams."""
    retained_grams: float | None = None
    """What stays in it between runs, in grams."""
    retired_at: datetime | None = None
    """When the grinder went out of use for good."""
    out_of_service: tuple[Span, ...]
    """When it was out of service (broken, away, put aside): no runs are missed then."""
    created_at: datetime
    """When burrline recorded the grinder."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)
    etag: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "Grinder", *, etag: str | None = None
    ) -> Grinder:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            site_id=fields.need("site_id", text),
            name=fields.need("name", text),
            model=fields.maybe("model", text),
            serial=fields.maybe("serial", text),
            rated_duty=fields.maybe("rated_duty", RatedDuty.from_json),
            motor=fields.maybe("motor", Motor.from_json),
            grind=fields.maybe("grind", Grind.from_json),
            hopper_grams=fields.maybe("hopper_grams", number),
            retained_grams=fields.maybe("retained_grams", number),
            retired_at=fields.maybe("retired_at", instant),
            out_of_service=fields.need("out_of_service", listed(Span.from_json)),
            created_at=fields.need("created_at", instant),
            extra=fields.rest(),
            etag=etag,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class History(Model):
    """A grinder's throughput over time."""

    grinder_id: str
    """The grinder."""
    time_zone: str
    """The site's time zone, by whose clock the buckets are cut."""
    by: Literal["hour", "day", "week"]
    """How long a bucket is."""
    as_of: datetime
    """The instant this answer is for."""
    buckets: tuple[Bucket, ...]
    """Without gaps, the earliest first."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "History") -> History:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            time_zone=fields.need("time_zone", text),
            by=fields.need("by", choice),
            as_of=fields.need("as_of", instant),
            buckets=fields.need("buckets", listed(Bucket.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Key(Model):
    """A key as it may be shown: never its secret."""

    key_id: str
    """The key's public part."""
    name: str
    """What the key is for, in your own words."""
    scopes: tuple[Literal["runs:write", "read", "care:write", "manage", "metrics", "keys"], ...]
    """What it may do."""
    site_ids: tuple[str, ...]
    """The sites it is bound to; none: not bound to sites."""
    grinder_ids: tuple[str, ...]
    """The grinders it is bound to; none: not bound to grinders."""
    last_four: str
    """The last four characters of the secret, to tell keys apart."""
    created_at: datetime
    """When it was made."""
    expires_at: datetime | None = None
    """From when on it is refused; null: never."""
    revoked_at: datetime | None = None
    """When it was revoked; null: it is not."""
    last_used_at: datetime | None = None
    """When it was last used, to the minute; null: never."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Key") -> Key:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            key_id=fields.need("key_id", text),
            name=fields.need("name", text),
            scopes=fields.need("scopes", listed(choice)),
            site_ids=fields.need("site_ids", listed(text)),
            grinder_ids=fields.need("grinder_ids", listed(text)),
            last_four=fields.need("last_four", text),
            created_at=fields.need("created_at", instant),
            expires_at=fields.maybe("expires_at", instant),
            revoked_at=fields.maybe("revoked_at", instant),
            last_used_at=fields.maybe("last_used_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyWithSecret(Model):
    """A new key with its secret, shown this once."""

    key_id: str
    """The key's public part."""
    name: str
    """What the key is for, in your own words."""
    scopes: tuple[Literal["runs:write", "read", "care:write", "manage", "metrics", "keys"], ...]
    """What it may do."""
    site_ids: tuple[str, ...]
    """The sites it is bound to; none: not bound to sites."""
    grinder_ids: tuple[str, ...]
    """The grinders it is bound to; none: not bound to grinders."""
    last_four: str
    """The last four characters of the secret, to tell keys apart."""
    created_at: datetime
    """When it was made."""
    expires_at: datetime | None = None
    """From when on it is refused; null: never."""
    revoked_at: datetime | None = None
    """When it was revoked; null: it is not."""
    last_used_at: datetime | None = None
    """When it was last used, to the minute; null: never."""
    secret: str
    """The whole key, to be sent as Bearer token. It cannot be shown again."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "KeyWithSecret") -> KeyWithSecret:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            key_id=fields.need("key_id", text),
            name=fields.need("name", text),
            scopes=fields.need("scopes", listed(choice)),
            site_ids=fields.need("site_ids", listed(text)),
            grinder_ids=fields.need("grinder_ids", listed(text)),
            last_four=fields.need("last_four", text),
            created_at=fields.need("created_at", instant),
            expires_at=fields.maybe("expires_at", instant),
            revoked_at=fields.maybe("revoked_at", instant),
            last_used_at=fields.maybe("last_used_at", instant),
            secret=fields.need("secret", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder(Model):
    """Three settings to measure in one sitting, in this order."""

    settings: tuple[float, ...]
    """The usual one last; empty where it, or how far to move it, is not known."""
    doses_count: int
    """Doses at each setting."""
    dose_grams: float
    """Each dose, in grams."""
    purge_grams: float | None = None
    """What to grind away after each change, in grams; null: unknown."""
    total_grams: float | None = None
    """All of it, in grams; null: the purge is unknown."""
    sentence: str
    """The same for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Ladder") -> Ladder:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            settings=fields.need("settings", listed(number)),
            doses_count=fields.need("doses_count", integer),
            dose_grams=fields.need("dose_grams", number),
            purge_grams=fields.maybe("purge_grams", number),
            total_grams=fields.maybe("total_grams", number),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits(Model):
    """A number with its two-sided 95 % limits, in the unit its place is named for."""

    low: float | None = None
    """The lower limit; null: none is known."""
    best: float | None = None
    """The likeliest value; null: it cannot be told."""
    high: float | None = None
    """The upper limit; null: none is known."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Limits") -> Limits:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            low=fields.maybe("low", number),
            best=fields.maybe("best", number),
            high=fields.maybe("high", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Liveness(Model):
    """The process answers."""

    status: Literal["pass"]
    """Always `pass`."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Liveness") -> Liveness:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            status=fields.need("status", choice),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogNormalFit(Model):
    """`Q(x) = Phi(ln(x / median) / log_sd)`, what is finer than x."""

    method: Literal["probit_least_squares", "undersize_least_squares"]
    """How it was fitted."""
    log_sd: float
    """Standard deviation of the logarithm of size."""
    median_micrometres: float
    """Half is finer, in micrometres."""
    r_squared: float
    """How much of the spread it explains, 0 to 1."""
    point_count: int
    """From how many points."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "LogNormalFit") -> LogNormalFit:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            method=fields.need("method", choice),
            log_sd=fields.need("log_sd", number),
            median_micrometres=fields.need("median_micrometres", number),
            r_squared=fields.need("r_squared", number),
            point_count=fields.need("point_count", integer),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LongRunOwnRules(Model):
    """Rules of `long_run` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    longest_run_seconds: float | None = None
    """A longer run is told of, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "LongRunOwnRules") -> LongRunOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            longest_run_seconds=fields.maybe("longest_run_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LongRunRules(Model):
    """Rules of `long_run`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    longest_run_seconds: float | None = None
    """A longer run is told of, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "LongRunRules") -> LongRunRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            longest_run_seconds=fields.maybe("longest_run_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredCheckpoint(Model):
    """A checkpoint as the verdict sees it."""

    checkpoint_id: str
    """The checkpoint."""
    grinder_id: str
    """Where it was ground."""
    ground_at: datetime
    """When."""
    burr_grams: float | None = None
    """Grams through the set by then; null: unknown."""
    burr_grams_basis: Literal["given", "runs"] | None = None
    """`given` with the checkpoint, or counted from `runs`."""
    method: Literal["sieve", "laser", "imaging", "percentiles"]
    """How it was measured."""
    setting: float | None = None
    """The grind setting."""
    coffee_lot: str | None = None
    """Which coffee."""
    pooled: PooledSizes
    """Its doses together."""
    is_joined: bool
    """Whether it is part of the curve."""
    left_out: tuple[Said, ...]
    """Why it, or some value of it, is left out."""
    compared: tuple[Compared, ...]
    """Beside the one before, by response."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "MeasuredCheckpoint") -> MeasuredCheckpoint:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            checkpoint_id=fields.need("checkpoint_id", text),
            grinder_id=fields.need("grinder_id", text),
            ground_at=fields.need("ground_at", instant),
            burr_grams=fields.maybe("burr_grams", number),
            burr_grams_basis=fields.maybe("burr_grams_basis", choice),
            method=fields.need("method", choice),
            setting=fields.maybe("setting", number),
            coffee_lot=fields.maybe("coffee_lot", text),
            pooled=fields.need("pooled", PooledSizes.from_json),
            is_joined=fields.need("is_joined", flag),
            left_out=fields.need("left_out", listed(Said.from_json)),
            compared=fields.need("compared", listed(Compared.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Method(Model):
    """Extraction yield by one brew method, before and after the proof of settling."""

    method: Literal["espresso", "percolation", "immersion"]
    """The method."""
    before: Extractions | None = None
    """Before; null: no cups."""
    after: Extractions | None = None
    """After; null: no cups."""
    change_fraction: Limits
    """Mean after less before, as a fraction of the dose; two-sided 95 % limits."""
    sentence: str
    """The same for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Method") -> Method:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            method=fields.need("method", choice),
            before=fields.maybe("before", Extractions.from_json),
            after=fields.maybe("after", Extractions.from_json),
            change_fraction=fields.need("change_fraction", Limits.from_json),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing(Model):
    """Why a member is null."""

    name: str
    """The member that is null."""
    code: str
    """Why, for a program."""
    detail: str
    """Why, for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Missing") -> Missing:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            name=fields.need("name", text),
            code=fields.need("code", text),
            detail=fields.need("detail", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode(Model):
    """A peak of the density over the logarithm of size."""

    mode_micrometres: float
    """The middle of its class, in micrometres."""
    low_micrometres: float
    """Where the class begins, in micrometres."""
    high_micrometres: float
    """Where it ends, in micrometres."""
    volume_fraction: float
    """The share of the volume in it, as a fraction."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Mode") -> Mode:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            mode_micrometres=fields.need("mode_micrometres", number),
            low_micrometres=fields.need("low_micrometres", number),
            high_micrometres=fields.need("high_micrometres", number),
            volume_fraction=fields.need("volume_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor(Model):
    """What is known of the motor."""

    rated_watts: float | None = None
    """Rated power, in watts."""
    thermal_class: int | None = None
    """Thermal class of the insulation (IEC 60085), in degrees Celsius."""
    sensor: Literal["winding", "housing", "none"] | None = None
    """Where the temperature sensor sits."""
    caution_celsius: float | None = None
    """Warm from here on, in degrees Celsius."""
    limit_celsius: float | None = None
    """Over the limit from here on, in degrees Celsius."""
    fan: Literal["shaft", "separate", "none"] | None = None
    """What drives the fan."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Motor") -> Motor:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            rated_watts=fields.maybe("rated_watts", number),
            thermal_class=fields.maybe("thermal_class", integer),
            sensor=fields.maybe("sensor", choice),
            caution_celsius=fields.maybe("caution_celsius", number),
            limit_celsius=fields.maybe("limit_celsius", number),
            fan=fields.maybe("fan", choice),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorHeatingOwnRules(Model):
    """Rules of `motor_heating` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "MotorHeatingOwnRules") -> MotorHeatingOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorHeatingRules(Model):
    """Rules of `motor_heating`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "MotorHeatingRules") -> MotorHeatingRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorOverheatOwnRules(Model):
    """Rules of `motor_overheat` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    release_kelvin: float | None = None
    """It closes at a reading so far below the limit, in kelvin."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "MotorOverheatOwnRules"
    ) -> MotorOverheatOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            release_kelvin=fields.maybe("release_kelvin", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorOverheatRules(Model):
    """Rules of `motor_overheat`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    minimum_seconds: float | None = None
    """It opens only once it held so long, in seconds."""
    release_kelvin: float | None = None
    """It closes at a reading so far below the limit, in kelvin."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "MotorOverheatRules") -> MotorOverheatRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            minimum_seconds=fields.maybe("minimum_seconds", number),
            release_kelvin=fields.maybe("release_kelvin", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorReport(Model):
    """What the readings tell of a motor, and what follows for the next run."""

    grinder_id: str
    """The grinder."""
    as_of: datetime
    """The instant this answer is for."""
    model: Literal["insufficient", "level_only", "slope_only", "no_cooling", "identified"]
    """How much the readings tell. `insufficient`: too few, or no change of temperature.
    `level_only`: the level it settles at with this use, nothing else. `slope_only`: how fast it
    warms, not where it would end. `no_cooling`: warming alone. `identified`: all.
    """
    body: Literal["winding", "housing", "unknown"]
    """What the sensor sits on."""
    sentence: str
    """The same for a person."""
    parameters: Parameters
    """The model."""
    estimate_celsius: float | None = None
    """How hot it is at `as_of`, in degrees Celsius; null: not known."""
    low_celsius: float | None = None
    """Lower two-sided 90 % limit of it, in degrees Celsius; null: not known."""
    high_celsius: float | None = None
    """Upper two-sided 90 % limit of it, in degrees Celsius; null: not known."""
    reading_celsius: float | None = None
    """The latest reading of the last 24 hours, in degrees Celsius."""
    read_at: datetime | None = None
    """When it was read."""
    caution_celsius: float | None = None
    """Warm from here on, in degrees Celsius."""
    limit_celsius: float | None = None
    """The limit that holds for this body, in degrees Celsius; null: none is known. A thermal class
    is a limit of the winding alone.
    """
    ambient_source: Literal["measured", "estimated", "assumed"] | None = None
    """Whether the air's temperature was `measured`, `estimated` from the readings, or `assumed`;
    null: there is no model.
    """
    segment: Segment
    """From when on readings count."""
    fitted_at: datetime | None = None
    """The latest reading that the model knows; null: there is none to go by."""
    reading_count: int
    """Readings in the 31 days before `fitted_at`, in this segment."""
    used_count: int
    """Of them, those that the model was fitted to."""
    residual_kelvin: float | None = None
    """How far the readings lie from the model (robust), in kelvin."""
    noise_kelvin: float | None = None
    """What one reading was taken to be off by, in kelvin: at least its resolution, and 0.25; 1 with
    fewer than 8 readings.
    """
    longest_run_seconds: float | None = None
    """The longest run that the model knows, in seconds."""
    valid_up_to_seconds: float | None = None
    """Nothing is said of runs longer than this, in seconds: 1.5 times the longest."""
    seconds_to_limit: float | None = None
    """How long it may run on from `as_of` before it reaches the limit, by the upper end of the
    estimate, in seconds; null: never as far as known, or not known.
    """
    sustainable_duty_fraction: float | None = None
    """The fraction of time it may run for ever, in runs of `run_seconds`, without passing the
    limit, by the best estimate; null: not known.
    """
    run_seconds: float
    """The run that is asked about, in seconds."""
    rest_seconds: float | None = None
    """How long it has to rest before such a run stays within the limit, in seconds; null: no rest
    suffices, or it is not known.
    """
    suspected_trip: SuspectedTrip | None = None
    """A thermal cut-out may have stopped it; null: no sign of it, or somebody looked: the care
    entry `trip_checked` takes the suspicion away.
    """
    cautions: tuple[Caution, ...]
    """What to beware of."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "MotorReport") -> MotorReport:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            as_of=fields.need("as_of", instant),
            model=fields.need("model", choice),
            body=fields.need("body", choice),
            sentence=fields.need("sentence", text),
            parameters=fields.need("parameters", Parameters.from_json),
            estimate_celsius=fields.maybe("estimate_celsius", number),
            low_celsius=fields.maybe("low_celsius", number),
            high_celsius=fields.maybe("high_celsius", number),
            reading_celsius=fields.maybe("reading_celsius", number),
            read_at=fields.maybe("read_at", instant),
            caution_celsius=fields.maybe("caution_celsius", number),
            limit_celsius=fields.maybe("limit_celsius", number),
            ambient_source=fields.maybe("ambient_source", choice),
            segment=fields.need("segment", Segment.from_json),
            fitted_at=fields.maybe("fitted_at", instant),
            reading_count=fields.need("reading_count", integer),
            used_count=fields.need("used_count", integer),
            residual_kelvin=fields.maybe("residual_kelvin", number),
            noise_kelvin=fields.maybe("noise_kelvin", number),
            longest_run_seconds=fields.maybe("longest_run_seconds", number),
            valid_up_to_seconds=fields.maybe("valid_up_to_seconds", number),
            seconds_to_limit=fields.maybe("seconds_to_limit", number),
            sustainable_duty_fraction=fields.maybe("sustainable_duty_fraction", number),
            run_seconds=fields.need("run_seconds", number),
            rest_seconds=fields.maybe("rest_seconds", number),
            suspected_trip=fields.maybe("suspected_trip", SuspectedTrip.from_json),
            cautions=fields.need("cautions", listed(Caution.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorState(Model):
    """The latest reading against its limit, and what the temperature model makes of it."""

    state: Literal["ok", "warm", "over", "unknown"]
    """`unknown`: no reading, none of the last 15 minutes, or no limit for this sensor."""
    reading_celsius: float | None = None
    """The latest reading, in degrees Celsius."""
    read_at: datetime | None = None
    """When it was read."""
    sensor: Literal["winding", "housing", "none"] | None = None
    """Where the sensor sits."""
    caution_celsius: float | None = None
    """Warm from here on, in degrees Celsius."""
    limit_celsius: float | None = None
    """Over the limit from here on, in degrees Celsius."""
    model: Literal["insufficient", "level_only", "slope_only", "no_cooling", "identified"]
    """How much its readings tell of it; see the motor's own answer. A motor without a sensor on its
    plate is looked at while it was read within 24 hours.
    """
    estimate_celsius: float | None = None
    """What the sensor's body is likely at now, in degrees Celsius."""
    low_celsius: float | None = None
    """Lower limit of its 90 % interval, in degrees Celsius."""
    high_celsius: float | None = None
    """Upper limit of its 90 % interval, in degrees Celsius."""
    seconds_to_limit: float | None = None
    """How long it may run on until the limit, by the careful bound, in seconds; null: not known, or
    it never gets there.
    """
    rest_seconds: float | None = None
    """The rest before a run of a minute, by the careful bound, in seconds; null: not known, or no
    rest helps.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "MotorState") -> MotorState:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            state=fields.need("state", choice),
            reading_celsius=fields.maybe("reading_celsius", number),
            read_at=fields.maybe("read_at", instant),
            sensor=fields.maybe("sensor", choice),
            caution_celsius=fields.maybe("caution_celsius", number),
            limit_celsius=fields.maybe("limit_celsius", number),
            model=fields.need("model", choice),
            estimate_celsius=fields.maybe("estimate_celsius", number),
            low_celsius=fields.maybe("low_celsius", number),
            high_celsius=fields.maybe("high_celsius", number),
            seconds_to_limit=fields.maybe("seconds_to_limit", number),
            rest_seconds=fields.maybe("rest_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewReading(Model):
    """One reading: at least one of `motor_celsius`, `ambient_celsius` and `is_running`."""

    grinder_id: str
    """The grinder that was read."""
    reading_id: str | None = None
    """The reading's id, chosen by the device, used once for ever; without it, grinder, source and
    instant tell readings apart.
    """
    at: datetime | None = None
    """When it was read."""
    age_seconds: float | None = None
    """How long before sending it was read, in seconds, instead of `at`."""
    boot_id: str | None = None
    """For a device without a clock: which boot of it `uptime_seconds` counts from, in its own
    words; compared with the header X-Device-Boot.
    """
    uptime_seconds: float | None = None
    """How long after that boot it was read, in seconds. With the header X-Device-Uptime of the same
    boot its age is known; of another boot, it is the time of receipt.
    """
    motor_celsius: float | None = None
    """The motor's sensor, in degrees Celsius."""
    ambient_celsius: float | None = None
    """The room, in degrees Celsius."""
    is_running: bool | None = None
    """Whether the motor runs at this instant."""
    run_id: str | None = None
    """The run it was read during, where the device knows: that run, once sent, closes the open one.
    """
    source: str | None = None
    """Which device read it, in your own words."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "NewReading") -> NewReading:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            reading_id=fields.maybe("reading_id", text),
            at=fields.maybe("at", instant),
            age_seconds=fields.maybe("age_seconds", number),
            boot_id=fields.maybe("boot_id", text),
            uptime_seconds=fields.maybe("uptime_seconds", number),
            motor_celsius=fields.maybe("motor_celsius", number),
            ambient_celsius=fields.maybe("ambient_celsius", number),
            is_running=fields.maybe("is_running", flag),
            run_id=fields.maybe("run_id", text),
            source=fields.maybe("source", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRun(Model):
    """One stretch of motor-on: at least one of `seconds` and `grams`."""

    run_id: str
    """The run's id, chosen by the device, used once for ever. The same id with the same content
    again is a duplicate and changes nothing.
    """
    grinder_id: str
    """The grinder that ran."""
    started_at: datetime | None = None
    """When the motor started."""
    age_seconds: float | None = None
    """How long before sending the motor started, in seconds, instead of `started_at`."""
    boot_id: str | None = None
    """For a device without a clock: which boot of it `uptime_seconds` counts from, in its own
    words; compared with the header X-Device-Boot.
    """
    uptime_seconds: float | None = None
    """How long after that boot the motor started, in seconds. With the header X-Device-Uptime of
    the same boot its age is known; of another boot, it is the time of receipt.
    """
    seconds: float | None = None
    """Motor-on time, in seconds."""
    grams: float | None = None
    """Coffee, in grams."""
    grams_basis: Literal["weighed_out", "weighed_in", "target", "estimated"] | None = None
    """Where `grams` comes from: `weighed_out` (ground coffee), `weighed_in` (beans), `target` (what
    was asked of the machine) or `estimated`.
    """
    feed: Literal["hopper", "single_dose"] | None = None
    """How the beans came: `hopper` or `single_dose`."""
    energy_joules: float | None = None
    """Electrical energy taken, in joules."""
    setting: float | None = None
    """The grind setting, in the machine's own scale."""
    rpm: float | None = None
    """Burr speed, in revolutions per minute."""
    motor_celsius: float | None = None
    """The motor's sensor at the run's end, in degrees Celsius."""
    ambient_celsius: float | None = None
    """The room, in degrees Celsius."""
    purpose: (
        Literal["service", "break_in", "dial_in", "measurement", "purge", "cleaning"] | None
    ) = None
    """What the run was for; `cleaning` counts as motor time, its material not as coffee. Left out:
    what a period says, else `service`.
    """
    coffee_lot: str | None = None
    """Which coffee, in your own words."""
    brew: BrewInput | None = None
    """The drink made from it."""
    source: str | None = None
    """Which device measured it, in your own words."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "NewRun") -> NewRun:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            run_id=fields.need("run_id", text),
            grinder_id=fields.need("grinder_id", text),
            started_at=fields.maybe("started_at", instant),
            age_seconds=fields.maybe("age_seconds", number),
            boot_id=fields.maybe("boot_id", text),
            uptime_seconds=fields.maybe("uptime_seconds", number),
            seconds=fields.maybe("seconds", number),
            grams=fields.maybe("grams", number),
            grams_basis=fields.maybe("grams_basis", choice),
            feed=fields.maybe("feed", choice),
            energy_joules=fields.maybe("energy_joules", number),
            setting=fields.maybe("setting", number),
            rpm=fields.maybe("rpm", number),
            motor_celsius=fields.maybe("motor_celsius", number),
            ambient_celsius=fields.maybe("ambient_celsius", number),
            purpose=fields.maybe("purpose", choice),
            coffee_lot=fields.maybe("coffee_lot", text),
            brew=fields.maybe("brew", BrewInput.from_json),
            source=fields.maybe("source", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenAlert(Model):
    """An alert that is open at the instant of a status."""

    alert_id: str | None = None
    """The alert's id, once it was noticed; null for a past instant."""
    kind: Literal[
        "motor_overheat",
        "motor_heating",
        "duty_exceeded",
        "long_run",
        "flow_low",
        "clock_suspect",
        "burr_life",
        "silent",
        "checkpoint_due",
        "settled",
    ]
    """What holds."""
    severity: Literal["notice", "caution", "alert"]
    """How much it matters."""
    opened_at: datetime
    """Since when."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "OpenAlert") -> OpenAlert:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            alert_id=fields.maybe("alert_id", text),
            kind=fields.need("kind", choice),
            severity=fields.need("severity", choice),
            opened_at=fields.need("opened_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningHours(Model):
    """Local opening hours by day of the week; a day left out is a closed one."""

    mon: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Monday."""
    tue: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Tuesday."""
    wed: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Wednesday."""
    thu: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Thursday."""
    fri: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Friday."""
    sat: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Saturday."""
    sun: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Sunday."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "OpeningHours") -> OpeningHours:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            mon=fields.maybe("mon", listed(listed(text))),
            tue=fields.maybe("tue", listed(listed(text))),
            wed=fields.maybe("wed", listed(listed(text))),
            thu=fields.maybe("thu", listed(listed(text))),
            fri=fields.maybe("fri", listed(listed(text))),
            sat=fields.maybe("sat", listed(listed(text))),
            sun=fields.maybe("sun", listed(listed(text))),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ParameterLimits(Model):
    """A value with its two-sided 90 % interval, in the unit of its name."""

    low: float | None = None
    """Lower two-sided 90 % limit; null: none is known."""
    best: float | None = None
    """The best estimate; null: none is known."""
    high: float | None = None
    """Upper two-sided 90 % limit; null: none is known."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ParameterLimits") -> ParameterLimits:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            low=fields.maybe("low", number),
            best=fields.maybe("best", number),
            high=fields.maybe("high", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters(Model):
    """The temperature model: one body, warmed while the motor runs, cooled while it rests."""

    rise_kelvin: ParameterLimits | None = None
    """How far above ambient it would settle if it never stopped, in kelvin, with its two-sided 90 %
    interval; null: the readings do not tell.
    """
    heating_time_constant_seconds: ParameterLimits | None = None
    """How fast it warms while it runs, in seconds, with its two-sided 90 % interval; null: the
    readings do not tell.
    """
    cooling_time_constant_seconds: ParameterLimits | None = None
    """How fast it cools at rest, in seconds, with its two-sided 90 % interval; null: the readings
    do not tell.
    """
    ambient_celsius: ParameterLimits | None = None
    """The air around it, in degrees Celsius, with its two-sided 90 % interval; null: the readings
    do not tell.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Parameters") -> Parameters:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            rise_kelvin=fields.maybe("rise_kelvin", ParameterLimits.from_json),
            heating_time_constant_seconds=fields.maybe(
                "heating_time_constant_seconds", ParameterLimits.from_json
            ),
            cooling_time_constant_seconds=fields.maybe(
                "cooling_time_constant_seconds", ParameterLimits.from_json
            ),
            ambient_celsius=fields.maybe("ambient_celsius", ParameterLimits.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Period(Model):
    """What holds from an instant on for runs that leave it out; the later period wins."""

    period_id: str
    """The period's id."""
    grinder_id: str
    """The grinder it is about."""
    from_at: datetime = field(metadata={"json": "from"})
    """From when on it holds."""
    to_at: datetime | None = field(default=None, metadata={"json": "to"})
    """Until when; null: until a later one."""
    setting: float | None = None
    """The grind setting, in the machine's own scale."""
    coffee_lot: str | None = None
    """Which coffee, in your own words."""
    rpm: float | None = None
    """Burr speed, in revolutions per minute."""
    purpose: (
        Literal["service", "break_in", "dial_in", "measurement", "purge", "cleaning"] | None
    ) = None
    """What the runs are for."""
    feed: Literal["hopper", "single_dose"] | None = None
    """How the beans came: `hopper` or `single_dose`."""
    created_at: datetime
    """When burrline recorded the period."""
    voided_at: datetime | None = None
    """When it was voided; null: it counts."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Period") -> Period:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            period_id=fields.need("period_id", text),
            grinder_id=fields.need("grinder_id", text),
            from_at=fields.need("from", instant),
            to_at=fields.maybe("to", instant),
            setting=fields.maybe("setting", number),
            coffee_lot=fields.maybe("coffee_lot", text),
            rpm=fields.maybe("rpm", number),
            purpose=fields.maybe("purpose", choice),
            feed=fields.maybe("feed", choice),
            created_at=fields.need("created_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledSizes(Model):
    """The doses of a checkpoint together: geometric means of sizes, the plain mean of fines."""

    replicate_count: int
    """How many doses."""
    d10_micrometres: float | None = None
    """10 % of the mass is finer, in micrometres."""
    d50_micrometres: float | None = None
    """Half of the mass is finer, in micrometres."""
    d90_micrometres: float | None = None
    """90 % of the mass is finer, in micrometres."""
    span: float | None = None
    """(D90 - D10) / D50."""
    fines_fraction: float | None = None
    """What is finer than `fines_cut_micrometres`, as a fraction."""
    fines_cut_micrometres: float
    """What fines are finer than, in micrometres."""
    d50_log_sd: float | None = None
    """Standard deviation of ln D50 between the doses; null with one dose."""
    fines_sd_fraction: float | None = None
    """Standard deviation of the fines fraction between the doses; null with one dose."""
    missing: tuple[Missing, ...]
    """Why members are null."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "PooledSizes") -> PooledSizes:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            replicate_count=fields.need("replicate_count", integer),
            d10_micrometres=fields.maybe("d10_micrometres", number),
            d50_micrometres=fields.maybe("d50_micrometres", number),
            d90_micrometres=fields.maybe("d90_micrometres", number),
            span=fields.maybe("span", number),
            fines_fraction=fields.maybe("fines_fraction", number),
            fines_cut_micrometres=fields.need("fines_cut_micrometres", number),
            d50_log_sd=fields.maybe("d50_log_sd", number),
            fines_sd_fraction=fields.maybe("fines_sd_fraction", number),
            missing=fields.need("missing", listed(Missing.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior(Model):
    """What is believed of such burrs before this set is measured."""

    class_name: str
    """Which burrs, in the plural."""
    measured_set_count: int
    """On how many other measured sets of this `burr_model` in the account it rests, whichever
    grinders they are in; 0: it is a rule of thumb for shape and size.
    """
    tau_grams: Limits
    """How fast such burrs settle, in grams; two-sided 95 % limits."""
    enough_grams: float
    """Grams that are enough for 95 of 100 such sets."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Prior") -> Prior:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            class_name=fields.need("class_name", text),
            measured_set_count=fields.need("measured_set_count", integer),
            tau_grams=fields.need("tau_grams", Limits.from_json),
            enough_grams=fields.need("enough_grams", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietHours(Model):
    """Local hours by day of the week in which notices and cautions call nobody."""

    mon: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Monday."""
    tue: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Tuesday."""
    wed: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Wednesday."""
    thu: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Thursday."""
    fri: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Friday."""
    sat: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Saturday."""
    sun: tuple[tuple[str, ...], ...] | None = None
    """Opening hours of Sunday."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "QuietHours") -> QuietHours:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            mon=fields.maybe("mon", listed(listed(text))),
            tue=fields.maybe("tue", listed(listed(text))),
            wed=fields.maybe("wed", listed(listed(text))),
            thu=fields.maybe("thu", listed(listed(text))),
            fri=fields.maybe("fri", listed(listed(text))),
            sat=fields.maybe("sat", listed(listed(text))),
            sun=fields.maybe("sun", listed(listed(text))),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RatedDuty(Model):
    """The rated duty off the plate or manual."""

    kind: Literal["continuous", "short_time", "intermittent"]
    """The duty type (IEC 60034-1): `continuous` (S1), `short_time` (S2) or `intermittent` (S3)."""
    on_seconds: float | None = None
    """The longest on-time, in seconds."""
    cycle_seconds: float | None = None
    """The length of one cycle, in seconds."""
    duty_fraction: float | None = None
    """On-time as a fraction of the cycle, 0 to 1."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "RatedDuty") -> RatedDuty:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            kind=fields.need("kind", choice),
            on_seconds=fields.maybe("on_seconds", number),
            cycle_seconds=fields.maybe("cycle_seconds", number),
            duty_fraction=fields.maybe("duty_fraction", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness(Model):
    """Everything needed works."""

    status: Literal["pass"]
    """Always `pass`; anything else is answered as 503."""
    checks: Mapping[str, str]
    """Each check by name: `pass`."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Readiness") -> Readiness:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            status=fields.need("status", choice),
            checks=fields.need("checks", mapped(text)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Model):
    """A recorded reading."""

    reading_id: str
    """The reading's id: yours, or the one made of grinder, source and instant."""
    grinder_id: str
    """The grinder that was read."""
    at: datetime
    """When it was read."""
    motor_celsius: float | None = None
    """The motor's sensor, in degrees Celsius."""
    ambient_celsius: float | None = None
    """The room, in degrees Celsius."""
    is_running: bool | None = None
    """Whether the motor ran at that instant."""
    run_id: str | None = None
    """The run it was read during."""
    source: str | None = None
    """Which device read it."""
    time_source: Literal["device", "age", "received", "uptime"]
    """How `at` is known: the `device` said it (or read it as it sent it), from its `age` or
    `uptime`, or time of receipt (`received`).
    """
    received_at: datetime
    """When burrline recorded it."""
    voided_at: datetime | None = None
    """When it was voided; null: it was not."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Reading") -> Reading:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            reading_id=fields.need("reading_id", text),
            grinder_id=fields.need("grinder_id", text),
            at=fields.need("at", instant),
            motor_celsius=fields.maybe("motor_celsius", number),
            ambient_celsius=fields.maybe("ambient_celsius", number),
            is_running=fields.maybe("is_running", flag),
            run_id=fields.maybe("run_id", text),
            source=fields.maybe("source", text),
            time_source=fields.need("time_source", choice),
            received_at=fields.need("received_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBatchOutcome(Model):
    """What became of the readings: the counts add up to `received`."""

    received: int
    """Readings in the request. Compare it with what you sent."""
    accepted: int
    """Readings recorded now."""
    duplicates: int
    """Readings recorded before."""
    conflicts: int
    """Readings whose id has other content."""
    rejected: int
    """Readings refused."""
    problems: tuple[ReadingProblem, ...]
    """Every conflict and refusal."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ReadingBatchOutcome") -> ReadingBatchOutcome:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            received=fields.need("received", integer),
            accepted=fields.need("accepted", integer),
            duplicates=fields.need("duplicates", integer),
            conflicts=fields.need("conflicts", integer),
            rejected=fields.need("rejected", integer),
            problems=fields.need("problems", listed(ReadingProblem.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingProblem(Model):
    """A reading that was not recorded, and why."""

    index: int
    """Its place in `readings`, from 0."""
    reading_id: str | None = None
    """Its id, where readable."""
    outcome: Literal["conflict", "rejected"]
    """`conflict`: the id was used before with other content. `rejected`: see `errors`."""
    errors: tuple[Fault, ...]
    """What is wrong with it; pointers from the body."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ReadingProblem") -> ReadingProblem:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            index=fields.need("index", integer),
            reading_id=fields.maybe("reading_id", text),
            outcome=fields.need("outcome", choice),
            errors=fields.need("errors", listed(Fault.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Redial(Model):
    """The setting that brings a response back."""

    response: Literal["d50", "flow"]
    """Which."""
    verdict: Literal[
        "turn", "stay", "beyond_dial", "slope_unclear", "no_reference", "reference_unusable"
    ]
    """`turn`; `stay` (less than half a step); or why no setting is proposed."""
    sentence: str
    """The same for a person."""
    from_setting: float | None = None
    """The setting it counts from: the latest one measured."""
    exact_setting: Limits
    """The setting before rounding; no limits where the slope may be 0; two-sided 95 % limits."""
    setting: float | None = None
    """The setting to turn to, in whole steps; null: none can be proposed."""
    steps_count: int | None = None
    """Whole steps towards the coarser side; null: no step known."""
    purge_grams: float | None = None
    """What to grind away after the change, in grams; null: unknown."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Redial") -> Redial:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            response=fields.need("response", choice),
            verdict=fields.need("verdict", choice),
            sentence=fields.need("sentence", text),
            from_setting=fields.maybe("from_setting", number),
            exact_setting=fields.need("exact_setting", Limits.from_json),
            setting=fields.maybe("setting", number),
            steps_count=fields.maybe("steps_count", integer),
            purge_grams=fields.maybe("purge_grams", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference(Model):
    """What is to be brought back."""

    basis: Literal["asked", "asked_checkpoint", "settled_checkpoint", "steadied_flow"]
    """Where it comes from."""
    checkpoint_id: str | None = None
    """The checkpoint it is of."""
    d50_micrometres: float | None = None
    """D50, in micrometres; null: none is known."""
    grams_per_second: float | None = None
    """Flow, in grams per second; null: none is known."""
    flow_basis: Literal["asked", "steadied_flow"] | None = None
    """Where the flow comes from: asked for, else what the runs say it steadied at."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Reference") -> Reference:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            basis=fields.need("basis", choice),
            checkpoint_id=fields.maybe("checkpoint_id", text),
            d50_micrometres=fields.maybe("d50_micrometres", number),
            grams_per_second=fields.maybe("grams_per_second", number),
            flow_basis=fields.maybe("flow_basis", choice),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Replicate(Model):
    """One dose of a checkpoint."""

    dose_grams: float | None = None
    """The dose, in grams."""
    ground_at: datetime
    """When it was ground."""
    sizes: SampleSizes
    """Its sizes."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Replicate") -> Replicate:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            dose_grams=fields.maybe("dose_grams", number),
            ground_at=fields.need("ground_at", instant),
            sizes=fields.need("sizes", SampleSizes.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplicateWithSample(Model):
    """One dose of a checkpoint, with its distribution as sent."""

    dose_grams: float | None = None
    """The dose, in grams."""
    ground_at: datetime
    """When it was ground."""
    sizes: SampleSizes
    """Its sizes."""
    distribution: Distribution
    """Its particle sizes, as sent."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ReplicateWithSample") -> ReplicateWithSample:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            dose_grams=fields.maybe("dose_grams", number),
            ground_at=fields.need("ground_at", instant),
            sizes=fields.need("sizes", SampleSizes.from_json),
            distribution=fields.need("distribution", Distribution.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseFit(Model):
    """What the checkpoints tell of one response, in the unit its place is named for."""

    is_judged: bool
    """Whether this response is part of the verdict."""
    start: Limits
    """Its level at the first checkpoint; two-sided 95 % limits."""
    settled: Limits
    """The level it approaches; two-sided 95 % limits."""
    remaining: Limits
    """The change still to come after the last checkpoint, signed; two-sided 95 % limits."""
    change: Limits
    """The whole change since the first checkpoint, signed; two-sided 95 % limits."""
    least_to_come: float | None = None
    """At least so much is still to come, either way (one-sided 95 %, tau up to 30 kg)."""
    most_to_come: float | None = None
    """At most so much is still to come, either way (one-sided 95 %, tau up to 30 kg)."""
    smallest_change: float | None = None
    """The smallest change that matters: settled means that less is to come."""
    sitting_sd: float | None = None
    """Standard deviation between whole sittings of measuring."""
    sitting_basis: Literal["control", "settled_checkpoints", "default"] | None = None
    """What told `sitting_sd`."""
    dose_sd: float | None = None
    """Standard deviation between the doses of one checkpoint, pooled over all of them."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ResponseFit") -> ResponseFit:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_judged=fields.need("is_judged", flag),
            start=fields.need("start", Limits.from_json),
            settled=fields.need("settled", Limits.from_json),
            remaining=fields.need("remaining", Limits.from_json),
            change=fields.need("change", Limits.from_json),
            least_to_come=fields.maybe("least_to_come", number),
            most_to_come=fields.maybe("most_to_come", number),
            smallest_change=fields.maybe("smallest_change", number),
            sitting_sd=fields.maybe("sitting_sd", number),
            sitting_basis=fields.maybe("sitting_basis", choice),
            dose_sd=fields.maybe("dose_sd", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RosinRammlerFit(Model):
    """`R(x) = exp(-(x / scale)^exponent)`, what is coarser than x."""

    method: Literal["loglog_least_squares", "undersize_least_squares"]
    """How it was fitted."""
    exponent: float
    """The exponent."""
    scale_micrometres: float
    """36.8 % is coarser than this, in micrometres."""
    r_squared: float
    """How much of the spread it explains, 0 to 1."""
    point_count: int
    """From how many points."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "RosinRammlerFit") -> RosinRammlerFit:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            method=fields.need("method", choice),
            exponent=fields.need("exponent", number),
            scale_micrometres=fields.need("scale_micrometres", number),
            r_squared=fields.need("r_squared", number),
            point_count=fields.need("point_count", integer),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Run(Model):
    """A recorded run: its numbers as kept, and what burrline added."""

    run_id: str
    """The run's id."""
    grinder_id: str
    """The grinder that ran."""
    started_at: datetime
    """When the motor started, corrections in force taken in."""
    seconds: float | None = None
    """Motor-on time, in seconds."""
    grams: float | None = None
    """Coffee, in grams, corrections in force taken in."""
    grams_basis: Literal["weighed_out", "weighed_in", "target", "estimated"]
    """Where `grams` comes from: `weighed_out` (ground coffee), `weighed_in` (beans), `target` (what
    was asked of the machine) or `estimated`.
    """
    feed: Literal["hopper", "single_dose"] | None = None
    """How the beans came: `hopper` or `single_dose`."""
    energy_joules: float | None = None
    """Electrical energy taken, in joules."""
    setting: float | None = None
    """The grind setting, in the machine's own scale."""
    rpm: float | None = None
    """Burr speed, in revolutions per minute."""
    motor_celsius: float | None = None
    """The motor's sensor at the run's end, in degrees Celsius."""
    ambient_celsius: float | None = None
    """The room, in degrees Celsius."""
    purpose: Literal["service", "break_in", "dial_in", "measurement", "purge", "cleaning"]
    """What the run was for; `cleaning` counts as motor time, its material not as coffee."""
    coffee_lot: str | None = None
    """Which coffee, in your own words."""
    brew: Brew | None = None
    """The drink made from it."""
    source: str | None = None
    """Which device measured it."""
    time_source: Literal["device", "age", "received", "uptime"]
    """How `started_at` is known: the `device` said it, from its `age` or `uptime`, or time of
    receipt (`received`).
    """
    received_at: datetime
    """When burrline recorded it."""
    findings: tuple[Finding, ...]
    """What looks implausible about it."""
    voided_at: datetime | None = None
    """When it was voided; null: it was not."""
    raw_started_at: datetime | None = None
    """The start as sent, where a correction changed it."""
    raw_grams: float | None = None
    """Coffee as sent, in grams, where a correction changed it."""
    correction_ids: tuple[str, ...]
    """The corrections in force that take hold of this run."""
    from_period: tuple[Literal["setting", "coffee_lot", "rpm", "purpose", "feed"], ...]
    """Which members the run left out and a period filled in."""
    counts: tuple[Literal["grams", "seconds"], ...]
    """What of it counts: nothing of a voided run; where two devices reported one grind, grams of
    the one and seconds of one.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Run") -> Run:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            run_id=fields.need("run_id", text),
            grinder_id=fields.need("grinder_id", text),
            started_at=fields.need("started_at", instant),
            seconds=fields.maybe("seconds", number),
            grams=fields.maybe("grams", number),
            grams_basis=fields.need("grams_basis", choice),
            feed=fields.maybe("feed", choice),
            energy_joules=fields.maybe("energy_joules", number),
            setting=fields.maybe("setting", number),
            rpm=fields.maybe("rpm", number),
            motor_celsius=fields.maybe("motor_celsius", number),
            ambient_celsius=fields.maybe("ambient_celsius", number),
            purpose=fields.need("purpose", choice),
            coffee_lot=fields.maybe("coffee_lot", text),
            brew=fields.maybe("brew", Brew.from_json),
            source=fields.maybe("source", text),
            time_source=fields.need("time_source", choice),
            received_at=fields.need("received_at", instant),
            findings=fields.need("findings", listed(Finding.from_json)),
            voided_at=fields.maybe("voided_at", instant),
            raw_started_at=fields.maybe("raw_started_at", instant),
            raw_grams=fields.maybe("raw_grams", number),
            correction_ids=fields.need("correction_ids", listed(text)),
            from_period=fields.need("from_period", listed(choice)),
            counts=fields.need("counts", listed(choice)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunBatchOutcome(Model):
    """What became of a batch: the counts add up to `received`."""

    received: int
    """Lines in the batch. Compare it with what you sent."""
    accepted: int
    """Lines recorded now."""
    duplicates: int
    """Lines recorded before."""
    conflicts: int
    """Lines whose run id has other content."""
    rejected: int
    """Lines refused."""
    problems: tuple[BatchProblem, ...]
    """Every conflict and refusal."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "RunBatchOutcome") -> RunBatchOutcome:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            received=fields.need("received", integer),
            accepted=fields.need("accepted", integer),
            duplicates=fields.need("duplicates", integer),
            conflicts=fields.need("conflicts", integer),
            rejected=fields.need("rejected", integer),
            problems=fields.need("problems", listed(BatchProblem.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOutcome(Model):
    """What became of a sent run."""

    run_id: str
    """The run's id."""
    outcome: Literal["accepted", "duplicate"]
    """`accepted`: recorded now. `duplicate`: recorded before, nothing changed."""
    findings: tuple[Finding, ...]
    """What looks implausible about it."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "RunOutcome") -> RunOutcome:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            run_id=fields.need("run_id", text),
            outcome=fields.need("outcome", choice),
            findings=fields.need("findings", listed(Finding.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunReadiness(Model):
    """Whether a run is within the known limits. Advice, not permission."""

    grinder_id: str
    """The grinder."""
    as_of: datetime
    """The instant this answer is for."""
    run_seconds: float
    """How long the run is to last, in seconds."""
    state: Literal["ready", "wait", "never", "unknown"]
    """`ready`: within every known limit now. `wait`: at `ready_at`. `never`: the run alone is
    longer than the limits allow. `unknown`: no limit is known, or too little to say.
    """
    ready_at: datetime | None = None
    """When it may begin (as_of when now); null: never, or not known."""
    wait_seconds: float | None = None
    """How long until then, in seconds."""
    limited_by: Literal["duty", "temperature", "suspected_trip", "no_limit_known"] | None = None
    """What stands against it. `suspected_trip`: until somebody looked and recorded the care entry
    `trip_checked`. `no_limit_known`: neither a duty rating nor a temperature limit.
    """
    longest_run_seconds: float | None = None
    """The longest run that may begin now, in seconds; null: no bound is known, or not known."""
    coverage_fraction: float
    """How much of the rating's cycle is known, 0 to 1."""
    sentence: str
    """The same for a person."""
    cautions: tuple[Caution, ...]
    """What to beware of."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "RunReadiness") -> RunReadiness:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            as_of=fields.need("as_of", instant),
            run_seconds=fields.need("run_seconds", number),
            state=fields.need("state", choice),
            ready_at=fields.maybe("ready_at", instant),
            wait_seconds=fields.maybe("wait_seconds", number),
            limited_by=fields.maybe("limited_by", choice),
            longest_run_seconds=fields.maybe("longest_run_seconds", number),
            coverage_fraction=fields.need("coverage_fraction", number),
            sentence=fields.need("sentence", text),
            cautions=fields.need("cautions", listed(Caution.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsLeftOut(Model):
    """Runs that tell nothing of the flow."""

    code: str
    """Why, for a program."""
    run_count: int
    """How many runs."""
    sentence: str
    """The same for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "RunsLeftOut") -> RunsLeftOut:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            code=fields.need("code", text),
            run_count=fields.need("run_count", integer),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Said(Model):
    """Something to know."""

    code: str
    """What, for a program."""
    sentence: str
    """The same for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Said") -> Said:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            code=fields.need("code", text),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleSizes(Model):
    """Sizes of one sample; a null has its reason in `missing`."""

    d10_micrometres: float | None = None
    """10 % of the mass is finer, in micrometres."""
    d50_micrometres: float | None = None
    """Half of the mass is finer, in micrometres."""
    d90_micrometres: float | None = None
    """90 % of the mass is finer, in micrometres."""
    span: float | None = None
    """(D90 - D10) / D50."""
    fines_fraction: float | None = None
    """What is finer than `fines_cut_micrometres`, as a fraction."""
    fines_cut_micrometres: float
    """What fines are finer than, in micrometres."""
    missing: tuple[Missing, ...]
    """Why members are null."""
    findings: tuple[Finding, ...]
    """What is remarkable; the sample counts all the same."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SampleSizes") -> SampleSizes:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            d10_micrometres=fields.maybe("d10_micrometres", number),
            d50_micrometres=fields.maybe("d50_micrometres", number),
            d90_micrometres=fields.maybe("d90_micrometres", number),
            span=fields.maybe("span", number),
            fines_fraction=fields.maybe("fines_fraction", number),
            fines_cut_micrometres=fields.need("fines_cut_micrometres", number),
            missing=fields.need("missing", listed(Missing.from_json)),
            findings=fields.need("findings", listed(Finding.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleSummary(Model):
    """All that one distribution tells."""

    kind: Literal["sieve", "classes", "particles", "percentiles"]
    """How the sizes were told."""
    sizes: SampleSizes
    """Percentiles, span and fines."""
    percentile_method: Literal["pchip_ln_size", "particle_steps", "as_given"]
    """How percentiles were found."""
    modes: tuple[Mode, ...]
    """Peaks of the density over the logarithm of size, q*(ln x)."""
    volume_mean_micrometres: float | None = None
    """D[4,3], the mean size by volume, in micrometres."""
    surface_mean_micrometres: float | None = None
    """D[3,2], the mean size by surface, in micrometres."""
    mean_method: Literal["geometric_mid", "uniform_number", "particle_sums"] | None = None
    """How the means were found."""
    rosin_rammler: tuple[RosinRammlerFit, ...]
    """Rosin-Rammler fits, each with its method."""
    log_normal: tuple[LogNormalFit, ...]
    """Log-normal fits, each with its method."""
    particle_count: int | None = None
    """How many particles were measured; null: not told."""
    missing: tuple[Missing, ...]
    """Why members are null."""
    findings: tuple[Finding, ...]
    """What is remarkable; the sample counts all the same."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SampleSummary") -> SampleSummary:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            kind=fields.need("kind", choice),
            sizes=fields.need("sizes", SampleSizes.from_json),
            percentile_method=fields.need("percentile_method", choice),
            modes=fields.need("modes", listed(Mode.from_json)),
            volume_mean_micrometres=fields.maybe("volume_mean_micrometres", number),
            surface_mean_micrometres=fields.maybe("surface_mean_micrometres", number),
            mean_method=fields.maybe("mean_method", choice),
            rosin_rammler=fields.need("rosin_rammler", listed(RosinRammlerFit.from_json)),
            log_normal=fields.need("log_normal", listed(LogNormalFit.from_json)),
            particle_count=fields.maybe("particle_count", integer),
            missing=fields.need("missing", listed(Missing.from_json)),
            findings=fields.need("findings", listed(Finding.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment(Model):
    """From when on readings count; before it the motor, or its cooling, was another one."""

    started_at: datetime | None = None
    """Since when; null: nothing of the kind is recorded."""
    reason: Literal["motor_replaced", "vents_cleaned", "plate_changed"] | None = None
    """What happened then. `plate_changed`: another serial, sensor, power, class or fan."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Segment") -> Segment:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            started_at=fields.maybe("started_at", instant),
            reason=fields.maybe("reason", choice),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SetComparison(Model):
    """Burr sets side by side; intervals are two-sided 95 %, null is what is not known."""

    as_of: datetime
    """The instant this answer is for."""
    d50_micrometres: float | None = None
    """The D50 compared at; null: none is known."""
    sets: tuple[ComparedSet, ...]
    """In the order asked for."""
    cautions: tuple[Said, ...]
    """What to heed."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SetComparison") -> SetComparison:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            as_of=fields.need("as_of", instant),
            d50_micrometres=fields.maybe("d50_micrometres", number),
            sets=fields.need("sets", listed(ComparedSet.from_json)),
            cautions=fields.need("cautions", listed(Said.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledOwnRules(Model):
    """Rules of `settled` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SettledOwnRules") -> SettledOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledRules(Model):
    """Rules of `settled`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SettledRules") -> SettledRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift(Model):
    """Better, or only coarser: the break-in as steps of the dial, and the fines beside them."""

    verdict: str
    """`only_coarser` when the whole interval lies within the change of fines that matters,
    `fewer_fines`, `more_fines`, `undecided`, or why nothing can be said.
    """
    sentence: str
    """The same for a person."""
    from_grams: float | None = None
    """From which age of the set, in grams."""
    to_grams: float | None = None
    """To which age of the set, in grams."""
    equal_steps: Limits
    """The break-in is equal to so many steps towards coarser; two-sided 95 % limits."""
    log_d50_change: Limits
    """Change of ln D50 at one setting; two-sided 95 % limits."""
    fines_change: Limits
    """Change of the fines at one setting, as a fraction; two-sided 95 % limits."""
    fines_change_at_equal_d50: Limits
    """Change of the fines at an equal D50, as a fraction; two-sided 95 % limits."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Shift") -> Shift:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            from_grams=fields.maybe("from_grams", number),
            to_grams=fields.maybe("to_grams", number),
            equal_steps=fields.need("equal_steps", Limits.from_json),
            log_d50_change=fields.need("log_d50_change", Limits.from_json),
            fines_change=fields.need("fines_change", Limits.from_json),
            fines_change_at_equal_d50=fields.need("fines_change_at_equal_d50", Limits.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotTimes(Model):
    """Espresso times before and after the proof of settling; heavy tails widen the limits."""

    verdict: str
    """`compared`, or why not: `too_few_shots`, `not_settled`, `one_side_only`."""
    sentence: str
    """The same for a person."""
    before: Spread | None = None
    """Before; null: too few shots."""
    after: Spread | None = None
    """After; null: too few shots."""
    sd_ratio: Limits
    """Standard deviation after over before; two-sided 95 % limits."""
    sd_difference_seconds: Limits
    """Standard deviation after less before, in seconds; two-sided 95 % limits."""
    kurtosis: float | None = None
    """Kurtosis the limits go by, at least 3; null: no shots."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "ShotTimes") -> ShotTimes:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            before=fields.maybe("before", Spread.from_json),
            after=fields.maybe("after", Spread.from_json),
            sd_ratio=fields.need("sd_ratio", Limits.from_json),
            sd_difference_seconds=fields.need("sd_difference_seconds", Limits.from_json),
            kurtosis=fields.maybe("kurtosis", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentOwnRules(Model):
    """Rules of `silent` as far as they are set here."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    open_seconds: float | None = None
    """After so much opening time without a run, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SilentOwnRules") -> SilentOwnRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            open_seconds=fields.maybe("open_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentRules(Model):
    """Rules of `silent`, in effect."""

    is_on: bool | None = None
    """Whether it is judged at all."""
    open_seconds: float | None = None
    """After so much opening time without a run, in seconds."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SilentRules") -> SilentRules:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            is_on=fields.maybe("is_on", flag),
            open_seconds=fields.maybe("open_seconds", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Site(Model):
    """A site: a café, a roastery, a lab."""

    site_id: str
    """The site's id, chosen by you."""
    name: str
    """The site's name, for people."""
    time_zone: str
    """The site's time zone by its IANA name; days begin at its midnight."""
    opening_hours: OpeningHours | None = None
    """Local opening hours by day of the week: a day left out is a closed one. Null or absent:
    always open.
    """
    closed_days: tuple[str, ...]
    """Local dates on which it does not open."""
    created_at: datetime
    """When burrline recorded the site."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)
    etag: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Site", *, etag: str | None = None) -> Site:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            site_id=fields.need("site_id", text),
            name=fields.need("name", text),
            time_zone=fields.need("time_zone", text),
            opening_hours=fields.maybe("opening_hours", OpeningHours.from_json),
            closed_days=fields.need("closed_days", listed(text)),
            created_at=fields.need("created_at", instant),
            extra=fields.rest(),
            etag=etag,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Span(Model):
    """A stretch of time, half-open."""

    from_at: datetime = field(metadata={"json": "from"})
    """From when on it was out of service."""
    to_at: datetime | None = field(default=None, metadata={"json": "to"})
    """Until when; null or absent: it still is."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Span") -> Span:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            from_at=fields.need("from", instant),
            to_at=fields.maybe("to", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread(Model):
    """How far espresso times scatter about the mean of their own setting and coffee."""

    cup_count: int
    """Shots used."""
    group_count: int
    """Settings and coffees among them."""
    freedom_count: int
    """Shots less groups."""
    mean_seconds: float | None = None
    """Mean time, in seconds."""
    sd_seconds: Limits
    """Standard deviation within a group, in seconds; two-sided 95 % limits."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Spread") -> Spread:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            cup_count=fields.need("cup_count", integer),
            group_count=fields.need("group_count", integer),
            freedom_count=fields.need("freedom_count", integer),
            mean_seconds=fields.maybe("mean_seconds", number),
            sd_seconds=fields.need("sd_seconds", Limits.from_json),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class StageChange(Model):
    """The stage became another one."""

    at: datetime
    """When the doses that told it were ground."""
    from_stage: (
        Literal[
            "unknown",
            "new",
            "breaking_in",
            "undecided",
            "settled",
            "drifting",
            "end_of_life",
        ]
        | None
    ) = None
    """What it was; null at the first."""
    to_stage: Literal[
        "unknown", "new", "breaking_in", "undecided", "settled", "drifting", "end_of_life"
    ]
    """What it became."""
    basis: Literal["measured", "inferred", "expected"]
    """What that rests on."""
    verdict: str
    """The reason, as a code."""
    burr_grams: float | None = None
    """Grams through the set then."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "StageChange") -> StageChange:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            at=fields.need("at", instant),
            from_stage=fields.maybe("from_stage", choice),
            to_stage=fields.need("to_stage", choice),
            basis=fields.need("basis", choice),
            verdict=fields.need("verdict", text),
            burr_grams=fields.maybe("burr_grams", number),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Status(Model):
    """The one answer a script asks for."""

    grinder_id: str
    """The grinder."""
    site_id: str
    """The site it stands at."""
    name: str
    """The grinder's name."""
    as_of: datetime
    """The instant this answer is for."""
    throughput: Throughput
    """What went through."""
    duty: Duty
    """On-time against the plate."""
    motor: MotorState
    """The motor's temperature."""
    break_in: BreakIn
    """How far the burrs are broken in."""
    alerts: tuple[OpenAlert, ...]
    """What holds at that instant; `flow_low` and `clock_suspect` are told by the list of alerts and
    the feed alone.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Status") -> Status:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            grinder_id=fields.need("grinder_id", text),
            site_id=fields.need("site_id", text),
            name=fields.need("name", text),
            as_of=fields.need("as_of", instant),
            throughput=fields.need("throughput", Throughput.from_json),
            duty=fields.need("duty", Duty.from_json),
            motor=fields.need("motor", MotorState.from_json),
            break_in=fields.need("break_in", BreakIn.from_json),
            alerts=fields.need("alerts", listed(OpenAlert.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream(Model):
    """What ordinary runs tell of the flow at one setting, by the end of the last closed day."""

    verdict: str
    """`flow_steadied`, `not_steady`, `undecided` or `steady_so_far` (until three closes of a day in
    a row say so); or why nothing can be told: `setting_confounded`, `setting_unrecorded`,
    `feed_unrecorded`, `no_evidence`, `too_few_sessions`, `too_little_span`, `too_few_repeats`,
    `too_many_changes`.
    """
    sentence: str
    """The same for a person."""
    next: str
    """What to do next."""
    steadied_at: datetime | None = None
    """The end of the last hour with runs of the day that told it; null: not told."""
    steadied_grams: float | None = None
    """Grams through the set by then."""
    setting: float | None = None
    """The setting the flow is told at: that of most runs of the last day, as the dial reads now;
    null: unknown, also after a seating whose zero nobody told.
    """
    grams_per_second: Limits
    """The flow by the end of the last closed day at that setting, in grams per second; two-sided 95
    % limits.
    """
    settled_grams_per_second: Limits
    """The flow it approaches there, in grams per second; two-sided 95 % limits."""
    tau_grams: Limits
    """How fast the change fades, in grams; two-sided 95 % limits."""
    least_to_come_ratio: float | None = None
    """At least so much of ln flow is still to come, either way (one-sided 97.5 %, tau up to 30 kg).
    """
    most_to_come_ratio: float | None = None
    """At most so much of ln flow is still to come, either way (one-sided 97.5 %, tau up to 30 kg);
    null: open.
    """
    smallest_change_ratio: float | None = None
    """The smallest change of ln flow that matters: steady means less is to come."""
    log_flow_per_setting: Limits
    """Change of ln flow per unit of the dial, upwards; two-sided 95 % limits."""
    grams_per_second_per_step: Limits
    """Change of the flow per step of the dial towards coarser (one unit where the step is not
    recorded), in grams per second; two-sided 95 % limits.
    """
    session_count: int
    """Days with runs that count."""
    run_count: int
    """Runs that count."""
    from_grams: float | None = None
    """Grams through the set at the first of them."""
    at_grams: float | None = None
    """Grams through the set at the end of the last closed day."""
    cautions: tuple[Said, ...]
    """What to heed."""
    left_out: tuple[RunsLeftOut, ...]
    """Runs that do not count, by reason; today's, too."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Stream") -> Stream:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            verdict=fields.need("verdict", text),
            sentence=fields.need("sentence", text),
            next=fields.need("next", text),
            steadied_at=fields.maybe("steadied_at", instant),
            steadied_grams=fields.maybe("steadied_grams", number),
            setting=fields.maybe("setting", number),
            grams_per_second=fields.need("grams_per_second", Limits.from_json),
            settled_grams_per_second=fields.need("settled_grams_per_second", Limits.from_json),
            tau_grams=fields.need("tau_grams", Limits.from_json),
            least_to_come_ratio=fields.maybe("least_to_come_ratio", number),
            most_to_come_ratio=fields.maybe("most_to_come_ratio", number),
            smallest_change_ratio=fields.maybe("smallest_change_ratio", number),
            log_flow_per_setting=fields.need("log_flow_per_setting", Limits.from_json),
            grams_per_second_per_step=fields.need("grams_per_second_per_step", Limits.from_json),
            session_count=fields.need("session_count", integer),
            run_count=fields.need("run_count", integer),
            from_grams=fields.maybe("from_grams", number),
            at_grams=fields.maybe("at_grams", number),
            cautions=fields.need("cautions", listed(Said.from_json)),
            left_out=fields.need("left_out", listed(RunsLeftOut.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SuspectedTrip(Model):
    """Runs that stopped hot, a silence and a restart: maybe a thermal cut-out did it."""

    stopped_at: datetime
    """When the motor stopped."""
    restarted_at: datetime
    """When it ran again."""
    stopped_celsius: float
    """How hot it was when it stopped, in degrees Celsius."""
    sentence: str
    """What looks like a trip, for a person."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "SuspectedTrip") -> SuspectedTrip:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            stopped_at=fields.need("stopped_at", instant),
            restarted_at=fields.need("restarted_at", instant),
            stopped_celsius=fields.need("stopped_celsius", number),
            sentence=fields.need("sentence", text),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally(Model):
    """Grams over a stretch of time, half-open: they count evenly from `from` to `to`."""

    tally_id: str
    """The tally's id."""
    grinder_id: str
    """The grinder that ground it."""
    from_at: datetime = field(metadata={"json": "from"})
    """When the stretch began."""
    to_at: datetime = field(metadata={"json": "to"})
    """When it ended."""
    grams: float
    """Coffee over the whole stretch, in grams."""
    basis: Literal["weighed_out", "weighed_in", "target", "estimated"]
    """Where the grams come from: `weighed_out` (ground coffee), `weighed_in` (beans, bags),
    `target` (servings times a dose) or `estimated`.
    """
    purpose: Literal["service", "break_in", "dial_in", "measurement", "purge"]
    """What it was ground for."""
    note: str | None = None
    """What else there is to say."""
    created_at: datetime
    """When burrline recorded the tally."""
    voided_at: datetime | None = None
    """When it was voided; null: it counts."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Tally") -> Tally:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            tally_id=fields.need("tally_id", text),
            grinder_id=fields.need("grinder_id", text),
            from_at=fields.need("from", instant),
            to_at=fields.need("to", instant),
            grams=fields.need("grams", number),
            basis=fields.need("basis", choice),
            purpose=fields.need("purpose", choice),
            note=fields.maybe("note", text),
            created_at=fields.need("created_at", instant),
            voided_at=fields.maybe("voided_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TallyBatchOutcome(Model):
    """What became of the tallies: the counts add up to `received`."""

    received: int
    """Tallies in the request. Compare it with what you sent."""
    accepted: int
    """Tallies recorded now."""
    duplicates: int
    """Tallies recorded before, voided ones among them."""
    conflicts: int
    """Tallies whose id has other content."""
    rejected: int
    """Tallies refused."""
    problems: tuple[TallyProblem, ...]
    """Every conflict and refusal."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "TallyBatchOutcome") -> TallyBatchOutcome:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            received=fields.need("received", integer),
            accepted=fields.need("accepted", integer),
            duplicates=fields.need("duplicates", integer),
            conflicts=fields.need("conflicts", integer),
            rejected=fields.need("rejected", integer),
            problems=fields.need("problems", listed(TallyProblem.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TallyProblem(Model):
    """A tally that was not recorded, and why."""

    index: int
    """Its place in `tallies`, from 0."""
    tally_id: str | None = None
    """Its id, where readable."""
    outcome: Literal["conflict", "rejected"]
    """`conflict`: the id was used before with other content. `rejected`: see `errors`."""
    errors: tuple[Fault, ...]
    """What is wrong with it; pointers from the body."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "TallyProblem") -> TallyProblem:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            index=fields.need("index", integer),
            tally_id=fields.maybe("tally_id", text),
            outcome=fields.need("outcome", choice),
            errors=fields.need("errors", listed(Fault.from_json)),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Throughput(Model):
    """What went through; every sum is exact."""

    burr_set_id: str | None = None
    """The set that is in; null: none is recorded."""
    burr_grams: float | None = None
    """Coffee through this set since burrline counts, in grams."""
    total_burr_grams: float | None = None
    """The same and what went through before, in grams; null where that is unknown."""
    burr_run_count: int | None = None
    """Runs through this set."""
    burr_estimated_grams: float | None = None
    """What nobody weighed, beside `burr_grams`: an estimate, in grams; null: it cannot be told."""
    grinder_grams: float
    """Coffee through this grinder in all, in grams."""
    grinder_estimated_grams: float | None = None
    """What nobody weighed, beside `grinder_grams`: an estimate, in grams; null: it cannot be told.
    """
    grinder_run_seconds: float
    """Motor-on time in all, in seconds."""
    motor_run_seconds: float
    """Motor-on time since the motor was last replaced (care `motor_replaced`), in seconds; where it
    never was, in all.
    """
    today_grams: float
    """Coffee since the site's midnight, in grams."""
    today_estimated_grams: float | None = None
    """What nobody weighed, beside `today_grams`: an estimate, in grams; null: it cannot be told."""
    last_run_at: datetime | None = None
    """When the latest run started; null: none yet."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def from_json(cls, answer: object, where: str = "Throughput") -> Throughput:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            burr_set_id=fields.maybe("burr_set_id", text),
            burr_grams=fields.maybe("burr_grams", number),
            total_burr_grams=fields.maybe("total_burr_grams", number),
            burr_run_count=fields.maybe("burr_run_count", integer),
            burr_estimated_grams=fields.maybe("burr_estimated_grams", number),
            grinder_grams=fields.need("grinder_grams", number),
            grinder_estimated_grams=fields.maybe("grinder_estimated_grams", number),
            grinder_run_seconds=fields.need("grinder_run_seconds", number),
            motor_run_seconds=fields.need("motor_run_seconds", number),
            today_grams=fields.need("today_grams", number),
            today_estimated_grams=fields.maybe("today_estimated_grams", number),
            last_run_at=fields.maybe("last_run_at", instant),
            extra=fields.rest(),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Webhook(Model):
    """A receiver of events; never its secret."""

    webhook_id: str
    """The webhook's id: yours, or one that is made."""
    name: str
    """For people: who is told."""
    url: str
    """Where to post to: https, a host name (no address), nothing secret in it."""
    types: tuple[
        Literal["burrline.alert.opened", "burrline.alert.closed", "burrline.stage.changed"], ...
    ]
    """Which events."""
    site_ids: tuple[str, ...]
    """Only events of these sites; with no site and no grinder: of the whole account."""
    grinder_ids: tuple[str, ...]
    """Only events of these grinders, beside those of the sites."""
    created_at: datetime
    """When burrline recorded the webhook."""
    disabled_at: datetime | None = None
    """Since when nothing is sent; null: it is."""
    disabled_because: str | None = None
    """Why nothing is sent."""
    failure_count: int
    """Attempts that failed in a row."""
    paused_until: datetime | None = None
    """Until when the receiver is left alone; null: it is not."""
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)
    etag: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "Webhook", *, etag: str | None = None
    ) -> Webhook:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            webhook_id=fields.need("webhook_id", text),
            name=fields.need("name", text),
            url=fields.need("url", text),
            types=fields.need("types", listed(choice)),
            site_ids=fields.need("site_ids", listed(text)),
            grinder_ids=fields.need("grinder_ids", listed(text)),
            created_at=fields.need("created_at", instant),
            disabled_at=fields.maybe("disabled_at", instant),
            disabled_because=fields.maybe("disabled_because", text),
            failure_count=fields.need("failure_count", integer),
            paused_until=fields.maybe("paused_until", instant),
            extra=fields.rest(),
            etag=etag,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class WebhookWithSecret(Model):
    """A webhook with a new secret, shown this once."""

    webhook_id: str
    """The webhook's id: yours, or one that is made."""
    name: str
    """For people: who is told."""
    url: str
    """Where to post to: https, a host name (no address), nothing secret in it."""
    types: tuple[
        Literal["burrline.alert.opened", "burrline.alert.closed", "burrline.stage.changed"], ...
    ]
    """Which events."""
    site_ids: tuple[str, ...]
    """Only events of these sites; with no site and no grinder: of the whole account."""
    grinder_ids: tuple[str, ...]
    """Only events of these grinders, beside those of the sites."""
    created_at: datetime
    """When burrline recorded the webhook."""
    disabled_at: datetime | None = None
    """Since when nothing is sent; null: it is."""
    disabled_because: str | None = None
    """Why nothing is sent."""
    failure_count: int
    """Attempts that failed in a row."""
    paused_until: datetime | None = None
    """Until when the receiver is left alone; null: it is not."""
    secret: str
    """What deliveries are signed with (Standard Webhooks): `whsec_` and base64. It cannot be shown
    again.
    """
    extra: Mapping[str, Any] = field(default_factory=dict, repr=False)
    etag: str | None = field(default=None, compare=False, repr=False)

    @classmethod
    def from_json(
        cls, answer: object, where: str = "WebhookWithSecret", *, etag: str | None = None
    ) -> WebhookWithSecret:
        """Read an answer's JSON object; ``ValueError`` names what does not fit."""
        fields = Fields(answer, where)
        return cls(
            webhook_id=fields.need("webhook_id", text),
            name=fields.need("name", text),
            url=fields.need("url", text),
            types=fields.need("types", listed(choice)),
            site_ids=fields.need("site_ids", listed(text)),
            grinder_ids=fields.need("grinder_ids", listed(text)),
            created_at=fields.need("created_at", instant),
            disabled_at=fields.maybe("disabled_at", instant),
            disabled_because=fields.maybe("disabled_because", text),
            failure_count=fields.need("failure_count", integer),
            paused_until=fields.maybe("paused_until", instant),
            secret=fields.need("secret", text),
            extra=fields.rest(),
            etag=etag,
        )
