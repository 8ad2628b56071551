"""The verb ``import``: its words; what it does is loaded only when it is done."""

from __future__ import annotations

import argparse

from burrline._terminal import Verbs
from burrline.client import Client

UNITS = ("kg", "g", "lb", "oz")
MORE = """\
Any table that has a date in one cell and an amount in another will do: cells parted by commas,
semicolons, tabs or bars; dates such as 2026-03-01, 1.3.2026, 3/1/2026, 1. March, 2026-W14 or
1.-7.3., or days numbered under the title of their month; kg, g, lb or oz in the headings, beside
the numbers or in a column; a column for each grinder, one that names them, or a title above the
lines of each; a column of notes; the reading of a running total instead of a day's amount. What it
took out of the file is shown before anything is sent, and so is every line it left out; what only
you can tell is asked.

Each day becomes a tally: kilograms over that day at the grinder's site, no runs. Sending a file
again, or grown, records what is new. exit codes: 0 all is recorded, 65 a line was faulty or is in
conflict, 64 somebody has to say more; those of sysexits for the rest."""


def add(verbs: Verbs) -> None:
    made = verbs.add(
        "import", _import, "Record the days of a notebook (CSV) as tallies.", more=MORE
    )
    made.add_argument("file", metavar="FILE", help="the notebook; - for stdin")
    made.add_argument(
        "--grinder", dest="grinders", action="append", default=[], metavar="[NAME=]ID",
        help="whose it is; with NAME=, whom the notebook calls so",
    )  # fmt: skip
    made.add_argument("--yes", action="store_true", help="send without asking")
    made.add_argument("--dry-run", action="store_true", help="show what would be sent, send none")
    made.add_argument(
        "--replace", action="store_true", help="void what says otherwise, and record this instead"
    )
    order = made.add_mutually_exclusive_group()
    order.add_argument(
        "--day-first", dest="is_day_first", action="store_const", const=True,
        help="3/1/2026 is in January",
    )  # fmt: skip
    order.add_argument(
        "--month-first", dest="is_day_first", action="store_const", const=False,
        help="3/1/2026 is in March",
    )  # fmt: skip
    order.add_argument(
        "--year-first", dest="is_year_first", action="store_const", const=True,
        help="26/3/1 is in 2026",
    )  # fmt: skip
    made.add_argument("--unit", choices=UNITS, help="of amounts that name none")
    made.add_argument("--year", type=int, metavar="YYYY", help="of the first date without one")
    made.add_argument(
        "--month", type=month_of, metavar="YYYY-MM", help="of days that are numbered and no more"
    )
    made.add_argument(
        "--serial-dates", dest="is_serial", action="store_const", const=True,
        help="dates are a spreadsheet's numbers of days",
    )  # fmt: skip
    made.add_argument("--decimal-mark", choices=(",", "."), help="where numbers do not show it")
    kind = made.add_mutually_exclusive_group()
    kind.add_argument(
        "--running-total", dest="is_running_total", action="store_const", const=True,
        help="amounts go on from line to line",
    )  # fmt: skip
    kind.add_argument(
        "--per-day", dest="is_running_total", action="store_const", const=False,
        help="amounts are those of their day",
    )  # fmt: skip
    made.add_argument(
        "--column", dest="columns", action="append", default=[], metavar="HEADING",
        help="a column of amounts, where that is not plain",
    )  # fmt: skip
    made.add_argument(
        "--date-column",
        metavar="HEADING",
        help="of the days, where several have dates; or its number",
    )
    made.add_argument(
        "--count-repeats", action="store_true", help="lines that say the same count each"
    )
    made.add_argument(
        "--basis", default="weighed_in", metavar="TEXT",
        help="weighed_out, weighed_in (beans; the default), target or estimated",
    )  # fmt: skip
    made.add_argument("--purpose", default="service", metavar="TEXT", help="default service")


def month_of(text: str) -> tuple[int, int]:
    """A year and a month.

    >>> month_of("2026-03")
    (2026, 3)
    """
    year, _, month = text.partition("-")
    if not (len(year) == 4 and year.isdecimal() and month.isdecimal() and 1 <= int(month) <= 12):
        raise argparse.ArgumentTypeError(f"{text!r} is no month such as 2026-03")
    return int(year), int(month)


def _import(client: Client, options: argparse.Namespace) -> int:
    from burrline._importing import import_notebook

    return import_notebook(client, options)
