"""Pages that send what no page of ours sends, too many of them, and what is left when all end."""

from __future__ import annotations

import asyncio
import itertools
import os
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pitwright.store.create import new_weekend

aiohttp = pytest.importorskip("aiohttp", reason="the extra 'web' is not installed")
pytest.importorskip("textual_serve", reason="the extra 'web' is not installed")

MALFORMED = [
    "",
    "{",
    "null",
    "[]",
    "{}",
    "[1]",
    '"stdin"',
    '["stdin"]',
    '["stdin", null]',
    '["stdin", ["a"]]',
    '["stdin", ""]',
    '["stdin", "\\ud800"]',
    '["resize"]',
    '["resize", 3]',
    '["resize", {"width": "80", "height": 24}]',
    '["resize", {"width": -3, "height": 24}]',
    '["resize", {"width": 1e3, "height": true}]',
    '["resize", {"width": 1000000000, "height": 1000000000}]',
    '["resize", {"width": ' + "9" * 5000 + ', "height": 2}]',
    '["ping"]',
    '["quit"]',
    '["deliver_chunk_request", {"key": "x"}]',
    "[" * 100_000,
]


@dataclass(frozen=True)
class Served:
    """A server that runs, and what it has said."""

    port: int
    process: subprocess.Popen[bytes]
    said: Path

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def apps(self) -> list[int]:
        """Return the processes that descend from the server, ended ones left out."""
        return descendants(self.process.pid)

    async def viewer(self, client: Any) -> Any:
        """Open a viewer as our page does."""
        return await client.ws_connect(
            f"{self.url}/ws?width=80&height=24", headers={"Origin": self.url}
        )


