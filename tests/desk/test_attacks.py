"""A desk under attack by who can reach it: connections held open, bodies that do not come, readers
that do not read, and every address asked by strangers.

Connections held open by requests that never end are known as "slowloris" (R. Hansen, 2009).
"""

from __future__ import annotations

import contextlib
import hmac
import json
import logging
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from desk.support import NAME, REPORT, desk, line, sheet_at
from starlette.routing import Route
from starlette.testclient import TestClient

from codec.desk import access, connection
from codec.desk.access import COOKIE, Links, Role
from codec.desk.app import application
from codec.desk.serving import server_of
from codec.desk.sheets import OpenSheet
from codec.desk.shelf import Shelf
from codec.sheet import Journal

PATIENCE = 20.0  # seconds a test waits for what must be, however slow the machine


class Attacked:
    """A desk that serves in a thread, and what a stranger or a page sends to it."""

    def __init__(self, server: uvicorn.Server, port: int) -> None:
        self.server, self.name = server, f"127.0.0.1:{port}"
        self.address = ("127.0.0.1", port)

    def hold(self, sent: bytes, *, buffer: int = 0) -> socket.socket:
        """Open a connection, send something, and do nothing more."""
        made = socket.socket()
        if buffer:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, buffer)
        made.settimeout(PATIENCE)
        made.connect(self.address)
        made.sendall(sent)
        return made

    def head(self, method: str, path: str, *more: str) -> bytes:
        own = [f"Host: {self.name}", f"Origin: http://{self.name}", *more]
        return "\r\n".join([f"{method} {path} HTTP/1.1", *own, "", ""]).encode()

    def enter(self, text: str) -> int:
        """Write a line as a page does; return the status of the answer."""
        body = json.dumps(line(text)).encode()
        asked = self.head("POST", "/enter/race", f"Content-Length: {len(body)}")
        with self.hold(asked + body) as page:
            return int(page.recv(4000).split()[1])

    def until(self, connections: int) -> None:
        """Wait until no more connections than these are open."""
        end = time.monotonic() + PATIENCE
        while len(self.server.server_state.connections) > connections:
            assert time.monotonic() < end, "the connections are still held"
            time.sleep(0.05)


@pytest.fixture
def attacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Attacked]:
    """A desk with little patience."""
    monkeypatch.setattr(connection, "ASKING", 1.0)
    monkeypatch.setattr(connection, "STUCK", 1.0)
    monkeypatch.setattr(access, "LEAST_TIME", 1.0)
    with socket.create_server(("127.0.0.1", 0)) as bound:
        port = bound.getsockname()[1]
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)  # little is on its way unread
        sheets = Shelf({"race": OpenSheet(sheet_at(tmp_path))})
        server = server_of(application(sheets, names=[f"127.0.0.1:{port}"]))
        running = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
        running.start()
        try:
            yield Attacked(server, port)
        finally:
            server.should_exit = True
            running.join(PATIENCE)
        assert not running.is_alive()


@pytest.mark.slow
def test_requests_that_never_end_hold_nobody(attacked: Attacked) -> None:
    begun = attacked.head("GET", "/")[:-10]
    with contextlib.ExitStack() as stack:
        held = [stack.enter_context(attacked.hold(begun)) for _ in range(100)]
        held += [stack.enter_context(attacked.hold(b"")) for _ in range(20)]
        again = stack.enter_context(attacked.hold(attacked.head("GET", "/static/icon.svg")))
        assert again.recv(4000).startswith(b"HTTP/1.1 200")
        again.sendall(b"G")  # the next request on a connection that was answered
        assert attacked.enter("/note while they hold on") == 200
        attacked.until(0)
        for one in held:
            with contextlib.suppress(ConnectionResetError):
                assert one.recv(4000) == b""


@pytest.mark.slow
def test_a_body_that_does_not_come_is_not_waited_for(attacked: Attacked) -> None:
    asked = attacked.head("POST", "/enter/race", "Content-Length: 500")
    with attacked.hold(asked + b'{"key": ') as page:
        assert attacked.enter("/note meanwhile") == 200
        answer = page.recv(4000)
        assert answer.startswith(b"HTTP/1.1 400")
        assert b"took too long" in answer + page.recv(4000)


@pytest.mark.slow
def test_readers_that_do_not_read_hold_no_writer_and_are_let_go(
    attacked: Attacked, tmp_path: Path
) -> None:
    with contextlib.ExitStack() as stack:
        for _ in range(5):
            live = attacked.head("GET", "/live/race?seen=-1")
            stack.enter_context(attacked.hold(live, buffer=2048))
        for number in range(40):
            assert attacked.enter(f"/note {number} {'x' * 3900}") == 200
        attacked.until(0)
    with Journal(tmp_path / "race.sheet") as journal:
        assert len(journal) == 42


