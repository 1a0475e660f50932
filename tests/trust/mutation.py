"""Mutation testing of the computing core: does some test notice when a line is made wrong?

    python tests/trust/mutation.py --mutants 300 --seed 1

One operator, comparison, number, word of logic or returned sign is changed at a time, in
mechanics, metrology and inference in turn; then the tests that run that line are run until one
fails. What survives is printed with file, line and change, to be looked at: it is a gap in the
tests, or a change that makes no difference.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGES = ("mechanics", "metrology", "inference")
TESTS = ("tests/mechanics", "tests/metrology", "tests/inference", "tests/published")
BOUND_S = 90

_ARITHMETIC = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.Pow: ast.Mult, ast.FloorDiv: ast.Div, ast.Mod: ast.Mult,
}  # fmt: skip
_COMPARING = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the line, what it was and what it became, and the whole source."""

    path: Path
    module: str
    line: int
    change: str
    source: str


def _shown(node: ast.AST) -> str:
    text = ast.unparse(node)
    return text if len(text) <= 70 else f"{text[:69]}…"


def _changes(node: ast.AST) -> Iterator[ast.AST]:
    """Yield changed copies of a node."""
    if isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        if isinstance(node.left, ast.Constant) and isinstance(node.left.value, str):
            return
        made = copy.deepcopy(node)
        made.op = _ARITHMETIC[type(node.op)]()
        yield made
    elif isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARING:
        made_compare = copy.deepcopy(node)
        made_compare.ops[0] = _COMPARING[type(node.ops[0])]()
        yield made_compare
        if type(node.ops[0]) in (ast.Lt, ast.LtE, ast.Gt, ast.GtE) and len(node.ops) == 1:
            yield ast.UnaryOp(ast.Not(), copy.deepcopy(node))
    elif isinstance(node, ast.BoolOp):
        made_bool = copy.deepcopy(node)
        made_bool.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield made_bool
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield copy.deepcopy(node.operand)
    elif isinstance(node, ast.Constant):
        value = node.value
        if isinstance(value, bool):
            yield ast.Constant(not value)
        elif isinstance(value, int):
            yield ast.Constant(value + 1)
        elif isinstance(value, float):
            yield ast.Constant(value * 1.01 if value else 0.01)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        other = {"min": "max", "max": "min", "any": "all", "all": "any"}.get(node.func.id)
        if other is not None:
            made_call = copy.deepcopy(node)
            made_call.func = ast.Name(other, ast.Load())
            yield made_call


class _Put(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> Any:
        return self.new if node is self.old else self.generic_visit(node)


def _code(tree: ast.Module) -> Iterator[ast.AST]:
    """Yield the nodes of function bodies: not of annotations, defaults, strings or raised words."""
    stack: list[ast.AST] = []
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            stack += function.body
    seen: set[int] = set()
    while stack:
        node = stack.pop()
        if id(node) in seen or isinstance(node, ast.Raise | ast.JoinedStr | ast.Assert):
            continue
        seen.add(id(node))
        yield node
        for name, child in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "args") and not isinstance(
                node, ast.Call
            ):
                continue
            children = child if isinstance(child, list) else [child]
            stack += [c for c in children if isinstance(c, ast.AST)]


def mutants_of(path: Path) -> list[Mutant]:
    """Return every change of one file."""
    text = path.read_text(encoding="utf-8")
    module = ".".join(path.relative_to(ROOT / "src").with_suffix("").parts)
    found: list[Mutant] = []
    tree = ast.parse(text)
    for node in _code(tree):
        if not hasattr(node, "lineno"):
            continue
        for changed in _changes(node):
            fresh = ast.parse(text)
            twin = next(
                n
                for n in ast.walk(fresh)
                if type(n) is type(node)
                and (n.lineno, n.col_offset, n.end_lineno, n.end_col_offset)  # type: ignore[attr-defined]
                == (node.lineno, node.col_offset, node.end_lineno, node.end_col_offset)  # type: ignore[attr-defined]
            )
            made = ast.fix_missing_locations(_Put(twin, changed).visit(fresh))
            change = f"{_shown(node)}  ->  {_shown(changed)}"
            found.append(Mutant(path, module, node.lineno, change, ast.unparse(made)))
    return found


