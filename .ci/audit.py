"""Ask the public advisories about the pinned versions; say why not where they cannot be reached.

pip-audit is installed into an environment of its own for this, so that nothing of it is needed to
work on pitwright. The exit status is 1 when a pinned version has a known vulnerability.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

PINS = Path(__file__).with_name("constraints.txt")
TOOL = "pip-audit>=2.7,<3"


def skipped(why: str) -> int:
    print(f"audit skipped: {why}")
    return 0


def main() -> int:
    with tempfile.TemporaryDirectory() as place:
        venv.create(place, with_pip=True)
        python = Path(place) / ("Scripts" if sys.platform == "win32" else "bin") / "python"
        got = subprocess.run(
            [python, "-m", "pip", "install", "-q", TOOL], capture_output=True, text=True
        )
        if got.returncode:
            return skipped(f"{TOOL} cannot be installed here")
        call = [python, "-m", "pip_audit", "-r", PINS, "--no-deps", "--disable-pip", "-f", "json"]
        try:
            asked = subprocess.run(
                [*call, "--progress-spinner", "off"], capture_output=True, text=True, timeout=300
            )
        except subprocess.TimeoutExpired:
            return skipped("the advisories did not answer within five minutes")
    try:
        rows = json.loads(asked.stdout)["dependencies"]
    except (ValueError, KeyError):
        last = (asked.stderr.strip().splitlines() or ["no answer"])[-1]
        return skipped(f"the advisories cannot be reached ({last[:200]})")
    known = [row for row in rows if "vulns" in row]
    if not known:
        return skipped("the index reached from here has no advisories")
    bad = [(row["name"], row["version"], v["id"]) for row in known for v in row["vulns"]]
    for name, version, advisory in bad:
        print(f"{name} {version}: {advisory}")
    print(f"{len(known)} of {len(rows)} pinned packages audited, {len(bad)} known vulnerabilities")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
