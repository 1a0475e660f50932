"""The user's own keys: ``keys.toml`` says which key does what, by the name of the action.

    [keys]
    "build.tick" = "space"
    "screen.wear" = "f9"

What cannot be used is left out and said once; every other line still counts.
"""

from __future__ import annotations

import importlib
import pkgutil
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual.binding import Binding
from textual.keys import KEY_NAME_REPLACEMENTS, Keys, _character_to_key
from textual.screen import Screen

from pitwright.signs import visible
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.problems import Problem

if TYPE_CHECKING:
    from textual.app import App

__all__ = ["EATEN", "ActionKeys", "all_keys", "as_toml", "load_keymap", "scopes"]

EATEN = {
    "ctrl+a": "terminal multiplexers take it for themselves",
    "ctrl+b": "terminal multiplexers take it for themselves",
    "ctrl+enter": "most terminals send a plain enter for it",
    "ctrl+shift+enter": "most terminals send a plain enter for it",
    "shift+enter": "most terminals send a plain enter for it",
    "ctrl+i": "terminals send tab for it",
    "ctrl+m": "terminals send enter for it",
    "ctrl+left_square_bracket": "terminals send escape for it",
    "ctrl+q": "it leaves the app and terminals stop and go on with it",
    "ctrl+c": "terminals interrupt with it",
}
"""Keys that do not reach the app everywhere, and why."""

_NAMED = frozenset(key.value for key in Keys) | set(KEY_NAME_REPLACEMENTS.values())
_LONGEST_LINE = 200
_MODIFIERS = ("ctrl+", "shift+", "alt+")


@dataclass(frozen=True)
class ActionKeys:
    """One action: its name in keys.toml, the keys as shipped, and what it does."""

    name: str
    keys: tuple[str, ...]
    tells: str


@dataclass
class Scope:
    """Everything that listens at the same time as one screen: its keys by action."""

    title: str
    keys: dict[str, set[str]] = field(default_factory=dict)


def _app_modules() -> Iterator[str]:
    for part in ("screens", "widgets"):
        package = importlib.import_module(f"pitwright.app.{part}")
        for module in pkgutil.iter_modules(package.__path__):
            yield f"pitwright.app.{part}.{module.name}"
    yield "pitwright.app.home"


def _bindings(owner: type[Any]) -> Iterator[Binding]:
    for base in owner.__mro__:
        own = base.__dict__.get("BINDINGS", ())
        if base.__module__.startswith("pitwright."):
            yield from (b for b in Binding.make_bindings(own) if b.id)


def _owners() -> list[type[Any]]:
    found: list[type[Any]] = []
    for name in _app_modules():
        module = importlib.import_module(name)
        found += [
            cls
            for cls in vars(module).values()
            if isinstance(cls, type) and cls.__module__ == name and "BINDINGS" in cls.__dict__
        ]
    return found


def scopes(app: type[App[Any]]) -> list[Scope]:
    """Return what listens together: for every screen its own keys and the app's.

    A widget's keys are one scope by themselves. This imports every screen, so it is done only
    when somebody has a keymap or asks for the list.
    """
    general = list(_bindings(app))
    found = []
    for owner in _owners():
        modal = not issubclass(owner, Screen) or "Modal" in str(owner.__mro__)
        scope = Scope(owner.__name__)
        for binding in [*_bindings(owner), *([] if modal else general)]:
            scope.keys.setdefault(binding.id or "", set()).add(binding.key)
        found.append(scope)
    return found


def all_keys(app: type[App[Any]]) -> list[ActionKeys]:
    """Return every action that can be given another key, by name."""
    found: dict[str, ActionKeys] = {}
    for owner in (app, *_owners()):
        for b in _bindings(owner):
            known = found.get(b.id or "")
            keys = (*(known.keys if known else ()), b.key)
            tells = known.tells if known else (b.tooltip or b.description)
            found[b.id or ""] = ActionKeys(b.id or "", tuple(dict.fromkeys(keys)), tells)
    return sorted(found.values(), key=lambda a: a.name)


def as_toml(actions: Sequence[ActionKeys]) -> str:
    """Return the keys as shipped as a keys.toml to start from."""
    told = "# Which key does what. Take the # from a line to change it; several keys with commas."
    lines = [told, "[keys]"]
    for action in actions:
        keys = ",".join(action.keys)
        lines.append(f'# "{action.name}" = "{keys}"'.ljust(48) + f"  # {action.tells}".rstrip())
    return "\n".join(lines) + "\n"


def load_keymap(path: Path, app: type[App[Any]]) -> tuple[dict[str, str], list[str]]:
    """Return the keymap that can be used, and a line per entry that cannot."""
    try:
        if not path.exists():
            return {}, []
    except OSError as error:
        return {}, [f"{path.name} cannot be read: {error.strerror or error}"]
    text = read_text(path, path.name)
    table = parse_toml(text, path.name) if isinstance(text, str) else text
    if isinstance(table, Problem):
        return {}, [str(table)]
    wanted = table.get("keys")
    if not isinstance(wanted, dict):
        return {}, [f"{path.name}: a table [keys] is wanted"]
    listeners = scopes(app)
    known = {name for scope in listeners for name in scope.keys}
    keymap: dict[str, str] = {}
    bad: list[str] = []
    for name, keys in wanted.items():
        if name not in known:
            bad.append(f"{name}: there is no such action")
        elif not isinstance(keys, str) or not keys.strip():
            bad.append(f'{name}: a key is wanted, such as "f9"')
        elif trouble := next((t for k in _split(keys) if (t := _trouble(k))), ""):
            bad.append(f"{name}: {trouble}")
        else:
            keymap[name] = ",".join(_split(keys))
    bad += _without_clashes(keymap, listeners)
    return keymap, [visible(line, keep="")[:_LONGEST_LINE] for line in bad]


def _split(keys: str) -> list[str]:
    text = keys.strip()
    return [_long(k.strip()) for k in text.split(",")] if text != "," else ["comma"]


def _long(key: str) -> str:
    return _character_to_key(key) if len(key) == 1 else key


def _trouble(key: str) -> str:
    if key in EATEN:
        return f"{key} will not do: {EATEN[key]}"
    bare = key
    while bare.startswith(_MODIFIERS):
        bare = bare.partition("+")[2]
    if len(bare) == 1 or bare in _NAMED or bare == "space":
        return ""
    try:
        unicodedata.lookup(bare.replace("_", " ").upper())
    except KeyError:
        return f"'{key}' is no key; write x, X, f9, ctrl+g, space, escape or the like"
    return ""


def _without_clashes(keymap: dict[str, str], listeners: list[Scope]) -> list[str]:
    """Take out of ``keymap`` what would take another action's key; return a line for each."""
    bad: list[str] = []
    for name in list(keymap):
        taken = _taken_by(name, keymap, listeners)
        if taken is not None:
            key, other = taken
            bad.append(f"{name}: {key} already does {other} there")
            del keymap[name]
    return bad


def _taken_by(name: str, keymap: dict[str, str], listeners: list[Scope]) -> tuple[str, str] | None:
    for scope in listeners:
        if name not in scope.keys:
            continue
        for other, shipped in scope.keys.items():
            if other == name:
                continue
            held = set(keymap[other].split(",")) if other in keymap else _long_all(shipped)
            both = held & set(keymap[name].split(","))
            # Some keys are shared as shipped: only one of the two is ever on offer.
            meant = _long_all(shipped) & _long_all(scope.keys[name])
            if both - meant:
                return sorted(both)[0], other
    return None


def _long_all(keys: set[str]) -> set[str]:
    return {_long(key) for key in keys}
