"""The app in a browser: a real server, and a real headless browser where there is one."""

from __future__ import annotations

import asyncio
import base64
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pitwright.cli import main
from pitwright.store.create import new_weekend

aiohttp = pytest.importorskip("aiohttp", reason="the extra 'web' is not installed")
pytest.importorskip("textual_serve", reason="the extra 'web' is not installed")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


NAME = "</title><script>x</script> & 'Co'"


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        free: int = found.getsockname()[1]
        return free


def weekend_named(name: str, place: Path) -> Path:
    new_weekend(place, name="Reedmere Cup", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    card = place / "weekend.toml"
    card.write_text(card.read_text().replace("Reedmere Cup", name))
    return place


@pytest.fixture(scope="module")
def port() -> int:
    return free_port()


@pytest.fixture(scope="module")
def server(
    port: int, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[subprocess.Popen[bytes]]:
    """One server for all of these, of a weekend whose name a page could take for its own."""
    home = tmp_path_factory.mktemp("served")
    folder = weekend_named(NAME, home / "w")
    own = {"XDG_STATE_HOME": str(home / "state"), "XDG_CONFIG_HOME": str(home / "config")}
    serving = subprocess.Popen(
        [sys.executable, "-m", "pitwright", "serve", str(folder), "--port", str(port)],
        env={**os.environ, **own},
        stdout=subprocess.PIPE,
    )
    try:
        yield serving
    finally:
        serving.terminate()
        serving.wait(timeout=20)


async def reached(session: Any, url: str) -> None:
    for _ in range(900):
        try:
            async with session.get(url):
                return
        except aiohttp.ClientConnectionError:
            await asyncio.sleep(0.1)
    raise AssertionError(f"{url} never answered")


def test_it_listens_on_the_loopback_alone_and_names_no_other_place(
    server: subprocess.Popen[bytes], port: int
) -> None:
    async def look() -> None:
        async with aiohttp.ClientSession() as session:
            url = f"http://127.0.0.1:{port}/"
            await reached(session, url)
            async with session.get(url) as answer:
                page = await answer.text()
                assert answer.status == 200
                assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
            places = [part.split('"')[0] for part in page.split("http")[1:]]
            assert places
            assert all(place.startswith(f"://127.0.0.1:{port}/") for place in places)
            for path in ("static/js/textual.js", "static/fonts/RobotoMono-VariableFont_wght.ttf"):
                async with session.get(url + path) as answer:
                    assert answer.status == 200, path

    asyncio.run(look())
    listening = {
        line.split()[1]
        for line in Path("/proc/net/tcp").read_text().splitlines()[1:]
        if line.split()[3] == "0A" and line.split()[1].endswith(f":{port:04X}")
    }
    assert listening == {f"0100007F:{port:04X}"}


def test_a_bad_folder_and_a_bad_port_are_refused_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = weekend_named("Reedmere Cup", tmp_path / "w")
    for arguments, said in (
        ([str(tmp_path / "none")], "cannot be opened"),
        ([str(folder), "--port", "80"], "between 1024 and 65535"),
    ):
        assert ended_with(["serve", *arguments]) == 2
        assert said in capsys.readouterr().err


def ended_with(arguments: list[str]) -> int:
    try:
        return main(arguments)
    except SystemExit as end:
        return int(end.code or 0)


def test_the_name_of_a_weekend_is_text_on_the_page(
    server: subprocess.Popen[bytes], port: int
) -> None:
    async def look() -> str:
        async with aiohttp.ClientSession() as session:
            url = f"http://127.0.0.1:{port}/"
            await reached(session, url)
            async with session.get(url) as answer:
                return str(await answer.text())

    page = asyncio.run(look())
    shown = "pitwright: &lt;/title&gt;&lt;script&gt;x&lt;/script&gt; &amp; &#39;Co&#39;"
    assert f"<title>{shown}</title>" in page
    assert f"{shown}: opening the weekend" in page
    assert "<script>x" not in page
    assert page.count("</title>") == 1


@pytest.mark.parametrize("sign", ["\u202e", "\u2066", "\u200f", "\u001b", "\u0085"])
def test_a_name_that_a_page_would_obey_is_refused_before_there_is_one(
    tmp_path: Path, sign: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = weekend_named(f"Reed\\u{ord(sign):04X}mere", tmp_path / "w")
    assert ended_with(["serve", str(folder), "--port", str(free_port())]) == 2
    said = capsys.readouterr().err
    assert f"U+{ord(sign):04X}" in said
    assert sign not in said


class Browser:
    """A page of a real browser, driven over its debugging port."""

    def __init__(self, link: Any) -> None:
        self._link = link
        self._asked = 0
        self.seen = ""
        self.requests: list[str] = []

    async def ask(self, method: str, **params: Any) -> dict[str, Any]:
        self._asked += 1
        await self._link.send_json({"id": self._asked, "method": method, "params": params})
        while True:
            message = await self._link.receive_json(timeout=60)
            self._note(message)
            if message.get("id") == self._asked:
                result: dict[str, Any] = message.get("result", {})
                return result

    def _note(self, message: dict[str, Any]) -> None:
        params = message.get("params", {})
        if message.get("method") == "Network.webSocketFrameReceived":
            data = params["response"]["payloadData"]
            if params["response"]["opcode"] == 2:
                self.seen += base64.b64decode(data).decode(errors="replace")
        if message.get("method") == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        if message.get("method") == "Network.webSocketCreated":
            self.requests.append(params["url"])

    async def until(self, text: str) -> None:
        for _ in range(300):
            await self.ask("Runtime.evaluate", expression="1")
            if text in self.seen:
                return
            await asyncio.sleep(0.1)
        raise AssertionError(f"never shown: {text}; last: {self.seen[-2000:]!r}")

    async def press(self, key: str) -> None:
        told = {"key": key, "code": f"Digit{key}", "windowsVirtualKeyCode": ord(key)}
        await self.ask("Input.dispatchKeyEvent", type="keyDown", text=key, **told)
        await self.ask("Input.dispatchKeyEvent", type="keyUp", **told)


@asynccontextmanager
async def browser(profile: Path) -> AsyncIterator[Browser]:
    assert CHROMIUM is not None
    shell = await asyncio.create_subprocess_exec(
        CHROMIUM,
        *QUIET,
        f"--user-data-dir={profile}",
        "--remote-debugging-port=0",
        "--window-size=1000,640",
        "about:blank",
        stderr=asyncio.subprocess.DEVNULL,
    )
    try:
        note = profile / "DevToolsActivePort"
        for _ in range(300):
            if note.exists() and note.read_text().count("\n"):
                break
            await asyncio.sleep(0.1)
        where = note.read_text().split("\n")[0]
        async with aiohttp.ClientSession() as session:
            async with session.get(f"http://127.0.0.1:{where}/json/list") as answer:
                pages = await answer.json(content_type=None)
            target = next(p for p in pages if p["type"] == "page")["webSocketDebuggerUrl"]
            async with session.ws_connect(target, max_msg_size=0) as link:
                page = Browser(link)
                await page.ask("Network.enable")
                await page.ask("Page.enable")
                yield page
    finally:
        shell.terminate()
        await shell.wait()


@pytest.mark.skipif(CHROMIUM is None, reason="no chromium here: the browser is not tested")
def test_the_app_works_by_keys_in_a_real_browser_and_fetches_nothing_from_outside(
    server: subprocess.Popen[bytes], port: int, tmp_path: Path
) -> None:
    async def look() -> None:
        # By the other name of this laptop: all the page asks for has to come from that one.
        url = f"http://localhost:{port}/"
        async with aiohttp.ClientSession() as session:
            await reached(session, f"http://127.0.0.1:{port}/")
        async with browser(tmp_path / "profile") as page:
            await page.ask("Page.navigate", url=url)
            await page.until("No heat has been run yet")
            shown = await page.ask("Runtime.evaluate", expression="document.body.className")
            assert "-first-byte" in shown["result"]["value"]
            held = await page.ask("Runtime.evaluate", expression="document.activeElement.className")
            assert held["result"]["value"] == "xterm-helper-textarea"
            await page.press("2")
            await page.until("Begin a build")
            assert all(f"localhost:{port}/" in asked for asked in page.requests)
            assert any(asked.startswith("ws://") for asked in page.requests)
            assert any("RobotoMono" in asked for asked in page.requests)
            target = os.environ.get("PITWRIGHT_BROWSER_PICTURE")
            if target:
                taken = await page.ask("Page.captureScreenshot", format="png")
                Path(target).write_bytes(base64.b64decode(taken["data"]))

    asyncio.run(look())
