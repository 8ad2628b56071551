"""What a receiver can do to us: take bounded time and bounded bytes, and nothing else."""

from __future__ import annotations

import logging
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator, Sequence

import pytest

from burrline_service.core.public_addresses import exceptions_of
from burrline_service.core.webhook_target import BadTarget
from burrline_service.sender import Exchange, Sender
from receivers import CERTIFICATES, NAME, Zoo, open_zoo

LOOPBACK = exceptions_of("127.0.0.0/8")
HEADERS = {"Content-Type": "application/cloudevents+json", "webhook-id": "e-1"}


@pytest.fixture(scope="module")
def zoo() -> Iterator[Zoo]:
    with open_zoo() as opened:
        yield opened


@pytest.fixture(scope="module")
def tls_zoo() -> Iterator[Zoo]:
    with open_zoo(is_tls=True) as opened:
        yield opened


def post(zoo: Zoo, path: str, *, deadline_seconds: float = 5.0) -> Exchange:
    sender = Sender(LOOPBACK, context=NO_TLS, deadline_seconds=deadline_seconds)
    return sender.post(zoo.url(path), headers=HEADERS, content=b'{"x":1}')


NO_TLS = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)


def test_what_arrives_is_what_was_sent_and_nothing_of_us_but_a_name(zoo: Zoo) -> None:
    assert post(zoo, "/ok?x=1").status == 204
    (request,) = zoo.at("/ok?x=1")
    assert request.body == b'{"x":1}'
    agent = request.headers.pop("user-agent")
    assert agent.startswith("burrline/")
    assert request.headers == {
        "host": f"127.0.0.1:{zoo.port}",
        "accept": "*/*",
        "accept-encoding": "identity",
        "connection": "close",
        "content-length": "7",
        "content-type": "application/cloudevents+json",
        "webhook-id": "e-1",
    }


@pytest.mark.parametrize(
    ("path", "status", "answer"),
    [
        ("/ok", 204, b""),
        ("/ok-long", 200, (b"thanks " * 10_000)[:4096]),
        ("/ok-chunked", 200, b"abcde"),
        ("/ok-without-length", 200, b"until the end"),
        ("/ok-after-continue", 200, b""),
        ("/ok-then-breaks-off", 200, b"half"),
        ("/ok-without-end", 200, b"x" * 4096),
        ("/bad-length", 200, b"body"),
        ("/bad-chunks", 200, b""),
        ("/bad-header", 200, None),
        ("/error", 500, b"oh no"),
        ("/moved", 301, b""),
        ("/see-other", 303, b""),
        ("/moved-by-307", 307, b""),
        ("/gone", 410, b""),
        ("/unknown", 404, b""),
    ],
)
def test_an_answer_is_its_status_and_how_it_begins(
    zoo: Zoo, path: str, status: int, answer: bytes | None
) -> None:
    before = len(zoo.got)
    got = post(zoo, path)
    assert got.status == status
    assert got.error == (None if status < 300 else f"answered {status}")
    assert answer is None or got.answer == answer
    assert got.is_excepted
    assert len(zoo.got) == before + 1, "a redirection was followed"


def test_a_compressed_answer_is_not_unpacked(zoo: Zoo) -> None:
    got = post(zoo, "/gzip-bomb")
    assert got.status == 200
    assert got.answer[:2] == b"\x1f\x8b"
    assert len(got.answer) == 4096


@pytest.mark.parametrize(
    "path", ["/closes", "/garbage", "/banner", "/old", "/bad-status", "/many-headers",
             "/head-without-end"],
)  # fmt: skip
def test_what_is_no_answer_is_told_in_words(zoo: Zoo, path: str) -> None:
    got = post(zoo, path)
    assert got.status is None
    assert got.error is not None
    assert got.error.startswith(("the answer is not HTTP", "the connection broke"))


@pytest.mark.parametrize("path", ["/silent", "/drips-its-head", "/continues-for-ever"])
def test_the_whole_takes_no_longer_than_its_deadline(zoo: Zoo, path: str) -> None:
    began = time.monotonic()
    got = post(zoo, path, deadline_seconds=0.2)
    assert (got.status, got.error) in {
        (None, "no answer within 0.2 seconds"),
        (None, "the answer is not HTTP (HTTPException)"),  # too many bytes, sooner
    }
    assert time.monotonic() - began < 3
    assert got.seconds < 3


def test_a_body_that_drips_does_not_undo_its_status(zoo: Zoo) -> None:
    got = post(zoo, "/ok-dripping", deadline_seconds=0.3)
    assert got.status == 200
    assert 0 < len(got.answer) < 4000


@pytest.mark.parametrize(
    ("path", "retry_after"),
    [("/busy", "120"), ("/busy-until", "Mon, 02 Mar 2026 08:10:00 GMT"),
     ("/busy-garbage", "soon, please"), ("/busy-twice", "1, 2"), ("/ok", None)],
)  # fmt: skip
def test_retry_after_is_handed_on_as_it_came(zoo: Zoo, path: str, retry_after: str | None) -> None:
    assert post(zoo, path).retry_after == retry_after


def test_nobody_there_is_told_in_words(zoo: Zoo) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    got = Sender(LOOPBACK, context=NO_TLS).post(
        f"http://127.0.0.1:{port}/", headers={}, content=b""
    )
    assert (got.status, got.error) == (None, "no connection: Connection refused")


