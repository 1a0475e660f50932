"""Two engines, two ribbons: give each its own speed where the louder one changes.

The best path follows whichever engine is clearer at the moment, the second path the other. Where
they trade places each trace leaps, but together they go on; so at every moment the two readings
are dealt to the two ribbons the way that moves them least.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitwright.sound.track import Track

_KNOWN = 0.3  # confidence from which a reading may move a ribbon
_KNOWN_ALONE = 0.5
_FORGET_S = 0.25


def ribbons(first: Track, second: Track) -> tuple[Track, ...]:
    """Every continuous reading of the two: the best path, two ribbons, and the lower of both.

    Our engine idles below another that drives, and pulls past it later or not at all: then the
    lower reading of each moment is ours, though the louder one keeps changing.
    """
    known = second.confidence >= _KNOWN_ALONE
    lower = known & (second.rpm < first.rpm)
    swapped = _swaps(first, second)
    # Where nothing trades places the ribbons are the two tracks themselves.
    found = [first, second] if not swapped.any() else [first, *_dealt(first, second, swapped)]
    if lower.any() and not np.array_equal(lower, swapped):
        found.append(_pick(first, second, lower))
    return tuple(found)


def untangle(first: Track, second: Track) -> tuple[Track, Track]:
    """The two tracks with their readings dealt to continuous ribbons."""
    return _dealt(first, second, _swaps(first, second))


def _dealt(first: Track, second: Track, swapped: NDArray[np.bool_]) -> tuple[Track, Track]:
    return _pick(first, second, swapped), _pick(second, first, swapped)


def _swaps(first: Track, second: Track) -> NDArray[np.bool_]:
    a, b = np.log(first.rpm).tolist(), np.log(second.rpm).tolist()
    sure_a = (first.confidence >= _KNOWN).tolist()
    sure_b = (second.confidence >= _KNOWN).tolist()
    swapped = np.zeros(len(a), dtype=np.bool_)
    keep = round(_FORGET_S / first.hop_s) if len(a) else 0
    state = False
    last: list[float | None] = [None, None]
    since = [0, 0]
    for at in range(len(a)):
        if sure_a[at] and sure_b[at]:
            here = (a[at], b[at])
            straight = _distance(last, here)
            crossed = _distance(last, (here[1], here[0]))
            # Only a plain gain is a trade of places; else noise would shuffle the ribbons.
            gain = crossed - straight if state else straight - crossed
            state = state != (gain > 0.03)
        swapped[at] = state
        for ribbon in (0, 1):
            value, sure = (a[at], sure_a[at]) if (ribbon == 0) != state else (b[at], sure_b[at])
            if sure:
                last[ribbon], since[ribbon] = value, 0
            else:
                since[ribbon] += 1
                if since[ribbon] > keep:
                    last[ribbon] = None
    return swapped


def _distance(last: list[float | None], here: tuple[float, float]) -> float:
    total = 0.0
    for old, new in zip(last, here, strict=True):
        # Far is far: a climb in the blind must not outweigh the other ribbon's staying put.
        total += 0.0 if old is None else min(abs(new - old), 0.15)
    return total


def _pick(track: Track, other: Track, swapped: NDArray[np.bool_]) -> Track:
    return replace(
        track,
        rpm=np.where(swapped, other.rpm, track.rpm),
        confidence=np.where(swapped, other.confidence, track.confidence),
        every_second=np.where(swapped, other.every_second, track.every_second),
    )
