"""Time and memory of a minute of sound, beside a plain numpy spectrogram of the same samples.

Run from the root of the checkout:
    OMP_NUM_THREADS=1 python tests/benchmarks/bench_sound.py [--seconds 60] [--streamed-minutes 60]
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from synthesis import add_noise, engine_sound

from pitwright.sound.listen import listen
from pitwright.sound.read_audio import SampleRecording

RATE = 48_000


def peak_mb() -> float:
    """Largest memory this process has used, in MB."""
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used / (1e6 if sys.platform == "darwin" else 1e3)


class Repeated:
    """One short stretch of sound over and over: an hour that is never held in memory."""

    def __init__(self, part: np.ndarray, times: int) -> None:
        self.rate_hz, self.notes = RATE, []
        self.duration_s = len(part) * times / RATE
        self._part, self._times = part, times

    def blocks(self, seconds: float = 10.0) -> Iterator[np.ndarray]:
        """The stretch, again and again."""
        for _ in range(self._times):
            yield self._part


def best_of(action, times: int = 3) -> float:
    """Least processor time of some runs, in seconds."""
    spent = []
    for _ in range(times):
        begun = time.process_time()
        action()
        spent.append(time.process_time() - begun)
    return min(spent)


def plain_spectrogram(sound: np.ndarray) -> np.ndarray:
    """Power of 40 ms frames every 6 ms, as anybody would write it."""
    frames = np.lib.stride_tricks.sliding_window_view(sound, 1_920)[::288]
    window = np.hanning(1_920)
    return np.array([np.abs(np.fft.rfft(frame * window)) ** 2 for frame in frames])


def main() -> None:
    """Print time, ratio and memory."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--streamed-minutes", type=int, default=60)
    options = parser.parse_args()
    law_t = [0, 3, 3.1, 3.3, 5, 6, 6.5, 10]
    law_rpm = [9_000, 9_000, 19_000, 19_000, 36_000, 36_000, 9_000, 9_000]
    part = add_noise(engine_sound(law_t, law_rpm, RATE), 15) * 0.1
    part = part.astype(np.float32)
    sound = np.tile(part, max(1, options.seconds // 10))
    before = peak_mb()
    ours = best_of(lambda: listen(SampleRecording(sound, RATE)))
    after = peak_mb()
    hour = Repeated(part, 6 * options.streamed_minutes)
    hour_time = best_of(lambda: listen(hour), 1)
    hour_peak = peak_mb()

    theirs = best_of(lambda: plain_spectrogram(sound))
    seconds = len(sound) / RATE
    print(f"{seconds:.0f} s of {RATE} Hz mono: {ours:.2f} s of one core")
    print(f"plain numpy spectrogram, 40 ms frames every 6 ms: {theirs:.2f} s, ratio "
          f"{ours / theirs:.2f}")  # fmt: skip
    print(f"memory: {before:.0f} MB before, {after:.0f} MB at most")
    print(f"{options.streamed_minutes} minutes, streamed: {hour_time:.1f} s, {hour_peak:.0f} MB at "
          "most")  # fmt: skip


if __name__ == "__main__":
    main()