class _Overlay(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from a changed source."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        if name != self.mutant.module:
            return None
        return importlib.util.spec_from_file_location(name, self.mutant.path, loader=self)

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> ModuleType | None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        code = compile(self.mutant.source, str(self.mutant.path), "exec", dont_inherit=True)
        exec(code, module.__dict__)


class _Plugin:
    """Puts the overlay before pytest's own loader, which would take files named as tests."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant

    def pytest_sessionstart(self) -> None:
        """Put it first, once pytest has put its own."""
        sys.meta_path.insert(0, _Overlay(self.mutant))


def covering_tests(scratch: Path) -> dict[str, dict[int, list[str]]]:
    """Return, by file and line, the tests that run it; the quickest first."""
    data = scratch / "cov"
    sources = [f"src/pitwright/{package}" for package in PACKAGES]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--cov", "--cov-report=",
         "--cov-context=test", "--hypothesis-seed=0", "--durations=0", "--durations-min=0.0",
         *TESTS, *sources],
        cwd=ROOT, env={**os.environ, "COVERAGE_FILE": str(data)}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(f"the tests must pass first:\n{done.stdout[-3000:]}")
    took: Counter[str] = Counter()
    for line in done.stdout.splitlines():
        words = line.split(None, 2)
        if len(words) == 3 and words[0].endswith("s") and words[1] in ("call", "setup"):
            took[words[2]] += float(words[0][:-1])  # type: ignore[assignment]
    from coverage import CoverageData

    stored = CoverageData(str(data))
    stored.read()
    found: dict[str, dict[int, list[str]]] = {}
    for path in stored.measured_files():
        lines = stored.contexts_by_lineno(path)
        found[path] = {
            line: sorted({c.split("|")[0] for c in contexts if c}, key=lambda t: took[t])
            for line, contexts in lines.items()
        }
    return found


def killed(mutant: Mutant, tests: Sequence[str]) -> bool:
    """Run the tests on the changed module in a child; True when one of them fails."""
    child = os.fork()
    if child == 0:
        status = 70
        try:
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            os.chdir(ROOT)
            import pytest

            # Once for what the tests' own set-up imports, and again before pytest's loader.
            sys.meta_path.insert(0, _Overlay(mutant))

            options = ["-x", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=0", "--timeout=30"]
            status = int(pytest.main([*options, *tests], plugins=[_Plugin(mutant)]))
        finally:
            os._exit(status)
    ends = time.monotonic() + BOUND_S
    while time.monotonic() < ends:
        pid, status = os.waitpid(child, os.WNOHANG)
        if pid:
            return os.waitstatus_to_exitcode(status) != 0
        time.sleep(0.02)
    os.kill(child, 9)
    os.waitpid(child, 0)
    return True  # a change that never ends is noticed


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mutants", type=int, default=300, help="how many, over all packages")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--package", choices=PACKAGES, action="append")
    arguments = parser.parse_args()
    import hypothesis  # noqa: F401 - the heavy ones are loaded once, before the forks
    import numpy as np  # noqa: F401
    import pytest  # noqa: F401
    import scipy.stats  # noqa: F401

    with tempfile.TemporaryDirectory() as scratch:
        tests = covering_tests(Path(scratch))
    survived = total = 0
    for package in arguments.package or PACKAGES:
        rng = random.Random(f"{package}-{arguments.seed}")
        files = sorted((ROOT / "src" / "pitwright" / package).glob("*.py"))
        every = [m for path in files for m in mutants_of(path)]
        chosen = rng.sample(every, min(len(every), arguments.mutants // len(PACKAGES)))
        dead = 0
        for mutant in sorted(chosen, key=lambda m: (m.path, m.line)):
            names = tests.get(str(mutant.path), {}).get(mutant.line, [])
            if names and killed(mutant, names):
                dead += 1
                continue
            why = "" if names else " (no test runs it)"
            print(f"{mutant.path.name}:{mutant.line}: {mutant.change}{why}", flush=True)
        survived += len(chosen) - dead
        total += len(chosen)
        print(f"{package}: {dead} of {len(chosen)} noticed, of {len(every)} there are", flush=True)
    print(f"{total - survived} of {total} noticed ({100 * (total - survived) / total:.1f} %)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
