"""Pages that send what no page of ours sends, too many of them, and what is left when all end."""

from __future__ import annotations

import asyncio
import itertools
import os
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


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    folder = tmp_path / "w"
    new_weekend(folder, name="Reedmere Cup", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    with serving(folder, tmp_path) as found:
        yield found


@contextmanager
def serving(folder: Path, tmp_path: Path) -> Iterator[Served]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    own = {"XDG_STATE_HOME": str(tmp_path / "state"), "XDG_CONFIG_HOME": str(tmp_path / "config")}
    said = tmp_path / "said"
    with said.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "pitwright", "serve", str(folder), "--port", str(port)],
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
            writer.write(
                f"GET /ws HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nOrigin: {served.url}\r\n"
                "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
            )
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
        {"Host": f"localhost:{port}"},
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
        assert served.apps() == []

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

    with_client(look)
    nothing_said(served)


def test_of_fifty_at_once_eight_are_shown_the_app_and_none_harms_another(served: Served) -> None:
    async def look(client: Any) -> None:
        async def come() -> Any:
            try:
                return await served.viewer(client)
            except aiohttp.WSServerHandshakeError as error:
                return error.status

        came = await asyncio.gather(*(come() for _ in range(50)))
        links = [each for each in came if not isinstance(each, int)]
        assert [each for each in came if isinstance(each, int)] == [503] * 42
        await asyncio.gather(*(until(link, "No heat has been run yet") for link in links))
        async with client.get(served.url + "/") as answer:
            assert answer.status == 200
        assert len(served.apps()) == 8
        await asyncio.gather(*(link.close() for link in links[:4]))
        assert await gone(served, but=4) == []
        again = await served.viewer(client)
        await until(again, "No heat has been run yet")
        await links[-1].send_str('["stdin", "2"]')
        await until(links[-1], "Begin a build")

    with_client(look)
    nothing_said(served)


def test_a_terminal_of_no_size_is_refused(served: Served) -> None:
    async def look(client: Any) -> None:
        for size in ("width=x&height=2", "width=-1&height=2", "width=9999999&height=2"):
            headers = {"Origin": served.url}
            async with client.get(f"{served.url}/ws?{size}", headers=headers) as answer:
                assert answer.status == 400

    with_client(look)
    assert served.apps() == []
    nothing_said(served)


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_closing_leaves_no_process_and_keeps_what_was_typed(
    served: Served, tmp_path: Path, end: signal.Signals
) -> None:
    apps: list[int] = []

    async def look(client: Any) -> None:
        # The first to come is the one that writes; the others only read.
        links = [await served.viewer(client)]
        await until(links[0], "No heat has been run yet")
        links += [await served.viewer(client) for _ in range(2)]
        # Who does not read is taken for gone after a while.
        reading = asyncio.create_task(read_on(links[0]))
        await asyncio.gather(*(until(link, "No heat has been run yet") for link in links[1:]))
        reading.cancel()
        apps.extend(served.apps())
        assert len(apps) == 3
        # One that is still opening goes as well.
        links.append(await served.viewer(client))
        await links[0].send_str('["stdin", "3"]')
        await until(links[0], "Letter keys")  # the entry has the keys
        await links[0].send_str('["stdin", "9.87"]')
        await until(links[0], ".87")  # a cell that has not changed is not painted again
        apps[:] = served.apps()
        served.process.send_signal(end)
        served.process.wait(timeout=20)

    with_client(look)
    for _ in range(200):
        if not alive(apps):
            break
        time.sleep(0.1)
    assert alive(apps) == []
    drafts = (tmp_path / "w").glob("open/*/drafts/*.toml")
    assert any("9.87" in draft.read_text() for draft in drafts)
    nothing_said(served)
