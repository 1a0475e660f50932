"""Mutation fuzzing of every reader: never a traceback, always file, key and reason.

    python tests/trust/fuzz_readers.py --cases 100000 --seed 1

Each case takes one of the readers, spoils what it reads, and holds the answer to what is promised:
a value, or a refusal that names the place and the reason and carries no sign a terminal would
obey. What is accepted goes on to the desk now and then, since a card that reads must also reckon.
A case that takes longer than its bound is a fault, too.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import io
import json
import random
import shutil
import struct
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from trust.answers import ask_everything
from trust.mutate import HOSTILE, NUMBERS, mutate_bytes, mutate_table, table_text

from pitwright.paths import demo_folder, themes_folder
from pitwright.signs import visible
from pitwright.store.lap_csv import read_lap_csv
from pitwright.store.lock import FolderLock
from pitwright.store.log_writer import as_toml
from pitwright.store.open_work import read_open
from pitwright.store.reader import read_folder
from pitwright.store.toml_reader import parse_toml, read_text, validate
from pitwright.timing.laps import parse_typed_laps, read_laps
from pitwright.timing.text import LapFileError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.event import EventCard
from pitwright.weekend.log import in_force
from pitwright.weekend.problems import Problem
from pitwright.weekend.procedure import Procedure
from pitwright.weekend.records import RECORD_KINDS
from pitwright.weekend.stock import Stock

NOW = datetime(2026, 5, 17, 15, 0, tzinfo=UTC)
SLOW_SECONDS, SLOW_TIMES = 5.0, 4.0
"""A case is slow beyond both: so many seconds, so many times what the unspoiled demo takes here.

Counting branches, or a slow machine, slows the one as the other.
"""
CARDS = {
    "weekend.toml": EventCard,
    "clutch.toml": ClutchCard,
    "procedure.toml": Procedure,
    "stock.toml": Stock,
}
CORPUS = Path(__file__).resolve().parent.parent / "timing" / "lap_corpus"


class BrokenError(AssertionError):
    """A promise about an answer was not kept."""


@dataclass
class Bench:
    """What the cases are made of, read once."""

    rng: random.Random
    scratch: Path
    desk_share: float
    cards: dict[str, bytes] = field(default_factory=dict)
    records: list[tuple[str, bytes]] = field(default_factory=list)
    laps: list[bytes] = field(default_factory=list)
    themes: list[bytes] = field(default_factory=list)
    open_files: dict[str, bytes] = field(default_factory=dict)
    answers: Counter[str] = field(default_factory=Counter)
    folder: Path = Path()

    def __post_init__(self) -> None:
        demo = demo_folder()
        templates = files("pitwright.store") / "templates"
        self.cards = {f"demo {name}": (demo / name).read_bytes() for name in CARDS}
        for name in ("clutch.toml", "procedure.toml", "stock.toml"):
            self.cards[f"template {name}"] = (templates / name).read_bytes()
        self.records = [(p.name, p.read_bytes()) for p in sorted((demo / "log").iterdir())]
        self.laps = [p.read_bytes() for p in sorted(CORPUS.iterdir()) if p.suffix]
        self.themes = [p.read_bytes() for p in sorted(themes_folder().glob("*.toml"))]
        self.folder = self.scratch / "weekend"
        shutil.copytree(demo, self.folder)
        self.whole = read_folder(self.folder, "tent1")
        assert self.whole.weekend is not None
        self._make_open()

    def _make_open(self) -> None:
        from pitwright.desk.build.build import start
        from pitwright.desk.heats.heats import start_heat, tap
        from pitwright.store.session import Session

        with Session(self.folder, laptop="tent1", clock=lambda: NOW) as session:
            weekend = session.weekend
            session.keep_build(start(weekend, "full rebuild", NOW))
            heat = start_heat(weekend, NOW, name="T1")
            session.keep_heat(tap(heat, NOW))
            from pitwright.weekend.open_work import Timer

            session.keep_timers([Timer(name="t", label="cool down", due_at=NOW)])
            session.keep_draft("measure", {"free_length": "10.1"})
        place = self.folder / "open" / "tent1"
        self.open_files = {
            str(p.relative_to(place)): p.read_bytes() for p in sorted(place.rglob("*.toml"))
        }


def _usual_seconds(bench: Bench) -> float:
    """Return the processor's time to ask the unspoiled demo everything."""
    assert bench.whole.weekend is not None
    started = time.process_time()
    ask_everything(bench.whole.weekend, NOW)
    return time.process_time() - started


