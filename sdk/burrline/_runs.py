"""Runs: one, many, read back, voided.

Every run is sent with its id, so sending again is always safe. Many runs go in requests of at
most 512 KiB and 5000 lines; a request the service finds too large, or during which the
connection keeps breaking (a server that refuses a large body often just hangs up), is halved.
"""

from __future__ import annotations

import dataclasses
import re
from collections import deque
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

from burrline import errors
from burrline._calls import Calls, encode, path_of
from burrline._convert import body_of, format_instant, new_run_id
from burrline._http import Answer
from burrline._paging import Page
from burrline._places import Given, known
from burrline.models import BatchProblem, Fault, Run, RunBatchOutcome, RunOutcome

MOST_BYTES = 512 * 1024
MOST_LINES = 5000
RESETS_BEFORE_HALVING = 2
ENVELOPE_BYTES = len(encode({"runs": []}))

Line = dict[str, Any]

_LINE = re.compile(r"^#/runs/\d+(?![^/])", re.ASCII)


class Runs(Calls):
    """The operations on runs."""

    def add_run(
        self,
        run: Given | None = None,
        *,
        grinder_id: str | None = None,
        run_id: str | None = None,
        started_at: datetime | None = None,
        age_seconds: float | None = None,
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
        (unless ``age_seconds`` is given): right for a run that has just ended. The outcome is
        ``accepted``, or ``duplicate`` if this very run was recorded before; another run under the
        same id raises ``Conflict``. An error's ``remaining`` holds the run with its id.
        """
        named = {
            "grinder_id": grinder_id,
            "run_id": run_id,
            "started_at": started_at,
            "age_seconds": age_seconds,
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
        line = self._with_id(body_of(run, known(named)))
        if line.get("started_at") is None and line.get("age_seconds") is None:
            lasted = line.get("seconds")
            ago = timedelta(seconds=lasted if isinstance(lasted, (int, float)) else 0)
            line["started_at"] = format_instant(self._transport.now() - ago)
        try:
            answer = self._transport.send(
                "POST",
                "/v1/runs",
                body=lambda elapsed_seconds: encode(_aged(line, elapsed_seconds)),
                is_harmless=True,
            )
            return self._read(answer, lambda one: RunOutcome.from_json(one.body))
        except errors.APIError as error:
            error.remaining = (line,)
            raise

    def add_runs(self, runs: Iterable[Given]) -> RunBatchOutcome:
        """Record many runs, in as many requests as it takes; a bad line never blocks a good one.

        Left out, ``run_id`` is a fresh UUID version 7; the time is not filled in, for these runs
        have not just ended. ``index`` in the problems counts within ``runs``. An error's
        ``remaining`` holds the runs not known to be recorded, with their ids.
        """
        lines = [self._with_id(body_of(run, {})) for run in runs]
        merged = RunBatchOutcome(
            received=0, accepted=0, duplicates=0, conflicts=0, rejected=0, problems=()
        )
        waiting = deque(_split(lines))
        began = self._transport.clock()
        while waiting:
            first, chunk = waiting.popleft()
            try:
                merged = _merge(merged, self._send_chunk(chunk, began), first)
            except errors.APIError as error:
                if len(chunk) > 1 and _is_too_much(error):
                    half = len(chunk) // 2
                    waiting.appendleft((first + half, chunk[half:]))
                    waiting.appendleft((first, chunk[:half]))
                elif isinstance(error, errors.PayloadTooLarge):
                    merged = _merge(merged, _refused(chunk[0], error), first)
                else:
                    later = (line for _, lines in waiting for line in lines)
                    error.remaining = (*chunk, *later)
                    raise
        return merged

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
        return self._list(
            path_of("/v1/grinders/{}/runs", grinder_id),
            Run.from_json,
            {"from": from_at, "to": to_at},
            limit=limit,
            cursor=cursor,
        )

    def get_run(self, run_id: str) -> Run:
        """One run as it is kept."""
        return self._get(path_of("/v1/runs/{}", run_id), _stored_run)

    def void_run(self, run_id: str) -> Run:
        """Take a run out of every total; sent again it stays out."""
        return self._post(path_of("/v1/runs/{}/void", run_id), _stored_run)

    def _with_id(self, line: Line) -> Line:
        if line.get("run_id") is None:
            line["run_id"] = new_run_id(self._transport.now())
        return line

    def _send_chunk(self, chunk: Sequence[Line], began: float) -> RunBatchOutcome:
        waited_seconds = self._transport.clock() - began
        answer = self._transport.send(
            "POST",
            "/v1/runs/batch",
            body=lambda elapsed_seconds: encode(
                {"runs": [_aged(line, waited_seconds + elapsed_seconds) for line in chunk]}
            ),
            is_harmless=True,
            resets_allowed=RESETS_BEFORE_HALVING if len(chunk) > 1 else None,
        )
        outcome = self._read(answer, lambda one: RunBatchOutcome.from_json(one.body))
        if outcome.received != len(chunk):
            raise errors.TransportError(
                f"{len(chunk)} runs were sent, but {outcome.received} arrived: something between "
                "here and the service cuts requests short",
                status=answer.status,
            )
        return outcome


def _split(lines: Sequence[Line]) -> Iterable[tuple[int, list[Line]]]:
    """The lines in chunks that fit a request, each with the place of its first one."""
    first, chunk, size_bytes = 0, list[Line](), ENVELOPE_BYTES
    for index, line in enumerate(lines):
        line_bytes = len(encode(line)) + 1
        if chunk and (size_bytes + line_bytes > MOST_BYTES or len(chunk) == MOST_LINES):
            yield first, chunk
            first, chunk, size_bytes = index, [], ENVELOPE_BYTES
        chunk.append(line)
        size_bytes += line_bytes
    if chunk:
        yield first, chunk


def _merge(merged: RunBatchOutcome, outcome: RunBatchOutcome, first: int) -> RunBatchOutcome:
    shifted = (_shifted(problem, first) for problem in outcome.problems)
    return RunBatchOutcome(
        received=merged.received + outcome.received,
        accepted=merged.accepted + outcome.accepted,
        duplicates=merged.duplicates + outcome.duplicates,
        conflicts=merged.conflicts + outcome.conflicts,
        rejected=merged.rejected + outcome.rejected,
        problems=(*merged.problems, *shifted),
    )


def _shifted(problem: BatchProblem, first: int) -> BatchProblem:
    """The problem with its places counted within the whole input instead of one request."""
    faults = (
        dataclasses.replace(
            fault, pointer=_LINE.sub(f"#/runs/{problem.index + first}", fault.pointer)
        )
        if fault.pointer is not None
        else fault
        for fault in problem.errors
    )
    return dataclasses.replace(problem, index=problem.index + first, errors=tuple(faults))


def _refused(line: Line, error: errors.APIError) -> RunBatchOutcome:
    """What becomes of a single run that is too large to be sent at all."""
    problem = BatchProblem(
        index=0,
        run_id=str(line["run_id"]),
        outcome="rejected",
        errors=(Fault(detail=str(error)),),
    )
    return RunBatchOutcome(
        received=1, accepted=0, duplicates=0, conflicts=0, rejected=1, problems=(problem,)
    )


def _is_too_much(error: errors.APIError) -> bool:
    if isinstance(error, errors.TransportError):
        return error.was_reset
    return isinstance(error, errors.PayloadTooLarge)


def _aged(line: Line, elapsed_seconds: float) -> Line:
    """The line at this try: an age counts back from the moment of sending, so it grows."""
    age = line.get("age_seconds")
    if elapsed_seconds <= 0 or isinstance(age, bool) or not isinstance(age, (int, float)):
        return line
    return {**line, "age_seconds": round(age + elapsed_seconds, 3)}


def _stored_run(answer: Answer) -> Run:
    return Run.from_json(answer.body)
