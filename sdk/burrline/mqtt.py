"""A bridge from an MQTT broker into a spool: what was acknowledged is on disk.

::

    from burrline import Client
    from burrline.mqtt import Bridge, Settings
    from burrline.spool import Spool

    with Client() as client, Spool("runs.spool", client) as spool:
        Bridge(spool, Settings(host="127.0.0.1", client_id="burrline-bar"), tell=print).run()

It needs paho-mqtt: ``pip install 'burrline[mqtt]'``. Topics, with QoS 1:

``burrline/<grinder_id>/run``
    a JSON object of a run, as ``add_run`` takes it, without ``grinder_id`` or with the same one
``burrline/<grinder_id>/reading``
    likewise a reading, as ``add_readings`` takes it

A message is acknowledged only once it is on disk, and the session persists at the broker, so a
bridge that is killed anywhere is sent it again. For that to count once it must be told apart from
another one like it: by ``run_id`` (``reading_id``), or by ``started_at`` (``at``), of which then an
id is made. What makes no sense is set aside in a file, with its reason, and acknowledged.

A message does not tell how long it lay at the broker. A run that tells no ``started_at`` therefore
counts with its kilograms alone: it is recorded at the time of receipt and kept out of duty and
motor. With ``trusts_arrival`` it is taken to have just ended; that is right only where nothing ever
waits.

The bridge listens; nothing it does can switch a grinder on. Keep the mains side of anything that
publishes closed, and hands away from burrs: a motor may start at any time.
"""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from burrline._mqtt_messages import Aside, NoSense, run_or_reading
from burrline.spool import Spool, SpoolConflict, SpoolError

__all__ = ["Bridge", "Counts", "Settings"]

KINDS = ("run", "reading")
SHORTEST_PAUSE_SECONDS, LONGEST_PAUSE_SECONDS = 0.5, 60.0
LOOK_SECONDS = 0.25
"""How soon a call to stop is seen."""
KEEPALIVE_SECONDS = 30


@dataclass(frozen=True)
class Settings:
    """Where the broker is and how to sign in; ``client_id`` names the session, one per bridge."""

    host: str = "127.0.0.1"
    port: int | None = None
    """Left out, 1883, or 8883 with TLS (as registered with IANA)."""
    client_id: str = field(default_factory=lambda: f"burrline-{socket.gethostname()}")
    prefix: str = "burrline"
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    is_tls: bool = False
    ca_file: str | None = None
    """Whom to trust instead of the system's; with it the connection is encrypted."""
    trusts_arrival: bool = False

    def __post_init__(self) -> None:
        if not self.prefix or set(self.prefix) & set("+#\0"):
            raise ValueError(f"{self.prefix!r} is no beginning of topics: it may not have + or #")
        if self.port is not None and not 1 <= self.port <= 65535:
            raise ValueError(f"{self.port} is no port number")
        if self.password is not None and self.user is None:
            raise ValueError("a password needs a user")

    @property
    def is_encrypted(self) -> bool:
        return self.is_tls or self.ca_file is not None

    @property
    def address(self) -> tuple[str, int]:
        return self.host, self.port or (8883 if self.is_encrypted else 1883)


@dataclass
class Counts:
    """What became of the messages so far."""

    spooled: int = 0
    set_aside: int = 0


