"""A service told the facts: one account of its own, entered and asked through the actions."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, is_dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from burrline_service.actions import (
    alerting,
    burrs,
    entries,
    history,
    ingest,
    places,
    readings,
    report,
)
from burrline_service.core.entered import Reading
from burrline_service.core.errors import AlreadyExists, Refusal
from burrline_service.core.records import (
    Run,
    RunOutcome,
    Watched,
)
from burrline_service.store.database import Database
from small_chain import new_account

from .facts import (
    GRINDERS,
    NOW_MS,
    SITES,
    BurrSetFact,
    CareFact,
    CorrectionFact,
    Fact,
    PeriodFact,
    PlateFact,
    ReadingFact,
    RunFact,
    SiteFact,
    Stay,
    TallyFact,
    WatchedFact,
)

ARRIVAL_MEMBERS = frozenset({"received_at", "created_at", "revision"})
LIMIT = 200


def instant(at_ms: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at_ms)


def milliseconds(at: datetime) -> int:
    return (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def over(number: int | None, divisor: int) -> float | None:
    return None if number is None else number / divisor


def text_of(answer: Any) -> str:
    """An answer as JSON, to be compared to the last byte, without what depends on arrival."""
    return json.dumps(_plain(answer), sort_keys=True)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if isinstance(value, dict):
        return {k: _plain(inner) for k, inner in value.items() if k not in ARRIVAL_MEMBERS}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, datetime):
        return value.isoformat()
    return value


class ToldService:
    """The sites and grinders of ``facts`` in a fresh account, and what is entered since."""

    once_only: tuple[type, ...] = (
        RunFact,
        ReadingFact,
        TallyFact,
        PeriodFact,
        CorrectionFact,
        CareFact,
    )
    """What has an id of the sender's own, so that it may be sent again."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.caller = new_account(database)
        for site_id, fields in SITES.items():
            self._act(places.create_site, fields={"site_id": site_id, "name": site_id, **fields})
        for grinder_id, fields in GRINDERS.items():
            self._act(
                places.create_grinder,
                fields={"grinder_id": grinder_id, "name": grinder_id, **fields},
            )

    def _act(self, action: Any, *, now_ms: int = NOW_MS, **arguments: Any) -> Any:
        return action(self.database, self.caller, now=instant(now_ms), **arguments)

    def another(self) -> ToldService:
        """One that was told nothing yet, in the same database."""
        return ToldService(self.database)

    def sendable(self, fact: Fact) -> Fact | None:
        """The fact as it can be told this way, if it can."""
        return fact

    # --- telling ---------------------------------------------------------------------------

    def send_runs(self, facts: Sequence[RunFact]) -> list[str]:
        """Runs of one batch, so of one time of sending: the word for each."""
        (sent_ms,) = {fact.sent_ms for fact in facts}
        outcomes = self._act(ingest.add_runs, runs=[_run(fact) for fact in facts], now_ms=sent_ms)
        return [_word(outcome) for outcome in outcomes]

    def send_readings(self, facts: Sequence[ReadingFact]) -> list[str]:
        outcomes = self._act(readings.add_readings, sent=[_reading(fact) for fact in facts])
        return [_word(outcome) for outcome in outcomes]

    def enter(self, fact: Fact) -> str:
        """Any one fact: ``accepted``, ``duplicate``, ``conflict``, or the name of a refusal."""
        try:
            return self._enter(fact)
        except AlreadyExists:
            return "conflict"
        except Refusal as refusal:
            return type(refusal).__name__

    def _enter(self, fact: Fact) -> str:
        match fact:
            case RunFact():
                return self.send_runs([fact])[0]
            case ReadingFact():
                return self.send_readings([fact])[0]
            case TallyFact():
                fields = {
                    "tally_id": fact.tally_id,
                    "grinder_id": fact.grinder_id,
                    **_span(fact.from_ms, fact.to_ms),
                    "grams": fact.grams_mg / 1000,
                    "basis": fact.basis,
                    "purpose": fact.purpose,
                }
                _, is_new = self._act(entries.add_tally, fields=fields)
            case PeriodFact():
                fields = {
                    "period_id": fact.period_id,
                    **_span(fact.from_ms, fact.to_ms),
                    **dict(fact.values),
                }
                _, is_new = self._act(entries.set_period, grinder_id=fact.grinder_id, fields=fields)
            case CorrectionFact():
                fields = {
                    "correction_id": fact.correction_id,
                    "grinder_id": fact.grinder_id,
                    "source": fact.source,
                    **_span(fact.from_ms, fact.to_ms),
                    "grams_offset": over(fact.offset_mg, 1000),
                    "grams_factor": over(fact.factor_ppm, 1_000_000),
                    "clock_offset_seconds": over(fact.clock_ms, 1000),
                    "is_void": fact.is_void,
                    "is_unwatched": fact.is_unwatched,
                    "reason": "the cup stood on the scale",
                }
                _, is_new = self._act(entries.add_correction, fields=fields)
            case CareFact():
                fields = {"care_id": fact.care_id, "at": instant(fact.at_ms), "task": fact.task}
                _, is_new = self._act(
                    entries.record_care, grinder_id=fact.grinder_id, fields=fields
                )
            case WatchedFact():
                watched = Watched(
                    instant(fact.from_ms), instant(fact.to_ms), grinder_ids=(fact.grinder_id,)
                )
                self._act(ingest.add_runs, runs=[], watched=watched)
                is_new = True
            case BurrSetFact():
                self._enter_burr_set(fact)
                is_new = True
            case PlateFact():
                self._act(
                    places.update_grinder,
                    grinder_id=fact.grinder_id,
                    fields={**dict(fact.patch), "effective_at": instant(fact.effective_ms)},
                    if_match=frozenset({places.ANY_REVISION}),
                )
                is_new = True
            case SiteFact():
                self._act(
                    places.update_site,
                    site_id=fact.site_id,
                    fields={**dict(fact.patch), "effective_at": instant(fact.effective_ms)},
                    if_match=frozenset({places.ANY_REVISION}),
                )
                is_new = True
        return "accepted" if is_new else "duplicate"

    def _enter_burr_set(self, fact: BurrSetFact) -> None:
        first = fact.stays[0]
        self._act(
            burrs.fit_burr_set,
            grinder_id=first.grinder_id,
            fields={
                "burr_set_id": fact.burr_set_id,
                "geometry": fact.geometry,
                "diameter_millimetres": 64.0,
                "prior_grams": over(fact.prior_mg, 1000),
                "fitted_at": instant(first.fitted_ms),
            },
        )
        if fact.stays != (Stay(first.grinder_id, first.fitted_ms),):
            self._mend(fact)

    def fit_known(self, burr_set_id: str, stay: Stay) -> str:
        """A set that is known goes into a grinder."""
        fields = {"burr_set_id": burr_set_id, "fitted_at": instant(stay.fitted_ms)}
        return self._tried(burrs.fit_burr_set, grinder_id=stay.grinder_id, fields=fields)

    def mend(self, fact: BurrSetFact) -> str:
        """All stays of a known set in the place of those before."""
        try:
            self._mend(fact)
        except Refusal as refusal:
            return type(refusal).__name__
        return "accepted"

    def _mend(self, fact: BurrSetFact) -> None:
        fittings = [
            {
                "grinder_id": stay.grinder_id,
                "fitted_at": instant(stay.fitted_ms),
                "removed_at": None if stay.removed_ms is None else instant(stay.removed_ms),
            }
            for stay in fact.stays
        ]
        self._act(
            burrs.update_burr_set,
            burr_set_id=fact.burr_set_id,
            fields={"fittings": fittings},
            if_match=frozenset({places.ANY_REVISION}),
        )

    def void(self, fact: Fact) -> str:
        """Take a fact out of every answer."""
        match fact:
            case RunFact():
                return self._tried(ingest.void_run, run_id=fact.run_id)
            case TallyFact():
                return self._tried(entries.void_tally, tally_id=fact.tally_id)
            case PeriodFact():
                return self._tried(entries.void_period, period_id=fact.period_id)
            case CorrectionFact():
                return self._tried(entries.revoke_correction, correction_id=fact.correction_id)
            case CareFact():
                return self._tried(entries.void_care, care_id=fact.care_id)
            case ReadingFact():
                return self._tried(readings.void_reading, reading_id=fact.reading_id)
            case BurrSetFact():
                return self._tried(burrs.void_burr_set, burr_set_id=fact.burr_set_id)
        raise AssertionError(f"{fact} cannot be voided")

    def _tried(self, action: Any, **arguments: Any) -> str:
        try:
            self._act(action, **arguments)
        except Refusal as refusal:
            return type(refusal).__name__
        return "accepted"

    def _items(self, page: Any) -> tuple[Any, ...]:
        items: tuple[Any, ...] = page.items
        return items

    # --- asking ----------------------------------------------------------------------------

    def status(self, grinder_id: str, at_ms: int | None) -> Any:
        asked = {} if at_ms is None else {"as_of": instant(at_ms)}
        return self._act(report.get_status, grinder_id=grinder_id, **asked)

    def throughput(self, grinder_id: str, by: str, low_ms: int, high_ms: int, at_ms: int) -> Any:
        return self._act(
            history.get_throughput,
            grinder_id=grinder_id,
            by=by,
            from_at=instant(low_ms),
            to_at=instant(high_ms),
            as_of=instant(at_ms),
        )

    def alerts(self, grinder_id: str, at_ms: int) -> Any:
        page = self._act(
            alerting.list_alerts,
            grinder_id=grinder_id,
            as_of=instant(at_ms),
            limit=LIMIT,
            position=None,
        )
        return self._items(page)

    def listed(self, grinder_id: str) -> dict[str, tuple[Any, ...]]:
        """Everything that can be listed of a grinder."""
        asked = {"grinder_id": grinder_id, "limit": LIMIT, "position": None}
        pages = {
            action.__name__: self._act(action, **asked)
            for action in (
                report.list_runs,
                readings.list_readings,
                entries.list_tallies,
                entries.list_periods,
                entries.list_corrections,
                entries.list_care,
                burrs.list_burr_sets,
            )
        }
        return {name: self._items(page) for name, page in pages.items()}