def hold_text(text: str, what: str) -> None:
    """A text for the user: not empty, of bearable length, without control signs."""
    if not text.strip():
        raise BrokenError(f"{what}: says nothing")
    if len(text) > 3000:
        raise BrokenError(f"{what}: {len(text)} signs long: {text[:200]!r}")
    if visible(text) != text:
        raise BrokenError(f"{what}: control signs in {text[:200]!r}")


def hold_problem(problem: object) -> None:
    """A problem names file and reason."""
    if not isinstance(problem, Problem):
        raise BrokenError(f"not a problem: {problem!r}")
    if not problem.file or not problem.reason:
        raise BrokenError(f"without file or reason: {problem!r}")
    hold_text(str(problem), "problem")
    str(problem).encode()


def _spoiled(rng: random.Random, data: bytes) -> str | None:
    """Return a spoiled TOML text, by its bytes or by its values; None when it is not text."""
    if rng.random() < 0.4:
        try:
            return mutate_bytes(rng, data).decode("utf-8-sig")
        except UnicodeDecodeError:
            return None
    return table_text(mutate_table(rng, tomllib.loads(data.decode())))


def case_card(bench: Bench) -> str:
    rng = bench.rng
    key = rng.choice(sorted(bench.cards))
    name = key.split()[1]
    text = _spoiled(rng, bench.cards[key])
    if text is None:
        return "not text"
    table = parse_toml(text, name)
    if isinstance(table, Problem):
        hold_problem(table)
        return "refused"
    found = validate(table, CARDS[name], name)
    if isinstance(found, list):
        if not found:
            raise BrokenError("refused without a problem")
        for problem in found:
            hold_problem(problem)
        return "refused"
    as_toml(found)
    if rng.random() < bench.desk_share:
        weekend = bench.whole.weekend
        if isinstance(found, EventCard):
            weekend = replace(weekend, event=found)
        elif isinstance(found, ClutchCard):
            weekend = replace(weekend, clutches={found.id: found})
        elif isinstance(found, Procedure):
            weekend = replace(weekend, procedure=found)
        else:
            weekend = replace(weekend, stock=found)
        ask_everything(weekend, NOW)
        return "accepted and asked"
    return "accepted"


def case_record(bench: Bench) -> str:
    rng = bench.rng
    name, data = rng.choice(bench.records)
    text = _spoiled(rng, data)
    if text is None:
        return "not text"
    table = parse_toml(text, name)
    if isinstance(table, Problem):
        hold_problem(table)
        return "refused"
    kind = table.get("kind")
    model = RECORD_KINDS.get(kind) if isinstance(kind, str) else None
    found = validate(table, model or rng.choice(list(RECORD_KINDS.values())), name)
    if isinstance(found, list):
        for problem in found:
            hold_problem(problem)
        return "refused"
    as_toml(found)
    if rng.random() < bench.desk_share:
        records = [r for r in bench.whole.records if f"{r.id}.toml" != name]
        record = found.model_copy(update={"id": name.removesuffix(".toml")})
        log = in_force([*records, record])
        for problem in log.problems:
            hold_problem(problem)
        ask_everything(replace(bench.whole.weekend, log=log), NOW)
        return "accepted and asked"
    return "accepted"


def case_folder(bench: Bench) -> str:
    """A spoiled file in a folder on disk."""
    rng = bench.rng
    chosen = [
        rng.choice(list(CARDS)),
        f"log/{rng.choice(bench.records)[0]}",
        rng.choice(["laps/Q1.csv", "laps/M2.csv"]),
        f"open/tent1/{rng.choice(sorted(bench.open_files))}",
    ]
    name = rng.choice(chosen)
    path = bench.folder / name
    kept = path.read_bytes()
    path.write_bytes(mutate_bytes(rng, kept))
    try:
        found = read_folder(bench.folder, "tent1")
    finally:
        path.write_bytes(kept)
    for problem in found.problems:
        hold_problem(problem)
    if found.weekend is None and not found.problems:
        raise BrokenError("no weekend and no problem")
    return "refused" if found.problems else "accepted"


