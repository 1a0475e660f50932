"""Does the ear hear a launch, and only a launch? Two voices, three makes of launch, eight of none.

Run from the root of the checkout:
    python tests/benchmarks/sound_launches.py [--each 24] [--seed 300] [--workers 1]
The seeds must not be among those that ``fit_belief.py`` was fitted to. Found means within 2 % of
the truth (5 % where the car drives away: there what counts is that U covers it); 'else' counts
recordings with a take-up told where there is none; kept, those kept without a question.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sound"))
from ear_rows import Spec, all_rows, make_case

from pitwright.desk.ear.ear import keep_doubt, take_ups
from pitwright.sound.listen import listen
from pitwright.sound.read_audio import SampleRecording


@dataclass
class Heard:
    """What became of one recording; said: chance and truth of every take-up told."""

    launch: bool
    voice: str
    found: bool
    covered: bool | None
    wrong: bool
    kept: bool
    said: list[tuple[float, bool]]


def hear(spec: Spec) -> Heard:
    """Make a recording, listen, and compare."""
    case = make_case(spec)
    place = "behind" if spec.receding else "standstill"
    pull = None
    if spec.receding and case.drive is not None and case.stand is not None:
        # The model's own acceleration: true to a fifth, as a card is.
        first, last = (int(1000 * s) for s in case.stand[:2])
        gained = case.drive.car_m_s[last] - case.drive.car_m_s[first]
        rough = np.random.default_rng([spec.seed, spec.number, 3]).uniform(0.8, 1.2)
        pull = float(gained / (case.stand[1] - case.stand[0]) * rough)
    hearing = listen(SampleRecording(case.sound, case.rate), place=place, pull_m_s_2=pull)
    takes = [t for t in take_ups(hearing) if t.speed is not None]
    said, found, covered, wrong, kept = [], False, None, False, False
    for take in takes:
        speed = take.speed
        near = case.stand is not None and (
            speed.start_s < case.stand[1] + 0.05 and speed.end_s > case.stand[0] - 0.05
        )
        error = abs(speed.rpm / case.stand[2] - 1) if near else 1.0
        good = error < (0.05 if spec.receding else 0.02)
        if near and covered is None:
            covered = abs(speed.rpm - case.stand[2]) <= speed.expanded_rpm
        said.append((speed.confidence, good))
        found |= good
        wrong |= not good
        kept |= not good and not keep_doubt(take, takes)
    return Heard(case.stand is not None, case.voice, found, covered, wrong, kept, said)


def main() -> None:
    """Print the table and the reliability of the chances."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=24)
    parser.add_argument("--seed", type=int, default=300)
    parser.add_argument("--workers", type=int, default=1)
    options = parser.parse_args()
    said: list[tuple[float, bool]] = []
    without = wrong = kept = 0
    print(f"seed {options.seed}, {options.each} a row, twice as many in the mixed ones")
    print(f"{'recordings':<30}{'n':>4}{'found %':>9}{'rung':>6}{'phys.':>6}{'in U %':>8}{'else':>6}"
          f"{'kept':>6}")  # fmt: skip
    with ProcessPoolExecutor(options.workers) as pool:
        for name, specs in all_rows(options.seed, options.each).items():
            got = list(pool.map(hear, specs))
            said += [each for one in got for each in one.said]
            told = [one for one in got if one.covered is not None]
            cells = ["", "", "", ""]
            if got[0].launch:
                by = [[o for o in got if o.voice == v] for v in ("rung", "physical")]
                cells = [_share(sum(o.found for o in part), len(part)) for part in (got, *by)]
                cells.append(_share(sum(bool(o.covered) for o in told), len(told)))
            else:
                without += len(got)
                wrong += sum(o.wrong for o in got)
                kept += sum(o.kept for o in got)
            ends = sum(o.wrong for o in got), sum(o.kept for o in got)
            print(f"{name:<30}{len(got):>4}{cells[0]:>9}{cells[1]:>6}{cells[2]:>6}{cells[3]:>8}"
                  f"{ends[0]:>6}{ends[1]:>6}", flush=True)  # fmt: skip
    print(f"without a launch: {without}, a take-up told in {wrong}, kept unasked {kept}")
    chance, true = (np.array(column, dtype=float) for column in zip(*said, strict=True))
    for low in (0.8, 0.85, 0.9, 0.95):
        of = (chance >= low) & (chance < low + 0.05 + (low > 0.94))
        if of.any():
            print(f"said {100 * chance[of].mean():.0f} %: came true {100 * true[of].mean():.0f} % "
                  f"of {of.sum()}")  # fmt: skip


def _share(part: int, of: int) -> str:
    return f"{100 * part / of:.0f}" if of else ""


if __name__ == "__main__":
    main()
