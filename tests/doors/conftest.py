"""The scene of this folder, on both databases: made once per module, left usable by every test."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

import databases
from answers import AnswerCheck
from doors.scene import Scene, make_scene


@pytest.fixture(scope="module", params=("sqlite", "postgresql"))
def scene(
    request: pytest.FixtureRequest,
    session_folder: Path,
    tmp_path_factory: pytest.TempPathFactory,
    answer_check: AnswerCheck,
) -> Iterator[Scene]:
    """Two accounts behind one service, on each kind of database in turn."""
    folder = tmp_path_factory.mktemp("doors")
    with ExitStack() as at_the_end:
        if request.param == "sqlite":
            template = databases.make_sqlite_template(session_folder)
            made = databases.make_sqlite_database(template, folder)
            all_rows_url = made.url
        else:
            server = request.getfixturevalue("postgresql_server")
            template_name = databases.template_name(session_folder)
            made = databases.make_postgresql_database(server, template_name)
            name = made.url.rsplit("/", 1)[1]
            at_the_end.callback(databases.drop_postgresql_database, server, name)
            all_rows_url = server.url(name)  # the superuser: row-level security hides nothing
        database = databases.open_in_haste(made.url)
        at_the_end.callback(database.close)
        made_scene = make_scene(made, all_rows_url, str(folder), database, answer_check)
        at_the_end.callback(made_scene.close)
        yield made_scene
