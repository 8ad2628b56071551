"""The least a service can do with a run: a bare Flask route, one SQLAlchemy insert, an answer.

    python -m bench.bare DATABASE_URL PORT WORKER_COUNT

Served by the same server as burrline, into the same table with the same indexes.
"""

from __future__ import annotations

import sys
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, jsonify, request
from sqlalchemy import insert

from bench.shapes import RAW_ACCOUNT_NO
from burrline_service.server import Server
from burrline_service.store.database import Database
from burrline_service.store.tables import run

ACCOUNT_NO = RAW_ACCOUNT_NO + 1


def make_bare_app(database_url: str) -> Flask:
    parts = urlsplit(database_url)
    url = database_url
    if not url.startswith("sqlite"):  # no row-level security either
        url = f"postgresql://postgres@{parts.netloc.rpartition('@')[2]}{parts.path}"
    database = Database(url)
    app = Flask("bare")

    @app.get("/readyz")
    def ready() -> Any:
        return jsonify(is_ready=True)

    @app.post("/runs")
    def add() -> Any:
        line = request.get_json()
        row = {
            "account_no": ACCOUNT_NO,
            "run_key": line["run_id"].encode()[-16:],
            "run_id": line["run_id"],
            "grinder_no": 1,
            "started_ms": 1_772_000_000_000,
            "on_ms": round(line["seconds"] * 1000),
            "grams_mg": round(line["grams"] * 1000),
            "grams_basis": 0,
            "purpose": 0,
            "time_source": 0,
            "fingerprint": bytes(16),
            "received_ms": 1_772_000_000_000,
        }
        database.write(None, lambda connection: connection.execute(insert(run), row))
        return jsonify(run_id=line["run_id"]), 201

    return app


if __name__ == "__main__":
    Server(
        lambda: make_bare_app(sys.argv[1]),
        host="127.0.0.1",
        port=int(sys.argv[2]),
        worker_count=int(sys.argv[3]),
    ).run()
