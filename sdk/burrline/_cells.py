"""Weight as short cells of sums, so that any stretch can be fitted, whatever the scale's lag.

A scale lags behind the weight m: ``m = y + lag * dy/dt``. Over a cell of width w the mean of m is
``mean(y) + lag * (y_end - y_start) / w``. A cell holds the sums of both parts, weighted by time, so
that cells can be joined without loss and the lag may be chosen afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass

CELL_SECONDS = 0.095
MOST_CELLS = 150
REBASE_SECONDS = 5.0
FRESH_CELLS = 40
"""The newest cells are never joined: something may be beginning there."""

Moments = tuple[float, ...]


@dataclass
class Cell:
    """Sums over a stretch of time: t its seconds, y the weight, s its slope, w the widths."""

    start: float
    end: float
    first: float  # y at the start
    step: float  # seconds between samples
    w: float = 0.0
    wt: float = 0.0
    wtt: float = 0.0
    wy: float = 0.0
    ws: float = 0.0
    wty: float = 0.0
    wts: float = 0.0
    wyy: float = 0.0
    wys: float = 0.0
    wss: float = 0.0

    def add(self, other: Cell) -> None:
        self.end = other.end
        self.w += other.w
        self.wt += other.wt
        self.wtt += other.wtt
        self.wy += other.wy
        self.ws += other.ws
        self.wty += other.wty
        self.wts += other.wts
        self.wyy += other.wyy
        self.wys += other.wys
        self.wss += other.wss

    def shift(self, seconds: float, grams: float) -> None:
        """Count time and weight from a later zero."""
        self.start -= seconds
        self.end -= seconds
        self.first -= grams
        self.wtt += seconds * (seconds * self.w - 2 * self.wt)
        self.wyy += grams * (grams * self.w - 2 * self.wy)
        self.wty += seconds * grams * self.w - seconds * self.wy - grams * self.wt
        self.wts -= seconds * self.ws
        self.wys -= grams * self.ws
        self.wt -= seconds * self.w
        self.wy -= grams * self.w

    def moments(self, lag: float) -> Moments:
        """w, wt, wtt, wm, wtm, wmm of the weight freed of the lag."""
        wm = self.wy + lag * self.ws
        wtm = self.wty + lag * self.wts
        wmm = self.wyy + 2 * lag * self.wys + lag * lag * self.wss
        return self.w, self.wt, self.wtt, wm, wtm, wmm


def simple_cell(
    start: float, end: float, step: float, first_grams: float, mean_grams: float, rise_grams: float
) -> Cell:
    w, t = end - start, (start + end) / 2
    y, s = mean_grams, rise_grams / w
    return Cell(
        start, end, first_grams, step, w, w * t, w * t * t, w * y, w * s,
        w * t * y, w * t * s, w * y * y, w * y * s, w * s * s,
    )  # fmt: skip


def misfit(moments: Moments) -> float:
    """The weighted sum of squares about the best line."""
    w, wt, wtt, wm, wtm, wmm = moments
    tt = wtt - wt * wt / w
    tm = wtm - wt * wm / w
    mm = wmm - wm * wm / w
    return max(0.0, mm - (tm * tm / tt if tt > 1e-12 else 0.0))


class Cells:
    """The cells of an episode: bounded, for old ones are joined where they lie most on a line."""

    def __init__(self) -> None:
        self.cells: list[Cell] = []
        self._losses: list[float] = []  # of joining a cell with the next one
        self._base_seconds = 0.0
        self._base_grams = 0.0
        self._last: tuple[float, float] | None = None
        self._open: list[float] = []  # start, area, first grams
        self._open_count = 0

    @property
    def base_seconds(self) -> float:
        return self._base_seconds

    def push(self, seconds: float, grams: float) -> bool:
        """Take in a sample; whether a cell was completed."""
        if self._last is None:
            self._base_seconds, self._base_grams = seconds, grams
        seconds, grams = seconds - self._base_seconds, grams - self._base_grams
        last, self._last = self._last, (seconds, grams)
        if last is None or seconds <= last[0]:
            return False
        if not self._open:
            self._open, self._open_count = [last[0], 0.0, last[1]], 0
        self._open_count += 1
        self._open[1] += (seconds - last[0]) * (grams + last[1]) / 2
        start, area, first = self._open
        if seconds - start < CELL_SECONDS:
            return False
        self._open = []
        width = seconds - start
        step = width / self._open_count
        self.cells.append(simple_cell(start, seconds, step, first, area / width, grams - first))
        count = len(self.cells)
        if count > 1:
            self._losses.append(self._loss(count - 2))
        if count > 2:
            self._losses[count - 3] = self._loss(count - 3)
        if count > MOST_CELLS:
            self._join()
        return True

    def _loss(self, place: int) -> float:
        """How far a cell, the next one and their neighbours are from one line."""
        own = 0.0
        sums: Moments = (0.0,) * 6
        for cell in self.cells[max(0, place - 1) : place + 3]:
            moments = cell.moments(0.0)
            sums = tuple(a + b for a, b in zip(sums, moments, strict=True))
            own += misfit(moments)
        # wide cells are a little dearer, so that all widen alike
        return misfit(sums) - own + 1e-4 * sums[0]

    def _join(self) -> None:
        losses = self._losses[: len(self._losses) - FRESH_CELLS]
        place = losses.index(min(losses))
        self.cells[place].add(self.cells.pop(place + 1))
        self._losses.pop(place)
        for near in range(max(0, place - 2), min(place + 2, len(self._losses))):
            self._losses[near] = self._loss(near)

    def keep_last(self, seconds: float) -> None:
        """Let go of all but the last seconds, and count time and weight from there."""
        if not self.cells or self._last is None:
            return
        until = self.cells[-1].end - seconds
        first = next((i for i, cell in enumerate(self.cells) if cell.end > until), 0)
        del self.cells[:first], self._losses[:first]
        seconds, grams = self.cells[0].start, self.cells[0].wy / self.cells[0].w
        if seconds < REBASE_SECONDS:
            return
        for cell in self.cells:
            cell.shift(seconds, grams)
        self._base_seconds += seconds
        self._base_grams += grams
        self._last = (self._last[0] - seconds, self._last[1] - grams)
        if self._open:
            began, area, level = self._open
            began -= seconds
            self._open = [began, area - grams * (self._last[0] - began), level - grams]
