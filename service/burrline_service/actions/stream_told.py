"""What the flow of the burr set in a grinder tells, for one answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ..core.calibration_answers import FlowSlope
from ..core.records import Grind
from ..core.stream import assess_stream
from ..core.stream_answers import StreamAnswer, flow_at_dial, report_stream
from ..core.stream_sentences import Stream
from ..store.database import Connection
from ..store.stream_cells import Folded
from .asked import Asked
from .stream import StreamEvidence, stream_evidence_of


@dataclass(frozen=True)
class StreamTold:
    """The verdict on the flow with its evidence, and what was folded on the way."""

    stream: Stream
    evidence: StreamEvidence
    folded: Folded | None

    @property
    def steadied_at(self) -> datetime | None:
        session = self.stream.steadied_session
        return None if session is None else self.evidence.ended_at[session]

    @property
    def flow(self) -> FlowSlope | None:
        return flow_at_dial(self.stream, self.evidence.zeros_setting)

    def answer(self, grind: Grind | None) -> StreamAnswer:
        return report_stream(
            self.stream,
            ended_at=self.evidence.ended_at,
            zeros_setting=self.evidence.zeros_setting,
            grind=grind,
        )


def stream_of(connection: Connection, account_no: int, one: Asked) -> StreamTold | None:
    """The verdict of all closed days; None without a burr set.

    The counters must have counted what ``want_stream`` names.
    """
    if not one.stays:
        return None
    evidence, folded = stream_evidence_of(
        connection, account_no, one.found.grinder_no, one.stays, at_ms=one.at_ms
    )
    stream = assess_stream(evidence.sessions, closed_before=evidence.closed_before)
    return StreamTold(stream, evidence, folded)
