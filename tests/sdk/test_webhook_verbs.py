"""Webhooks by the SDK and the command line, against the real service and a real worker."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from burrline import Client, errors, webhook
from burrline.cli import main
from burrline_service.core.public_addresses import exceptions_of
from burrline_service.core.standard_webhooks import secret_text, signed_headers
from burrline_service.sender import Sender
from databases import free_port
from receivers import Zoo, open_zoo
from services import service_command, service_environment
from source_tree import ROOT

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def zoo() -> Iterator[Zoo]:
    with open_zoo() as opened:
        yield opened


@pytest.fixture
def client(live_service: Any) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        yield made


@pytest.fixture
def run(
    live_service: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Run:
    """Runs a command; gives exit code, standard output, standard error."""
    monkeypatch.setenv("BURRLINE_URL", live_service.url)
    monkeypatch.setenv("BURRLINE_KEY", live_service.key)

    def act(*arguments: str) -> tuple[int, str, str]:
        code = main(arguments)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return act


def test_every_method_does_what_it_says(client: Client, zoo: Zoo) -> None:
    made = client.create_webhook(url=zoo.url("/ok"), name="phone", types=["burrline.alert.opened"])
    assert made.secret.startswith("whsec_")
    assert made.secret not in repr(client.get_webhook(made.webhook_id))
    changed = client.update_webhook(made.webhook_id, name="tablet")
    assert changed.etag == '"r2"'
    with pytest.raises(errors.PreconditionFailed):
        client.update_webhook(made.webhook_id, if_match="r1", name="other")
    assert "tablet" in [one.name for one in client.list_webhooks()]
    ping = client.test_webhook(made.webhook_id)
    assert [one.event_id for one in client.list_deliveries(made.webhook_id)] == [ping.event_id]
    assert list(client.list_deliveries(made.webhook_id, state="failed")) == []
    assert client.redeliver(made.webhook_id, ping.event_id).state == "waiting"
    rotated = client.rotate_webhook_secret(made.webhook_id, overlap_seconds=0)
    assert rotated.secret != made.secret
    assert client.delete_webhook(made.webhook_id).webhook_id == made.webhook_id
    with pytest.raises(errors.NotFound):
        client.get_webhook(made.webhook_id)
    with pytest.raises(errors.ValidationFailed):
        client.create_webhook(url="http://8.8.8.8/")
    assert client.get_metrics().endswith("# EOF\n")


def test_a_secret_is_printed_alone_and_a_ping_arrives_by_the_worker(
    run: Run, zoo: Zoo, live_service: Any
) -> None:
    code, secret, told = run(
        "webhooks", "add", zoo.url("/ok"), "--id", "phone", "--name", "a phone"
    )
    assert (code, secret.count("\n")) == (0, 1)
    assert told == "phone: this is the only time its secret is shown\n"
    assert run("webhooks", "list")[1] == f"phone  on  {zoo.url('/ok')}  a phone\n"
    assert "waiting  burrline.webhook.test" in run("webhooks", "test", "phone")[1]
    with a_worker(live_service.settings) as (process, port):
        wait_for(zoo, "/ok", 1)
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with opener.open(f"http://127.0.0.1:{port}/metrics", timeout=10) as answer:
            numbers = answer.read().decode()
        assert "burrline_deliveries_waiting " in numbers
        for path in ("livez", "readyz"):
            with opener.open(f"http://127.0.0.1:{port}/{path}", timeout=10) as answer:
                assert answer.status == 200
        process.send_signal(signal.SIGTERM)
        assert process.wait(30) == 0
    (request,) = zoo.at("/ok")
    event = webhook.verify(secret.strip(), request.headers, request.body)
    assert event["type"] == "burrline.webhook.test"
    assert event["id"] == request.headers["webhook-id"]
    assert "delivered  burrline.webhook.test" in run("webhooks", "deliveries", "phone")[1]
    code, other, _ = run("webhooks", "rotate", "phone", "--overlap-seconds", "0")
    assert (code, other == secret) == (0, False)
    with pytest.raises(webhook.SignatureError):
        webhook.verify(other.strip(), request.headers, request.body)
    assert run("webhooks", "disable", "phone")[1].startswith("phone  off (by its owner)")
    assert run("webhooks", "test", "phone")[0] == 65
    assert run("webhooks", "enable", "phone")[1].startswith("phone  on")
    assert run("webhooks", "redeliver", "phone", "--failed")[2] == "nothing to deliver\n"
    assert run("webhooks", "redeliver", "phone")[0] == 65
    assert "waiting" in run("webhooks", "redeliver", "phone", event["id"])[1]
    assert run("webhooks", "delete", "phone", "--json")[1].startswith("{")
    assert run("webhooks", "list")[1] == ""


def wait_for(zoo: Zoo, path: str, count: int) -> None:
    deadline = time.monotonic() + 30
    while len(zoo.at(path)) < count:
        assert time.monotonic() < deadline, "nothing arrived"
        time.sleep(0.02)


@contextmanager
def a_worker(settings: dict[str, str]) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """``burrline-service work`` on the service's database, and where it answers probes."""
    port = free_port()
    process = subprocess.Popen(
        service_command("work"),
        env=service_environment({**settings, "BURRLINE_WORK_ADDRESS": f"127.0.0.1:{port}"}),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd=ROOT,
    )
    try:
        yield process, port
    finally:
        process.kill()
        process.wait()


# --- the example ----------------------------------------------------------------------------------


def test_the_example_of_a_receiver_believes_what_is_signed_and_handles_it_once(
    tmp_path: Path,
) -> None:
    secret, port, body = (
        bytes(range(32)),
        free_port(),
        b'{"id":"e-1","time":"T","type":"t","data":{}}',
    )
    process = subprocess.Popen(
        [sys.executable, "-W", "error", ROOT / "sdk" / "examples" / "receiver.py", str(port)],
        env=service_environment({}),
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    try:
        sender = Sender(exceptions_of("127.0.0.1"), deadline_seconds=10)
        asked = b'{"type":"burrline.webhook.challenge","data":{"challenge":"xyz"}}'

        def post(content: bytes, seconds: float = 0.0) -> tuple[int | None, bytes]:
            headers = signed_headers(
                [secret],
                message_id="e-1",
                timestamp_seconds=int(time.time() - seconds),
                content=body,
            )
            got = sender.post(f"http://127.0.0.1:{port}/", headers=headers, content=content)
            return got.status, got.answer

        deadline = time.monotonic() + 20
        while post(asked) != (200, b"xyz"):
            assert time.monotonic() < deadline
            time.sleep(0.05)
        assert post(body)[0] == 503
        # as `burrline webhooks add ... > secret.txt` leaves it while the challenge is asked
        (tmp_path / "secret.txt").touch()
        assert post(asked) == (200, b"xyz")
        (tmp_path / "secret.txt").write_text(secret_text(secret))
        answers = [post(body), post(body), post(b"{}"), post(body, 301), post(b"x" * 200_000)]
        assert [status for status, _ in answers] == [204, 204, 400, 400, 413]
    finally:
        process.kill()
        out, _ = process.communicate()
    assert out == b"T t  {}\n"
