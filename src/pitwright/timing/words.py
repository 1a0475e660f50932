"""Words of timing sheets in many tongues: what a heading, a label or a mark says.

A heading is understood only when every word of it is known, so that 'Diff to best' is no lap time
and the driver 'Tilo Best' no best lap. What is not understood is judged by what stands below it.
The words are common usage in each tongue, from memory; no published list was followed.
"""

import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

Role = Literal[
    "lap", "count", "lap time", "time", "passing", "driver", "number", "heat", "valid", "invalid",
    "mark", "ignore",
]  # fmt: skip

_WORDS = {
    "lap": "lap laps runde runden rundennummer rd tour tours giro giri vuelta vueltas volta voltas "
           "ronde rondes rondje varv okrazenie okrazenia kolo kola kor tur круг круги круга кругов "
           "коло γυρος γυροι γυρου 周 周回 周目 ラップ 圈 圈数 圈次 랩 لفة دورة סיבוב הקפה",
    "time": "time times zeit zeiten temps tempo tiempo tijd tid czas cas ido sure seconds second "
            "sec secs sekunden secondes segundos secondi duration время час χρονος χρονοι タイム "
            "時間 时间 秒 成绩 圈速 기록 시간 زمن وقت זמן",
    "total": "total totals totale gesamt cumulative elapsed running passing passings passage clock "
             "timestamp crossing uhrzeit sum summe somme suma totaal общее итого всего сумма "
             "συνολο συνολικος 合計 累計 通過 总 总计 累计 합계 누적 مجموع סהכ",
    "driver": "driver drivers name pilot pilote piloto pilota fahrer racer competitor entrant "
              "rijder coureur kierowca гонщик пилот имя фамилия οδηγος ονομα 選手 ドライバー 名前 "
              "氏名 车手 姓名 선수 드라이버 이름 سائق נהג",
    "number": "car transponder startnummer kart coche voiture auto машина номер 車番 车号",
    "heat": "heat heats run race round session final semifinal qualifying qualifier quali practice "
            "training lauf rennen vorlauf finale manche course serie corsa gara manga carrera "
            "corrida заезд гонка финал αγωνας σκελος ヒート レース 予選 決勝 组 组别 히트",
    "best": "best bestes beste bester fastest slowest worst meilleur meilleure migliore mejor "
            "melhor snelste schnellste schnellster najlepszy лучший лучшее лучшая καλυτερος "
            "καλυτερη ベスト 最速 最快 최고 أفضل",
    "mean": "average avg mean median schnitt mittel durchschnitt moyenne media promedio gemiddelde "
            "среднее средний μεσος 平均 평균",
    "gap": "gap diff difference delta behind interval ideal target abstand differenz ruckstand "
           "ecart distacco diferencia verschil strata отставание разница отрыв διαφορα 差 差分 "
           "格差 间隔 차이 فارق פער ahead split",
    "left": "left remaining remain rest restzeit countdown restant restante restantes go "
            "verbleibend осталось остаток υπολοιπο 残り 剩余 남은 متبقي",
    "place": "pos position place rank platz rang posicion posizione plats место позиция θεση 順位 "
             "位置 名次 순위 date datum class klasse points",
    "sector": "sector sectors sektor secteur settore zwischenzeit сектор τομεας セクター 区間 扇区 "
              "s1 s2 s3 s4 t1 t2 t3",
    "speed": "speed kmh mph rpm tempo_kmh geschwindigkeit vitesse velocita velocidad скорость "
             "ταχυτητα 速度 속도 км/ч temp temperature voltage",
    "valid": "valid gultig valide valido valida geldig wazny ok counted zahlt действителен зачет "
             "εγκυρος 有効 有效 유효 صالح תקין",
    "invalid": "invalid ungultig invalide deleted cut void struck недействителен ακυρος 無効 无效 "
               "무효 inv",
    "mark": "note notes remark remarks mark flag flags status state pit pits comment bemerkung "
            "hinweis remarque nota stato статус отметка пит σημειωση 備考 状態 ピット 备注 비고",
    "little": "the to of grand sub start in on at per by lost since so far au de du del "
              "di des der die das zur bis est le la al do da van of day vs leader previous last "
              "driven time_of № º o номер 数 番 号 の",
    "unit": "s ms msec millis milliseconds min hms h m",
}  # fmt: skip
_COUNTS = frozenset({"no", "nr", "number", "n", "#", "count", "№", "numero"})
_SUMMARY_KINDS = frozenset({"best", "mean", "total"})
_IGNORED = ("best", "mean", "gap", "left", "place", "sector", "speed")


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


