"""Who looks for widgets in a handler answers only while it stands, by its base class.

A handler runs whenever its message comes up, also before the widgets came and after they went.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import textwrap

import pytest
from textual.widget import Widget
from textual.widgets import Static

import pitwright.app
from pitwright.app.standing import Standing

LOOKS = {"query_one", "query_exactly_one", "query"}


def _looks(cls: type) -> list[str]:
    """Return where a class looks for widgets beneath it."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(cls)))
    return [
        f"{cls.__qualname__}: {node.func.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in LOOKS
    ]


def _unguarded(cls: type) -> list[str]:
    """Return where a widget looks although it may be asked while it does not stand."""
    if not issubclass(cls, Widget) or issubclass(cls, Standing):
        return []
    return _looks(cls)


def _classes() -> list[type]:
    found = []
    for module in pkgutil.walk_packages(pitwright.app.__path__, "pitwright.app."):
        loaded = importlib.import_module(module.name)
        found += [
            c for _, c in inspect.getmembers(loaded, inspect.isclass) if c.__module__ == module.name
        ]
    return found


def test_whoever_looks_for_widgets_stands() -> None:
    classes = _classes()
    assert sum(bool(_looks(c)) for c in classes if issubclass(c, Standing)) > 10
    assert [at for c in classes for at in _unguarded(c)] == []


class _Bare(Static):
    def on_resize(self) -> None:
        self.query_one("#gone")


class _Guarded(Standing, Static):
    def on_resize(self) -> None:
        self.query_one("#gone")


@pytest.mark.parametrize(("cls", "found"), [(_Bare, ["_Bare: query_one"]), (_Guarded, [])])
def test_a_bare_one_would_be_found(cls: type, found: list[str]) -> None:
    assert _unguarded(cls) == found
