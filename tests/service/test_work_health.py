"""The worker answers probes on an address of its own."""

from __future__ import annotations

import json
import urllib.error
import urllib.request

from burrline_service.work_health import Answer, answering, checked


def ask(port: int | None, path: str, method: str = "GET") -> tuple[int, str, str]:
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", method=method)
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=5) as answer:
            return answer.status, answer.headers["Content-Type"], answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers["Content-Type"], error.read().decode()


def test_probes_get_what_is_to_be_told_and_nothing_else() -> None:
    def breaks() -> Answer:
        raise ZeroDivisionError

    answers = {
        "/livez": lambda: checked({}),
        "/readyz": lambda: checked({"database": "pass", "schema": "is of another release"}),
        "/metrics": lambda: (200, "text/plain", "# EOF\n"),
        "/breaks": breaks,
    }
    with answering(("127.0.0.1", 0), answers) as port:
        status, media, text = ask(port, "/livez")
        assert (status, media, json.loads(text)) == (
            200, "application/json", {"status": "pass", "checks": {}},
        )  # fmt: skip
        status, _, text = ask(port, "/readyz")
        assert (status, json.loads(text)["status"]) == (503, "fail")
        assert ask(port, "/metrics") == (200, "text/plain", "# EOF\n")
        assert ask(port, "/metrics", "HEAD")[2] == ""
        assert ask(port, "/breaks")[0] == 500
        assert ask(port, "/other")[0] == 404
        assert ask(port, "/livez", "POST")[0] == 501


def test_without_an_address_nobody_listens() -> None:
    with answering(None, {}) as port:
        assert port is None
