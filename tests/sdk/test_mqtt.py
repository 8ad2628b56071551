"""The bridge from MQTT, with a real broker: nothing lost, nothing twice, kills on the way.

mosquitto is used as well where it is installed.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from pwdlib.hashers.argon2 import Argon2Hasher

from burrline import Client
from burrline._convert import format_instant
from burrline._mqtt_messages import MOST_ASIDE_BYTES, NoSense, run_or_reading
from burrline.mqtt import Bridge, Settings
from burrline.spool import Spool
from databases import free_port
from receivers import CERTIFICATES
from services import LiveService, service_environment

BROKERS = ["amqtt", *(["mosquitto"] if shutil.which("mosquitto") else [])]
WAIT_SECONDS = 60


def until(holds: Callable[[], bool], what: str) -> None:
    deadline = time.monotonic() + WAIT_SECONDS
    while not holds():
        assert time.monotonic() < deadline, f"never: {what}"
        time.sleep(0.02)


class RunningBroker:
    def __init__(self, kind: str, folder: Path, *more: str) -> None:
        self.port, self.folder, self.kind, self.more = free_port(), folder, kind, more
        self.start()

    def start(self) -> None:
        if self.kind == "amqtt":
            file = Path(__file__).parent / "mqtt_broker.py"
            command = [sys.executable, str(file), str(self.port), *self.more]
        else:
            settings = self.folder / "mosquitto.conf"
            settings.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
            command = ["mosquitto", "-c", str(settings)]
        with (self.folder / "broker.log").open("ab") as log:
            self.process = subprocess.Popen(command, stdout=log, stderr=log)
        until(self._listens, f"{self.kind} listens: {(self.folder / 'broker.log').read_text()}")

    def _listens(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()

    def publish(self, *messages: tuple[str, Any], retain: bool = False) -> None:
        """Publish with QoS 1 and wait until the broker has taken each."""
        client = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=secrets.token_hex(8))
        client.username_pw_set("scale", "of brass")
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        for topic, payload in messages:
            body = payload if isinstance(payload, bytes) else json.dumps(payload)
            client.publish(topic, body, qos=1, retain=retain).wait_for_publish(WAIT_SECONDS)
        client.disconnect()
        client.loop_stop()


@pytest.fixture(params=BROKERS, scope="module")
def broker(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[RunningBroker]:
    made = RunningBroker(request.param, tmp_path_factory.mktemp("broker"))
    yield made
    made.stop()


@pytest.fixture(scope="module")
def client(live_service: LiveService) -> Iterator[Client]:
    with Client(live_service.url, live_service.key) as made:
        made.create_site(site_id="mqtt", name="Station", time_zone="UTC")
        yield made


@pytest.fixture
def grinder_id(client: Client) -> str:
    grinder_id = f"mq-{secrets.token_hex(6)}"
    client.create_grinder(grinder_id=grinder_id, site_id="mqtt", name="By the door")
    return grinder_id


@pytest.fixture
def settings(broker: RunningBroker, grinder_id: str) -> Settings:
    return Settings(
        port=broker.port,
        client_id=f"bridge-{grinder_id}",
        prefix=f"bar/{grinder_id}",
        user="bridge",
        password="of iron",
    )


class Listening:
    """A bridge in a thread, with what it told."""

    def __init__(self, spool: Spool, settings: Settings) -> None:
        self.told: list[str] = []
        self.bridge = Bridge(spool, settings, tell=self.told.append)
        self._thread = threading.Thread(target=self.bridge.run)

    def __enter__(self) -> Listening:
        self._thread.start()
        until(lambda: any("connected" in one for one in self.told), "connected")
        return self

    def __exit__(self, *exception: object) -> None:
        self.bridge.stop()
        self._thread.join(WAIT_SECONDS)
        assert not self._thread.is_alive()

    def takes(self, *, spooled: int = 0, set_aside: int = 0) -> None:
        counts = self.bridge.counts
        until(
            lambda: counts.spooled >= spooled and counts.set_aside >= set_aside,
            f"{spooled} spooled, {set_aside} set aside: {counts}, {self.told}",
        )
        assert (counts.spooled, counts.set_aside) == (spooled, set_aside), self.told


def run_at(minutes: float, grams: float = 18.2) -> dict[str, Any]:
    started_at = datetime.now(UTC) - timedelta(minutes=minutes)
    return {"started_at": format_instant(started_at), "grams": grams, "seconds": 7.4}


def test_runs_and_readings_reach_the_service_and_what_makes_no_sense_is_set_aside(
    broker: RunningBroker, client: Client, grinder_id: str, settings: Settings, tmp_path: Path
) -> None:
    topic = f"{settings.prefix}/{grinder_id}"
    with Spool(tmp_path / "runs.spool", client) as spool:
        with Listening(spool, settings) as listening:
            read_at = format_instant(datetime.now(UTC) - timedelta(minutes=1))
            broker.publish(
                (f"{topic}/run", run_at(5)),
                (f"{topic}/run", {"run_id": f"{grinder_id}-17", "grams": 17.5, "age_seconds": 9}),
                (f"{topic}/reading", {"at": read_at, "motor_celsius": 41.5}),
                (f"{topic}/run", b"\xff\xfe not JSON"),
                (f"{topic}/run", {"grams": 18}),
                (f"{topic}/reading", {"reading_id": "reading-1", "motor_celsius": 41.5}),
                (f"{topic}/run", {**run_at(4), "grinder_id": "another"}),
                (f"{settings.prefix}/No Grinder/run", run_at(3)),
                (f"{topic}/run", run_at(2)),
            )
            listening.takes(spooled=4, set_aside=5)
        spool.flush()
        assert spool.held().run_count == 0
    runs = [*client.list_runs(grinder_id)]
    assert sorted((one.grams, one.time_source) for one in runs) == [
        (17.5, "received"), (18.2, "device"), (18.2, "device"),
    ]  # fmt: skip
    (reading,) = client.list_readings(grinder_id)
    assert (reading.motor_celsius, reading.time_source) == (41.5, "device")
    aside = (tmp_path / "runs.spool.aside").read_text().splitlines()
    reasons = [json.loads(line)["reason"].partition(":")[0] for line in aside]
    assert reasons == [
        "it is not JSON",
        "it has neither run_id nor started_at",
        "it has no at",
        "it names another grinder than its topic",
        "its topic is not PREFIX/GRINDER/run or PREFIX/GRINDER/reading",
    ]
    assert json.loads(aside[0])["payload_base64"]
    assert json.loads(aside[1])["payload"] == '{"grams": 18}'


@pytest.mark.skipif("mosquitto" not in BROKERS, reason="amqtt sends what was retained to everybody")
def test_a_retained_run_comes_with_every_connection_and_counts_once(
    client: Client, grinder_id: str, tmp_path: Path
) -> None:
    broker = RunningBroker("mosquitto", tmp_path)
    settings = Settings(port=broker.port, client_id="bridge")
    broker.publish((f"burrline/{grinder_id}/run", run_at(1)), retain=True)
    with Spool(tmp_path / "runs.spool", client) as spool:
        for _ in range(2):
            with Listening(spool, settings) as listening:
                listening.takes(spooled=1)
        spool.flush()
    broker.stop()
    assert len([*client.list_runs(grinder_id)]) == 1


# A bridge that dies at the worst moments: before a message is on disk, and before it tells so.
KILLED = """
import os, signal, sys
from burrline import Client
from burrline.mqtt import Bridge, Settings
from burrline.spool import Spool

