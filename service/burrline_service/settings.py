"""Settings, read once from ``BURRLINE_*`` variables; every bad one is reported at once."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from .core.public_addresses import Network, exceptions_of

PREFIX = "BURRLINE_"
OF_THE_SDK = frozenset({"BURRLINE_URL", "BURRLINE_KEY", "BURRLINE_SPOOL"})
MOST_DAYS = 36_500
SECRETS_IN_QUERY = ("password", "sslpassword")
LOG_LEVELS = ("debug", "info", "warning", "error")


class BadSettings(Exception):
    """One line for every setting that is wrong."""

    def __init__(self, complaints: list[str]) -> None:
        super().__init__("\n".join(complaints))
        self.complaints = complaints


@dataclass(frozen=True)
class Settings:
    """The effective settings; each field is the setting ``BURRLINE_<FIELD>``."""

    data_dir: Path
    database_url: str
    migration_database_url: str
    retained_days: int | None
    log_level: str
    allow_private_webhooks: tuple[Network, ...] = ()
    work_address: tuple[str, int] | None = None

    def shown(self) -> dict[str, str]:
        """The settings as a person may see them, passwords hidden."""
        shown = {}
        for field in fields(self):
            value: Any = getattr(self, field.name)
            if field.name.endswith("database_url"):
                value = _without_password(value)
            elif field.name == "allow_private_webhooks":
                value = ",".join(map(str, value))
            elif field.name == "work_address" and value is not None:
                host, port = value
                value = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
            shown[f"{PREFIX}{field.name.upper()}"] = "" if value is None else str(value)
        return shown


def read_settings(environ: Mapping[str, str]) -> Settings:
    """The settings of an environment.

    Raises
    ------
    BadSettings
        Unknown ``BURRLINE_*`` names and unusable values, all of them together.
    """
    complaints: list[str] = []
    known = {f"{PREFIX}{field.name.upper()}" for field in fields(Settings)}
    from_files = {f"{name}_FILE" for name in known if name.endswith("DATABASE_URL")}
    for name in sorted(environ):
        if name.startswith(PREFIX) and name not in known | from_files | OF_THE_SDK:
            complaints.append(f"{name}: there is no such setting")
    values = dict(environ)
    for name in sorted(from_files & environ.keys()):
        plain = name.removesuffix("_FILE")
        if plain in environ:
            complaints.append(f"{name}: {plain} is set too; set one of the two")
            continue
        try:
            values[plain] = Path(environ[name]).read_text(encoding="utf-8").strip()
        except OSError as error:
            complaints.append(f"{name}: cannot be read ({error.strerror})")
        except UnicodeDecodeError:
            complaints.append(f"{name}: is not text in UTF-8")

    def taken(name: str, default: Any, convert: Callable[[str], Any]) -> Any:
        text = values.get(f"{PREFIX}{name}", "")
        if text == "":
            return default
        try:
            return convert(text)
        except ValueError as error:
            complaints.append(f"{PREFIX}{name}: {error}")
            return default

    data_dir = taken("DATA_DIR", _default_data_dir(environ), lambda text: Path(text).absolute())
    own_file = URL.create("sqlite", database=str(data_dir / "burrline.db"))
    database_url = taken("DATABASE_URL", own_file.render_as_string(), _database_url)
    settings = Settings(
        data_dir=data_dir,
        database_url=database_url,
        migration_database_url=taken("MIGRATION_DATABASE_URL", database_url, _database_url),
        retained_days=taken("RETAINED_DAYS", None, _days),
        log_level=taken("LOG_LEVEL", "info", _log_level),
        allow_private_webhooks=taken("ALLOW_PRIVATE_WEBHOOKS", (), exceptions_of),
        work_address=taken("WORK_ADDRESS", None, _address),
    )
    if complaints:
        raise BadSettings(complaints)
    return settings


def _without_password(database_url: str) -> str:
    url = make_url(database_url)
    hidden = {name: "hidden" for name in SECRETS_IN_QUERY if name in url.query}
    return url.update_query_dict(hidden).render_as_string(hide_password=True)


def _default_data_dir(environ: Mapping[str, str]) -> Path:
    base = environ.get("XDG_DATA_HOME") or os.path.join(
        environ.get("HOME") or os.path.expanduser("~"), ".local", "share"
    )
    return Path(base) / "burrline"


def _database_url(text: str) -> str:
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        raise ValueError("is not a database URL") from None
    backend = url.get_backend_name()
    if backend == "sqlite":
        if not url.database or url.database == ":memory:":
            raise ValueError("SQLite needs a file, such as sqlite:////var/lib/burrline/burrline.db")
        return text
    if text.startswith("postgres://") or backend == "postgresql":
        return text.replace("postgres://", "postgresql://", 1)
    raise ValueError(f"must begin with sqlite:/// or postgresql://, not {backend}")


def _days(text: str) -> int:
    if not re.fullmatch("[0-9]{1,5}", text) or not 1 <= int(text) <= MOST_DAYS:
        raise ValueError(f"must be a whole number of days, 1 to {MOST_DAYS}")
    return int(text)


def _address(text: str) -> tuple[str, int]:
    found = re.fullmatch(r"(?:\[([0-9A-Fa-f:]+)\]|([A-Za-z0-9.-]+)):([0-9]{1,5})", text, re.ASCII)
    if found is None or not 1 <= int(found[3]) <= 65_535:
        raise ValueError("must be an address and a port, such as 127.0.0.1:8461")
    return found[1] or found[2], int(found[3])


def _log_level(text: str) -> str:
    if text not in LOG_LEVELS:
        raise ValueError(f"must be one of {', '.join(LOG_LEVELS)}")
    return text