def _run(fact: RunFact) -> Run:
    return Run(
        run_id=fact.run_id,
        grinder_id=fact.grinder_id,
        started_at=None if fact.started_ms is None else instant(fact.started_ms),
        age_seconds=over(fact.age_ms, 1000),
        seconds=over(fact.on_ms, 1000),
        grams=over(fact.grams_mg, 1000),
        grams_basis=fact.basis,
        purpose=fact.purpose,
        source=fact.source,
        setting=over(fact.setting_milli, 1000),
        coffee_lot=fact.coffee_lot,
        motor_celsius=over(fact.motor_decicelsius, 10),
    )


def _reading(fact: ReadingFact) -> Reading:
    return Reading(
        grinder_id=fact.grinder_id,
        reading_id=fact.reading_id,
        at=instant(fact.at_ms),
        motor_celsius=over(fact.motor_decicelsius, 10),
        is_running=fact.is_running,
        run_id=fact.run_id,
        source=fact.source,
    )


def _span(from_ms: int, to_ms: int | None) -> dict[str, Any]:
    return {"from_at": instant(from_ms), "to_at": None if to_ms is None else instant(to_ms)}


def _word(outcome: RunOutcome | Refusal) -> str:
    return outcome.outcome if isinstance(outcome, RunOutcome) else type(outcome).__name__