YES = _set("yes y true 1 ja j oui si sim da tak да ναι はい 是 예 ok okay good clean valid v ✓ ✔ x")
NO = _set("no n false 0 nein non nao nie нет οχι いいえ 否 아니오 invalid ✗ ✘ -")
_INVALID = _set("x inv invalid void del deleted cut ungultig invalide недействителен")
_MARKS = _set(
    "p pit pits in out inlap outlap in-lap out-lap b best fl pb sb ob fastest stop box пит ピット"
)
_SIGNS = "*!†‡#"
_LETTER = re.compile(r"[^\W\d_]")
_PAGE = re.compile(
    r"(?:page|seite|pagina|sida|strana|стр\w*|σελ\w*)[ .]*\d+(?: ?\S+ ?\d+)?|-+ ?\d+ ?-+"
)
_MARKED = re.compile(
    rf"(?P<front>[{_SIGNS}]*)\s*(?P<core>[\d.,:'’′\"”″]*\d\s*(?:ms|sec|s)?['’′\"”″]*)\s*"
    rf"(?P<signs>[{_SIGNS}]*)\s*(?:[(\[]?(?P<word>[^\W\d_][^\W\d_ -]*(?:-lap)?)[)\]]?)?",
    re.I,
)


def has_letters(text: str) -> bool:
    """Whether there is a letter of any script in a text."""
    return _LETTER.search(text) is not None


