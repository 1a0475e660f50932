"""The app in a browser on this laptop: off unless asked for, and for this laptop only.

It listens on the loopback address, answers only to its own name there, and takes keys only from
a page it has served itself; nothing on the page comes from anywhere else.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import importlib.util
import os
import shlex
import sys
from copy import copy
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pitwright.cli.shared import CliError, Commands, folder_argument

if TYPE_CHECKING:
    from textual_serve.server import Server

__all__ = ["add"]

HOST: Final = "127.0.0.1"
_NAMES: Final = (HOST, "localhost")
_PAGES: Final = Path(__file__).parent / "web"
# Each viewer is an app of its own, some 70 MB; a page that keeps asking must not fill the laptop.
_MOST_VIEWERS: Final = 8
_MISSING: Final = "the browser needs an extra: pip install 'pitwright[web]'"


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    serve = commands.add_parser(
        "serve",
        help="show the app in a browser on this laptop",
        description=(
            "Show the app in a browser. It listens on this laptop's loopback address only; a "
            "phone or tablet reaches it through a tunnel of your own, such as ssh -L."
        ),
    )
    folder_argument(serve)
    serve.add_argument("--port", type=_port, default=8420, help="where to listen (default: 8420)")
    serve.add_argument("--theme", metavar="NAME", help="colours, as for open")
    serve.set_defaults(run=_serve)


def _port(text: str) -> int:
    if not text.isdigit() or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError("must be between 1024 and 65535")
    return int(text)


def _serve(arguments: argparse.Namespace) -> int:
    from pitwright.cli.shared import opened

    if importlib.util.find_spec("textual_serve") is None:
        raise CliError(_MISSING)
    with opened(arguments.folder) as session:
        name = session.weekend.event.name
    command = [sys.executable, "-m", "pitwright", "open", str(arguments.folder.resolve())]
    if arguments.theme:
        command += ["--theme", arguments.theme]
    # It is run by a shell, which is not to stand between the server and the app it has to end.
    alone = "" if os.name == "nt" else "exec "
    server = _server(alone + shlex.join(command), arguments.port, f"pitwright: {name}")
    print(f"Open http://{HOST}:{arguments.port} in a browser on this laptop; ctrl+c ends it.")
    try:
        server.serve()
    except OSError as error:
        raise CliError(f"port {arguments.port}: {error.strerror or error}") from error
    return 0


def _server(command: str, port: int, title: str) -> Server:
    from aiohttp import WSCloseCode, web
    from textual_serve.server import Server

    from pitwright.cli.viewer import ENDS_WITHIN_S, Viewer, sides

    here = {f"{name}:{port}" for name in _NAMES}
    looking: dict[web.WebSocketResponse, tuple[Viewer, web.Request]] = {}
    ending = asyncio.Event()

    class LoopbackServer(Server):
        """A server for this laptop alone."""

        async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
            """Show the app to one page until either ends."""
            try:
                asked = request.query
                size = sides(int(asked.get("width", "80")), int(asked.get("height", "24")))
            except ValueError as error:
                raise web.HTTPBadRequest(text=str(error)) from None
            if len(looking) >= _MOST_VIEWERS:
                raise web.HTTPServiceUnavailable(text=f"{_MOST_VIEWERS} pages show it already")
            # A page that does not answer that it has closed is not waited for.
            link = web.WebSocketResponse(heartbeat=15, timeout=1.0)

            async def leave() -> None:
                await link.close()

            viewer = Viewer(
                self.command,
                write_bytes=link.send_bytes,
                write_str=link.send_str,
                close=leave,
                download_manager=self.download_manager,
            )
            looking[link] = viewer, request
            try:
                await link.prepare(request)
                await viewer.start(*size)
                if not ending.is_set():
                    await viewer.follow(link)
            finally:
                await viewer.stop()
                looking.pop(link, None)
            return link

        async def on_shutdown(self, app: web.Application) -> None:
            """Send every page home; each takes its app with it."""
            ending.set()
            gone = list(looking.items())
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(
                    asyncio.gather(
                        *(viewer.stop(hurry=True) for _, (viewer, _) in gone),
                        *(link.close(code=WSCloseCode.GOING_AWAY) for link, _ in gone),
                        return_exceptions=True,
                    ),
                    ENDS_WITHIN_S,
                )
            for _, (_, request) in gone:
                if request.transport is not None:
                    request.transport.abort()  # a page that reads nothing cannot be told

        async def handle_index(self, request: web.Request) -> web.StreamResponse:
            """Show the page, all of it by the name it was asked for."""
            page = copy(self)
            page.public_url = f"http://{request.host}"
            shown: web.StreamResponse = await Server.handle_index(page, request)
            return shown

        async def _make_app(self) -> web.Application:
            app = await super()._make_app()
            app.middlewares.append(only_from_here)
            app.on_response_prepare.append(kept_to_itself)
            app.router.add_get("/focus.js", focus)
            return app

        async def on_startup(self, app: web.Application) -> None:
            """Say nothing; the command has."""

        def initialize_logging(self) -> None:
            """Leave the log alone."""

    @web.middleware
    async def only_from_here(request: web.Request, handler: Any) -> web.StreamResponse:
        # A page from elsewhere, open in the same browser, must not press keys in the app: it
        # sends its own origin, and a name that was bent to this address is not ours.
        origin = request.headers.get("Origin")
        if request.host not in here or origin not in (None, f"http://{request.host}"):
            raise web.HTTPForbidden(text="only a page of this laptop's own pitwright may ask")
        if request.path == "/ws" and origin is None:
            raise web.HTTPForbidden(text="a page has to say where it is from")
        response: web.StreamResponse = await handler(request)
        if request.path.startswith("/static") and not isinstance(response, web.FileResponse):
            raise web.HTTPNotFound  # a list of what is there
        return response

    async def kept_to_itself(request: web.Request, response: web.StreamResponse) -> None:
        # In a frame of a page from elsewhere, keys meant for that page would go to the app.
        response.headers.update(
            {
                "Content-Security-Policy": (
                    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
                    "font-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; "
                    f"frame-ancestors 'none'; connect-src ws://{request.host}"
                    if request.host in here
                    else "default-src 'none'; frame-ancestors 'none'"
                ),
                "Referrer-Policy": "no-referrer",
                "X-Content-Type-Options": "nosniff",
                "X-Frame-Options": "DENY",
            }
        )

    async def focus(_request: web.Request) -> web.FileResponse:
        return web.FileResponse(_PAGES / "focus.js")

    return LoopbackServer(
        command,
        host=HOST,
        port=port,
        title=title,
        public_url=f"http://{HOST}:{port}",
        templates_path=_PAGES,
    )
