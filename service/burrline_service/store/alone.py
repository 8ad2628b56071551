"""Being the only worker on a SQLite file: a lock that ends with the process that holds it."""

from __future__ import annotations

import fcntl
from pathlib import Path
from typing import IO

from sqlalchemy import make_url

Held = IO[bytes]


def try_alone(url: str) -> Held | None:
    """The lock on this file's work, to be closed at the end; None while another holds it."""
    path = Path(make_url(url).database or "")
    handle = path.with_name(path.name + ".work-lock").open("wb")
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        handle.close()
        return None
    return handle
