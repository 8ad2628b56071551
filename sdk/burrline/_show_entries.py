"""Grinders, burr sets and what was entered about them, as lines for a terminal."""

from __future__ import annotations

from datetime import datetime

from burrline._convert import Model
from burrline._plate import BURR_SET, PLATE, Member, flattened
from burrline.models import BurrSet, CareEntry, Correction, Grinder, Period, Span, Tally


def instant_words(at: datetime | None, absent: str = "") -> str:
    if at is None:
        return absent
    seconds = ":%S" if at.second or at.microsecond else ""
    return at.strftime(f"%Y-%m-%d %H:%M{seconds} UTC")


def stretch_words(from_at: datetime, to_at: datetime | None) -> str:
    return f"{instant_words(from_at)} to {instant_words(to_at, 'further notice')}"


def grinder_lines(grinder: Grinder) -> str:
    """What is known of a grinder, one member a line."""
    rows = [("grinder", grinder.grinder_id), ("site", grinder.site_id), *_known(grinder, PLATE)]
    rows += [("out_of_service", _span_words(span)) for span in grinder.out_of_service]
    width = max(len(name) for name, _ in rows)
    return "\n".join(f"{name.ljust(width)}  {text}" for name, text in rows)


def _span_words(span: Span) -> str:
    return stretch_words(span.from_at, span.to_at)


def burr_set_line(burr_set: BurrSet) -> str:
    told = ", ".join(f"{name} {text}" for name, text in _known(burr_set, BURR_SET))
    stays = "; ".join(
        f"{stay.grinder_id} {stretch_words(stay.fitted_at, stay.removed_at)}"
        for stay in burr_set.fittings
    )
    prior = "" if burr_set.prior_grams is not None else ", prior_grams unknown"
    return f"{burr_set.burr_set_id}: {told}{prior}; {stays or 'never fitted'}" + _voided(
        burr_set.voided_at
    )


def tally_line(tally: Tally) -> str:
    return (
        f"{tally.tally_id}: {tally.grams:g} g {tally.basis}, {tally.purpose}, "
        f"{stretch_words(tally.from_at, tally.to_at)}{_noted(tally.note)}"
    ) + _voided(tally.voided_at)


def period_line(period: Period) -> str:
    told = {
        "setting": period.setting,
        "lot": period.coffee_lot,
        "rpm": period.rpm,
        "purpose": period.purpose,
        "feed": period.feed,
    }
    words = ", ".join(f"{name} {_text(one)}" for name, one in told.items() if one is not None)
    return f"{period.period_id}: {words}, {stretch_words(period.from_at, period.to_at)}" + _voided(
        period.voided_at
    )


def correction_line(correction: Correction) -> str:
    told = {
        "grams x": correction.grams_factor,
        "grams +": correction.grams_offset,
        "clock seconds +": correction.clock_offset_seconds,
    }
    words = [f"{name} {one:g}" for name, one in told.items() if one is not None]
    words += ["void"] if correction.is_void else []
    words += ["not watched"] if correction.is_unwatched else []
    of = f" of {correction.source}" if correction.source is not None else ""
    return (
        f"{correction.correction_id}: {', '.join(words)}{of}, "
        f"{stretch_words(correction.from_at, correction.to_at)}: {correction.reason}"
    ) + _voided(correction.revoked_at, "revoked")


def care_line(care: CareEntry) -> str:
    zero = "" if care.zero_setting is None else f", zero at {care.zero_setting:g}"
    return f"{care.care_id}: {care.task} {instant_words(care.at)}{zero}{_noted(care.note)}" + (
        _voided(care.voided_at)
    )


def _known(model: Model, members: tuple[Member, ...]) -> list[tuple[str, str]]:
    values = flattened(model.to_json(), members)
    return [(name, _text(value)) for name, value in values.items() if value is not None]


def _text(value: object) -> str:
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _noted(note: str | None) -> str:
    return "" if note is None else f": {note}"


def _voided(at: datetime | None, done: str = "voided") -> str:
    return "" if at is None else f" ({done} {instant_words(at)})"
