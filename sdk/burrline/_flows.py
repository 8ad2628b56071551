"""Which of the straight pieces of an episode are grinding, and what they amount to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from burrline._cells import CELL_SECONDS, Cell
from burrline._chains import JOIN_SECONDS, LEAST_FLOW, MOST_FLOW, between, chains_of
from burrline._pieces import WIDE_SECONDS, Piece

LEAST_GRAMS = 2.5
SHORT_SECONDS, LEAST_SHORT_GRAMS = 0.9, 4.5
SHORTEST_SECONDS = 0.42
SHORTEST_CELLS = 3.5
LATE_SECONDS, LATE_GRAMS = 3.5, 1.3
TRICKLE_FRACTION = 0.3
HINGE_SECONDS = 0.7
STEP_FRACTION = 0.02


@dataclass(frozen=True)
class Flow:
    """Grounds that came, on the clock of the pieces."""

    start: float
    end: float
    grams: float
    is_cut: bool  # the cup went before the weight was at rest


def flows(pieces: Sequence[Piece], noise: float, cells: Sequence[Cell], lag: float) -> list[Flow]:
    """The runs among the pieces."""
    found = []
    chains = chains_of(pieces, noise)
    widths = sorted(cell.w for cell in cells if cell.w < WIDE_SECONDS) or [CELL_SECONDS]
    shortest = max(SHORTEST_SECONDS, SHORTEST_CELLS * widths[len(widths) // 4])
    for number, chain in enumerate(chains):
        until = chains[number + 1][0] if number + 1 < len(chains) else len(pieces)
        flow = _measured(pieces, chain, until, noise, cells, lag)
        if flow is not None and flow.end - flow.start >= shortest:
            found.append(_hinged(flow, pieces[chain[-1]], cells, lag) if flow.is_cut else flow)
    return found


def _hinged(flow: Flow, last: Piece, cells: Sequence[Cell], lag: float) -> Flow:
    """A run whose cup went soon after it: where the last of its line is better flat.

    From an end T on the true weight stays at the line's level there, and the scale closes in from
    where it was; the T of least squares is taken.
    """
    near = [
        (cell.wt / cell.w, cell.wy / cell.w)
        for cell in cells
        if last.end - HINGE_SECONDS < cell.start and cell.end <= last.end + 1e-6
    ]
    if len(near) < 2 or last.seconds < 2 * HINGE_SECONDS:
        return flow
    best, least, whole = 0.0, math.inf, math.inf
    for step in range(round(HINGE_SECONDS / 0.02)):
        early = 0.02 * step
        end, squares = last.end - early, 0.0
        level = last.at(end)
        for t, y in near:
            told = last.at(t) - last.flow * lag
            if t > end:
                told = level - last.flow * lag * math.exp(-(t - end) / lag) if lag else level
            squares += (y - told) ** 2
        if step == 0:
            whole = squares
        if squares < least:
            best, least = early, squares
    if least > 0.4 * whole:
        return flow
    return Flow(flow.start, flow.end - best, flow.grams - best * last.flow, True)


def _is_flat(piece: Piece, usual: float) -> bool:
    is_level = abs(piece.flow) < max(LEAST_FLOW, 0.12 * usual)
    return is_level or (abs(piece.rise) < 0.3 and piece.seconds > 0.3)


def _measured(
    pieces: Sequence[Piece],
    chain: Sequence[int],
    until: int,
    noise: float,
    cells: Sequence[Cell],
    lag: float,
) -> Flow | None:
    parts = [pieces[i] for i in chain]
    rises = sum(part.rise for part in parts)
    usual = rises / sum(part.seconds for part in parts)
    grams = rises + sum(between(a, b, usual) for a, b in pairwise(parts))
    timed = [part for part in parts if part.flow >= TRICKLE_FRACTION * usual] or parts
    start, end = timed[0].start, timed[-1].end
    low, high = parts[0].first, parts[-1].last
    before = _rest_before(pieces, chain[0], noise)
    if before is not None:
        level = _rest_level(before, cells, lag)
        grams += low - level
        start = _meets(timed[0], level if timed[0] is parts[0] else timed[0].first, start)
    after, pulse_end = _rest_after(pieces, chain[-1], noise, usual)
    if after is not None:
        grams += after.last - high
        rest = after if pulse_end is None else None
        level = _next_level(pieces, chain[-1], rest)
        end = _meets(timed[-1], level if timed[-1] is parts[-1] else timed[-1].last, end)
        end = end if pulse_end is None else pulse_end
    elif _is_unsteady(pieces, chain[-1], noise) and end - start < 4:
        return None  # a hand that goes on pressing
    flow = Flow(start, end, grams, after is None)
    if before is None and grams < STEP_FRACTION * _step_before(pieces, chain[0]):
        return None
    if not _is_run(flow, before is not None, after is not None):
        return None
    if before is not None and _went_back(pieces[chain[-1] + 1 : until], before.last, grams):
        return None
    return flow


def _step_before(pieces: Sequence[Piece], place: int) -> float:
    """The largest change of weight within a second and a half before a piece."""
    start = pieces[place].start
    levels = [pieces[place].first]
    for piece in reversed(pieces[:place]):
        if start - piece.end > 1.5:
            break
        levels += [piece.first, piece.last]
    return max(levels) - min(levels)


def _went_back(later: Sequence[Piece], level: float, grams: float) -> bool:
    """Whether the weight fell back to where it was: a hand that pressed, and let go."""
    if not later or grams > 60:
        return False
    last = later[-1]
    return abs(last.last - level) < min(1.0, max(0.4, 0.05 * grams))


def _meets(piece: Piece, level: float, boundary: float) -> float:
    """When the line of a piece is at a level; near its end, or it is not believed."""
    found = piece.start + (level - piece.first) / piece.flow
    return min(max(found, boundary - 1.5), boundary + 1.5)


def _rest_before(pieces: Sequence[Piece], place: int, noise: float) -> Piece | None:
    """The weight at rest before a run, if nothing lies between that changed it."""
    first = pieces[place]
    for i in range(place - 1, max(-1, place - 4), -1):
        piece = pieces[i]
        if first.start - piece.end > 1.0:
            return None
        if _is_flat(piece, first.flow) and piece.seconds >= 0.15:
            off = first.first - piece.last
            slack = max(0.8, 3 * noise, 5 * first.spread)
            is_near = -max(slack, 0.4 * first.flow) <= off <= max(slack, 1.3 * first.flow)
            return piece if is_near else None
    return None


def _rest_level(rest: Piece, cells: Sequence[Cell], lag: float) -> float:
    """The weight before a run; of a long rest its middle, as its end may hold the first grounds."""
    begin, end = rest.start + 0.2 * rest.seconds, rest.start + 0.6 * rest.seconds
    near = [cell for cell in cells if begin <= cell.start and cell.end <= end]
    if rest.seconds < 1.5 or not near:
        return rest.at(rest.end)
    return sum(cell.wy + lag * cell.ws for cell in near) / sum(cell.w for cell in near)


def _next_level(pieces: Sequence[Piece], place: int, rest: Piece | None) -> float:
    """Where the weight went on after the last piece of a run."""
    later = pieces[place + 1 : place + 2]
    if rest is not None and later and rest is not later[0]:
        return pieces[place].last
    return later[0].first if later else pieces[place].last


def _is_unsteady(pieces: Sequence[Piece], place: int, noise: float) -> bool:
    """Whether what follows at once is a level that nothing at rest has."""
    later = pieces[place + 1 : place + 2]
    return bool(later) and later[0].seconds > 0.4 and later[0].spread > _unsteady(noise)


def _unsteady(noise: float) -> float:
    return max(0.12, 5 * noise)


def _rest_after(
    pieces: Sequence[Piece], place: int, noise: float, usual: float
) -> tuple[Piece | None, float | None]:
    """The weight at rest after a run, late grounds taken in, and when its last pulse ended."""
    last, best, pulse_end = pieces[place], None, None
    level, reach = last.last, last.end
    for piece in pieces[place + 1 :]:
        if piece.start - reach > LATE_SECONDS:
            break
        off = piece.first - level
        if _is_flat(piece, usual) and piece.seconds >= 0.12 and piece.spread <= _unsteady(noise):
            if -max(0.8, 3 * noise, 0.5 * usual) <= off <= LATE_GRAMS + 0.8 * usual:
                is_pulse = off >= max(0.25, 0.3 * usual, 4 * noise)
                if best is not None and is_pulse and piece.start - reach < JOIN_SECONDS + 0.3:
                    pulse_end = reach = piece.start
                best, level = piece, piece.last
            elif off < 0:
                break
        elif piece.rise < -2 or off < -2:
            break
    return best, pulse_end


def _is_run(flow: Flow, has_before: bool, has_after: bool) -> bool:
    seconds = flow.end - flow.start
    if seconds < SHORTEST_SECONDS or flow.grams < LEAST_GRAMS:
        return False
    if seconds < SHORT_SECONDS and flow.grams < LEAST_SHORT_GRAMS:
        return False
    if not has_before and seconds < (1.2 if has_after else 2.0):
        return False
    return 0.2 <= flow.grams / seconds <= MOST_FLOW
