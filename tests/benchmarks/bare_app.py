"""The measure for the app's start: a bare Textual app with a header and a footer."""

from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.widgets import Footer, Header


class BareApp(App[None]):
    TITLE = "Bare"
    BINDINGS: ClassVar[list[BindingType]] = [("q", "quit", "Quit"), ("d", "toggle_dark", "Dark")]

    def compose(self) -> ComposeResult:
        yield Header()
        yield Footer()


if __name__ == "__main__":
    BareApp().run()
