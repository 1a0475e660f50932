"""Files of laps in many shapes, some of them damaged, each with what should come of it."""

import json
from pathlib import Path
from typing import Any

import pytest

from pitwright.timing.laps import read_laps
from pitwright.timing.text import LapFileError

CORPUS = Path(__file__).parent / "lap_corpus"
CASES: list[dict[str, Any]] = json.loads((CORPUS / "manifest.json").read_text(encoding="utf-8"))


def test_every_file_of_the_corpus_is_in_the_manifest_once() -> None:
    named = [case["file"] for case in CASES]
    assert len(named) == len(set(named)) >= 35
    there = {path.name for path in CORPUS.iterdir() if not path.name.startswith(".")}
    assert set(named) == there - {"manifest.json"}


@pytest.mark.parametrize("case", CASES, ids=[case["file"] for case in CASES])
def test_a_file_is_read_as_it_should_be(case: dict[str, Any]) -> None:
    data = (CORPUS / case["file"]).read_bytes()
    if "error" in case:
        with pytest.raises(LapFileError, match=case["error"]):
            read_laps(data)
        return
    preview = read_laps(data)
    assert preview.laps == pytest.approx(case["laps"], abs=1e-6)
    assert preview.question == tuple(case.get("question", ()))
    assert preview.driver == case.get("driver", "")
    for key in ("delimiter", "decimal", "kind", "notation", "encoding"):
        if key in case:
            assert getattr(preview.understood, key) == case[key], key
    if "header" in case:
        assert preview.understood.header == tuple(case["header"])
    if "note" in case:
        assert case["note"] in " ".join(preview.understood.notes)
    reasons = {str(line.line): line.reason for line in preview.rejected}
    assert reasons.keys() == case.get("reasons", {}).keys(), reasons
    for line, part in case.get("reasons", {}).items():
        assert part in reasons[line]
    for name, laps in case.get("choices", {}).items():
        chosen = read_laps(data, driver=name)
        assert chosen.laps == pytest.approx(laps, abs=1e-6)
        assert chosen.question == ()
        assert chosen.driver.casefold() == name.casefold()