def case_open(bench: Bench) -> str:
    rng = bench.rng
    name = rng.choice(sorted(bench.open_files))
    path = bench.folder / "open" / "tent1" / name
    text = _spoiled(rng, bench.open_files[name])
    if text is None:
        return "not text"
    path.write_text(text, encoding="utf-8", errors="surrogatepass")
    problems: list[Problem] = []
    try:
        found = read_open(bench.folder, "tent1", problems)
        asked = not problems and rng.random() < bench.desk_share
        whole = read_folder(bench.folder, "tent1") if asked else None
    finally:
        path.write_bytes(bench.open_files[name])
    for problem in problems:
        hold_problem(problem)
    if whole is not None:
        assert whole.weekend is not None
        assert whole.weekend.open == found or whole.problems
        ask_everything(whole.weekend, NOW)
        return "accepted and asked"
    return "refused" if problems else "accepted"


def case_laps(bench: Bench) -> str:
    rng = bench.rng
    data = mutate_bytes(rng, rng.choice(bench.laps))
    driver = rng.choice((None, None, None, "", "no name", "\x1b[31m", "car 7"))
    try:
        found = read_laps(data, driver=driver)
    except LapFileError as error:
        hold_text(str(error), "laps")
        return "refused"
    hold_text(found.understood.sentence, "understood")
    for line in found.rejected:
        hold_text(line.reason, "rejected")
        if line.text and visible(line.text, keep="") != line.text:
            raise BrokenError(f"rejected text: {line.text!r}")
        if line.line < 1:
            raise BrokenError("rejected without its line")
    for shown in (*found.question, found.driver, *found.understood.drivers,
                  *found.understood.header, *found.understood.notes):  # fmt: skip
        if visible(shown, keep="") != shown:
            raise BrokenError(f"shown raw: {shown!r}")
    if any(not 0 < lap <= 3600 for lap in found.laps):
        raise BrokenError(f"laps: {found.laps}")
    return "accepted" if found.laps else "nothing kept"


def case_lap_text(bench: Bench) -> str:
    rng = bench.rng
    text = mutate_bytes(rng, rng.choice(bench.laps)).decode("utf-8", "replace")
    typed = parse_typed_laps(text)
    for line in typed.rejected:
        hold_text(line.reason, "typed laps")
    own = mutate_bytes(rng, b"lap,seconds\n1,18.2\n2,18.31\n3,17.999\n").decode("utf-8", "replace")
    try:
        read_lap_csv(own)
    except LapFileError as error:
        hold_text(str(error), "lap csv")
        return "refused"
    return "accepted"


_PIECES = (
    "10.15", "10,15", "0.4 in", "0.4", '"', "mm", "in", " ", ";", ",", ", ", "-", "+", ".", "e5",
    "thou", "µm", "9" * 30, "10:32", "Sat 10:32", "16 May", "2026-05-16 10:32", "1/2", "8:30",
    "17 21", "75 F", "-40", "%", "yes", "Q2", "S1", "31 Feb 10:00", "29 Feb 9:00", "25:00",
    "0001-01-01 0:00", "9999-12-31 23:59", "5", "1", "3", "6", "1e9", "24,5 C", "°", "٣",
    "qualifier", "run", "cancelled", "stopped early", "S1, S2", "0.1 0.1 0.2", "0.1x3",
)  # fmt: skip


def typed_text(rng: random.Random) -> str:
    """Return a text as hands, clipboards and cats type it."""
    parts = [
        rng.choice(HOSTILE) if rng.random() < 0.15 else rng.choice(_PIECES)
        for _ in range(rng.choice((0, 1, 1, 1, 2, 3, 6)))
    ]
    return "".join(parts) if rng.random() < 0.5 else " ".join(parts)


def case_entry(bench: Bench) -> str:
    from pitwright.desk import form_text
    from pitwright.metrology.entry import parse_entry
    from pitwright.units import QuantityError, read_quantity

    rng = bench.rng
    text = typed_text(rng)
    entry = parse_entry(text)
    if entry.state == "refused":
        hold_text(entry.reason, "entry")
    parse_entry(text, allow_negative=True, largest=1e6)
    try:
        read_quantity(
            rng.choice((text, text, *NUMBERS)),
            rng.choice(("mm", "g", "deg", "GPa", "", "N m", "rpm", "degC", "K", "min", "ml")),
        )
    except QuantityError as error:
        hold_text(str(error), "quantity")
    zone = ZoneInfo("Europe/Lisbon")
    near = rng.choice((NOW, datetime(2024, 2, 29, tzinfo=UTC), datetime(2026, 3, 31, tzinfo=UTC)))
    for read in (
        form_text.read_minutes,
        form_text.read_rating,
        form_text.read_teeth,
        form_text.read_turns,
        lambda t: form_text.read_quantity_field(t, "degC"),
        lambda t: form_text.read_choice(t, ("run", "stopped early", "cancelled")),
        lambda t: form_text.read_moment(t, zone, near),
    ):
        try:
            read(text)
        except form_text.FieldError as error:
            hold_text(str(error), "field")
    return entry.state


