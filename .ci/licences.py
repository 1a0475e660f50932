"""List what pitwright depends on, directly and further down, with each package's licence.

    python .ci/licences.py             what a plain installation brings
    python .ci/licences.py --extras    the extras of the user as well

The exit status is 1 when a licence is not among those that go with MIT.
"""

from __future__ import annotations

import argparse
import re
import sys
from importlib import metadata

from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

EXTRAS = ("parquet", "report", "sound", "web")
FITTING = re.compile(
    r"MIT|BSD|Apache|PSF|Python Software Foundation|MPL|Mozilla|ISC|HPND|0BSD|Unlicense|Zlib", re.I
)


def licence(name: str) -> str:
    about = metadata.metadata(name)
    said = about.get("License-Expression") or ""
    if not said:
        kinds = [c.split(" :: ")[-1] for c in about.get_all("Classifier", []) if "License ::" in c]
        said = ", ".join(kinds)
    return said or (about.get("License") or "not stated").strip().splitlines()[0]


def needed(name: str, extras: tuple[str, ...], found: dict[str, str], seen: set[str]) -> None:
    if (mark := f"{name}[{extras}]") in seen:
        return
    seen.add(mark)
    for text in metadata.requires(name) or ():
        asked = Requirement(text)
        if not any(
            asked.marker is None or asked.marker.evaluate({**default_environment(), "extra": extra})
            for extra in ("", *extras)
        ):
            continue
        package = canonicalize_name(asked.name)
        try:
            found[package] = licence(package)
        except metadata.PackageNotFoundError:
            found[package] = "not installed here"
            continue
        needed(package, tuple(sorted(asked.extras)), found, seen)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--extras", action="store_true")
    found: dict[str, str] = {}
    needed("pitwright", EXTRAS if parser.parse_args().extras else (), found, set())
    odd = 0
    for name, said in sorted(found.items(), key=lambda item: item[0].lower()):
        fits = bool(FITTING.search(said)) or said == "not installed here"
        odd += not fits
        print(f"{name:24} {said}{'' if fits else '   <- look at this one'}")
    print(f"{len(found)} packages, {odd} to look at")
    return 1 if odd else 0


if __name__ == "__main__":
    sys.exit(main())
