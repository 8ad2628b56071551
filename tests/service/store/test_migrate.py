"""The schema: migrations make what the tables say, once, and nothing else serves."""

from __future__ import annotations

import subprocess
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Column, Integer, MetaData, Table, text

import databases
from burrline_service.__main__ import main
from burrline_service.core.errors import SchemaMismatch, Unavailable
from burrline_service.store.database import single_connection_engine
from burrline_service.store.migrate import configuration, migrate
from burrline_service.store.schema import NEEDED_REVISION, check_schema
from burrline_service.store.table_kinds import metadata
from databases import MadeDatabase, Server
from services import run_service_command, service_command, service_environment


@pytest.fixture
def empty_database(
    database_kind: str, request: pytest.FixtureRequest, session_folder: Path, tmp_path: Path
) -> Iterator[MadeDatabase]:
    """A database without a schema, with the roles for one."""
    if database_kind == "sqlite":
        url = f"sqlite:///{tmp_path / 'folder' / 'empty.db'}"
        yield MadeDatabase(url, url)
        return
    server: Server = request.getfixturevalue("postgresql_server")
    name = f"t_{uuid.uuid4().hex}"
    with databases.alone(session_folder):
        databases.run_psql(server, "-v", f"database={name}", "-f", databases.ROLES_FILE)
    yield MadeDatabase(
        server.url(name, role="burrline_app"), server.url(name, role="burrline_migrator")
    )
    databases.drop_postgresql_database(server, name)


def settings_of(made: MadeDatabase, folder: Path) -> dict[str, str]:
    return {
        "BURRLINE_DATA_DIR": str(folder),
        "BURRLINE_DATABASE_URL": made.url,
        "BURRLINE_MIGRATION_DATABASE_URL": made.migration_url,
    }


def set_revision(made: MadeDatabase, revision: str) -> None:
    engine = single_connection_engine(made.migration_url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :r"), {"r": revision})
    engine.dispose()


def differences(made: MadeDatabase, wanted: MetaData) -> list[object]:
    engine = single_connection_engine(made.migration_url)
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True}
        )
        found = list(compare_metadata(context, wanted))
    engine.dispose()
    return found


def test_the_migrations_make_exactly_the_tables(made_database: MadeDatabase) -> None:
    assert differences(made_database, metadata) == []


def test_a_column_no_migration_makes_would_be_noticed(made_database: MadeDatabase) -> None:
    wanted = MetaData(naming_convention=metadata.naming_convention)
    for table in metadata.sorted_tables:
        table.to_metadata(wanted)
    wanted.tables["run"].append_column(Column("forgotten", Integer))
    Table("left_out", wanted, Column("n", Integer, primary_key=True))
    kinds = {str(difference[0]) for difference in differences(made_database, wanted)}  # type: ignore[index]
    assert kinds == {"add_column", "add_table"}


def test_the_needed_revision_is_the_newest_there_is() -> None:
    assert ScriptDirectory.from_config(configuration()).get_heads() == [NEEDED_REVISION]


def test_a_second_migration_finds_nothing_to_do(empty_database: MadeDatabase) -> None:
    assert migrate(empty_database.migration_url) == (None, NEEDED_REVISION)
    assert migrate(empty_database.migration_url) == (NEEDED_REVISION, NEEDED_REVISION)
    check_schema(empty_database.url)


def test_four_starts_at_once_migrate_once(empty_database: MadeDatabase, tmp_path: Path) -> None:
    environment = service_environment(settings_of(empty_database, tmp_path))
    started = [
        subprocess.Popen(
            service_command("migrate"),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        for _ in range(4)
    ]
    said = []
    for process in started:
        out, complaint = process.communicate(timeout=60)
        assert (process.returncode, complaint) == (0, "")
        said.append(out.rsplit(maxsplit=1)[1])
    assert sorted(said) == ["already", "already", "already", "now"]
    assert differences(empty_database, metadata) == []


@pytest.mark.parametrize(("revision", "word"), [(None, "no burrline schema"), ("0000", "at rev"),
                                                ("9999", "newer release")])  # fmt: skip
def test_a_database_at_another_revision_serves_nobody(
    empty_database: MadeDatabase,
    tmp_path: Path,
    revision: str | None,
    word: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    if revision is not None:
        migrate(empty_database.migration_url)
        set_revision(empty_database, revision)
    with pytest.raises(SchemaMismatch, match=word):
        check_schema(empty_database.url)
    for name, value in settings_of(empty_database, tmp_path).items():
        monkeypatch.setenv(name, value)
    for command in (["serve", "--port", "1"], ["work"], ["keys", "list"], ["accounts", "list"]):
        assert main(command) == 69
        said = capsys.readouterr()
        assert said.out == ""
        (line,) = said.err.splitlines()
        assert word in line
        assert NEEDED_REVISION in line


def test_a_newer_database_is_not_migrated(made_database: MadeDatabase) -> None:
    set_revision(made_database, "9999")
    with pytest.raises(SchemaMismatch, match="newer release"):
        migrate(made_database.migration_url)


@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_the_services_own_role_cannot_migrate_and_is_told_in_one_line(
    empty_database: MadeDatabase, tmp_path: Path
) -> None:
    given = {**settings_of(empty_database, tmp_path)}
    del given["BURRLINE_MIGRATION_DATABASE_URL"]
    done = run_service_command(given, "migrate")
    assert (done.returncode, done.stdout) == (69, "")
    assert len(done.stderr.splitlines()) == 1
    assert "permission denied" in done.stderr


def test_a_file_that_is_no_database_is_a_refusal(tmp_path: Path) -> None:
    (tmp_path / "notes.db").write_text("Monday: 18 kg through the left grinder. " * 50)
    url = f"sqlite:///{tmp_path / 'notes.db'}"
    for act in (check_schema, migrate):
        with pytest.raises(Unavailable, match="not a database"):
            act(url)


def test_a_server_that_is_not_there_is_a_refusal() -> None:
    url = f"postgresql://burrline_app@127.0.0.1:{databases.free_port()}/burrline"
    for act in (check_schema, migrate):
        with pytest.raises(Unavailable, match="cannot be reached"):
            act(url)