# --- TLS ------------------------------------------------------------------------------------------


def resolving(*answers: str) -> Callable[[str, int], Sequence[str]]:
    return lambda host, port: list(answers)


def trusting() -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(CERTIFICATES / "authority.pem"))


def tls_post(
    zoo: Zoo, name: str, context: ssl.SSLContext | None, *, deadline_seconds: float = 5.0
) -> Exchange:
    sender = Sender(
        LOOPBACK,
        resolve=resolving("127.0.0.1"),
        context=context,
        deadline_seconds=deadline_seconds,
    )
    return sender.post(f"https://{name}:{zoo.port}/ok", headers=HEADERS, content=b"{}")


def test_tls_is_agreed_and_verified_by_the_name_though_an_address_is_dialled(tls_zoo: Zoo) -> None:
    before = len(tls_zoo.got)
    assert tls_post(tls_zoo, NAME, trusting()).status == 204
    assert tls_zoo.got[before].headers["host"] == f"{NAME}:{tls_zoo.port}"


@pytest.mark.parametrize(
    ("name", "context", "error"),
    [
        (NAME, None, "TLS: unable to get local issuer certificate"),
        ("other.roastery.coffee", trusting(), "TLS: Hostname mismatch"),
    ],
)
def test_a_certificate_that_is_not_to_be_trusted_ends_it_before_anything_is_sent(
    tls_zoo: Zoo, name: str, context: ssl.SSLContext | None, error: str
) -> None:
    before = len(tls_zoo.got)
    got = tls_post(tls_zoo, name, context)
    assert got.status is None
    assert str(got.error).startswith(error)
    assert len(tls_zoo.got) == before


def test_tls_to_one_who_does_not_speak_it_is_told_in_words(zoo: Zoo) -> None:
    got = tls_post(zoo, NAME, trusting(), deadline_seconds=0.2)
    assert (got.status, got.error) == (None, "TLS: took too long")


# --- where it goes --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "answers", [["127.0.0.1"], ["8.8.8.8", "127.0.0.1"], ["8.8.8.8", "10.0.0.1"], ["::1"], []]
)
def test_a_name_with_one_answer_that_is_not_public_is_not_dialled(
    zoo: Zoo, answers: list[str]
) -> None:
    before = len(zoo.got)
    sender = Sender(resolve=resolving(*answers), context=NO_TLS, deadline_seconds=1)
    url = f"https://{NAME}:{zoo.port}/ok"
    with pytest.raises(BadTarget):
        sender.check(url)
    got = sender.post(url, headers={}, content=b"")
    assert (got.status, got.error) == (None, "does not lead to public addresses alone")
    assert len(zoo.got) == before


def test_a_name_is_resolved_once_for_each_request_and_judged_each_time(tls_zoo: Zoo) -> None:
    asked: list[str] = []
    answers = iter([["127.0.0.1"], ["127.0.0.1"], ["169.254.169.254"]])

    def resolve(host: str, port: int) -> Sequence[str]:
        asked.append(host)
        return next(answers)

    sender = Sender(LOOPBACK, resolve=resolve, context=trusting(), deadline_seconds=5)
    url = f"https://{NAME}:{tls_zoo.port}/ok"
    assert sender.check(url) is True
    assert sender.post(url, headers={}, content=b"").status == 204
    changed = sender.post(url, headers={}, content=b"")
    assert (changed.status, changed.error) == (None, "does not lead to public addresses alone")
    assert asked == [NAME] * 3


def test_a_name_that_is_not_there_and_one_that_leads_inside_sound_the_same() -> None:
    def fails(host: str, port: int) -> Sequence[str]:
        raise socket.gaierror(-2, "Name or service not known")

    def breaks(host: str, port: int) -> Sequence[str]:
        raise UnicodeError("label too long")

    told = set()
    for resolve in (fails, breaks, resolving("10.0.0.1"), resolving("10.0.0.1", "8.8.8.8")):
        told.add(Sender(resolve=resolve, context=NO_TLS).post(
            f"https://{NAME}/", headers={}, content=b""
        ).error)  # fmt: skip
    assert told == {"does not lead to public addresses alone"}


def test_no_proxy_of_the_environment_is_asked(zoo: Zoo, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    assert post(zoo, "/ok").status == 204


def test_nothing_that_is_sent_or_answered_is_logged(
    zoo: Zoo, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        post(zoo, "/error")
    assert caplog.records == []


def test_a_name_whose_servers_keep_silent_is_waited_for_no_longer_than_the_deadline() -> None:
    release = threading.Event()

    def slow(host: str, port: int) -> Sequence[str]:
        release.wait(20)
        return ["127.0.0.1"]

    sender = Sender(LOOPBACK, context=NO_TLS, resolve=slow, deadline_seconds=0.2)
    began = time.monotonic()
    exchange = sender.post("https://hooks.roastery.coffee/", headers=HEADERS, content=b"{}")
    with pytest.raises(BadTarget, match=r"^does not lead to public addresses alone$"):
        sender.check("https://hooks.roastery.coffee/")
    release.set()
    assert exchange.error == "does not lead to public addresses alone"
    assert time.monotonic() - began < 5