path, port, name, prefix, when = sys.argv[1], int(sys.argv[2]), *sys.argv[3:]
put = Spool.put

def killed(self, run):
    if when == "after":
        put(self, run)
    os.kill(os.getpid(), signal.SIGKILL)

Spool.put = killed
told = lambda line: print(line, flush=True)
settings = Settings(port=port, client_id=name, prefix=prefix, user="bridge", password="x")
Bridge(Spool(path), settings, tell=told).run()
"""


def test_what_was_not_acknowledged_comes_again_and_counts_once(
    broker: RunningBroker, client: Client, grinder_id: str, settings: Settings, tmp_path: Path
) -> None:
    path, topic = tmp_path / "runs.spool", f"{settings.prefix}/{grinder_id}/run"
    runs = [run_at(10 - number, 18 + number / 10) for number in range(6)]
    spool = Spool(path, client)
    with Listening(spool, settings) as listening:  # makes the session, and takes one
        broker.publish((topic, runs[0]))
        listening.takes(spooled=1)
    for number, when in ((1, "before"), (3, "after")):
        command = [
            sys.executable,
            "-c",
            KILLED,
            path,
            str(broker.port),
            settings.client_id,
            settings.prefix,
            when,
        ]
        killed = subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, env=service_environment({})
        )
        assert killed.stdout is not None
        assert "session kept" in killed.stdout.readline()
        broker.publish(*((topic, run) for run in runs[number : number + 2]))
        assert killed.wait(WAIT_SECONDS) == -signal.SIGKILL
        killed.stdout.close()
    broker.publish((topic, runs[5]))  # nobody listens
    with Listening(spool, settings) as listening:
        assert "session kept" in listening.told[0]
        listening.takes(spooled=5)
    spool.flush()
    spool.close()
    found = sorted(one.grams for one in client.list_runs(grinder_id))
    assert found == sorted(run["grams"] for run in runs)


def test_a_broker_that_comes_and_goes_is_connected_to_again(
    client: Client, grinder_id: str, tmp_path: Path
) -> None:
    broker = RunningBroker("amqtt", tmp_path)
    settings = Settings(port=broker.port, client_id=f"b-{grinder_id}", user="b", password="x")
    with Spool(tmp_path / "runs.spool", client) as spool, Listening(spool, settings) as listening:
        broker.stop()
        until(lambda: any("is lost" in one for one in listening.told), "lost")
        until(lambda: any("no broker" in one for one in listening.told), "tried")
        broker.start()
        until(lambda: sum("connected" in one for one in listening.told) == 2, "connected again")
        broker.publish((f"burrline/{grinder_id}/run", run_at(1)))
        listening.takes(spooled=1)
    broker.stop()


# paho leaves the socket of a handshake that failed to the collector
@pytest.mark.filterwarnings("ignore:.*SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_a_broker_is_trusted_by_its_certificate_and_trusts_by_a_password(tmp_path: Path) -> None:
    certificate, passwords = str(CERTIFICATES / "broker.pem"), tmp_path / "passwords"
    passwords.write_text(f"till:{Argon2Hasher().hash('of iron')}\n")
    broker = RunningBroker("amqtt", tmp_path, certificate, str(passwords))
    signed = Settings("localhost", broker.port, "till", user="till", password="of iron",
                      ca_file=certificate)  # fmt: skip
    spool = Spool(tmp_path / "runs.spool")

    def refusal(**changed: Any) -> str:
        lines: list[str] = []
        Bridge(spool, replace(signed, **changed), tell=lines.append)._listen()
        (line,) = lines
        return line

    with Listening(spool, signed):
        pass
    assert refusal(password="of tin") == (
        "the broker does not let us in: Not authorized; trying again"
    )
    assert "is not trusted: self-signed certificate (a CA file" in refusal(
        ca_file=str(CERTIFICATES / "authority.pem")
    )
    assert "(does it want TLS?)" in refusal(ca_file=None)
    spool.close()
    broker.stop()


def test_settings_that_cannot_work_are_refused_before_anything_is_sent(tmp_path: Path) -> None:
    for changed in ({"prefix": "bar/#"}, {"port": 99_999}, {"password": "alone"}):
        with pytest.raises(ValueError, match=r"no beginning|no port|needs a user"):
            Settings(**changed)  # type: ignore[arg-type]
    assert Settings().address == ("127.0.0.1", 1883)
    assert Settings(ca_file="ca.pem").address == ("127.0.0.1", 8883)  # never in the clear
    with (
        Spool(tmp_path / "runs.spool") as spool,
        pytest.raises(ValueError, match=r"no CA file in .*none\.pem"),
    ):
        Bridge(spool, Settings(ca_file=str(tmp_path / "none.pem")))


def test_a_full_spool_acknowledges_nothing_and_takes_all_once_there_is_room(
    broker: RunningBroker, client: Client, grinder_id: str, settings: Settings, tmp_path: Path
) -> None:
    spool = Spool(tmp_path / "runs.spool", client, most_runs=1)
    with Listening(spool, settings) as listening:
        broker.publish(*((f"{settings.prefix}/{grinder_id}/run", run_at(n)) for n in (3, 2)))
        until(lambda: any("nothing can be written" in one for one in listening.told), "full")
        assert listening.bridge.counts.spooled == 1
        spool.flush()
        listening.takes(spooled=2)
    spool.flush()
    spool.close()
    assert len([*client.list_runs(grinder_id)]) == 2


def test_the_command_listens_until_it_is_told_to_stop(
    live_service: LiveService, client: Client, grinder_id: str, tmp_path: Path
) -> None:
    broker = RunningBroker("amqtt", tmp_path)
    (tmp_path / "password").write_text("of iron\n")
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "burrline", "mqtt", "--port", str(broker.port),
         "--user", "bridge", "--password-file", "password", "--spool", "runs.spool",
         "--client-id", "till", "--trust-arrival", "--json"],
        env=service_environment({"BURRLINE_URL": live_service.url,
                                 "BURRLINE_KEY": live_service.key}),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path,
    )  # fmt: skip
    assert process.stderr is not None
    assert "connected to 127.0.0.1" in process.stderr.readline()
    run = {"run_id": f"{grinder_id}-18", "grams": 18.2, "seconds": 7.4}
    broker.publish((f"burrline/{grinder_id}/run", run), (f"burrline/{grinder_id}/run", b"[]"))
    assert "set aside" in process.stderr.readline()
    until(lambda: [*client.list_runs(grinder_id)] != [], "recorded")
    process.send_signal(signal.SIGTERM)
    out, _ = process.communicate(timeout=WAIT_SECONDS)
    assert (process.returncode, json.loads(out)) == (65, {"spooled": 1, "set_aside": 1})
    (found,) = client.list_runs(grinder_id)
    assert (found.grams, found.time_source) == (18.2, "age")
    broker.stop()


# --- messages, without a broker -----------------------------------------------------------------


def line_of(payload: bytes, topic: str = "burrline/bar-1/run", **more: Any) -> dict[str, Any]:
    given = {"prefix": "burrline", "is_retained": False, "trusts_arrival": False, **more}
    return run_or_reading(topic, payload, **given)[1]


def test_an_id_is_made_of_what_tells_a_run_apart() -> None:
    one = line_of(b'{"started_at": "2026-03-01T08:30:00Z", "grams": 18}')
    same = line_of(b'{"grams":18,"started_at":"2026-03-01T08:30:00Z"}')
    other = line_of(b'{"grams":18,"started_at":"2026-03-01T08:30:01Z"}')
    assert one["run_id"] == same["run_id"] != other["run_id"]
    untimed = b'{"run_id": "bar-1-000017", "grams": 18, "age_seconds": 3}'
    for more in ({}, {"trusts_arrival": True, "is_retained": True}):
        assert line_of(untimed, **more)["boot_id"] == "unknown"
    assert line_of(untimed, trusts_arrival=True)["age_seconds"] == 3
    own = line_of(b'{"run_id": "bar-1-000017", "boot_id": "3", "uptime_seconds": 8, "grams": 18}')
    assert (own["run_id"], own["boot_id"]) == ("bar-1-000017", "3")


@pytest.mark.parametrize(
    ("payload", "more", "words"),
    [
        (b"", {}, "not JSON"),
        (b'{"grams": NaN}', {}, "not JSON"),
        (b'{"grams": 1e999}', {}, "not JSON"),
        (b"[" * 100_000, {}, "more than"),
        (b"[" * 50_000, {}, "not JSON"),
        (b'{"note": "\\ud800"}', {}, "not JSON"),
        (b"[]", {}, "not a JSON object"),
        (b"{}", {"topic": "burrline/bar-1/walk"}, "topic"),
        (b"{}", {"topic": "burrline/bar-1/run/now"}, "topic"),
        (b'{"grams": 18}', {"is_retained": True}, "neither run_id nor started_at"),
    ],
)
def test_what_makes_no_sense_says_why(payload: bytes, more: dict[str, Any], words: str) -> None:
    with pytest.raises(NoSense, match=words):
        line_of(payload, **more)


def test_a_full_file_of_what_was_set_aside_takes_no_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from burrline import _mqtt_messages

    aside = _mqtt_messages.Aside(str(tmp_path / "aside"))
    aside.put("burrline/x/run", b"a", "no")
    assert os.path.getsize(aside.path) < MOST_ASIDE_BYTES
    monkeypatch.setattr(_mqtt_messages, "MOST_ASIDE_BYTES", 200)
    with pytest.raises(OSError, match="is full"):
        aside.put("burrline/x/run", b"a" * 200, "no")
    assert len((tmp_path / "aside").read_text().splitlines()) == 1
