"""Numbers for whoever watches the service, and counting the requests they tell of."""

from __future__ import annotations

import time
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from flask import Flask, Response, current_app, g, request

from ..actions import measuring
from ..core.open_metrics import MEDIA_TYPE, Family, Sample, exposition
from ..core.records import Caller, RunOutcome
from .operation import Operation
from .tally_sheet import MOST_OPERATIONS, TallySheet

TAG = "Service"
SHEET_KEY = "burrline.tally_sheet"
NO_OPERATION = "none"
_COUNTED_LINES = {
    "accepted": "accepted",
    "duplicates": "duplicate",
    "conflicts": "conflict",
    "rejected": "rejected",
}


def get_metrics(database: Any, caller: Caller, *, now: datetime) -> Response:
    families = [
        measuring.build(),
        *([] if caller.is_bound else _of_requests()),
        *measuring.account_families(database, caller, now=now),
    ]
    return Response(exposition(families), content_type=MEDIA_TYPE)


def install(app: Flask, sheet: TallySheet) -> None:
    """Count every request of this app on the sheet, under its operation's name."""
    app.extensions[SHEET_KEY] = sheet
    numbers: dict[str | None, int] = {}

    def begin() -> None:
        g.began_seconds = time.perf_counter()

    def end(response: Response) -> Response:
        if not numbers:
            numbers.update({name: number for number, name in enumerate(operation_names(app))})
        number = numbers.get(request.endpoint, numbers[NO_OPERATION])
        seconds = time.perf_counter() - g.get("began_seconds", time.perf_counter())
        sheet.count_request(number, response.status_code, seconds)
        return response

    app.before_request(begin)
    app.after_request(end)


def operation_names(app: Flask) -> list[str]:
    """Every endpoint of the app in an order of their own, after what is none."""
    names = [NO_OPERATION, *sorted(app.view_functions)]
    return names[:MOST_OPERATIONS]


def count_runs(name: str, result: Any) -> None:
    """Count what became of the runs of a request, where it was about runs."""
    sheet: TallySheet | None = current_app.extensions.get(SHEET_KEY)
    if sheet is None:  # an app that is not measured
        return
    if isinstance(result, RunOutcome):
        sheet.count_outcome(result.outcome, 1)
    elif name == "add_runs" and isinstance(result, Mapping):
        for member, outcome in _COUNTED_LINES.items():
            if result[member]:
                sheet.count_outcome(outcome, result[member])


def _of_requests() -> list[Family]:
    sheet: TallySheet = current_app.extensions[SHEET_KEY]
    names = operation_names(current_app)
    requests = [(names[number], status, count) for number, status, count in sheet.requests()]
    counts: dict[str, int] = {}
    for name, _, count in requests:
        counts[name] = counts.get(name, 0) + count
    seconds = {names[number]: value for number, value in sheet.seconds().items()}
    return [
        Family(
            "burrline_requests",
            "counter",
            "Requests answered by this service, by operation and status.",
            samples=[
                Sample(count, (("operation", name), ("status", status)), "_total")
                for name, status, count in requests
            ],
        ),
        Family(
            "burrline_request_seconds",
            "summary",
            "How long they took, until the answer began.",
            "seconds",
            [
                Sample(value, (("operation", name),), suffix)
                for name, count in counts.items()
                for suffix, value in (("_count", count), ("_sum", seconds.get(name, 0.0)))
            ],
        ),
        measuring.counted(
            "burrline_runs_sent",
            "Runs sent to this service, by what became of them.",
            "outcome",
            sheet.outcomes(),
        ),
    ]


OPERATIONS = (
    Operation(
        name="get_metrics",
        method="GET",
        path="/metrics",
        tag=TAG,
        summary="Numbers for monitoring",
        description=(
            "OpenMetrics 1.0 text: of each grinder within the key's reach runs, motor seconds, "
            "grams, the latest motor temperature and open alerts. A key that is bound to nothing "
            "also reads what waits to be delivered, and requests and their outcomes since the "
            "service was started: those are of all accounts together."
        ),
        act=get_metrics,
        scope="metrics",
        gives_media=MEDIA_TYPE.partition(";")[0],
        gives_example=(
            "# TYPE burrline_ground_grams counter\n"
            "# UNIT burrline_ground_grams grams\n"
            "# HELP burrline_ground_grams Coffee of runs, without tallies.\n"
            'burrline_ground_grams_total{grinder_id="bar-1",site_id="mill-lane"} 412608.4\n'
            "# EOF\n"
        ),
    ),
)
