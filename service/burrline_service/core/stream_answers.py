"""What the flow tells of the break-in, put together for an answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from .calibration import flow_answer
from .calibration_answers import FlowSlope
from .grind_answers import Said
from .records import Grind
from .settling_measures import Limits
from .stream_sentences import CAUTIONS, LEFT_OUT, UNKNOWN, Stream, next_sentence, stream_sentence


@dataclass(frozen=True)
class RunsLeftOut:
    """How many runs tell nothing of the flow, and why."""

    code: str
    run_count: int
    sentence: str


@dataclass(frozen=True)
class StreamAnswer:
    """What ordinary runs tell of the flow of a burr set, by the end of its last closed day.

    Ratios are of the logarithm of the flow: 0.03 is 3 %. ``at_grams`` and ``from_grams`` say
    between which kilograms the runs lie that count.
    """

    verdict: str
    sentence: str
    next: str
    steadied_at: datetime | None = None
    steadied_grams: float | None = None
    setting: float | None = None
    grams_per_second: Limits = UNKNOWN
    settled_grams_per_second: Limits = UNKNOWN
    tau_grams: Limits = UNKNOWN
    least_to_come_ratio: float | None = None
    most_to_come_ratio: float | None = None
    smallest_change_ratio: float | None = None
    log_flow_per_setting: Limits = UNKNOWN
    grams_per_second_per_step: Limits = UNKNOWN
    session_count: int = 0
    run_count: int = 0
    from_grams: float | None = None
    at_grams: float | None = None
    cautions: tuple[Said, ...] = ()
    left_out: tuple[RunsLeftOut, ...] = ()


def report_stream(
    stream: Stream,
    *,
    ended_at: Mapping[int, datetime],
    zeros_setting: tuple[float | None, ...] = (None,),
    grind: Grind | None = None,
) -> StreamAnswer:
    """Put what was found of the flow into words and instants.

    ``verdict -> sentence, next;  session -> instant;  slope -> per step;  setting + zero``

    Parameters
    ----------
    stream : Stream
        What was found.
    ended_at : mapping of int to datetime
        When the last hour with runs of each day had ended.
    zeros_setting : tuple of float or None
        Where the burrs touch, at first and since each time that they were seated anew.
    grind : Grind or None
        What the plate says of the dial.

    Returns
    -------
    StreamAnswer
        Settings as the dial reads now.

    Raises
    ------
    KeyError
        A verdict, or a day, that does not exist.

    Valid
    -----
    For the result of ``assess_stream`` of the same evidence.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> report_stream(Stream("not_enough_data", "no_evidence"), ended_at={}).verdict
    'no_evidence'
    """
    steadied = stream.steadied_session
    dial = flow_at_dial(stream, zeros_setting)
    slope = flow_answer(
        dial,
        step_setting=(None if grind is None else grind.setting_step) or 1.0,
        sign_ratio=_sign(grind, stream.setting_slope),
        reference_grams_per_second=None,
    )
    return StreamAnswer(
        verdict=stream.verdict,
        sentence=stream_sentence(stream),
        next=next_sentence(stream),
        steadied_at=None if steadied is None else ended_at[steadied],
        steadied_grams=stream.steadied_grams,
        setting=_on_dial(stream, zeros_setting),
        grams_per_second=stream.flow_grams_per_second,
        settled_grams_per_second=stream.settled_grams_per_second,
        tau_grams=stream.tau_grams,
        least_to_come_ratio=stream.least_to_come_ratio,
        most_to_come_ratio=stream.most_to_come_ratio,
        smallest_change_ratio=stream.smallest_change_ratio,
        log_flow_per_setting=slope.log_flow_per_setting,
        grams_per_second_per_step=slope.grams_per_second_per_step,
        session_count=stream.sessions_count,
        run_count=stream.grinds_count,
        from_grams=stream.first_grams,
        at_grams=stream.at_grams,
        cautions=tuple(Said(code, CAUTIONS[code]) for code in stream.cautions),
        left_out=tuple(RunsLeftOut(code, count, LEFT_OUT[code]) for code, count in stream.left_out),
    )


def flow_at_dial(stream: Stream, zeros_setting: tuple[float | None, ...]) -> FlowSlope | None:
    """Give what the flow tells of the dial, its setting as the dial reads now.

    ``setting = setting from where the burrs touch + where they touch``

    Parameters
    ----------
    stream : Stream
        What was found.
    zeros_setting : tuple of float or None
        As for ``report_stream``.

    Returns
    -------
    FlowSlope or None
        None where the runs do not tell the dial's effect from the kilograms'. The setting is None
        where the burrs were seated anew since and nobody told where they touch.

    Raises
    ------
    IndexError
        Fewer zeros than seatings.

    Valid
    -----
    As ``assess_stream``.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> flow_at_dial(Stream("not_enough_data", "no_evidence"), (None,)) is None
    True
    """
    if stream.setting_slope is None or stream.verdict == "setting_confounded":
        return None
    return replace(stream.setting_slope, setting=_on_dial(stream, zeros_setting))


def _on_dial(stream: Stream, zeros_setting: tuple[float | None, ...]) -> float | None:
    if stream.reference_setting is None or stream.reference_seating is None:
        return None
    then, now = zeros_setting[stream.reference_seating], zeros_setting[-1]
    is_seated_since = stream.reference_seating < len(zeros_setting) - 1
    if is_seated_since and (then is None or now is None):
        return None
    return round(stream.reference_setting + (now or 0.0), 9)


def _sign(grind: Grind | None, slope: FlowSlope | None) -> float:
    """1 where higher is coarser: by the plate, else as what grinds faster is the coarser."""
    if grind is not None and grind.coarser is not None:
        return 1.0 if grind.coarser == "higher" else -1.0
    return -1.0 if slope is not None and slope.best_ratio < 0 else 1.0
