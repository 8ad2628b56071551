"""A real MQTT broker in a process of its own: ``python mqtt_broker.py PORT``; says ``ready``.

``python mqtt_broker.py PORT CERTIFICATE PASSWORDS`` speaks TLS and asks for one of the passwords.

amqtt 0.12 forgets a message with QoS 1 when its receiver goes away before it has acknowledged it.
MQTT 3.1.1, section 4.4 [MQTT-4.4.0-1], asks for it to be sent again in the session's next
connection, so it is put back here. Sessions persist only for clients that sign in by a name.
"""

from __future__ import annotations

import asyncio
import sys
from typing import Any

from amqtt.broker import Broker
from amqtt.mqtt.protocol.handler import ProtocolHandler
from amqtt.session import OutgoingApplicationMessage

whole_flow = ProtocolHandler._handle_qos1_message_flow


async def kept_flow(handler: Any, message: Any) -> None:
    try:
        await whole_flow(handler, message)
    finally:
        if isinstance(message, OutgoingApplicationMessage) and message.puback_packet is None:
            handler.session.inflight_out[message.packet_id] = message


async def main(port: int, certificate: str | None = None, passwords: str | None = None) -> None:
    ProtocolHandler._handle_qos1_message_flow = kept_flow  # type: ignore[method-assign]
    plugins = "amqtt.plugins.authentication"
    sign_in: dict[str, Any] = {f"{plugins}.AnonymousAuthPlugin": {"allow_anonymous": False}}
    listener: dict[str, Any] = {"type": "tcp", "bind": f"127.0.0.1:{port}"}
    if certificate is not None:
        listener |= {"ssl": True, "certfile": certificate, "keyfile": certificate}
        sign_in = {f"{plugins}.FileAuthPlugin": {"password_file": passwords}}
    broker = Broker({"listeners": {"default": listener}, "plugins": sign_in})
    await broker.start()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), *sys.argv[2:]))
