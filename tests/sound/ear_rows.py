"""The rows of the ear's benchmark: which recordings, by condition."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from ear_truth import NO_LAUNCH, Case, launch_and_lap, launch_case, other_case


@dataclass(frozen=True)
class Spec:
    """One recording to be made: a launch, one without, or a launch followed by a lap."""

    what: str
    seed: int
    number: int
    snr_db: float | None = None
    fixed: dict[str, Any] = field(default_factory=dict)

    @property
    def receding(self) -> bool:
        """Whether the car drives away from the microphone."""
        return bool(self.fixed.get("receding"))


_HARD = {
    "pull 45,000 to 90,000 rpm/s": lambda rng: {"pull": rng.uniform(45e3, 90e3)},
    "roll-on 0.10 to 0.15 s": lambda rng: {"roll_on_s": rng.uniform(0.10, 0.15)},
    "take-up 7,000 to 9,500": lambda rng: {"level": rng.uniform(7_000, 9_500)},
    "take-up 25,000 to 30,000": lambda rng: {"level": rng.uniform(25_000, 30_000)},
    "stands 60 to 90 ms": lambda rng: {"stand_s": rng.uniform(0.06, 0.09)},
    "stands 0.3 to 0.5 s": lambda rng: {"stand_s": rng.uniform(0.3, 0.5)},
    "drifts by 4 to 6 %": lambda rng: {"drift": rng.uniform(0.04, 0.06) * rng.choice([-1, 1])},
    "idle 500 to 1,000 rpm below": lambda rng: {
        "gap": rng.uniform(500, 1_000),
        "level": rng.uniform(8_000, 16_000),
    },
    "drives away, grip held or not": lambda rng: {
        "receding": True,
        "make": str(rng.choice(["clutch", "rolled"])),
    },
}


def all_rows(seed: int, each: int = 24) -> dict[str, list[Spec]]:
    """Every row of the table; each: recordings in a row, twice as many in the mixed ones."""
    rows: dict[str, list[Spec]] = {}
    for snr in (10.0, 0.0):
        rows[f"{snr:g} dB, mixed"] = [Spec("launch", seed, i, snr) for i in range(2 * each)]
    rows["20 dB, clean"] = [Spec("launch", seed + 1, i, 20.0, {"faults": ()}) for i in range(each)]
    for name, draw in _HARD.items():
        rows[name] = [
            Spec("launch", seed + 2, i, 15.0,
                 {"faults": (), **draw(np.random.default_rng([seed, 5, i]))})
            for i in range(each)
        ]  # fmt: skip
    rows["climbs through, no stand"] = [
        Spec("launch", seed + 6, i, 15.0, {"bent": True}) for i in range(each)
    ]
    for kind in NO_LAUNCH:
        rows[kind] = [Spec(kind, seed + 3, i) for i in range(max(1, 2 * each // 3))]
    rows["launch, then a lap"] = [Spec("launch and lap", seed + 4, i) for i in range(each)]
    return rows


def make_case(spec: Spec) -> Case:
    """The recording of a spec."""
    if spec.what == "launch":
        assert spec.snr_db is not None
        return launch_case(spec.seed, spec.number, spec.snr_db, **spec.fixed)
    if spec.what == "launch and lap":
        return launch_and_lap(spec.seed, spec.number)
    return other_case(spec.seed, spec.number, spec.what, spec.snr_db)
