"""Launches of known speed, heard through noise and worse: error and detection rate.

Run from the root of the checkout:
    python tests/benchmarks/sound_truth.py [--launches 200] [--seed 1]
Each row is that many launches over 5,000 to 40,000 rpm, half with a plateau of 0.1 to 0.35 s and
half without one. In the rows by signal to noise, reverberation (60 %), a second engine 6 dB down
(50 %), clipping (30 %) and a codec (80 %) are drawn anew for each launch.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sound"))
from launch_truth import NO_PLATEAU_KINDS, RATE, Truth, draw_law, draw_sound

from pitwright.sound.listen import Hearing, listen
from pitwright.sound.read_audio import SampleRecording


@dataclass
class Tally:
    """Counts of one row."""

    with_one: int = 0
    found: int = 0
    good: int = 0
    octave: int = 0
    covered: int = 0
    without: int = 0
    invented: int = 0
    spin_heard: int = 0
    errors: list[float] = field(default_factory=list)

    def add(self, truth: Truth, hearing: Hearing) -> str:
        speeds = [x.take_up for x in hearing.launches if x.take_up is not None]
        if truth.kind != "plateau":
            self.without += 1
            if speeds:
                self.invented += 1
                return f"invented {speeds[0].rpm:.0f}"
            return ""
        self.with_one += 1
        assert truth.plateau_s is not None
        assert truth.plateau_rpm is not None
        first, last = truth.plateau_s
        near = [s for s in speeds if s.start_s < last + 0.05 and s.end_s > first - 0.05]
        if not near:
            return "missed: " + "; ".join(x.reason for x in hearing.launches)
        self.found += 1
        error = near[0].rpm / truth.plateau_rpm - 1
        self.errors.append(error)
        self.covered += abs(near[0].rpm - truth.plateau_rpm) <= near[0].expanded_rpm
        if abs(error) <= 0.02:
            self.good += 1
            return ""
        if min(abs(abs(np.log2(1 + error)) - k) for k in (1, np.log2(1.5), np.log2(3))) < 0.06:
            self.octave += 1
        return f"wrong {near[0].rpm:.0f}"

    def row(self, name: str) -> str:
        e = np.abs(self.errors) if self.errors else np.array([np.nan])
        inner = e[e <= 0.02] if (e <= 0.02).any() else e
        return (
            f"{name:<22}{self.with_one:>6}{100 * self.good / max(1, self.with_one):>9.1f}"
            f"{100 * np.median(e):>9.2f}{100 * np.quantile(inner, 0.95):>8.2f}"
            f"{100 * self.octave / max(1, self.with_one):>9.1f}"
            f"{100 * self.covered / max(1, self.found):>9.1f}"
            f"{self.without:>9}{100 * self.invented / max(1, self.without):>10.1f}"
        )


HEAD = (
    f"{'condition':<22}{'with':>6}{'found %':>9}{'err med':>9}{'95 %':>8}{'octave %':>9}"
    f"{'in U %':>9}{'without':>9}{'invent %':>10}"
)


def run(launches: int, seed: int, snr_db: float, show: bool = False, **fixed: object) -> Tally:
    """One row: half the launches with a plateau, half without."""
    tally = Tally()
    for number in range(launches):
        rng = np.random.default_rng([seed, round(10 * snr_db), number])
        kind = "plateau" if number % 2 else NO_PLATEAU_KINDS[number // 2 % len(NO_PLATEAU_KINDS)]
        truth = draw_law(rng, kind)
        sound = draw_sound(rng, truth, snr_db, **fixed)  # type: ignore[arg-type]
        hearing = listen(SampleRecording(sound, RATE), place="standstill")
        verdict = tally.add(truth, hearing)
        if verdict and show:
            print(f"   #{number} {truth.kind} {truth.plateau_rpm} {truth.plateau_s} "
                  f"{truth.spoilt}: {verdict}")  # fmt: skip
    return tally


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--launches", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--snr", type=float, nargs="*", default=[20, 15, 10, 5, 0])
    parser.add_argument("--show", action="store_true", help="name each launch that went wrong")
    parser.add_argument("--short", action="store_true", help="leave out the rows by condition")
    options = parser.parse_args()
    begun = time.perf_counter()
    print("errors and U in % of the plateau speed; 'found' means within 2 %")
    print(HEAD)
    for snr in options.snr:
        tally = run(options.launches, options.seed, snr, options.show)
        print(tally.row(f"{snr:g} dB, all mixed"), flush=True)
    if not options.short:
        clean = {"reverb": False, "second": False, "clipped": False, "codec": "none"}
        for name, change in (
            ("nothing else", {}),
            ("reverberation", {"reverb": True}),
            ("second engine", {"second": True}),
            ("clipped", {"clipped": True}),
            ("mp3", {"codec": "mp3"}),
            ("aac", {"codec": "aac"}),
            ("vorbis", {"codec": "vorbis"}),
            ("opus", {"codec": "opus"}),
        ):
            tally = run(options.launches // 2, options.seed, 10, options.show, **clean | change)
            print(tally.row(f"10 dB, {name}"), flush=True)
    print(f"{time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
