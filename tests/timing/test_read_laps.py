import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pitwright.store.lap_csv import format_lap_csv, read_lap_csv, read_lap_marks
from pitwright.timing.laps import LapPreview, parse_typed_laps, read_laps
from pitwright.timing.text import MOST_BYTES, MOST_LAPS, LapFileError
from pitwright.timing.times import TimeCell, read_time

LAPS = st.lists(st.integers(12_000, 59_999).map(lambda ms: ms / 1000.0), min_size=6, max_size=40)
NAMES = ["Ana Bremm", "Kor Vale", "Jö Übel"]


def read_or_refuse(data: bytes) -> LapPreview | None:
    """Read, or None when refused with the reader's own error; anything else is a failure."""
    try:
        return read_laps(data)
    except LapFileError:
        return None


def written(seconds: float, notation: str, decimal: str) -> str:
    if notation == "seconds":
        text = f"{seconds:.3f}"
    elif notation == "m:s":
        text = f"{int(seconds // 60)}:{seconds % 60:06.3f}"
    elif notation == "h:m:s":
        text = f"{int(seconds // 3600):02d}:{int(seconds // 60) % 60:02d}:{seconds % 60:06.3f}"
    else:
        text = f"{int(seconds // 60)}'{seconds % 60:06.3f}"
    return text.replace(".", decimal)


@given(
    laps=LAPS,
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    notation=st.sampled_from(["seconds", "m:s", "h:m:s", "m's"]),
    decimal=st.sampled_from([".", ","]),
    heading=st.sampled_from([("lap", "lap time"), ("No", "Time (s)"), ("Runde", "Zeit"), None]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"]),
)
@settings(max_examples=150, deadline=None)
def test_a_numbered_table_reads_back_whatever_its_dress(
    laps: list[float],
    delimiter: str,
    notation: str,
    decimal: str,
    heading: tuple[str, str] | None,
    end: str,
    encoding: str,
) -> None:
    quote = '"' if delimiter == decimal else ""
    rows = [delimiter.join(heading)] if heading else []
    for number, lap in enumerate(laps, 1):
        rows.append(f"{number}{delimiter}{quote}{written(lap, notation, decimal)}{quote}")
    preview = read_laps(end.join(rows).encode(encoding), kind="lap times")
    assert preview.laps == pytest.approx(laps, abs=1e-6)
    assert preview.rejected == ()


@given(laps=LAPS, start=st.sampled_from([0, 40_000, 86_300]), named=st.booleans())
@settings(max_examples=100, deadline=None)
def test_clock_times_read_back_as_laps(laps: list[float], start: int, named: bool) -> None:
    clock, rows = float(start), ["time of day"] if named else []
    for lap in [0.0, *laps]:
        clock += lap
        rows.append(written(round(clock, 3) % 86_400, "h:m:s", "."))
    preview = read_laps("\n".join(rows).encode())
    assert preview.understood.kind == "passing times"
    assert preview.laps == pytest.approx(laps, abs=2e-3)
    assert preview.rejected == ()


@given(per_driver=st.lists(LAPS, min_size=2, max_size=3), mixed=st.booleans())
@settings(max_examples=60, deadline=None)
def test_each_driver_gets_their_own_laps(per_driver: list[list[float]], mixed: bool) -> None:
    names = NAMES[: len(per_driver)]
    rows = [
        (n, f"{names[who]};{n};{lap}")
        for who, laps in enumerate(per_driver)
        for n, lap in enumerate(laps, 1)
    ]
    if mixed:
        rows.sort(key=lambda row: row[0])
    data = "\n".join(["driver;lap;lap time", *(row for _, row in rows)]).encode()
    asked = read_laps(data)
    assert asked.laps == ()
    assert sorted(asked.question) == sorted(names)
    for name, laps in zip(names, per_driver, strict=True):
        assert read_laps(data, driver=name).laps == pytest.approx(laps)


@given(st.binary(max_size=400))
@example(b"\xff\xfe")
@example(b"\xff\xfe\x00")
@example(b'"')
@example(b"sep=")
@example(b"lap\n")
@example(b"lap,lap time\n")
@example("driver: \n²³,²".encode())
@settings(max_examples=300, deadline=None)
def test_no_bytes_bring_the_reader_down(data: bytes) -> None:
    preview = read_or_refuse(data)
    if preview is None:
        return
    for lap in preview.laps:
        assert 1.0 <= lap <= 3600.0
    for name in preview.question:
        assert read_laps(data, driver=name).question == ()


HEADINGS = ["lap", "lap time", "time", "elapsed", "driver", "Driver: Ana", "sep=;"]
PLAIN = ["", "Ana", "Kor", "Total", "1", "2", "3", "18.2", "18,3", "0:18.2", "36.5", "54.9"]
ODD = ["12:00:01", "-", "18203", "nan", "1e9", '"', "9" * 30, "1:75", "inf", "٣", "²"]
CELL = st.one_of(
    st.sampled_from([*HEADINGS, *PLAIN, *ODD]),
    st.text(max_size=6),
)


@given(
    rows=st.lists(st.lists(CELL, max_size=5), max_size=14),
    delimiter=st.sampled_from([",", ";", "\t", " ", ", ", "|"]),
)
@settings(max_examples=300, deadline=None)
def test_no_table_brings_the_reader_down(rows: list[list[str]], delimiter: str) -> None:
    data = "\n".join(delimiter.join(row) for row in rows).encode("utf-8", "surrogatepass")
    preview = read_or_refuse(data)
    if preview is None:
        return
    for name in preview.question:
        assert read_laps(data, driver=name).question == ()
    assert preview.understood.sentence
    for line in preview.rejected:
        assert line.line >= 1
        assert line.reason
        assert len(line.text) <= 60
    assert not (preview.laps and preview.question)


@given(laps=LAPS, at=st.integers(0, 5), junk=st.sampled_from(["??", "18.x", "DNF", "--", "0.0"]))
@settings(max_examples=60, deadline=None)
def test_one_damaged_line_costs_only_itself(laps: list[float], at: int, junk: str) -> None:
    rows = [f"{n},{lap}" for n, lap in enumerate(laps, 1)]
    rows[at] = f"{at + 1},{junk}"
    preview = read_laps("\n".join(["lap,lap time", *rows]).encode())
    assert preview.laps == pytest.approx(laps[:at] + laps[at + 1 :])
    assert [line.line for line in preview.rejected] == [at + 2]


def test_too_large_a_file_and_too_many_laps_are_refused_plainly() -> None:
    with pytest.raises(LapFileError, match=r"this is more than .*the most is 5 MB"):
        read_laps(b"1" * (MOST_BYTES + 1))
    with pytest.raises(LapFileError, match=f"most {MOST_LAPS}"):
        read_laps(b"18.2\n" * (MOST_LAPS + 1))


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"1\n" * 2_400_000, "lines are more than"),
        (b"1," * 2_400_000, "cells are no table"),
        (b"driver: x\n18.2\n" * 30_000, f"most {MOST_LAPS}"),
    ],
    ids=["lines", "cells", "laps"],
)
def test_a_file_out_of_all_proportion_is_refused(data: bytes, reason: str) -> None:
    with pytest.raises(LapFileError, match=reason):
        read_laps(data)