def case_form(bench: Bench) -> str:
    """Whole forms, filled in at random."""
    from pitwright.desk.bite.form import air_trouble, observed_trouble, read_air
    from pitwright.desk.form_text import FormError
    from pitwright.desk.heats.heat_form import add_form, heat_form, read_heat
    from pitwright.desk.heats.note_forms import (
        delay_form,
        note_form,
        read_delay,
        read_note,
        read_setting,
        setting_form,
    )
    from pitwright.desk.stock.shim_form import read_counted, shim_trouble

    rng, weekend = bench.rng, bench.whole.weekend
    which = rng.randrange(6)
    text = typed_text(rng)
    if which == 5:
        if not shim_trouble(text):
            read_counted(text)
        values = {key: typed_text(rng) for key in ("air_c", "pressure_hpa", "humidity_percent")}
        if air_trouble(values) is None:
            read_air(values)
        values = {key: typed_text(rng) for key in ("how", "rpm", "u_rpm", "heat", "source", "note")}
        observed_trouble(values, ["Q1"])
        return "read"
    base = add_form(weekend, NOW, rng.choice((None, *weekend.schedule)))
    forms = {
        0: lambda: (heat_form(weekend, base), lambda v: read_heat(weekend, base, v, NOW)),
        1: lambda: (note_form(weekend, NOW), lambda v: read_note(weekend, v, NOW)),
        2: lambda: (delay_form(weekend, NOW), lambda v: read_delay(weekend, v, NOW)),
        3: lambda: (setting_form(weekend, NOW), lambda v: read_setting(weekend, v, NOW)),
        4: lambda: (heat_form(weekend, base), lambda v: read_heat(weekend, base, v, NOW)),
    }
    fields, read = forms[which]()
    values = {f.key: f.value for f in fields}
    for key in rng.sample(sorted(values), k=min(len(values), rng.choice((1, 2, 4)))):
        values[key] = typed_text(rng)
    try:
        record = read(values)
    except FormError as error:
        for reason in error.errors.values():
            hold_text(reason, "form")
        return "refused"
    as_toml(record)
    if rng.random() < bench.desk_share:
        landed = record.model_copy(update={"id": "x", "laptop": "tent1", "sequence": 9999})
        ask_everything(replace(weekend, log=in_force([*bench.whole.records, landed])), NOW)
        return "accepted and asked"
    return "accepted"


def case_sound(bench: Bench) -> str:
    from pitwright.sound.read_audio import AudioError, open_recording

    rng = bench.rng
    channels, width = rng.choice((1, 2)), rng.choice((1, 2, 3, 4))
    body = bytes(rng.randrange(256) for _ in range(rng.choice((0, 1, 40, 400))))
    form = struct.pack(
        "<HHIIHH", 1, channels, 8000, 8000 * channels * width, channels * width, 8 * width
    )
    data = b"RIFF" + struct.pack("<I", 36 + len(body)) + b"WAVEfmt "
    data += struct.pack("<I", 16) + form + b"data" + struct.pack("<I", len(body)) + body
    name = rng.choice(("a.wav", "\x1b[31m.wav"))
    try:
        recording = open_recording(io.BytesIO(mutate_bytes(rng, data)), name)
        for number, block in enumerate(recording.blocks(1.0)):
            if number > 2000:
                raise BrokenError("more blocks than bytes")
            assert block.dtype.name == "float32"
    except AudioError as error:
        hold_text(str(error), "sound")
        return "refused"
    return "accepted"


def case_theme(bench: Bench) -> str:
    from pitwright.app.themes import load_themes

    rng = bench.rng
    place = bench.scratch / "themes"
    place.mkdir(exist_ok=True)
    path = place / rng.choice(("own.toml", "own\x1b[31m.toml", "[red]x.toml"))
    path.write_bytes(mutate_bytes(rng, rng.choice(bench.themes)))
    try:
        good, bad = load_themes([place])
    finally:
        path.unlink()
    for line in bad:
        hold_text(line, "theme")
    if len(good) + len(bad) != 1:
        raise BrokenError("a theme that is neither good nor bad")
    return "refused" if bad else "accepted"


