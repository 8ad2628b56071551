"""A file of runs, one JSON object per line, read so that sending it twice counts once."""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from typing import Any


def read_lines(
    content: bytes,
) -> tuple[list[tuple[int, dict[str, Any]]], list[tuple[int, str]]]:
    """The runs of a file with their line numbers, and the lines that are none with the reason.

    A line without ``run_id`` gets one made of its content (and of how many lines like it came
    before), so a file sent again, or grown and sent again, counts once. That needs the time in
    the line: without ``started_at`` two like runs of different days could not be told apart, and
    the line is not taken.

    >>> runs, faults = read_lines(b'{"run_id": "bar-1-000017", "grams": 18}\\n{"grams": 18}\\n')
    >>> runs
    [(1, {'run_id': 'bar-1-000017', 'grams': 18})]
    >>> faults
    [(2, 'needs a run_id or a started_at, else sending the file twice would count it twice')]
    """
    runs: list[tuple[int, dict[str, Any]]] = []
    faults: list[tuple[int, str]] = []
    seen: Counter[str] = Counter()
    for number, raw in enumerate(content.split(b"\n"), start=1):
        if not raw.strip():
            continue
        try:
            run = json.loads(
                raw.decode("utf-8-sig" if number == 1 else "utf-8"),
                parse_constant=_finite,
                parse_float=_finite,
            )
            json.dumps(run, ensure_ascii=False).encode()  # half a surrogate pair is no text
        except (ValueError, RecursionError):
            faults.append((number, "is not JSON"))
            continue
        if not isinstance(run, dict):
            faults.append((number, "is not a JSON object"))
            continue
        if run.get("run_id") is None:
            if run.get("started_at") is None:
                faults.append(
                    (
                        number,
                        "needs a run_id or a started_at, else sending the file twice would "
                        "count it twice",
                    )
                )
                continue
            text = json.dumps(run, sort_keys=True, separators=(",", ":"))
            run["run_id"] = _id_of(text, seen[text])
            seen[text] += 1
        runs.append((number, run))
    return runs, faults


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text} is not a number JSON can hold")
    return value


def _id_of(text: str, like_it_before: int) -> str:
    return "line-" + hashlib.sha256(f"{text}#{like_it_before}".encode()).hexdigest()[:40]
