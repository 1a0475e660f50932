"""What pitwright rests on is declared, used, and under licences that go with its own."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pitwright

ROOT = Path(__file__).resolve().parent.parent.parent
TABLE = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_every_dependency_is_bounded_on_both_sides():
    project = TABLE["project"]
    extras = [text for group in project["optional-dependencies"].values() for text in group]
    for text in [*project["dependencies"], *extras]:
        requirement = text.split(";")[0]
        assert ">=" in requirement, text
        assert "<" in requirement or requirement.startswith("tzdata"), text


def test_every_installed_licence_goes_with_ours():
    done = subprocess.run(
        [sys.executable, ROOT / ".ci" / "licences.py", "--extras"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"^\d+ packages, 0 to look at$", done.stdout, re.M)


def test_every_pin_is_exact_and_names_no_place():
    for line in (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            assert re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.+!]+", line), line


def test_nothing_outside_of_the_extras_is_needed_to_start():
    extras = {"av", "matplotlib", "pyarrow", "aiohttp", "textual_serve"}
    only_served = (
        "pitwright.cli.viewer"  # a class of the extra's own is under it, so it is an extra
    )
    source = Path(pitwright.__file__).parent
    told = []
    for path in source.rglob("*.py"):
        if path == source / "cli" / "viewer.py":
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            told += [
                f"{path.name}: {n}" for n in names if n.split(".")[0] in extras or n == only_served
            ]
    assert told == []