def case_holder(bench: Bench) -> str:
    rng = bench.rng
    note = {"host": "tent1", "process": 1, "since": "2026-05-16T09:00:00+00:00"}
    data = json.dumps(mutate_table(rng, note), default=str).encode("utf-8", "surrogatepass")
    (bench.folder / "open" / "holder.json").write_bytes(
        mutate_bytes(rng, data) if rng.random() < 0.5 else data
    )
    holder = FolderLock(bench.folder).holder()
    if holder is not None:
        hold_text(str(holder), "holder")
    return "accepted" if holder else "refused"


def case_user(bench: Bench) -> str:
    """The user's own keys and what was remembered of the weekends opened."""
    from pitwright.app.app import PitwrightApp
    from pitwright.app.keymap import load_keymap
    from pitwright.store.user import UserFiles

    rng = bench.rng
    place = bench.scratch / "user"
    place.mkdir(exist_ok=True)
    user = UserFiles(place, place)
    row = {"folder": "/w", "name": "n", "opened_at": "2026-05-16"}
    table = mutate_table(rng, {"theme": "night", "weekend": [row, dict(row)]})
    keys = {"keys": {"app.quit": "q", "screen.wear": "w", "app.help": "f1"}}
    text, own = table_text(table), table_text(mutate_table(rng, keys))
    if text is None or own is None:
        return "not text"
    data = text.encode("utf-8", "surrogatepass")
    (place / "remembered.toml").write_bytes(data if rng.random() < 0.6 else mutate_bytes(rng, data))
    (place / "keys.toml").write_bytes(own.encode("utf-8", "surrogatepass"))
    for recent in user.recent():
        hold_text(f"{recent.folder} {recent.name} {recent.opened_at}", "recent")
    user.theme()
    user.remember(bench.folder, "x", NOW)
    _keys, bad = load_keymap(user.keys, PitwrightApp)
    for line in bad:
        hold_text(line, "keys")
    return "refused" if bad else "accepted"


def case_read_text(bench: Bench) -> str:
    rng = bench.rng
    path = bench.scratch / "text.toml"
    path.write_bytes(mutate_bytes(rng, b"a = 1\n"))
    found = read_text(path, rng.choice(("text.toml", "\x1b[31m")))
    if isinstance(found, Problem):
        hold_problem(found)
        return "refused"
    return "accepted"


def case_argv(bench: Bench) -> str:
    from pitwright.cli import main

    rng = bench.rng
    commands = _commands()
    command, options = rng.choice(sorted(commands.items()))
    words: list[str] = [command]
    where = rng.random()
    target = bench.scratch / f"new{rng.randrange(10**9)}"
    if command in ("demo", "open"):
        folder = str(bench.scratch / "nothing\x1b[31m") if command == "open" else None
        words = ["open", folder] if folder else ["open", str(bench.folder)]
    elif where < 0.85:
        words.append(str(target if command == "new" else bench.folder))
    if command == "backup":
        words.append(str(target))
    for _ in range(rng.choice((0, 1, 1, 2, 3, 5))):
        roll = rng.random()
        if roll < 0.5 and options:
            words.append(rng.choice(options))
        words.append(rng.choice(HOSTILE) if rng.random() < 0.3 else typed_text(rng))
    words = [w.replace("\0", "") for w in words]
    # What would write outside of the scratch folder is left out.
    words = [w for w in words if not w.startswith(("--to", "--out", "-o", "../", "/etc", "C:"))]
    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8"), io.TextIOWrapper(io.BytesIO(), "utf-8")
    before = Path.cwd()
    try:
        import os

        inside = bench.scratch / "cwd"
        inside.mkdir(exist_ok=True)
        os.chdir(inside)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status: Any = main(words)
    except SystemExit as stop:
        status = stop.code
    finally:
        os.chdir(before)
        if target.exists():
            shutil.rmtree(target)
    if status not in (0, 1, 2):
        raise BrokenError(f"exit status {status!r} of {words!r}")
    for stream in (out, err):
        with contextlib.suppress(ValueError):
            stream.flush()
            said = stream.buffer.getvalue().decode()  # type: ignore[attr-defined]
            if visible(said) != said:
                raise BrokenError(f"control signs said by {words!r}")
            if "Traceback" in said:
                raise BrokenError(f"a traceback by {words!r}")
    if status == 2 and not err.closed and not err.buffer.getvalue().strip():  # type: ignore[attr-defined]
        raise BrokenError(f"status 2 without a word by {words!r}")
    log = bench.folder / "log"
    if len(list(log.iterdir())) > len(bench.records) + 40:
        shutil.rmtree(log)
        shutil.copytree(demo_folder() / "log", log)
    return f"exit {status}"