@pytest.mark.parametrize(
    "data",
    [b"9" * 4_000_000, b'"' * 3_000_000, b" " * 4_000_000 + b"x"],
    ids=["digits", "quotes", "blanks"],
)
def test_one_endless_line_is_rejected(data: bytes) -> None:
    preview = read_laps(data)
    assert preview.laps == ()
    assert len(preview.rejected) == 1


def test_as_many_laps_as_are_allowed_are_read() -> None:
    assert read_laps(b"18.25\n" * MOST_LAPS).laps == (18.25,) * MOST_LAPS


def test_an_unknown_driver_is_refused_with_the_names() -> None:
    data = b"driver,lap time\nAna,18.1\nKor,18.4\nAna,18.2\nKor,18.5\n"
    with pytest.raises(LapFileError, match="the file has Ana, Kor"):
        read_laps(data, driver="Zed")


def test_the_user_overrules_the_guess_of_kind() -> None:
    data = b"18.0\n36.5\n55.0\n73.0\n"
    assert read_laps(data).laps == pytest.approx([18.0, 18.5, 18.5, 18.0])
    assert read_laps(data, kind="lap times").laps == (18.0, 36.5, 55.0, 73.0)


def test_a_rejected_line_is_shortened_and_printable() -> None:
    preview = read_laps(b"lap,lap time\n1,18.2\n2," + b"z\x1b" * 1 + b"y" * 300 + b"\n")
    (line,) = preview.rejected
    assert line.line == 3
    assert len(line.text) == 60
    assert line.text.isprintable()


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("18.203", 18.203),
        ("18,203", 18.203),
        ("0:18.203", 18.203),
        ("1:02.5", 62.5),
        ("01:00:02.5", 3602.5),
        ("1'02.345", 62.345),
        ("1'02\"345", 62.345),
        ("1’02,3", 62.3),
        ("1m02.3s", 62.3),
        ("1 min 2.3 s", 62.3),
        ("1.02.345", 62.345),
        ("18.2s", 18.2),
        ("18203 ms", 18.203),
        (" 18.2 ", 18.2),
    ],
)
def test_a_time_in_each_notation(text: str, seconds: float) -> None:
    read = read_time(text)
    assert isinstance(read, TimeCell)
    assert read.value == pytest.approx(seconds, abs=1e-9)


