"""A client made from the document by a generator that knows nothing of us posts and reads."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from services import LiveService, service_environment
from source_tree import ROOT

# Modules the generator writes that cannot be imported. This list may only shrink.
BROKEN_BY_THE_GENERATOR: set[str] = set()
# Answers that are lines alone, in media types the generator does not know.
LINES_ALONE = {"GET /v1/export", "GET /metrics"}
IMPORTS = """
import importlib, sys
for name in sys.argv[1:]:
    try:
        importlib.import_module(name)
    except NameError as error:
        print(name.rpartition(".")[2], error)
"""
# Written by hand against the generated names; it runs apart, as somebody else's program would.
PROGRAM = """
import datetime, json, sys
from generated import AuthenticatedClient, Client
from generated.api.burr_sets import fit_burr_set
from generated.api.grinders import create_grinder, list_grinders
from generated.api.runs import add_run, add_runs, get_run, list_runs
from generated.api.service import get_livez
from generated.api.sites import create_site
from generated.api.status import get_status
from generated.models import (
    NewBurrSet, NewBurrSetGeometry, NewGrinder, NewRun, NewSite, Problem, RunBatch,
)

url, key = sys.argv[1:]
assert get_livez.sync(client=Client(base_url=url)).status == "pass"
client = AuthenticatedClient(base_url=url, token=key, raise_on_unexpected_status=True)
now = datetime.datetime.now(datetime.timezone.utc).replace(microsecond=0)
site = create_site.sync(
    client=client, body=NewSite(site_id="made-site", name="Made", time_zone="Asia/Kathmandu")
)
assert site.site_id == "made-site", site
grinder = create_grinder.sync_detailed(
    client=client, body=NewGrinder(grinder_id="made-bar", site_id="made-site", name="Made")
)
assert grinder.status_code == 201, grinder
fitted = fit_burr_set.sync(
    "made-bar", client=client,
    body=NewBurrSet(geometry=NewBurrSetGeometry.FLAT, prior_grams=1000, diameter_millimetres=64,
                    fitted_at=now - datetime.timedelta(hours=2)),
)
run = NewRun(run_id="made-run-0001", grinder_id="made-bar", seconds=7.5, grams=18.25,
             started_at=now - datetime.timedelta(minutes=5))
outcomes = [add_run.sync_detailed(client=client, body=run) for _ in range(2)]
batch = add_runs.sync(client=client, body=RunBatch(runs=[
    run, NewRun(run_id="made-run-0002", grinder_id="made-bar", seconds=8, grams=20),
]))
refused = add_run.sync(
    client=client, body=NewRun(run_id="made-run-0003", grinder_id="nobodys", grams=18)
)
assert isinstance(refused, Problem), refused
status = get_status.sync("made-bar", client=client)
print(json.dumps({
    "outcomes": [[int(answer.status_code), answer.parsed.outcome] for answer in outcomes],
    "batch": [batch.received, batch.accepted, batch.duplicates],
    "refused": [refused.status, refused.type_],
    "run_grams": get_run.sync("made-run-0001", client=client).grams,
    "listed": [item.run_id for item in list_runs.sync("made-bar", client=client, limit=10).items],
    "grinders": [item.grinder_id for item in list_grinders.sync(client=client).items],
    "burr_set": [status.throughput.burr_set_id == fitted.burr_set_id, status.break_in.stage],
    "burr_grams": status.throughput.burr_grams,
    "total_burr_grams": status.throughput.total_burr_grams,
}))
"""


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with the package ``generated``, made from the committed document."""
    folder = tmp_path_factory.mktemp("client")
    settings = folder / "settings.yaml"
    settings.write_text("post_hooks: []\n")  # no formatting of what nobody reads
    done = subprocess.run(
        [
            sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none",
            "--path", str(ROOT / "openapi" / "openapi.json"), "--config", str(settings),
            "--output-path", str(folder / "generated"),
        ],
        capture_output=True,
        text=True,
        cwd=folder,
        timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    warned = re.findall(r"^WARNING parsing (\S+ \S+)", done.stdout + done.stderr, re.MULTILINE)
    assert set(warned) == LINES_ALONE, done.stdout + done.stderr
    return folder


def run(generated: Path, *arguments: str) -> str:
    """What Python prints with the generated package at hand and no setting of this session."""
    environment = service_environment({}) | {"PYTHONPATH": str(generated)}
    done = subprocess.run(
        [sys.executable, "-c", *arguments],
        capture_output=True,
        text=True,
        env=environment,
        cwd=generated,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_every_operation_is_in_the_generated_client(
    generated: Path, document: dict[str, Any]
) -> None:
    paths = list((generated / "generated" / "api").glob("*/[a-z]*.py"))
    made = {path.stem for path in paths}
    wanted = {
        operation["operationId"]
        for path in document["paths"].values()
        for method, operation in path.items()
        if method != "parameters"
    }
    assert wanted - made <= {"export_account"}
    assert made <= wanted
    modules = [".".join(path.relative_to(generated).with_suffix("").parts) for path in paths]
    broken = run(generated, IMPORTS, *modules).splitlines()
    assert {line.split()[0] for line in broken} == BROKEN_BY_THE_GENERATOR, broken


def test_a_generated_client_posts_runs_and_reads_the_status(
    generated: Path, live_service: LiveService
) -> None:
    printed = run(generated, PROGRAM, live_service.url, live_service.key)
    assert json.loads(printed) == {
        "outcomes": [[201, "accepted"], [200, "duplicate"]],
        "batch": [2, 1, 1],
        "refused": [404, "urn:burrline:problem:not-found"],
        "run_grams": 18.25,
        "listed": ["made-run-0001", "made-run-0002"],
        "grinders": ["made-bar"],
        "burr_set": [True, "breaking_in"],
        "burr_grams": 18.25 + 20,
        "total_burr_grams": 1000 + 18.25 + 20,
    }