def test_an_answer_leaves_without_waiting_for_an_acknowledgement(attacked: Attacked) -> None:
    """Of a small segment behind another one, which RFC 1122 (4.2.3.4) lets a host hold back."""
    with attacked.hold(attacked.head("GET", "/static/icon.svg")) as page:
        assert page.recv(4000).startswith(b"HTTP/1.1 200")
        (connection,) = attacked.server.server_state.connections
        held_back = connection.transport.get_extra_info("socket")
        assert held_back.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def _addresses(client: TestClient) -> list[str]:
    """Return an address of each route, found by asking the application itself; not of the files
    that pages load, which are anybody's.
    """
    guard = client.app
    assert isinstance(guard, access.Guard)
    inner = guard.application
    routes = [
        one
        for one in getattr(inner, "routes", [])
        if isinstance(one, Route) and not one.path.startswith("/static/")
    ]
    named = {"{sheet}": "race", "{reader}": "driver", "{token}": "guessed"}
    found = []
    for route in routes:
        path = route.path
        for name, value in named.items():
            path = path.replace(name, value)
        found.append(path)
    assert len(found) > 15
    return [path for path in found if "live/" not in path]  # those that never end


@pytest.mark.slow
def test_every_address_hears_only_its_own_pages_and_writes_nothing_when_it_is_read(
    tmp_path: Path,
) -> None:
    path = sheet_at(tmp_path)
    with desk(path) as client:
        client.post("/enter/race", json=line(REPORT))
        for address in _addresses(client):
            sent = {**line("/note written by reading"), "car": "7"}
            answer = client.get(address, params=sent)
            assert answer.status_code < 500, address
            policy = answer.headers["content-security-policy"]
            script = policy.partition("script-src")[2].partition(";")[0]
            assert policy.startswith("default-src 'none'")
            assert "unsafe" not in script, address
            if "unsafe" in policy:  # a page that stands alone, without any script
                assert "script-src" not in policy, address
            assert answer.headers["x-content-type-options"] == "nosniff"
            for headers, status in (
                ({"host": "evil.example:8899"}, 421),
                ({"origin": "http://evil.example"}, 403),
                ({"sec-fetch-site": "same-site"}, 403),  # another port of this machine
                ({"sec-fetch-site": "cross-site"}, 403),
            ):
                if not (address.startswith("/join/") and "sec-fetch-site" in headers):
                    got = client.get(address, params=sent, headers=headers).status_code
                    assert got == status, (address, headers)
            if address != "/links":
                strange = {"origin": "http://evil.example"}
                assert client.post(address, json=sent, headers=strange).status_code == 403
    with Journal(path) as journal:
        assert len(journal) == 3


def test_every_address_but_a_link_asks_who_is_there_on_a_network(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path), Links(tmp_path / "links")) as client:
        for address in _addresses(client):
            assert client.get(address).status_code == 403, address
            assert client.post(address, json=line("x")).status_code in (403, 405), address


def test_a_token_is_compared_with_each_in_constant_time_and_stands_in_no_log(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
) -> None:
    links, compared = Links(tmp_path / "links"), list[bytes]()

    def compare(one: bytes, other: bytes) -> bool:
        compared.append(other)
        return real(one, other)

    real = hmac.compare_digest
    monkeypatch.setattr(hmac, "compare_digest", compare)
    for token in ("", "guessed", links.tokens[Role.WATCH]):
        compared.clear()
        links.role(token)
        assert compared == [one.encode() for one in links.tokens.values()]
    token = links.tokens[Role.WRITE]
    with caplog.at_level(logging.DEBUG), desk(sheet_at(tmp_path), links) as client:
        client.get(f"/join/{token}")
        client.get(f"/join/{token}x")
        client.get("/watch/race", headers={"cookie": f"{COOKIE}={token}"})
        client.post("/enter/race", content=b"x", headers={"cookie": f"{COOKIE}={token}"})
        client.post("/enter/race", json=line("lemon"), headers={"cookie": f"{COOKIE}={token}"})
    mine = [r for r in caplog.records if not r.name.startswith(("httpx", "httpcore"))]
    told = capfd.readouterr()
    for one in links.tokens.values():
        assert one not in " ".join(record.getMessage() for record in mine)
        assert one not in told.out + told.err
    assert NAME in client.base_url.netloc.decode()