NO_TIMES = ["", "x", "-3.2", "1:75.0", "1:60:00", "18.2.x", "nan", "1e3", "::"]


@pytest.mark.parametrize("text", NO_TIMES)
def test_what_is_not_a_time_says_why(text: str) -> None:
    assert isinstance(read_time(text), str)


@pytest.mark.parametrize(
    ("text", "laps"),
    [
        ("18.2 18.3 18.1", (18.2, 18.3, 18.1)),
        ("18,2 18,3", (18.2, 18.3)),
        ("18,2, 18,3", (18.2, 18.3)),
        ("18.2,18.3", (18.2, 18.3)),
        ("18,2;18,3", (18.2, 18.3)),
        ("18.2\n1:02.5\n", (18.2, 62.5)),
        ("1'02.5", (62.5,)),
        ("", ()),
    ],
)
def test_typed_laps(text: str, laps: tuple[float, ...]) -> None:
    typed = parse_typed_laps(text)
    assert typed.laps == pytest.approx(laps)
    assert typed.rejected == ()


def test_typed_nonsense_is_named_and_the_rest_kept() -> None:
    typed = parse_typed_laps("18.2 18.x\n0.3 18.4")
    assert typed.laps == (18.2, 18.4)
    assert [(r.line, r.text) for r in typed.rejected] == [(1, "18.x"), (2, "0.3")]


@given(st.text(max_size=60))
@settings(max_examples=200, deadline=None)
def test_typing_never_raises(text: str) -> None:
    for lap in parse_typed_laps(text).laps:
        assert 1.0 <= lap <= 3600.0


@given(st.lists(st.floats(1e-3, 4e3).map(lambda x: round(x, 6)), max_size=60))
def test_the_weekends_own_file_reads_back_exactly(laps: list[float]) -> None:
    text = format_lap_csv(laps)
    assert text.startswith("lap,seconds\n")
    assert read_lap_csv(text) == tuple(laps)
    assert read_lap_csv("\ufeff" + text.replace("\n", "\r\n")) == tuple(laps)


def test_marks_go_into_the_weekends_own_file_and_come_back() -> None:
    text = format_lap_csv([21.5, 38.7, 21.3], {2: "P", 3: "best,\n \u202eso far"})
    assert text == "lap,seconds,mark\n1,21.5\n2,38.7,P\n3,21.3,best so far\n"
    assert read_lap_csv(text) == (21.5, 38.7, 21.3)
    assert read_lap_marks(text) == {2: "P", 3: "best so far"}
    assert read_lap_marks("lap,seconds\n1,21.5\n") == {}
    assert read_laps(text.encode()).marks == {2: "P", 3: "best so far"}


@pytest.mark.parametrize(
    ("text", "line", "reason"),
    [
        ("", 1, "first line"),
        ("lap;seconds\n1;2\n", 1, "first line"),
        ("lap,seconds\n1,18.2\n3,18.4\n", 3, "where lap 2 should be"),
        ("lap,seconds\n1,18.2\n2,\n", 3, "not a lap number"),
        ("lap,seconds\n1,18,2\n", 2, "not a lap number"),
        ("lap,seconds\n1,1_8.2\n", 2, "not a lap number"),
        ("lap,seconds\n1,nan\n", 2, "above 0 s"),
        ("lap,seconds\n1,inf\n", 2, "above 0 s"),
        ("lap,seconds\n1,-4\n", 2, "above 0 s"),
        ("lap,seconds\nx\n", 2, "not a lap number"),
    ],
)
def test_a_damaged_own_file_says_where_and_why(text: str, line: int, reason: str) -> None:
    with pytest.raises(LapFileError, match=reason) as caught:
        read_lap_csv(text)
    assert caught.value.line == line
    assert str(caught.value).startswith(f"line {line}: ")


@pytest.mark.parametrize("lap", [0.0, -1.0, float("nan"), float("inf"), 1e-9])
def test_no_impossible_lap_is_written(lap: float) -> None:
    with pytest.raises(ValueError, match="lap 2"):
        format_lap_csv([18.0, lap])