def descendants(of: int) -> list[int]:
    parents: dict[int, int] = {}
    for place in Path("/proc").iterdir():
        if place.name.isdecimal():
            try:
                fields = (place / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if fields[0] != "Z":
                parents[int(place.name)] = int(fields[1])
    found = [of]
    for each in found:
        found += [pid for pid, parent in parents.items() if parent == each]
    return found[1:]


def alive(pids: list[int]) -> list[int]:
    def is_alive(pid: int) -> bool:
        try:
            return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
        except OSError:
            return False

    return [pid for pid in pids if is_alive(pid)]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One server for every test that does not end it."""
    home = tmp_path_factory.mktemp("served")
    with serving(a_weekend(home), home) as found:
        yield found


def a_weekend(home: Path) -> Path:
    folder = home / "w"
    new_weekend(folder, name="Reedmere Cup", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return folder


@contextmanager
def serving(folder: Path, tmp_path: Path, *, stand_in: str = "") -> Iterator[Served]:
    """Serve the app, or a ``stand_in`` for it: a program that starts at once."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    own = {"XDG_STATE_HOME": str(tmp_path / "state"), "XDG_CONFIG_HOME": str(tmp_path / "config")}
    said = tmp_path / "said"
    command = [sys.executable, "-m", "pitwright", "serve", str(folder), "--port", str(port)]
    if stand_in:
        shell = "exec " + shlex.join([sys.executable, "-S", "-c", stand_in])
        start = f"from pitwright.cli.serve import _server; _server({shell!r}, {port}, 'w').serve()"
        command = [sys.executable, "-c", start]
    with said.open("wb") as out:
        process = subprocess.Popen(
            command,
            env={**os.environ, **own},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    found = Served(port, process, said)
    try:
        for _ in range(900):
            with socket.socket() as knock:
                if knock.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        yield found
    finally:
        left = found.apps()
        process.kill()
        process.wait(timeout=20)
        for pid in alive(left):
            os.kill(pid, signal.SIGKILL)


async def until(link: Any, text: str, *, within: float = 120.0) -> None:
    """Read what the app shows until ``text`` is in it."""
    shown = ""

    async def read() -> None:
        nonlocal shown
        while text not in shown:
            message = await link.receive()
            assert message.type in (aiohttp.WSMsgType.BINARY, aiohttp.WSMsgType.TEXT), message
            data = message.data
            shown += data if isinstance(data, str) else data.decode(errors="replace")

    try:
        await asyncio.wait_for(read(), within)
    except TimeoutError:
        raise AssertionError(f"never shown: {text}; last: {shown[-500:]!r}") from None


async def read_on(link: Any) -> None:
    """Read whatever comes, which answers the server's question whether anybody is there."""
    while True:
        await link.receive()


def with_client(look: Callable[[Any], Awaitable[None]]) -> None:
    async def run() -> None:
        async with aiohttp.ClientSession() as client:
            await look(client)

    asyncio.run(run())


def nothing_said(served: Served) -> None:
    """Nothing but where it is to be opened has been printed."""
    lines = served.said.read_text().splitlines()
    more = [line for line in lines if not line.startswith("Open http://127.0.0.1")]
    assert not more, "\n".join(more)


def test_a_malformed_message_is_left_out_and_the_viewer_goes_on(served: Served) -> None:
    async def look(client: Any) -> None:
        rude, other = await served.viewer(client), await served.viewer(client)
        await asyncio.gather(*(until(link, "No heat has been run yet") for link in (rude, other)))
        reading = asyncio.create_task(read_on(other))
        for text in MALFORMED:
            await rude.send_str(text)
        await rude.send_bytes(b"\x00\xff")
        await rude.send_str('["stdin", "2"]')
        await until(rude, "Begin a build")
        reading.cancel()
        await asyncio.gather(reading, return_exceptions=True)
        await other.send_str('["ping", 7]')
        await until(other, '["pong", 7]')
        await other.send_str('["stdin", "2"]')
        await until(other, "Begin a build")

    with_client(look)
    nothing_said(served)


def test_what_is_no_websocket_frame_ends_its_own_viewer_alone(served: Served) -> None:
    async def look(client: Any) -> None:
        other = await served.viewer(client)
        await until(other, "No heat has been run yet")
        for junk in (
            b"\x81\xfe\xff\xff",  # a frame that promises more than it brings
            b"\x83\x80\x00\x00\x00\x00",  # an opcode nobody has given a meaning
            b"\x81\x82\x00\x00\x00\x00\xc3\x28",  # text that is not UTF-8
            b"GET / HTTP/1.1\r\n\r\n",
            b"\xff" * 5000,
        ):
            reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
            writer.write(handshake(served))
            assert b" 101 " in await asyncio.wait_for(reader.readline(), 20)
            writer.write(junk)
            await writer.drain()
            writer.close()
        await other.send_str('["stdin", "2"]')
        await until(other, "Begin a build")
        assert await gone(served, but=1) == []

    with_client(look)
    nothing_said(served)


async def gone(served: Served, *, but: int) -> list[int]:
    """Wait until no more than ``but`` apps are left; return those that are too many."""
    for _ in range(200):
        if len(served.apps()) <= but:
            return []
        await asyncio.sleep(0.1)
    return served.apps()[but:]


def test_nobody_from_elsewhere_is_answered(served: Served) -> None:
    port = served.port
    paths = ("/", "/ws", "/static/js/textual.js", "/focus.js", "/download/x")
    foreign = (
        {"Host": f"elsewhere.example:{port}"},
        {"Host": "127.0.0.1"},
        {"Host": "localhost"},
        {"Host": f"localhost.:{port}"},
        {"Host": f"localhost:{port}", "Origin": f"http://127.0.0.1:{port}"},
        {"Host": f"[::1]:{port}"},
        {"Host": f"127.0.0.1:{port}.elsewhere.example"},
        {"Host": ""},
        {"Origin": "http://elsewhere.example"},
        {"Origin": f"https://127.0.0.1:{port}"},
        {"Origin": f"http://127.0.0.1:{port + 1}"},
        {"Origin": f"http://127.0.0.1:{port}.elsewhere.example"},
        {"Origin": "null"},
        {"Origin": ""},
    )

    async def look(client: Any) -> None:
        for path, headers in itertools.product(paths, foreign):
            async with client.get(served.url + path, headers=headers) as answer:
                assert answer.status == 403, (path, headers)
                assert "pitwright" in await answer.text()
                assert answer.headers["X-Frame-Options"] == "DENY"
        assert await gone(served, but=0) == []

    with_client(look)
    nothing_said(served)


OUTWARD = [
    "/static/../server.py",
    "/static/../../../../../../../../etc/hostname",
    "/static/%2e%2e/server.py",
    "/static/..%2fserver.py",
    "/static/..%5cserver.py",
    "/static//etc/hostname",
    "/static/js/..%00/server.py",
    "/download/../../etc/hostname",
    "/download/%2e%2e%2f%2e%2e%2fetc%2fhostname",
    "/focus.js/../app_index.html",
    "//etc/hostname",
    "/weekend.toml",
    "/static",
    "/static/",
    "/static/js",
    "/static/js/",
    "/static/js/../",
    "/static/%6as/",
]


def test_no_path_leads_out_of_the_pages(served: Served) -> None:
    async def ask(path: str) -> bytes:
        # A client would tidy the path before it asks.
        reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
        writer.write(
            f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n"
            "Connection: close\r\n\r\n".encode()
        )
        answer = await asyncio.wait_for(reader.read(), 20)
        writer.close()
        return answer

    async def look(_client: Any) -> None:
        assert b" 200 " in await ask("/focus.js")
        for path in OUTWARD:
            answer = await ask(path)
            assert 400 <= int(answer.split()[1]) < 500, (path, answer)
            assert b"import" not in answer, path
            assert b"textual.js" not in answer, path

    with_client(look)
    nothing_said(served)


STAND_IN = """
import signal, sys, time
if STUBBORN: signal.signal(signal.SIGTERM, signal.SIG_IGN)
out = sys.stdout.buffer
out.write(b"__GANGLION__\\n" + b"D" + (5).to_bytes(4, "big") + b"ready")
out.flush()
while STUBBORN:
    out.write(b"D" + (4096).to_bytes(4, "big") + b"." * 4096)
    out.flush()
sys.stdin.buffer.read(1)
while True:
    head = sys.stdin.buffer.read(4)
    body = sys.stdin.buffer.read(int.from_bytes(head, "big"))
    if b"quit" in body or not sys.stdin.buffer.read(1): break
"""


def test_of_fifty_at_once_eight_are_shown_the_app_and_none_harms_another(tmp_path: Path) -> None:
    async def look(client: Any) -> None:
        async def come() -> Any:
            try:
                return await served.viewer(client)
            except aiohttp.WSServerHandshakeError as error:
                return error.status

        came = await asyncio.gather(*(come() for _ in range(50)))
        links = [each for each in came if not isinstance(each, int)]
        assert [each for each in came if isinstance(each, int)] == [503] * 42
        await asyncio.gather(*(until(link, "ready") for link in links))
        async with client.get(served.url + "/") as answer:
            assert answer.status == 200
        assert len(served.apps()) == 8
        await asyncio.gather(*(link.close() for link in links[:4]))
        assert await gone(served, but=4) == []
        again = await served.viewer(client)
        await until(again, "ready")
        await links[-1].send_str('["ping", 7]')
        await until(links[-1], '["pong", 7]')

    with serving(tmp_path, tmp_path, stand_in=f"STUBBORN = False{STAND_IN}") as served:
        with_client(look)
        nothing_said(served)


def test_told_to_end_it_ends_in_three_seconds_whatever_the_apps_and_pages_do(
    tmp_path: Path,
) -> None:
    """The apps obey nothing and write without end, and the pages read nothing."""
    with serving(tmp_path, tmp_path, stand_in=f"STUBBORN = True{STAND_IN}") as served:
        pages = []
        for _ in range(3):
            page = socket.create_connection(("127.0.0.1", served.port))
            page.sendall(handshake(served))
            assert page.recv(12) == b"HTTP/1.1 101"
            pages.append(page)
        deadline = time.monotonic() + 20
        while len(served.apps()) < 3 and time.monotonic() < deadline:
            time.sleep(0.05)
        time.sleep(0.5)  # until every buffer between them is full
        apps = served.apps()
        assert len(apps) == 3
        started = time.monotonic()
        served.process.terminate()
        served.process.wait(timeout=20)
        took = time.monotonic() - started
        assert alive(apps) == []
        assert took < 3.0
        for page in pages:
            page.close()


def handshake(served: Served) -> bytes:
    return (
        f"GET /ws HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nOrigin: {served.url}\r\n"
        "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    ).encode()


def test_every_answer_forbids_to_be_framed(served: Served) -> None:
    async def look(client: Any) -> None:
        for path in ("/", "/focus.js", "/static/js/textual.js", "/none", "/static/none.js"):
            async with client.get(served.url + path) as answer:
                assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
                assert answer.headers["X-Frame-Options"] == "DENY"
                assert answer.headers["X-Content-Type-Options"] == "nosniff"

    with_client(look)


def test_the_laptop_may_be_called_localhost_and_the_page_stays_with_that_name(
    served: Served,
) -> None:
    named = f"localhost:{served.port}"

    async def look(client: Any) -> None:
        async with client.get(served.url + "/", headers={"Host": named}) as answer:
            assert answer.status == 200
            page = await answer.text()
            assert f"connect-src ws://{named}" in answer.headers["Content-Security-Policy"]
        places = [part.split('"')[0] for part in page.split("://")[1:]]
        assert places
        assert all(place.startswith(f"{named}/") for place in places)
        headers = {"Host": named, "Origin": f"http://{named}"}
        url = f"{served.url}/ws?width=0&height=24"
        async with client.get(url, headers=headers) as answer:
            assert answer.status == 400  # let in, and only the size is wrong

    with_client(look)


def test_a_terminal_of_no_size_is_refused(served: Served) -> None:
    async def look(client: Any) -> None:
        for size in ("width=x&height=2", "width=-1&height=2", "width=9999999&height=2"):
            headers = {"Origin": served.url}
            async with client.get(f"{served.url}/ws?{size}", headers=headers) as answer:
                assert answer.status == 400

        assert await gone(served, but=0) == []

    with_client(look)
    nothing_said(served)


# Of SIGHUP the server ends as of SIGKILL, without a word to its apps.
@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_closing_leaves_no_process_and_keeps_what_was_typed(
    tmp_path: Path, end: signal.Signals
) -> None:
    with serving(a_weekend(tmp_path), tmp_path) as served:
        apps: list[int] = []

        async def look(client: Any) -> None:
            link = await served.viewer(client)
            await until(link, "No heat has been run yet")
            await link.send_str('["stdin", "3"]')
            await until(link, "Letter keys")  # the entry has the keys
            await link.send_str('["stdin", "9.87"]')
            await until(link, ".87")  # a cell that has not changed is not painted again
            opening = await served.viewer(client)  # goes as well
            apps[:] = served.apps()
            served.process.send_signal(end)
            served.process.wait(timeout=20)
            await opening.close()

        with_client(look)
        for _ in range(200):
            if not alive(apps):
                break
            time.sleep(0.1)
        assert alive(apps) == []
        drafts = (tmp_path / "w").glob("open/*/drafts/*.toml")
        assert any("9.87" in draft.read_text() for draft in drafts)
        nothing_said(served)
