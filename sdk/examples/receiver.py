"""A receiver of webhooks: believes what is signed, handles each event once, says what happened.

    WEBHOOK_SECRET_FILE=secret.txt python receiver.py 8470

Put the secret into the file when the webhook is made; until then it only answers the challenge. For
the internet put it behind something that ends TLS. It tells people; it switches nothing.
"""

import os
import sqlite3
import sys
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

from burrline import webhook

SECRET_FILE = Path(os.environ.get("WEBHOOK_SECRET_FILE", "secret.txt"))
MOST_BYTES = 100_000

seen = sqlite3.connect(os.environ.get("WEBHOOK_SEEN_FILE", "seen.db"))
seen.execute("CREATE TABLE IF NOT EXISTS event (id TEXT PRIMARY KEY)")


def handle(event: dict) -> None:
    """What you want to happen: here a line on standard output."""
    print(event["time"], event["type"], event.get("subject", ""), event["data"], flush=True)


class Receiver(BaseHTTPRequestHandler):
    timeout = 10

    def do_POST(self) -> None:
        length = self.headers.get("Content-Length", "")
        if not length.isascii() or not length.isdigit() or int(length) > MOST_BYTES:
            return self.answer(413)
        body = self.rfile.read(int(length))
        secrets = SECRET_FILE.read_text().split() if SECRET_FILE.exists() else []
        if not secrets:  # the webhook is just being made
            nonce = webhook.challenge(body)
            return self.answer(503) if nonce is None else self.answer(200, nonce)
        try:
            event = webhook.verify(secrets, self.headers, body)
        except webhook.SignatureError as error:
            self.log_message("refused: %s", error)
            return self.answer(400)
        with seen:  # marked only if handle() returns
            new = seen.execute("INSERT OR IGNORE INTO event VALUES (?)", (event["id"],)).rowcount
            if new:
                handle(event)
        return self.answer(204)

    def answer(self, status: int, body: bytes = b"") -> None:
        self.send_response(status)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)


if __name__ == "__main__":
    with HTTPServer(("127.0.0.1", int(sys.argv[1])), Receiver) as server:
        server.serve_forever()
