"""Runs: one, many, read back, voided."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from burrline import errors
from burrline._batches import RUNS, Batches, aged
from burrline._calls import encode, model, path_of
from burrline._convert import body_of, format_instant
from burrline._paging import Page
from burrline._places import Given, known
from burrline.models import Run, RunBatchOutcome, RunOutcome

TIMES = ("started_at", "age_seconds", "uptime_seconds")


class Runs(Batches):
    """The operations on runs."""

    def add_run(
        self,
        run: Given | None = None,
        *,
        grinder_id: str | None = None,
        run_id: str | None = None,
        started_at: datetime | None = None,
        age_seconds: float | None = None,
        boot_id: str | None = None,
        uptime_seconds: float | None = None,
        seconds: float | None = None,
        grams: float | None = None,
        grams_basis: str | None = None,
        feed: str | None = None,
        energy_joules: float | None = None,
        setting: float | None = None,
        rpm: float | None = None,
        motor_celsius: float | None = None,
        ambient_celsius: float | None = None,
        purpose: str | None = None,
        coffee_lot: str | None = None,
        brew: Given | None = None,
        source: str | None = None,
    ) -> RunOutcome:
        """Record one run, given by name, as a mapping or as a model.

        Left out, ``run_id`` is a fresh UUID version 7 and ``started_at`` is now less ``seconds``
        (unless ``age_seconds`` or ``uptime_seconds`` is given): right for a run that has just
        ended. The outcome is ``accepted``, or ``duplicate`` if this very run was recorded before;
        another run under the same id raises ``Conflict``. An error's ``remaining`` holds the run
        with its id.
        """
        named = {
            "grinder_id": grinder_id,
            "run_id": run_id,
            "started_at": started_at,
            "age_seconds": age_seconds,
            "boot_id": boot_id,
            "uptime_seconds": uptime_seconds,
            "seconds": seconds,
            "grams": grams,
            "grams_basis": grams_basis,
            "feed": feed,
            "energy_joules": energy_joules,
            "setting": setting,
            "rpm": rpm,
            "motor_celsius": motor_celsius,
            "ambient_celsius": ambient_celsius,
            "purpose": purpose,
            "coffee_lot": coffee_lot,
            "brew": brew,
            "source": source,
        }
        line = self._with_id(body_of(run, known(named)), "run_id")
        if all(line.get(name) is None for name in TIMES):
            lasted = line.get("seconds")
            ago = timedelta(seconds=lasted if isinstance(lasted, (int, float)) else 0)
            line["started_at"] = format_instant(self._transport.now() - ago)
        try:
            answer = self._transport.send(
                "POST",
                "/v1/runs",
                body=lambda elapsed_seconds: encode(aged(line, elapsed_seconds)),
                is_harmless=True,
                tells_device_clock=True,
            )
            return self._read(answer, model(RunOutcome))
        except errors.APIError as error:
            error.remaining = (line,)
            raise

    def add_runs(
        self,
        runs: Iterable[Given],
        *,
        watched_from: datetime | None = None,
        watched_until: datetime | None = None,
        watched_grinder_ids: Iterable[str] | None = None,
    ) -> RunBatchOutcome:
        """Record many runs, in as many requests as it takes; a bad line never blocks a good one.

        Left out, ``run_id`` is a fresh UUID version 7; the time is not filled in, for these runs
        have not just ended. ``index`` in the problems counts within ``runs``. An error's
        ``remaining`` holds the runs not known to be recorded, with their ids.

        ``watched_from`` says that from there to ``watched_until`` (left out: now) nothing else
        ran on these grinders, or on those named; there may be no run at all.
        """
        lines = [self._with_id(body_of(run, {}), "run_id") for run in runs]
        if watched_from is not None and watched_until is None:
            watched_until = self._transport.now()
        watched = {
            "watched_from": watched_from,
            "watched_until": watched_until,
            "watched_grinder_ids": watched_grinder_ids,
        }
        return self._send_lines(RUNS, lines, body_of(known(watched), {}))

    def list_runs(
        self,
        grinder_id: str,
        *,
        from_at: datetime | None = None,
        to_at: datetime | None = None,
        limit: int | None = None,
        cursor: str | None = None,
    ) -> Page[Run]:
        """The runs of a grinder that started in [``from_at``, ``to_at``)."""
        return self._list_of_grinder(
            grinder_id, "runs", Run.from_json, from_at, to_at, limit, cursor
        )

    def get_run(self, run_id: str) -> Run:
        """One run as it is kept."""
        return self._get(path_of("/v1/runs/{}", run_id), model(Run))

    def void_run(self, run_id: str) -> Run:
        """Take a run out of every total; sent again it stays out."""
        return self._post(path_of("/v1/runs/{}/void", run_id), model(Run))
