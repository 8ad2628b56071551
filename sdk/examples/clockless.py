"""Runs from a board without a clock, without the SDK: written for MicroPython, runs on any Python.

``boot`` is a number that the board counts up in its flash at every start, ``ticks`` counts its
milliseconds. Runs wait in memory: a power cut loses those that were not sent yet.
"""

import json
import socket
import time

PERIOD_MILLISECONDS = 1 << 30  # MicroPython's ticks begin anew after so many
REQUEST = """POST /v1/runs/batch HTTP/1.0\r
Host: {}:{}\r
Authorization: Bearer {}\r
X-Device-Boot: {}\r
X-Device-Uptime: {:.3f}\r
Content-Type: application/json\r
Content-Length: {}\r
\r
"""


class Outbox:
    def __init__(self, host, port, key, boot, most=200, ticks=None):
        self.host, self.port, self.key, self.boot, self.most = host, port, key, boot, most
        self.ticks = ticks or getattr(time, "ticks_ms", lambda: int(time.monotonic() * 1000))
        self.seen, self.up, self.run_count, self.not_taken_count = self.ticks(), 0, 0, 0
        self.waiting, self.refused = [], []

    def uptime_seconds(self):  # ask once in a few days at least
        now = self.ticks()
        self.up, self.seen = self.up + (now - self.seen) % PERIOD_MILLISECONDS, now
        return self.up / 1000

    def put(self, grinder_id, grams, seconds):  # a run that has just ended
        if len(self.waiting) == self.most:
            self.not_taken_count += 1
            return
        self.run_count += 1
        run = {"grinder_id": grinder_id, "boot_id": str(self.boot), "grams": grams}
        run["run_id"] = "{}:{}:{:06d}".format(grinder_id, self.boot, self.run_count)
        run["seconds"], run["uptime_seconds"] = seconds, max(0, self.uptime_seconds() - seconds)
        self.waiting.append(run)

    def send(self):  # the oldest twenty; True when the service has answered for them
        batch, at = self.waiting[:20], self.uptime_seconds()
        body = json.dumps({"runs": batch}).encode()
        head = REQUEST.format(self.host, self.port, self.key, self.boot, at, len(body)).encode()
        connection, answer, piece = socket.socket(), b"", b"?"
        try:
            connection.settimeout(10)
            connection.connect(socket.getaddrinfo(self.host, self.port)[0][-1])
            connection.sendall(head + body)
            while piece:
                piece = connection.recv(1024)
                answer += piece
            told = json.loads(answer.split(b"\r\n\r\n", 1)[1])
            is_answered = answer.split(b" ")[1] == b"200" and told["received"] == len(batch)
        except (OSError, ValueError, IndexError, KeyError, TypeError):
            is_answered = False  # no answer, half of one, or somebody else's: they wait
        connection.close()
        if is_answered:
            self.refused, self.waiting = self.refused + told["problems"], self.waiting[len(batch) :]
        return is_answered
