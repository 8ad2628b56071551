"""Readings: temperatures between and during runs, and motors that run now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from burrline import errors
from burrline._batches import READINGS, Batches, Line, aged
from burrline._calls import encode, model, path_of
from burrline._convert import Model, body_of
from burrline._paging import Page
from burrline._places import Given, known
from burrline.models import Reading, ReadingBatchOutcome

TIMES = ("at", "age_seconds", "uptime_seconds")


class Readings(Batches):
    """The operations on readings."""

    def add_readings(
        self,
        readings: Given | Iterable[Given] | None = None,
        *,
        grinder_id: str | None = None,
        reading_id: str | None = None,
        at: datetime | None = None,
        age_seconds: float | None = None,
        boot_id: str | None = None,
        uptime_seconds: float | None = None,
        motor_celsius: float | None = None,
        ambient_celsius: float | None = None,
        is_running: bool | None = None,
        run_id: str | None = None,
        source: str | None = None,
    ) -> ReadingBatchOutcome:
        """Record one reading, given by name, as a mapping or as a model; or many of them.

        Left out, ``reading_id`` is a fresh UUID version 7, and a reading without a time was read
        now. One reading alone is refused by an error; of many, a bad one never blocks a good
        one, and ``index`` in the problems counts within ``readings``. An error's ``remaining``
        holds the readings not known to be recorded, with their ids.
        """
        named = known(
            {
                "grinder_id": grinder_id,
                "reading_id": reading_id,
                "at": at,
                "age_seconds": age_seconds,
                "boot_id": boot_id,
                "uptime_seconds": uptime_seconds,
                "motor_celsius": motor_celsius,
                "ambient_celsius": ambient_celsius,
                "is_running": is_running,
                "run_id": run_id,
                "source": source,
            }
        )
        if readings is None or isinstance(readings, (Mapping, Model)):
            return self._add_one(self._complete(body_of(readings, named)))
        if named:
            raise ValueError("many readings carry their values themselves, none is given by name")
        return self._send_lines(READINGS, [self._complete(body_of(one, {})) for one in readings])

    def list_readings(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Reading]:
        """The readings of a grinder in [``from_at``, ``to_at``)."""
        return self._list_of_grinder(
            grinder_id, "readings", Reading.from_json, from_at, to_at, limit, cursor
        )

    def void_reading(self, reading_id: str) -> Reading:
        """Take a reading out of every answer; sent again it stays out."""
        return self._post(path_of("/v1/readings/{}/void", reading_id), model(Reading))

    def _complete(self, line: Line) -> Line:
        """The reading with its id, and an age that grows from try to try if it tells no time."""
        line = self._with_id(line, "reading_id")
        if all(line.get(name) is None for name in TIMES):
            line["age_seconds"] = 0
        return line

    def _add_one(self, line: Line) -> ReadingBatchOutcome:
        try:
            answer = self._transport.send(
                "POST",
                "/v1/readings",
                body=lambda elapsed_seconds: encode(aged(line, elapsed_seconds)),
                is_harmless=True,
                tells_device_clock=True,
            )
            return self._read(answer, model(ReadingBatchOutcome))
        except errors.APIError as error:
            error.remaining = (line,)
            raise