def _commands() -> dict[str, list[str]]:
    from pitwright.cli.parser import build_parser

    found: dict[str, list[str]] = {}
    for action in build_parser()._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, parser in action.choices.items():
                found[name] = [o for a in parser._actions for o in a.option_strings]
    found.pop("serve")  # it serves until it is stopped
    return found


# Each reader and its share of the cases.
CASES: Sequence[tuple[Callable[[Bench], str], int]] = (
    (case_card, 24),
    (case_record, 24),
    (case_laps, 14),
    (case_lap_text, 4),
    (case_entry, 14),
    (case_form, 5),
    (case_open, 4),
    (case_folder, 1),
    (case_argv, 2),
    (case_sound, 3),
    (case_theme, 2),
    (case_holder, 2),
    (case_user, 1),
    (case_read_text, 1),
)


def run(
    cases: int,
    seed: int,
    *,
    desk_share: float = 0.1,
    only: str = "",
    stop_at_first: bool = False,
    at: int | None = None,
    hung_after: float | None = None,
    say: Callable[[str], None] = print,
) -> list[str]:
    """Run cases; return what was broken, one line each with the seed of its case.

    A case that is not done after ``hung_after`` seconds ends the process, and shows where it was.
    """
    chosen = [(case, share) for case, share in CASES if only in case.__name__]
    broken: list[str] = []
    seen: set[str] = set()
    counts: Counter[str] = Counter()
    slowest = (0.0, "")
    with tempfile.TemporaryDirectory() as scratch:
        bench = Bench(random.Random(seed), Path(scratch), desk_share)
        picker = random.Random(seed)
        for number in range(cases):
            case = picker.choices([c for c, _ in chosen], [s for _, s in chosen])[0]
            own = f"{seed}-{number}"
            if at is not None and number != at:
                continue
            bench.rng = random.Random(own)
            if hung_after is not None:
                faulthandler.dump_traceback_later(hung_after, exit=True)
            started = time.process_time()
            try:
                answer = case(bench)
                counts[f"{case.__name__.removeprefix('case_')}: {answer}"] += 1
            except Exception as error:
                trace = error.__traceback__
                while trace is not None and trace.tb_next is not None:
                    trace = trace.tb_next
                line = ""
                if trace is not None:
                    line = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
                mark = f"{case.__name__} {type(error).__name__} {line}"
                if mark not in seen:
                    seen.add(mark)
                    broken.append(f"{own} {mark}: {str(error)[:300]!r}")
                    say(broken[-1])
                    if stop_at_first:
                        raise
                counts[f"{case.__name__.removeprefix('case_')}: BROKEN"] += 1
            took = time.process_time() - started
            slowest = max(slowest, (took, f"{own} {case.__name__}"))
            if took > SLOW_SECONDS and took > SLOW_TIMES * _usual_seconds(bench):
                broken.append(f"{own} {case.__name__}: took {took:.1f} s")
                say(broken[-1])
            faulthandler.cancel_dump_traceback_later()
    for what, count in sorted(counts.items()):
        say(f"{count:8d}  {what}")
    say(
        f"{cases} cases, seed {seed}: {len(broken)} broken; slowest {slowest[0]:.2f} s {slowest[1]}"
    )
    return broken


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="cases with this in their name")
    parser.add_argument("--desk-share", type=float, default=0.1)
    parser.add_argument("--stop", action="store_true", help="stop at the first fault, with trace")
    parser.add_argument("--at", type=int, help="only the case of this number")
    arguments = parser.parse_args()
    broken = run(
        arguments.cases,
        arguments.seed,
        desk_share=arguments.desk_share,
        only=arguments.only,
        stop_at_first=arguments.stop,
        hung_after=60,
        at=arguments.at,
    )
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