def plain(text: str) -> str:
    """Casefold a text and take its accents off, so that spellings of a word are one."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in parts if not unicodedata.combining(c))


_KINDS: dict[str, str] = {
    plain(word): kind for kind, words in reversed(_WORDS.items()) for word in words.split()
}
_LONGEST = max(map(len, _KINDS))


def _segments(token: str) -> tuple[str, ...] | None:
    """The kinds of word a token is put together from ('Rundenzeit', 'ラップタイム')."""
    if token in _KINDS:
        return (_KINDS[token],)
    for end in range(min(len(token) - 1, _LONGEST), 0, -1):
        head = token[:end]
        # Short pieces of Latin letters are in any name.
        if head in _KINDS and (min(end, len(token) - end) >= 3 or not token.isascii()):
            rest = _segments(token[end:])
            if rest is not None:
                return (_KINDS[head], *rest)
    return None


@lru_cache(maxsize=4096)
def _kinds(text: str) -> frozenset[str] | None:
    """The kinds of all words in a text; None when one is not known, or there are none."""
    if len(text) > 60:
        return None
    text = plain(text).replace("km/h", "kmh").replace("m/s", "kmh")
    tokens = re.sub(r"[^\w#№/]+|_", " ", text).split()
    found: set[str] = set()
    for token in tokens:
        if token in _COUNTS:
            found.add("count")
        elif token.isdigit():
            found.add("numeral")
        elif (kinds := _segments(token)) is not None:
            found.update(kinds)
        elif "kmh" in tokens:
            found.add("speed")
        else:
            return None
    return frozenset(found) if found else None


def heading_role(heading: str) -> Role | None:
    """What a heading says its column holds, None when it is not a word for any of it.

    >>> heading_role("Lap time [ms]"), heading_role("Diff to best"), heading_role("Ana Bremm")
    ('lap time', 'ignore', None)
    """
    kinds = _kinds(heading)
    if (
        kinds is None
        or kinds in ({"numeral"}, {"numeral", "lap"}, {"numeral", "heat"})
        or re.search(r"\d[.,:]\d", heading)
    ):
        return None
    if any(kind in kinds for kind in _IGNORED):
        return "ignore"
    for kind in ("invalid", "valid", "mark"):
        if kind in kinds:
            return kind
    if "total" in kinds or ("heat" in kinds and "time" in kinds):
        return "passing"
    if "driver" in kinds:
        return "driver"
    if "number" in kinds:
        return "number"
    if "time" in kinds or (kinds & {"unit"} and "lap" in kinds):
        if plain(heading).strip() in ("time of day", "session time"):
            return "passing"
        return "lap time" if kinds & {"lap"} or plain(heading).strip() == "圈速" else "time"
    if "lap" in kinds:
        return "lap"
    if "heat" in kinds:
        return "heat"
    if kinds <= {"count"}:
        return "count"
    return "time" if kinds <= {"unit"} else None


def is_summary(text: str) -> bool:
    """Whether a label says that what stands beside it is no lap: 'Best lap: 21.3', '12 laps'.

    >>> is_summary("Gesamtzeit"), is_summary("12 laps"), is_summary("Lap 12")
    (True, True, False)
    """
    return len(text) <= 80 and has_letters(text) and _sums_up(text)


@lru_cache(maxsize=4096)
def _sums_up(text: str) -> bool:
    label = re.sub(r"(?:[:=]|(?<=\w)\s+(?=[\d(]))[^:=]*\d.*$|[:=]\s*$", "", text.strip())
    kinds = _kinds(label)
    if kinds is None:
        return False
    counted = re.fullmatch(r"\d+ ?[^\W\d]+", label) is not None and kinds == {"numeral", "lap"}
    driven = kinds == {"lap", "little"} and plain(label) == "laps driven"
    return bool(kinds & _SUMMARY_KINDS) or counted or driven


def names_a_heat(text: str) -> bool:
    """Whether a text begins with a word for a heat: 'Heat 2', 'Lauf 1', 'Q3'."""
    if re.match(r"[QFPR]\d{1,2}\b", text):
        return True
    first = re.match(r"[^\W\d_]+", text)
    kinds = _segments(plain(first.group())) if first is not None else None
    return kinds is not None and "heat" in kinds


def is_page(text: str) -> bool:
    """Whether a line only numbers a page ('Page 2 of 3', 'Seite 2/3')."""
    return _PAGE.fullmatch(plain(text.strip())) is not None


def split_mark(text: str) -> tuple[str, str] | None:
    """A time and the mark beside it, None when there is no mark that is known.

    >>> split_mark("21.455*"), split_mark("38.712 P"), split_mark("21.302 (best)")
    (('21.455', '*'), ('38.712', 'P'), ('21.302', 'best'))
    """
    match = _MARKED.fullmatch(text)
    if match is None:
        return None
    word = match["word"] or ""
    if word and not is_mark(word):
        return None
    signs = match["signs"] or match["front"]  # around it they are one mark
    mark = " ".join(part for part in (signs, word) if part)
    return (match["core"].strip(), mark) if mark else None


def is_mark(text: str) -> bool:
    """Whether a word is one that stands beside a lap: P, best, out, a star."""
    word = plain(text.strip(" ()[]"))
    return word in _MARKS or word in _INVALID or (word != "" and not word.strip(_SIGNS))


def says_invalid(mark: str) -> bool:
    """Whether a mark says, and says no more than, that the lap does not count.

    >>> says_invalid("Lap deleted"), says_invalid("body cut on kerb")
    (True, False)
    """
    said = {word for word in plain(mark.strip(" ()[]")).split() if _KINDS.get(word) != "lap"}
    return bool(said) and said <= _INVALID


def yes_or_no(text: str) -> bool | None:
    """What a cell answers; None when it is neither yes nor no in a tongue that is known."""
    word = plain(text.strip(" ()[]."))
    return True if word in YES else False if word in NO else None


def all_known(cells: Sequence[str]) -> bool:
    """Whether every one of these is a heading that is understood."""
    return bool(cells) and all(heading_role(cell) for cell in cells)
