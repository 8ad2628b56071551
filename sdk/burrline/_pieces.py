"""Weight cut into straight pieces, at the places that the fewest of them need.

Within a piece the true weight is a line, so a scale that lags behind says
``y = a + b t + c exp(-t / lag)``; the line is free to jump at the ends of a piece. A piece of n
cells of a tenth of a second about whose fit the weighted mean square is v costs
``n max(v / floor - 1, 0) / 2`` and the price of a piece; dynamic programming finds the cut of
least total cost (the principle: penalised likelihood, as in change-point work). Cells count for
less where their neighbours scatter, so that shaking while it grinds costs no pieces.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from burrline._cells import CELL_SECONDS, Cell, misfit

PIECE_COST = 14.0
LAG_UNSURE = 0.001
NEAR_SECONDS = 1.4
WIDE_SECONDS = 0.6
"""A cell joined from so many tells its scatter itself."""


@dataclass(frozen=True)
class Piece:
    """A straight stretch: from ``start`` to ``end`` s, the true weight ``first`` to ``last`` g."""

    start: float
    end: float
    first: float
    last: float
    spread: float

    @property
    def seconds(self) -> float:
        return self.end - self.start

    @property
    def rise(self) -> float:
        return self.last - self.first

    @property
    def flow(self) -> float:
        return self.rise / self.seconds

    def at(self, seconds: float) -> float:
        return self.first + self.flow * (seconds - self.start)


@dataclass(frozen=True)
class _Term:
    """What a cell adds to the sums of a piece."""

    n: float
    w: float
    t: float
    y: float
    tt: float
    ty: float
    yy: float
    decay: float  # of the exponential over the whole cell
    e: float  # its mean over the cell, of 1 at the cell's start
    point: float  # the weight of the reading at its start
    start: float
    first: float


def cut(
    cells: Sequence[Cell], lag: float, floor: float, *, is_even: bool = False
) -> tuple[list[Piece], float]:
    """The pieces of least cost, and that cost; ``floor`` is a variance in g^2 that means nothing.

    All cells count alike if ``is_even``. Takes time as the square of the number of cells.
    """
    noises = [0.0] * len(cells)
    if not is_even:
        # a lag known to one in a hundred leaves that part of what it closed in
        unsure = [LAG_UNSURE * lag * cell.ws / cell.w for cell in cells]
        local = local_variances(cells, lag)
        noises = [max(a, b * b) for a, b in zip(local, unsure, strict=True)]
    terms = _terms(cells, noises, lag, floor)
    best, came_from = [0.0], [0]
    for end in range(1, len(terms) + 1):
        least, place = math.inf, end - 1
        n = w = t = y = tt = ty = yy = e = et = ey = ee = 0.0
        for start in range(end - 1, -1, -1):
            m = terms[start]
            n, w, t, y = n + m.n, w + m.w, t + m.t, y + m.y
            tt, ty, yy = tt + m.tt, ty + m.ty, yy + m.yy
            if not lag:
                off, stt, sty = yy - y * y / w, tt - t * t / w, ty - t * y / w
                if stt > 1e-9:
                    off -= sty * sty / stt
            else:
                d, f, p, t0, y0 = m.decay, m.e, m.point, m.start, m.first
                e, et, ey = d * e + f * m.w, d * et + f * m.t, d * ey + f * m.y
                ee = d * d * ee + f * f * m.w
                # with the reading at the piece's start
                pw, py, pt = w + p, y + p * y0, t + p * t0
                pe, pet, pey = e + p, et + p * t0, ey + p * y0
                off = yy + p * y0 * y0 - py * py / pw
                see = ee + p - pe * pe / pw
                ste, sey = pet - pt * pe / pw, pey - pe * py / pw
                stt = tt + p * t0 * t0 - pt * pt / pw
                sty = ty + p * t0 * y0 - pt * py / pw
                if stt > 1e-9:
                    off -= sty * sty / stt
                    free = see - ste * ste / stt
                    if free > 1e-9:
                        left = sey - ste * sty / stt
                        off -= left * left / free
            variance = off / (n * floor)
            cost = best[start] + PIECE_COST
            if variance > 1.0:
                cost += n / CELL_SECONDS * 0.5 * (variance - 1.0)
            if cost < least:
                least, place = cost, start
        best.append(least)
        came_from.append(place)
    found, end = [], len(cells)
    while end:
        start = came_from[end]
        found.append(_fitted(cells, terms, start, end, lag))
        end = start
    found.reverse()
    return found, best[-1]


def _terms(cells: Sequence[Cell], noises: Sequence[float], lag: float, floor: float) -> list[_Term]:
    terms = []
    for cell, noise in zip(cells, noises, strict=True):
        r = floor / max(floor, 1.5 * noise)
        decay = math.exp(-cell.w / lag) if lag else 0.0
        # the mean as trapezoids between the samples give it
        bend = math.tanh(cell.step / (2 * lag)) if lag else 1.0
        mean = (1 - decay) * cell.step / (2 * cell.w * bend)
        terms.append(
            _Term(
                cell.w, r * cell.w, r * cell.wt, r * cell.wy, r * cell.wtt, r * cell.wty,
                r * cell.wyy, decay, mean, r * cell.step, cell.start, cell.first,
            )
        )  # fmt: skip
    return terms


def _fitted(
    cells: Sequence[Cell], terms: Sequence[_Term], start: int, end: int, lag: float
) -> Piece:
    w = t = y = tt = ty = yy = e = et = ey = ee = 0.0
    for m in reversed(terms[start:end]):
        w, t, y = w + m.w, t + m.t, y + m.y
        tt, ty, yy = tt + m.tt, ty + m.ty, yy + m.yy
        d, f = m.decay, m.e
        e, et, ey = d * e + f * m.w, d * et + f * m.t, d * ey + f * m.y
        ee = d * d * ee + f * f * m.w
    if lag:
        m = terms[start]
        p, t0, y0 = m.point, m.start, m.first
        w, t, y = w + p, t + p * t0, y + p * y0
        tt, ty, yy = tt + p * t0 * t0, ty + p * t0 * y0, yy + p * y0 * y0
        e, et, ey, ee = e + p, et + p * t0, ey + p * y0, ee + p
    off = yy - y * y / w
    stt, sty = tt - t * t / w, ty - t * y / w
    ste, sey, see = et - t * e / w, ey - e * y / w, ee - e * e / w
    b = c = 0.0
    if stt > 1e-9:
        free = see - ste * ste / stt
        c = (sey - ste * sty / stt) / free if lag and free > 1e-9 else 0.0
        b = (sty - c * ste) / stt
        off -= b * sty + c * sey
    a = (y - b * t - c * e) / w
    left, right = cells[start].start, cells[end - 1].end
    level = a + b * lag
    spread = math.sqrt(max(0.0, off) / w)
    return Piece(left, right, level + b * left, level + b * right, spread)


def local_variances(cells: Sequence[Cell], lag: float) -> list[float]:
    """The scatter of a cell of usual width around each cell, by second differences near it.

    Lines and single jumps leave no trace in it.
    """
    squares = [0.0] * len(cells)
    if len(cells) < 3:
        return squares
    middle = [cell.wt / cell.w for cell in cells]
    level = [(cell.wy + lag * cell.ws) / cell.w for cell in cells]
    for i in range(1, len(cells) - 1):
        share = (middle[i] - middle[i - 1]) / (middle[i + 1] - middle[i - 1])
        off = level[i] - (1 - share) * level[i - 1] - share * level[i + 1]
        noise = (
            1 / cells[i].w + (1 - share) ** 2 / cells[i - 1].w + share**2 / cells[i + 1].w
        ) * CELL_SECONDS
        # freeing of the lag has made it larger: a third difference of the noise comes with it
        noise *= 1 + 5 * (lag / cells[i].w) ** 2
        squares[i] = off * off / noise
    found, first, last = [], 1, 1
    for i in range(len(cells)):
        while last < len(cells) - 1 and (last < i + 5 or middle[last] < middle[i] + NEAR_SECONDS):
            last += 1
        while first < i - 4 and middle[first] < middle[i] - NEAR_SECONDS:
            first += 1
        if cells[i].w >= WIDE_SECONDS:
            found.append(misfit(cells[i].moments(0.0)) / (cells[i].w - 2 * CELL_SECONDS))
            continue
        near = sorted(squares[first:last])
        found.append(near[int(0.35 * len(near))] / 0.206)
    return found