class Bridge:
    """Takes messages into a spool until it is stopped.

    Parameters
    ----------
    spool
        Where runs and readings go; it sends by itself where it was started.
    settings
        The broker.
    aside_path
        The file for what makes no sense; left out, it is beside the spool, with ``.aside``.
    tell
        Called with a line for people: connected, lost, set aside.

    ``ValueError``: the CA file is none.
    """

    def __init__(
        self,
        spool: Spool,
        settings: Settings,
        *,
        aside_path: str | None = None,
        tell: Callable[[str], None] = lambda line: None,
    ) -> None:
        self.counts = Counts()
        self._spool, self._settings, self._tell = spool, settings, tell
        self._aside = Aside(aside_path or f"{spool.path}.aside")
        self._stopping = threading.Event()
        self._is_in = self._is_stuck = self._is_refused = False
        self._client = self._made()

    def run(self) -> Counts:
        """Listen until ``stop`` is called from a signal handler or another thread."""
        pause_seconds = SHORTEST_PAUSE_SECONDS
        while not self._stopping.is_set():
            self._is_in = self._is_stuck = self._is_refused = False
            self._listen()
            is_well = self._is_in and not self._is_stuck
            pause_seconds = SHORTEST_PAUSE_SECONDS if is_well else 2 * pause_seconds
            pause_seconds = min(pause_seconds, LONGEST_PAUSE_SECONDS)
            self._stopping.wait(pause_seconds)
        return self.counts

    def stop(self) -> None:
        """End ``run`` soon; what was not acknowledged comes again at the next start."""
        self._stopping.set()

    def _listen(self) -> None:
        """One connection to its end; in the next one what was not acknowledged comes again."""
        host, port = self._settings.address
        try:
            self._client.connect(host, port, keepalive=KEEPALIVE_SECONDS)
        except ssl.SSLCertVerificationError as error:
            self._tell(
                f"the certificate of {host}:{port} is not trusted: {error.verify_message} (a CA "
                "file names whom to trust); trying again"
            )
            return
        except (OSError, ValueError) as error:
            self._tell(f"no broker at {host}:{port}: {error}; trying again")
            return
        while not self._stopping.is_set() and not self._is_stuck:
            if self._client.loop(LOOK_SECONDS) != paho.MQTT_ERR_SUCCESS:
                return
        self._client.disconnect()
        self._client.loop(LOOK_SECONDS)

    def _made(self) -> paho.Client:
        settings = self._settings
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=settings.client_id,
            clean_session=False,
            manual_ack=True,
        )
        if settings.user is not None:
            client.username_pw_set(settings.user, settings.password)
        if settings.is_encrypted:
            try:
                client.tls_set(ca_certs=settings.ca_file)
            except OSError as error:  # an SSLError is one too
                raise ValueError(f"no CA file in {settings.ca_file}: {error}") from None
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_subscribe = self._subscribed
        client.on_message = self._received
        return client

    def _connected(
        self,
        client: paho.Client,
        _userdata: object,
        flags: paho.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self._is_refused = True
            self._tell(f"the broker does not let us in: {reason}; trying again")
            return
        self._is_in = True
        kept = "kept" if flags.session_present else "new"
        host, port = self._settings.address
        self._tell(f"connected to {host}:{port}, session {kept}")
        client.subscribe([(f"{self._settings.prefix}/+/{kind}", 1) for kind in KINDS])

    def _subscribed(
        self,
        _client: paho.Client,
        _userdata: object,
        _message_id: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        for kind, reason in zip(KINDS, reasons, strict=False):
            if reason.value != 1:
                self._tell(f"the broker does not give {kind}s with QoS 1: {reason}")

    def _disconnected(
        self,
        _client: paho.Client,
        _userdata: object,
        _flags: paho.DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self._stopping.is_set() or self._is_stuck or self._is_refused:
            return
        if self._is_in:
            self._tell(f"the connection is lost ({reason}); trying again")
        else:
            hint = "" if self._settings.is_encrypted else " (does it want TLS?)"
            self._tell(f"the broker hung up before it let us in{hint}; trying again")

    def _received(self, client: paho.Client, _userdata: object, message: paho.MQTTMessage) -> None:
        if self._is_stuck or self._stopping.is_set():
            return  # not acknowledged: it comes again, in its order
        try:
            self._take(message)
        except (SpoolError, OSError) as error:
            self._is_stuck = True
            self._tell(f"nothing can be written: {error}; not acknowledged, trying again")
            return
        client.ack(message.mid, message.qos)

    def _take(self, message: paho.MQTTMessage) -> None:
        """Put a message on disk: into the spool, or aside."""
        try:
            kind, line = run_or_reading(
                message.topic,
                bytes(message.payload),
                prefix=self._settings.prefix,
                is_retained=message.retain,
                trusts_arrival=self._settings.trusts_arrival,
            )
            if kind == "run":
                self._spool.put(line)
            else:
                self._spool.put_reading(line)
            self.counts.spooled += 1
        except (NoSense, SpoolConflict, ValueError, TypeError) as error:
            self._aside.put(message.topic, bytes(message.payload), str(error))
            self.counts.set_aside += 1
            self._tell(f"set aside: {message.topic}: {error}")
