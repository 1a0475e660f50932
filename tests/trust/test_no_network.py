"""No network, no pickle, no code out of data, no child processes: by the source and at run time."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pitwright

SOURCE = Path(pitwright.__file__).parent

# What a module may import although it could reach out, and why.
ALLOWED = {
    # the laptop's own name, for records and for the note beside the lock; nothing is opened
    ("store/laptop.py", "socket"),
    ("store/lock.py", "socket"),
    # the browser on this laptop, only on `serve`, bound to the loopback address
    ("cli/serve.py", "aiohttp"),
    ("cli/serve.py", "textual_serve.server"),
    ("cli/viewer.py", "aiohttp"),
    ("cli/viewer.py", "textual_serve.app_service"),
    ("cli/viewer.py", "asyncio.subprocess"),  # the name of a type only
}
REACHING = {
    "aiohttp", "asyncio.subprocess", "ftplib", "http", "httpx", "imaplib", "multiprocessing",
    "poplib", "requests", "smtplib", "socket", "socketserver", "ssl", "subprocess", "telnetlib",
    "textual_serve", "urllib", "urllib3", "webbrowser", "websockets", "xmlrpc",
}  # fmt: skip
RUNNING = {"pickle", "marshal", "shelve", "dill", "code", "codeop", "runpy", "ctypes", "pty"}
CALLS = {"eval", "exec", "compile", "__import__", "execfile"}
SHELLS = {"system", "popen", "execv", "execve", "execvp", "spawnv", "spawnl", "fork", "startfile"}


def _imports(tree: ast.AST) -> list[str]:
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.append(node.module)
    return found


def test_the_source_reaches_nobody_and_runs_no_data():
    told: list[str] = []
    used: set[tuple[str, str]] = set()
    for path in sorted(SOURCE.rglob("*.py")):
        name = path.relative_to(SOURCE).as_posix()
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for module in _imports(tree):
            top = module.split(".")[0]
            if top in REACHING | RUNNING or module in REACHING:
                if (name, module) in ALLOWED:
                    used.add((name, module))
                else:
                    told.append(f"{name} imports {module}")
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            function = node.func
            if isinstance(function, ast.Name) and function.id in CALLS:
                told.append(f"{name}:{node.lineno} calls {function.id}")
            if (
                isinstance(function, ast.Attribute)
                and function.attr in SHELLS
                and isinstance(function.value, ast.Name)
                and function.value.id == "os"
            ):
                told.append(f"{name}:{node.lineno} calls os.{function.attr}")
    assert told == []
    unused = {a for a in ALLOWED if a[1].split(".")[0] in REACHING} - used
    assert not unused, f"allowed and not needed: {unused}"


def test_socket_is_asked_for_the_laptops_name_only():
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Attribute)
                and isinstance(node.value, ast.Name)
                and node.value.id == "socket"
            ):
                assert node.attr == "gethostname", (path.name, node.lineno)


WATCHED = """
import asyncio, contextlib, io, os, sys
from pathlib import Path

seen = []

def watch(event, arguments):
    # The event loop wakes itself by a pair of sockets of its own: that reaches nobody.
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.getaddrinfo",
                 "socket.gethostbyname", "socket.sendmsg", "urllib.Request", "ftplib.connect",
                 "smtplib.connect", "http.client.connect", "webbrowser.open",
                 "subprocess.Popen", "os.system", "os.exec", "os.fork", "os.forkpty",
                 "os.posix_spawn", "os.spawn", "pty.spawn", "pickle.find_class"):
        # The drawing library asks the system for its fonts, once.
        if event != "subprocess.Popen" or arguments[0] != "fc-list":
            seen.append((event, repr(arguments)[:200]))

sys.addaudithook(watch)
folder, out = Path(sys.argv[1]), Path(sys.argv[2])

from pitwright.cli import main

def call(*words):
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        try:
            status = main([str(word) for word in words])
        except SystemExit as stop:
            status = stop.code
    assert status in (0, 1), (words, status)

for words in (
    ("--help",), ("verify", folder), ("state", folder, "--json"), ("nut", folder),
    ("bite", folder), ("launch", folder), ("shims", folder), ("gears", folder), ("air", folder),
    ("torques", folder), ("warmth", folder), ("timeline", folder), ("forecast", folder),
    ("race", folder),
    ("pace", folder), ("stock", folder), ("daysheet", folder, "--day", "all"),
    ("daysheet", folder, "--day", "all", "--format", "md"),
    ("daysheet", folder, "--day", "all", "--format", "html", "--output", out / "sheet.html"),
    ("export", folder, "--to", out / "tables"), ("backup", folder, out / "kept"),
    ("measure", folder, "free_length", "10.1", "--dry-run"), ("note", folder, "a note"),
    ("heat", folder, "X9", "--kind", "practice", "--start", "2026-05-15 12:00"),
    ("observe", folder, "creep", "12000"),
    ("new", out / "next", "--from", folder, "--name", "Next"),
):
    call(*words)

async def app():
    from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
    from pitwright.store.session import Session

    with Session(folder) as session:
        made = PitwrightApp(session)
        async with made.run_test(size=(120, 40)) as pilot:
            for key, *_rest in SCREENS_BY_KEY:
                await pilot.press("escape", key)
                await pilot.pause()
            await pilot.press("w")
            await pilot.pause()

asyncio.run(app())
print(seen)
"""


def test_neither_the_app_nor_a_command_opens_a_connection_or_a_process(tmp_path):
    import shutil

    from pitwright.paths import demo_folder

    folder = tmp_path / "w"
    shutil.copytree(demo_folder(), folder)
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, str(folder), str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
        env={**os.environ, "HOME": str(tmp_path), "XDG_STATE_HOME": str(tmp_path)},
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert done.stdout.strip().splitlines()[-1] == "[]"
