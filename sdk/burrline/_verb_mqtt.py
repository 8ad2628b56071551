"""The verb ``mqtt``: runs and readings from a broker into the spool, and on to the service."""

from __future__ import annotations

import argparse
import signal
from pathlib import Path
from typing import TYPE_CHECKING

from burrline._terminal import (
    EX_CONFIG,
    EX_DATAERR,
    EX_OK,
    EX_USAGE,
    Stop,
    Verbs,
    complain,
    say,
    say_json,
)
from burrline._verb_spool import ENVIRONMENT, opened
from burrline.client import Client

if TYPE_CHECKING:
    from burrline.mqtt import Settings

MORE = """\
Topics, with QoS 1: PREFIX/GRINDER/run and PREFIX/GRINDER/reading, each a JSON object of a run or a
reading. Each needs its run_id (reading_id) or its started_at (at), so that sent again it counts
once; a run without started_at counts with its kilograms alone, for nobody can tell how long it lay
at the broker. A message is acknowledged once it is on disk; what makes no sense is set aside.

exit codes: 0 stopped, nothing was set aside; 65 stopped, something was; those of sysexits."""


def add(verbs: Verbs) -> None:
    made = verbs.add(
        "mqtt", _bridge, "Take runs and readings from an MQTT broker, until stopped.", more=MORE
    )
    made.add_argument("--host", default="127.0.0.1", help="the broker; default %(default)s")
    made.add_argument("--port", type=int, help="default 1883, with TLS 8883")
    made.add_argument("--client-id", metavar="ID", help="of the session, one per bridge")
    made.add_argument("--prefix", default="burrline", help="of the topics; default %(default)s")
    made.add_argument("--user", metavar="NAME", help="to sign in with")
    made.add_argument("--password-file", metavar="FILE", help="file with the password")
    made.add_argument("--tls", dest="is_tls", action="store_true", help="encrypt")
    made.add_argument(
        "--ca-file", metavar="FILE", help="whom to trust, with TLS; default the system's"
    )
    made.add_argument(
        "--trust-arrival",
        dest="trusts_arrival",
        action="store_true",
        help="a run without started_at has just ended: right only where nothing ever waits",
    )
    made.add_argument(
        "--aside", metavar="FILE", help="for what makes no sense; default SPOOL.aside"
    )
    made.add_argument("--spool", metavar="FILE", help=f"the spool; default {ENVIRONMENT}")


def _bridge(client: Client, options: argparse.Namespace) -> int:
    try:
        from burrline.mqtt import Bridge
    except ImportError:
        raise Stop(
            EX_CONFIG, "burrline: this needs paho-mqtt: pip install 'burrline[mqtt]'"
        ) from None
    try:
        settings = _settings(options)
    except ValueError as error:
        raise Stop(EX_USAGE, f"burrline mqtt: {error}") from None
    with opened(options.spool, client, must_exist=False) as spool:
        try:
            bridge = Bridge(spool, settings, aside_path=options.aside, tell=complain)
        except ValueError as error:
            raise Stop(EX_CONFIG, f"burrline mqtt: {error}") from None
        spool.start()
        before = signal.signal(signal.SIGTERM, lambda *_: bridge.stop())
        try:
            counts = bridge.run()
        except KeyboardInterrupt:
            bridge.stop()
            counts = bridge.counts
        finally:
            signal.signal(signal.SIGTERM, before)
    if options.json:
        say_json(vars(counts))
    else:
        say(f"{counts.spooled} spooled, {counts.set_aside} set aside")
    return EX_DATAERR if counts.set_aside else EX_OK


def _settings(options: argparse.Namespace) -> Settings:
    from burrline.mqtt import Settings

    password = None
    if options.password_file is not None:
        try:
            password = Path(options.password_file).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            raise Stop(EX_CONFIG, f"burrline: {options.password_file}: {error}") from None
    named = {} if options.client_id is None else {"client_id": options.client_id}
    return Settings(
        host=options.host,
        port=options.port,
        prefix=options.prefix,
        user=options.user,
        password=password,
        is_tls=options.is_tls,
        ca_file=options.ca_file,
        trusts_arrival=options.trusts_arrival,
        **named,
    )
