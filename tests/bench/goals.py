"""What the measuring scripts aim at, and what they found."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Measured:
    """One ratio beside its goal; ``is_floor`` says that more is better."""

    name: str
    what: str
    goal: float
    ratio: float
    is_floor: bool = False
    note: str = ""

    @property
    def is_met(self) -> bool:
        return self.ratio >= self.goal if self.is_floor else self.ratio <= self.goal


def load() -> str:
    """How busy the machine is: beside others' work ratios scatter widely."""
    return f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def table(found: Sequence[Measured]) -> str:
    """One line for each, ready to print."""
    rows = [("goal", "what", "wanted", "measured", "", "note")]
    for one in found:
        sign = ">=" if one.is_floor else "<="
        verdict = "met" if one.is_met else "falls short"
        rows.append(
            (one.name, one.what, f"{sign} {one.goal:g}", f"{one.ratio:.3g}", verdict, one.note)
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )
