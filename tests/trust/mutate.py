"""Seeded mutations of texts, TOML tables and bytes, and hostile material to put into them."""

from __future__ import annotations

import copy
import datetime as dt
import random
from typing import Any

import tomli_w

HOSTILE = (
    "",
    " ",
    "\x1b[2J\x1b[31mred",
    "\x1b]0;title\x07",
    "\x9b31m",
    "\u202egnp.exe",
    "\u2066x\u2069",
    "\u061c\u200f",
    "[red]x[/]",
    "[@click=app.quit]x[/]",
    "[/]",
    "[",
    "<script>alert(1)</script>",
    "../../../etc/passwd",
    "/etc/passwd",
    "C:\\con",
    "nul",
    "\x00",
    "\ufeff",
    "\u2028",
    "a\tb\nc\rd",
    "🏁" * 50,
    "שלום עולם",
    "e\u0301" * 30,
    "x" * 5000,
    "nan",
    "inf",
    "-inf",
    "1e400",
    "1e308",
    "1e-320",
    "9" * 400,
    "0x" + "f" * 200,
    "10,15",
    "0.4 in",
    "10 furlong",
    "1 m^9^9^9",
    "3 kg",
    "-0",
    "٣٤",
    "²",
    "½",
    "1_0",
    "{0}",
    "%s%n",
    "$(id)",
    "true",
)

NUMBERS: tuple[Any, ...] = (
    0,
    -1,
    1,
    2,
    5,
    12,
    99,
    1e-9,
    -1e-300,
    5e-324,
    1e9,
    1e300,
    1.7976931348623157e308,
    float("inf"),
    float("-inf"),
    float("nan"),
    2**31,
    2**63,
    -(2**63),
    10**30,
    10**400,
    0.1,
    True,
    False,
)

DATES: tuple[Any, ...] = (
    dt.date(1, 1, 1),
    dt.date(9999, 12, 31),
    dt.datetime(1, 1, 1),
    dt.datetime(9999, 12, 31, 23, 59, 59),
    dt.datetime(1, 1, 1, tzinfo=dt.timezone(dt.timedelta(hours=14))),
    dt.datetime(9999, 12, 31, 23, 59, 59, tzinfo=dt.timezone(dt.timedelta(hours=-12))),
    dt.datetime(2026, 3, 29, 1, 30),
    dt.datetime(2026, 10, 25, 1, 30),
    dt.datetime(1970, 1, 1, tzinfo=dt.UTC),
    dt.time(23, 59, 59, 999999),
)


def value(rng: random.Random, depth: int = 0) -> Any:
    """Return any TOML value, mostly an unpleasant one."""
    kind = rng.randrange(9 if depth < 3 else 7)
    if kind < 2:
        return rng.choice(HOSTILE)
    if kind < 4:
        return rng.choice(NUMBERS)
    if kind == 4:
        return rng.uniform(-20, 20)
    if kind == 5:
        return rng.choice(DATES)
    if kind == 6:
        return "".join(chr(rng.randrange(1, 0x3000)) for _ in range(rng.randrange(12)))
    if kind == 7:
        return [value(rng, depth + 1) for _ in range(rng.randrange(4))]
    return {rng.choice(("x", "value", "from", "id", "")): value(rng, depth + 1)}


def _places(table: Any, found: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    items: Any = (
        table.items()
        if isinstance(table, dict)
        else enumerate(table)
        if isinstance(table, list)
        else ()
    )
    for key, child in items:
        found.append((table, key))
        _places(child, found)
    return found


def mutate_table(rng: random.Random, table: dict[str, Any]) -> dict[str, Any]:
    """Return a copy with one to three values swapped, deleted, renamed, moved or nested."""
    table = copy.deepcopy(table)
    for _ in range(rng.choice((1, 1, 1, 1, 2, 3))):
        places = _places(table, [])
        if not places:
            return table
        holder, key = rng.choice(places)
        move = rng.randrange(9)
        if move < 1:
            holder[key] = value(rng)
        elif move < 4:
            holder[key] = _near(rng, holder[key])
        elif move == 4:
            del holder[key]
        elif move == 5 and isinstance(holder, dict):
            holder[rng.choice((*HOSTILE, key + "x", key.upper()))] = holder.pop(key)
        elif move == 6:
            other, at = rng.choice(places)
            if other is not holder:
                try:
                    holder[key] = copy.deepcopy(other[at])
                except (KeyError, IndexError):
                    continue
        elif move == 7 and isinstance(holder, dict):
            holder[rng.choice(("x", "value", "id", "format"))] = value(rng)
        else:
            deep: Any = holder[key]
            for _ in range(rng.choice((1, 2, 14, 40))):
                deep = [deep] if rng.random() < 0.5 else {"a": deep}
            holder[key] = deep
    return table


def _near(rng: random.Random, old: Any) -> Any:
    """Return something like the old value: what survives the checks of its type."""
    if isinstance(old, bool):
        return not old
    if isinstance(old, int | float):
        factor = rng.choice((-1, 0, 0.001, 0.5, 2, 1000, 1e12, 1e300))
        # A whole number of thousands of digits, put there by an earlier change, is no float.
        return old * factor if abs(old) < 1e300 else -old
    if isinstance(old, str):
        number = old.split(" ")[0]
        try:
            figure = float(number)
        except ValueError:
            return old + rng.choice(HOSTILE)
        return (
            f"{figure * rng.choice((-1, 0, 1e-9, 0.001, 0.5, 2, 1000, 1e150))!r}"
            + (old[len(number) :])
        )
    if isinstance(old, list) and old:
        return old * rng.choice((0, 2, 60))
    if isinstance(old, dt.datetime):
        try:
            return old + dt.timedelta(days=rng.choice((-700000, -400, -1, 1, 400, 2900000)))
        except OverflowError:
            return dt.date(1, 1, 1)
    return old


_TOKENS = (
    b'"', b"'", b"=", b"[", b"]", b"[[", b"]]", b"{", b"}", b",", b"\n", b"\r", b"#", b".",
    b"'''", b'"""', b"\\u202e", b"\\x1b", b"\\U0010ffff", b"\\ud800", b"nan", b"-inf", b"1e999",
    b"0xffffffffffffffffffff", b"9999-12-31T23:59:59-12:00", b"0001-01-01", b"true", b"\x00",
    b"\x1b[2J", b"\xff\xfe", b"\xe2\x80\xae", b";", b"|", b"\t", b":", b"59:59.999", b"-1", b"0",
    b"9" * 30, b"[" * 2000, b"a." * 2000 + b"a=1\n", b"{a=" * 200, b"x" * 3000,
)  # fmt: skip


def mutate_bytes(rng: random.Random, data: bytes) -> bytes:
    """Return a copy with bytes flipped, tokens put in or swapped, parts cut, doubled or moved."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 3, 8))):
        at = rng.randrange(len(out) + 1)
        move = rng.randrange(8)
        if move == 0 and out:
            out[at % len(out)] ^= 1 << rng.randrange(8)
        elif move == 1:
            out[at:at] = rng.choice(_TOKENS)
        elif move == 2:
            del out[at : at + rng.choice((1, 1, 3, 20, 500))]
        elif move == 3:
            part = out[at : at + rng.randrange(1, 80)]
            out[at:at] = part * rng.choice((1, 2, 30))
        elif move == 4:
            out[at:at] = rng.choice(HOSTILE).encode("utf-8", "surrogatepass")
        elif move == 5:
            end = at + rng.randrange(1, 6)
            out[at:end] = rng.choice(_TOKENS)
        elif move == 6:
            lines = bytes(out).split(b"\n")
            a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
            out = bytearray(b"\n".join(lines))
        else:
            out[at : at + 1] = bytes([rng.randrange(256)])
    return bytes(out)


def table_text(table: dict[str, Any]) -> str | None:
    """Return a table as TOML, None when it cannot be written so."""
    try:
        return tomli_w.dumps(table)
    except (ValueError, TypeError, RecursionError):
        return None
