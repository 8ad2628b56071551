"""Many lines in as many requests as it takes: runs, readings and tallies go this way.

Every line is sent with its id, so sending again is always safe. Requests hold at most 512 KiB
and 5000 lines; one the service finds too large, or during which the connection keeps breaking (a
server that refuses a large body often just hangs up), is halved.
"""

from __future__ import annotations

import dataclasses
import re
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from burrline import errors
from burrline._calls import Calls, encode
from burrline._convert import new_run_id
from burrline.models import (
    BatchProblem,
    Fault,
    ReadingBatchOutcome,
    ReadingProblem,
    RunBatchOutcome,
    TallyBatchOutcome,
    TallyProblem,
)

MOST_BYTES = 512 * 1024
MOST_LINES = 5000
RESETS_BEFORE_HALVING = 2

Line = dict[str, Any]
Outcome = TypeVar("Outcome", RunBatchOutcome, ReadingBatchOutcome, TallyBatchOutcome)


@dataclass(frozen=True)
class Kind(Generic[Outcome]):
    """What a batch is made of: where it goes, its member and ids, and how it is answered."""

    path: str
    member: str
    id_name: str
    read: Callable[[object], Outcome]
    refused: Callable[[str, Fault], Outcome]
    nothing: Outcome


def _no_more(**counts: Any) -> dict[str, Any]:
    none = {"received": 0, "accepted": 0, "duplicates": 0, "conflicts": 0, "rejected": 0}
    return {**none, "problems": (), **counts}


def _refused_run(run_id: str, fault: Fault) -> RunBatchOutcome:
    problem = BatchProblem(index=0, run_id=run_id, outcome="rejected", errors=(fault,))
    return RunBatchOutcome(**_no_more(received=1, rejected=1, problems=(problem,)))


def _refused_reading(reading_id: str, fault: Fault) -> ReadingBatchOutcome:
    problem = ReadingProblem(index=0, reading_id=reading_id, outcome="rejected", errors=(fault,))
    return ReadingBatchOutcome(**_no_more(received=1, rejected=1, problems=(problem,)))


def _refused_tally(tally_id: str, fault: Fault) -> TallyBatchOutcome:
    problem = TallyProblem(index=0, tally_id=tally_id, outcome="rejected", errors=(fault,))
    return TallyBatchOutcome(**_no_more(received=1, rejected=1, problems=(problem,)))


RUNS = Kind(
    path="/v1/runs/batch",
    member="runs",
    id_name="run_id",
    read=RunBatchOutcome.from_json,
    refused=_refused_run,
    nothing=RunBatchOutcome(**_no_more()),
)
READINGS = Kind(
    path="/v1/readings",
    member="readings",
    id_name="reading_id",
    read=ReadingBatchOutcome.from_json,
    refused=_refused_reading,
    nothing=ReadingBatchOutcome(**_no_more()),
)
TALLIES = Kind(
    path="/v1/tallies/batch",
    member="tallies",
    id_name="tally_id",
    read=TallyBatchOutcome.from_json,
    refused=_refused_tally,
    nothing=TallyBatchOutcome(**_no_more()),
)


