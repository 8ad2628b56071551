"""One line of CSV for each grinder of a chain: where it is, what went through it, how it is.

    BURRLINE_URL=http://127.0.0.1:8460 BURRLINE_KEY=... python chain_report.py > chain.csv

What nobody knows stays empty. Ends with 0, or with 69 when the service could not be asked; then
there is no half of a table either.
"""

import csv
import sys

from burrline import Client, errors
from burrline.models import Status

COLUMNS = (
    *("site_id", "grinder_id", "name", "burr_set_id", "burr_kilograms", "today_kilograms"),
    *("last_run_at", "motor", "motor_celsius", "duty", "break_in"),
)


def row_of(status: Status) -> list[str]:
    throughput, motor = status.throughput, status.motor
    last_run_at = throughput.last_run_at
    return [
        *map(word, (status.site_id, status.grinder_id, status.name, throughput.burr_set_id)),
        kilograms(throughput.burr_grams),
        kilograms(throughput.today_grams),
        "" if last_run_at is None else last_run_at.isoformat(timespec="seconds"),
        motor.state,
        "" if motor.reading_celsius is None else f"{motor.reading_celsius:.1f}",
        status.duty.state,
        status.break_in.stage,
    ]


def kilograms(grams: float | None) -> str:
    return "" if grams is None else f"{grams / 1000:.3f}"


def word(text: str | None) -> str:
    """A name as a cell: one that a spreadsheet would take for a formula gets a quote before it."""
    text = text or ""
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def main() -> int:
    try:
        with Client() as client:
            rows = [row_of(status) for status in client.get_fleet(limit=200)]
    except errors.APIError as error:
        sys.stderr.write(f"{error}\n")
        return 69
    table = csv.writer(sys.stdout, lineterminator="\r\n")
    table.writerows([COLUMNS, *sorted(rows)])
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
