"""Every line and form that can be typed into says what keeps it until it is answered."""

from __future__ import annotations

import ast
from pathlib import Path

import pitwright.app

APP = Path(pitwright.app.__file__).parent
ASKS = {"AskLine", "FormDialog"}
KEEPS = {"draft", "on_typed"}


def _undrafted(source: str, name: str) -> list[str]:
    return [
        f"{name}:{call.lineno}"
        for call in ast.walk(ast.parse(source))
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Name)
        and call.func.id in ASKS
        and not KEEPS & {keyword.arg for keyword in call.keywords}
    ]


def test_no_line_and_no_form_is_typed_into_for_nothing() -> None:
    found = [
        at
        for path in sorted(APP.rglob("*.py"))
        for at in _undrafted(path.read_text(encoding="utf-8"), f"{path.relative_to(APP)}")
    ]
    assert found == []


def test_one_that_forgets_would_be_found() -> None:
    assert _undrafted("AskLine('How warm?', check=check)", "x.py") == ["x.py:1"]
    assert not _undrafted("AskLine('How warm?', draft='warm')", "x.py")
