"""Take pictures of the real screens.

    python tests/pictures/make_pictures.py FOLDER [--scene NAME ...] [--weekend demo empty full]
                                           [--size 80x24 ...] [--theme NAME ...] [--text] [--png]
    python tests/pictures/make_pictures.py --readme

The first writes FOLDER/SCENE-WEEKEND-SIZE-THEME.svg, with ``--text`` the bare text beside it, and
with ``--png`` a PNG when ``rsvg-convert`` is there. The second writes anew the pictures the README
shows, beside this file. The clock stands still, so that the same code gives the same pictures.
"""

from __future__ import annotations

import argparse
import asyncio
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pictures.scenes import SCENES, SIZES, WEEKENDS, Place, Scene, make_weekend, shown, text_of

HERE = Path(__file__).resolve().parent
README = (
    ("timeline", (100, 28)),
    ("build-step", (100, 28)),
    ("measure-typed", (100, 28)),
    ("bite", (100, 28)),
    ("wear", (100, 28)),
    ("ear-read", (100, 28)),
)


def tidied(svg: str) -> str:
    """Return a picture that fetches nothing: a font of the reader's own instead of one by URL."""
    svg = re.sub(r"@font-face\s*\{[^}]*\}\s*", "", svg)
    svg = re.sub(r"font-family:\s*Fira Code,\s*monospace", "font-family: monospace", svg)
    svg = re.sub(r"terminal-\d+", "terminal", svg)
    svg = re.sub(r"[ \t]*<!--.*?-->\n", "", svg, flags=re.DOTALL)
    return re.sub(r"[ \t]+$", "", svg, flags=re.MULTILINE)


async def take(
    scene: Scene, made: Place, size: tuple[int, int], theme: str, target: Path, *, text: bool
) -> None:
    """Write one picture, from a copy of the weekend."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / made.folder.name
        shutil.copytree(made.folder, folder)
        async with shown(scene, Place(folder, made.now), size, theme) as pilot:
            target.write_text(tidied(pilot.app.export_screenshot()), encoding="utf-8")
            if text:
                target.with_suffix(".txt").write_text(text_of(pilot.app), encoding="utf-8")


def png(picture: Path) -> None:
    """Draw a picture as PNG when there is a program for it."""
    if shutil.which("rsvg-convert"):
        subprocess.run(
            ["rsvg-convert", "-z", "1", str(picture), "-o", str(picture.with_suffix(".png"))],
            check=True,
        )


async def main() -> None:
    """Read the arguments and take the pictures."""
    known = {s.name: s for s in SCENES}
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--scene", nargs="+", choices=known, default=list(known))
    parser.add_argument("--weekend", nargs="+", choices=WEEKENDS, default=["demo"])
    parser.add_argument("--size", nargs="+", default=[f"{w}x{h}" for w, h in SIZES])
    parser.add_argument("--theme", nargs="+", default=["night"])
    parser.add_argument("--text", action="store_true")
    parser.add_argument("--png", action="store_true")
    parser.add_argument("--readme", action="store_true")
    asked = parser.parse_args()
    if asked.folder is None and not asked.readme:
        parser.error("a folder for the pictures is wanted, or --readme")
    with tempfile.TemporaryDirectory() as scratch:
        if asked.readme:
            made = make_weekend("demo", Path(scratch) / "demo")
            for name, size in README:
                await take(known[name], made, size, "night", HERE / f"{name}.svg", text=False)
            return
        asked.folder.mkdir(parents=True, exist_ok=True)
        for kind in asked.weekend:
            made = make_weekend(kind, Path(scratch) / kind)
            for name in asked.scene:
                for size in asked.size:
                    width, height = (int(part) for part in size.split("x"))
                    for theme in asked.theme:
                        target = asked.folder / f"{name}-{kind}-{size}-{theme}.svg"
                        try:
                            await take(
                                known[name], made, (width, height), theme, target, text=asked.text
                            )
                        except Exception as error:
                            print(f"{target.stem}: {error!r}", file=sys.stderr)
                            continue
                        if asked.png:
                            png(target)


if __name__ == "__main__":
    asyncio.run(main())