class Batches(Calls):
    """Base of the topics that send many lines."""

    def _with_id(self, line: Line, id_name: str) -> Line:
        if line.get(id_name) is None:
            line[id_name] = new_run_id(self._transport.now())
        return line

    def _send_lines(
        self,
        kind: Kind[Outcome],
        lines: Sequence[Line],
        beside: Mapping[str, Any] | None = None,
    ) -> Outcome:
        """All lines, and with each request what stands ``beside`` them.

        Where there is something beside them, it goes out even without a line.
        """
        merged = kind.nothing
        whole: dict[str, Any] = dict(beside or {})
        chunks: list[tuple[int, list[Line]]] = [*_split(lines, _envelope_bytes(kind, whole))]
        waiting: deque[tuple[int, list[Line]]] = deque(chunks or ([(0, [])] if whole else []))
        began = self._transport.clock()
        first: int
        chunk: list[Line]
        while waiting:
            first, chunk = waiting.popleft()
            try:
                outcome = self._send_chunk(kind, chunk, whole, began)
                merged = merge(merged, outcome, first, kind.member)
            except errors.APIError as error:
                if len(chunk) > 1 and _is_too_much(error):
                    half = len(chunk) // 2
                    waiting.appendleft((first + half, chunk[half:]))
                    waiting.appendleft((first, chunk[:half]))
                elif chunk and isinstance(error, errors.PayloadTooLarge):
                    fault = Fault(detail=str(error))
                    refused = kind.refused(str(chunk[0][kind.id_name]), fault)
                    merged = merge(merged, refused, first, kind.member)
                else:
                    error.remaining = (*chunk, *_lines_of(waiting))
                    raise
        return merged

    def _send_chunk(
        self, kind: Kind[Outcome], chunk: Sequence[Line], beside: Mapping[str, Any], began: float
    ) -> Outcome:
        waited_seconds = self._transport.clock() - began
        answer = self._transport.send(
            "POST",
            kind.path,
            body=lambda elapsed_seconds: encode(
                {
                    kind.member: [aged(line, waited_seconds + elapsed_seconds) for line in chunk],
                    **beside,
                }
            ),
            is_harmless=True,
            tells_device_clock=True,
            resets_allowed=RESETS_BEFORE_HALVING if len(chunk) > 1 else None,
        )
        outcome = self._read(answer, lambda one: kind.read(one.body))
        if outcome.received != len(chunk):
            raise errors.TransportError(
                f"{len(chunk)} {kind.member} were sent, but {outcome.received} arrived: something "
                "between here and the service cuts requests short",
                status=answer.status,
            )
        return outcome


def aged(line: Line, elapsed_seconds: float) -> Line:
    """The line at this try: an age counts back from the moment of sending, so it grows."""
    age = line.get("age_seconds")
    if elapsed_seconds <= 0 or isinstance(age, bool) or not isinstance(age, (int, float)):
        return line
    return {**line, "age_seconds": round(age + elapsed_seconds, 3)}


def _lines_of(chunks: Iterable[tuple[int, list[Line]]]) -> list[Line]:
    return [line for _, lines in chunks for line in lines]


def _envelope_bytes(kind: Kind[Outcome], beside: Mapping[str, Any]) -> int:
    return len(encode({kind.member: [], **beside}))


def _split(lines: Sequence[Line], envelope_bytes: int) -> Iterable[tuple[int, list[Line]]]:
    """The lines in chunks that fit a request, each with the place of its first one."""
    first, chunk, size_bytes = 0, list[Line](), envelope_bytes
    for index, line in enumerate(lines):
        line_bytes = len(encode(line)) + 1
        if chunk and (size_bytes + line_bytes > MOST_BYTES or len(chunk) == MOST_LINES):
            yield first, chunk
            first, chunk, size_bytes = index, [], envelope_bytes
        chunk.append(line)
        size_bytes += line_bytes
    if chunk:
        yield first, chunk


def merge(merged: Outcome, outcome: Outcome, first: int, member: str) -> Outcome:
    shifted: list[Any] = [_shifted(problem, first, member) for problem in outcome.problems]
    return dataclasses.replace(
        merged,
        received=merged.received + outcome.received,
        accepted=merged.accepted + outcome.accepted,
        duplicates=merged.duplicates + outcome.duplicates,
        conflicts=merged.conflicts + outcome.conflicts,
        rejected=merged.rejected + outcome.rejected,
        problems=(*merged.problems, *shifted),
    )


def _shifted(problem: Any, first: int, member: str) -> Any:
    """The problem with its places counted within the whole input instead of one request."""
    place = re.compile(rf"^#/{member}/\d+(?![^/])", re.ASCII)
    index = problem.index + first
    faults = (
        dataclasses.replace(fault, pointer=place.sub(f"#/{member}/{index}", fault.pointer))
        if fault.pointer is not None
        else fault
        for fault in problem.errors
    )
    return dataclasses.replace(problem, index=index, errors=tuple(faults))


def _is_too_much(error: errors.APIError) -> bool:
    if isinstance(error, errors.TransportError):
        return error.was_reset
    return isinstance(error, errors.PayloadTooLarge)
