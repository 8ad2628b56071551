"""Logging: one JSON object a line, whatever the message holds; never a secret."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime

EXTRAS = ("request_id", "method", "path", "status", "milliseconds", "key_id", "account_no")


class JsonLines(logging.Formatter):
    """Formats a record as one line of JSON; line breaks and control characters are escaped."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "message": record.getMessage(),
        }
        for name in EXTRAS:
            value = getattr(record, name, None)
            if value is not None:
                line[name] = value
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=True, default=str)


def start_journal(level: str) -> None:
    """Send all logs of this process to standard error as JSON lines."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    logging.getLogger("alembic").setLevel("WARNING")  # it tells of every look at the schema
