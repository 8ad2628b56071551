"""What people enter about a grinder: tallies, periods, corrections, care."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from burrline._batches import TALLIES, Batches
from burrline._calls import model, path_of
from burrline._convert import body_of
from burrline._paging import Page
from burrline._places import Given, known
from burrline.models import CareEntry, Correction, Period, Tally, TallyBatchOutcome

JSON_NAMES = {"from_at": "from", "to_at": "to"}
"""Where a parameter cannot be called as its member is."""


def _by_member(line: dict[str, Any]) -> dict[str, Any]:
    return {JSON_NAMES.get(name, name): value for name, value in line.items()}


class Entries(Batches):
    """The operations on tallies, periods, corrections and care."""

    # --- tallies -----------------------------------------------------------------------------

    def add_tally(
        self,
        *,
        grinder_id: str,
        from_at: datetime,
        to_at: datetime,
        grams: float,
        basis: str,
        tally_id: str | None = None,
        purpose: str | None = None,
        note: str | None = None,
    ) -> Tally:
        """Record grams over a stretch of time where single runs are not known.

        ``basis`` tells where they come from: ``weighed_out``, ``weighed_in``, ``target`` or
        ``estimated``. The same tally under its ``tally_id`` again is once; another one raises
        ``Conflict``.
        """
        named = {
            "tally_id": tally_id,
            "grinder_id": grinder_id,
            "from": from_at,
            "to": to_at,
            "grams": grams,
            "basis": basis,
            "purpose": purpose,
            "note": note,
        }
        return self._post("/v1/tallies", model(Tally), body_of(None, known(named)))

    def add_tallies(self, tallies: Iterable[Given]) -> TallyBatchOutcome:
        """Record many tallies, in as many requests as it takes; a bad one never blocks a good one.

        Each is a mapping with the names of ``add_tally``. Left out, ``tally_id`` is a fresh UUID
        version 7. ``index`` in the problems counts within ``tallies``. An error's
        ``remaining`` holds the tallies not known to be recorded, with their ids.
        """
        lines = [self._with_id(_by_member(body_of(one, {})), "tally_id") for one in tallies]
        return self._send_lines(TALLIES, lines)

    def list_tallies(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Tally]:
        """The tallies of a grinder that begin in [``from_at``, ``to_at``)."""
        return self._list_of_grinder(
            grinder_id, "tallies", Tally.from_json, from_at, to_at, limit, cursor
        )

    def void_tally(self, tally_id: str) -> Tally:
        """Take a tally out of every total."""
        return self._post(path_of("/v1/tallies/{}/void", tally_id), model(Tally))

    # --- periods -----------------------------------------------------------------------------

    def set_period(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        setting: float | None = None,
        coffee_lot: str | None = None,
        rpm: float | None = None,
        purpose: str | None = None,
        feed: str | None = None,
        period_id: str | None = None,
    ) -> Period:
        """Tell what holds from an instant (left out, now) on for runs that leave it out.

        The same period under its ``period_id`` again is once; another one raises ``Conflict``.
        """
        named = {
            "period_id": period_id,
            "from": from_at,
            "to": to_at,
            "setting": setting,
            "coffee_lot": coffee_lot,
            "rpm": rpm,
            "purpose": purpose,
            "feed": feed,
        }
        path = path_of("/v1/grinders/{}/periods", grinder_id)
        return self._post(path, model(Period), body_of(None, known(named)))

    def list_periods(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Period]:
        """The periods of a grinder that begin in [``from_at``, ``to_at``)."""
        return self._list_of_grinder(
            grinder_id, "periods", Period.from_json, from_at, to_at, limit, cursor
        )

    def void_period(self, period_id: str) -> Period:
        """Let a period never have been; what was set before it holds again."""
        return self._post(path_of("/v1/periods/{}/void", period_id), model(Period))

    # --- corrections -------------------------------------------------------------------------

    def add_correction(
        self,
        *,
        grinder_id: str,
        from_at: datetime,
        reason: str,
        to_at: datetime | None = None,
        source: str | None = None,
        grams_offset: float | None = None,
        grams_factor: float | None = None,
        clock_offset_seconds: float | None = None,
        is_void: bool | None = None,
        is_unwatched: bool | None = None,
        correction_id: str | None = None,
    ) -> Correction:
        """Undo a known mistake of a grinder's devices in every answer; the raw runs stay.

        It takes hold of runs that started in [``from_at``, ``to_at``) as sent, of one ``source``
        or of all: grams times ``grams_factor`` plus ``grams_offset``, starts moved by
        ``clock_offset_seconds``, or nothing counted (``is_void``). ``is_unwatched`` takes back that
        the grinder was watched then. The same correction under its
        ``correction_id`` again is once; another one raises ``Conflict``.
        """
        named = {
            "correction_id": correction_id,
            "grinder_id": grinder_id,
            "source": source,
            "from": from_at,
            "to": to_at,
            "grams_offset": grams_offset,
            "grams_factor": grams_factor,
            "clock_offset_seconds": clock_offset_seconds,
            "is_void": is_void,
            "is_unwatched": is_unwatched,
            "reason": reason,
        }
        return self._post("/v1/corrections", model(Correction), body_of(None, known(named)))

    def list_corrections(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Correction]:
        """The corrections of a grinder that begin in [``from_at``, ``to_at``)."""
        return self._list_of_grinder(
            grinder_id, "corrections", Correction.from_json, from_at, to_at, limit, cursor
        )

    def revoke_correction(self, correction_id: str) -> Correction:
        """Let the runs count again as they were sent."""
        return self._post(path_of("/v1/corrections/{}/revoke", correction_id), model(Correction))

    # --- care --------------------------------------------------------------------------------

    def record_care(
        self,
        grinder_id: str,
        *,
        task: str,
        at: datetime | None = None,
        care_id: str | None = None,
        zero_setting: float | None = None,
        note: str | None = None,
    ) -> CareEntry:
        """Record something done to a grinder, at an instant (left out, now).

        The same entry under its ``care_id`` again is once; another one raises ``Conflict``.
        """
        named = {
            "care_id": care_id,
            "at": at,
            "task": task,
            "zero_setting": zero_setting,
            "note": note,
        }
        path = path_of("/v1/grinders/{}/care", grinder_id)
        return self._post(path, model(CareEntry), body_of(None, known(named)))

    def list_care(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[CareEntry]:
        """The care of a grinder in [``from_at``, ``to_at``)."""
        return self._list_of_grinder(
            grinder_id, "care", CareEntry.from_json, from_at, to_at, limit, cursor
        )

    def void_care(self, care_id: str) -> CareEntry:
        """Take a care entry out of every answer."""
        return self._post(path_of("/v1/care/{}/void", care_id), model(CareEntry))
