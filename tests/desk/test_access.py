"""A desk hears only its own pages, and on a network only those who have a link.

The attacks are those of "The Web Origin Concept" (RFC 6454), of DNS rebinding (a name of somebody
else's that leads to this machine), and of forged requests from other sites; the headers those of
"Content Security Policy Level 3" (W3C) and "Cookies" (RFC 6265bis).
"""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest
from desk.support import NAME, desk, line, sheet_at
from sheet.support import race_book
from starlette.responses import Response
from starlette.testclient import TestClient

from codec.desk.access import COOKIE, MOST_BODY, Guard, Links, Receive, Role, Scope, Send
from codec.desk.serving import names_of
from grammar.errors import CodeError

READS = ["/", "/watch/race", "/history/race", "/look/race?car=7&text=one"]


def test_a_name_that_leads_here_from_elsewhere_is_not_heard(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    for name in ("evil.example:8899", "127.0.0.1:80", "127.0.0.1", "localhost.evil.example:8899"):
        with desk(path, name=name) as client:
            for address in READS:
                assert client.get(address).status_code == 421, (name, address)
            assert client.post("/enter/race", json=line("/note x")).status_code == 421


def test_a_desk_is_called_as_browsers_write_its_name() -> None:
    """Small letters (URL Standard, WHATWG, host parsing), without the usual port (RFC 9110)."""
    guard = Guard(_answered, names=names_of(["Pit-Wall.example"], 443, "https"), needed={})
    for name in ("pit-wall.example", "pit-wall.example:443"):
        assert TestClient(guard, base_url=f"https://{name}").get("/").status_code == 200, name
    assert names_of(["127.0.0.1"], 8899, "http") == ["127.0.0.1:8899"]


async def _answered(scope: Scope, receive: Receive, send: Send) -> None:
    await Response("here")(scope, receive, send)


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{NAME}"},
        {"origin": "http://127.0.0.1:8898"},
        {"sec-fetch-site": "cross-site"},
    ],
)
def test_a_page_of_another_site_neither_reads_nor_writes(
    tmp_path: Path, headers: dict[str, str]
) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for address in READS:
            assert client.get(address, headers=headers).status_code == 403
        answer = client.post("/enter/race", json=line("/note x"), headers=headers)
        assert answer.status_code == 403
        assert "note" not in client.get("/history/race").text


def test_a_write_tells_its_origin_and_no_get_writes(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        del client.headers["origin"]
        assert client.post("/enter/race", json=line("/note x")).status_code == 403
        assert client.get("/enter/race", params=line("/note x")).status_code == 405
        for method in ("PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"):
            assert client.request(method, "/enter/race").status_code == 405
        assert "/note" not in client.get("/history/race").text


def test_no_page_runs_what_stands_in_it_or_asks_anybody_else(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for address in [*READS, "/wall/race", "/static/wall.js", "/nothing"]:
            answer = client.get(address)
            policy = answer.headers["content-security-policy"]
            assert policy.startswith("default-src 'none'; script-src 'self';")
            assert "unsafe" not in policy
            assert answer.headers["x-content-type-options"] == "nosniff"
            assert answer.headers["referrer-policy"] == "no-referrer"
            assert "<script>" not in answer.text
            assert " style=" not in answer.text
            assert "http:" not in answer.text.replace("http://www.w3.org/2000/svg", "")


def test_a_body_is_bounded_whatever_it_says_of_itself(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        assert client.post("/enter/race", content=b"x" * (MOST_BODY + 1)).status_code == 413
        assert client.post("/enter/race", content=b"[" * MOST_BODY).status_code == 400
        book = race_book().source + "# " + "x" * MOST_BODY
        assert client.post("/book/race/problems", content=book.encode()).json() == []
        pieces = iter([b"x" * 10_000] * 20)  # its length is not told before
        assert client.post("/enter/race", content=pieces).status_code == 400


def test_on_a_network_only_a_link_lets_in_and_only_as_far_as_its_role(tmp_path: Path) -> None:
    links = Links(tmp_path / "links")
    with desk(sheet_at(tmp_path), links) as client:
        assert client.get("/watch/race").status_code == 403
        assert client.get("/join/guessed").status_code == 403
        joined = client.get(f"/join/{links.tokens[Role.WATCH]}")
        assert joined.status_code == 200
        kept = joined.headers["set-cookie"]
        assert kept.endswith("HttpOnly; SameSite=Strict")
        assert client.get("/watch/race").status_code == 200
        assert client.get("/wall/race").status_code == 403
        assert client.post("/enter/race", json=line("/note x")).status_code == 403
        client.get(f"/join/{links.tokens[Role.WRITE]}")
        assert client.post("/enter/race", json=line("/note x")).json()["new"]
        links.revoke(Role.WRITE)
        assert client.post("/enter/race", json=line("/note x")).status_code == 403


def test_links_are_kept_for_their_owner_alone_and_outlive_the_desk(tmp_path: Path) -> None:
    path = tmp_path / "links"
    made = Links(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert len({*made.tokens.values()}) == len(made.tokens) == 3
    assert min(map(len, made.tokens.values())) >= 43  # 256 bits of chance, RFC 4648
    assert Links(path).tokens == made.tokens
    assert made.role("") == made.role("é") == Role.NOBODY
    path.write_text(json.dumps({"watch": "", "drill": "", "write": ""}))
    with pytest.raises(CodeError, match="does not hold the links"):
        Links(path)


def test_a_strange_cookie_is_nobody(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path), Links(tmp_path / "links")) as client:
        for kept in (f"{COOKIE}=", f"{COOKIE}=x", "=;=", "a" * 5000, f'{COOKIE}="\\777'):
            assert client.get("/watch/race", headers={"cookie": kept}).status_code == 403


def test_a_link_made_anew_shuts_out_who_has_the_old_one_and_not_who_made_it(
    tmp_path: Path,
) -> None:
    links = Links(tmp_path / "links")
    with desk(sheet_at(tmp_path), links) as client:
        client.get(f"/join/{links.tokens[Role.WRITE]}")
        shown = client.get("/links").text
        assert all(f"join/{token}" in shown for token in links.tokens.values())
        assert shown.count("data:image/svg+xml") == 3
        before = dict(links.tokens)
        assert client.post("/links", content="role=WRITE").status_code == 303
        assert client.post("/links", content="role=WATCH").status_code == 303
        assert client.get("/links").status_code == 200
        assert client.get(f"/join/{before[Role.WATCH]}").status_code == 403
        assert links.tokens[Role.DRILL] == before[Role.DRILL]
        assert client.post("/links", content="role=NOBODY").status_code == 400
        client.get(f"/join/{links.tokens[Role.WATCH]}")
        assert client.get("/links").status_code == 403


def test_what_a_page_loads_is_sent_once_and_again_only_where_it_is_another(
    tmp_path: Path,
) -> None:
    """Entity tags: "HTTP Semantics" (RFC 9110, 8.8.3 and 13.1.2)."""
    with desk(sheet_at(tmp_path)) as client:
        there = client.get("/static/vendor/uplot.css")
        assert there.headers["content-type"].startswith("text/css")
        assert there.headers["cache-control"] == "no-cache"  # asked for, whether it is another
        held = client.get(
            "/static/vendor/uplot.css", headers={"if-none-match": there.headers["etag"]}
        )
        assert (held.status_code, held.content) == (304, b"")
        assert client.get("/static/desk.css").headers["etag"] != there.headers["etag"]
        for path in ("vendor", "../app.py", "%2e%2e/app.py", "nothing.js"):
            assert client.get(f"/static/{path}").status_code in (403, 404), path
