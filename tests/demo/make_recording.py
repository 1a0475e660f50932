"""Make the demo's recording afresh: one launch, as a phone beside the track would hear it.

    python tests/demo/make_recording.py demo_weekend/recordings/launch-Q4.wav

The engine speed follows the launch model of the heat that the file's name ends with: idle, the
throttle opened within 60 ms as far as the tyres carry, the engine held there while the clutch
slips, the pull with engine and car as one inertia, and the throttle shut. Firing
pulses, exhaust, pit-lane reverberation and noise are synthesised; engine, place and car are
invented. The same weekend gives the same file.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from synthesis import add_noise, engine_sound, reverberate, wav_bytes

from pitwright.desk.bite.bite import Prepared, prepare
from pitwright.desk.clutch.gears import grip_torque_now
from pitwright.mechanics.clutch import capacity_rising
from pitwright.mechanics.gears import final_drive
from pitwright.mechanics.launch import reflected_inertia
from pitwright.store.reader import read_folder

RATE_HZ = 22_050
SEED = 1609
STEP_S = 1e-4
IDLE_S, OPENING_S, AFTER_S = 0.8, 0.06, 0.35
TOP_RPM, FALL_RPM_PER_S = 33_000.0, 60_000.0
_RPM = 30 / math.pi


def speed_law(prepared: Prepared) -> tuple[np.ndarray, np.ndarray]:
    """Engine speed [rpm] against time [s] of a full-throttle launch of the compared heat."""
    card, model = prepared.card, prepared.like
    assert model is not None
    assert card.car is not None
    assert card.engine.inertia is not None
    car = card.car
    drive = final_drive(car.pinion_teeth, car.spur_teeth, car.internal_ratio.value)
    of_car = reflected_inertia(car.mass.si, car.wheel_diameter.si / 2, drive)
    of_engine = card.engine.inertia.si
    clutch = prepared.scales.applied_to(model.clutch)
    idle = card.engine.idle.si if card.engine.idle is not None else 6000 / _RPM
    carried = grip_torque_now(prepared.weekend, card) or math.inf
    engine, car_speed, locked = idle, 0.0, False
    speeds = [idle] * round(IDLE_S / STEP_S)
    opened = 0.0
    while engine * _RPM < TOP_RPM:
        opened = min(1.0, opened + STEP_S / OPENING_S)
        torque = opened * min(prepared.engine.clamped(engine), carried)
        if locked:
            engine += STEP_S * torque / (of_engine + of_car)
        else:
            passed = capacity_rising(clutch, engine)
            engine += STEP_S * (torque - passed) / of_engine
            car_speed += STEP_S * passed / of_car
            locked = car_speed >= engine
        speeds.append(engine)
    rpm = [speed * _RPM for speed in speeds]
    while rpm[-1] > idle * _RPM:
        rpm.append(rpm[-1] - STEP_S * FALL_RPM_PER_S)
    rpm += [idle * _RPM] * round(AFTER_S / STEP_S)
    return np.arange(len(rpm)) * STEP_S, np.array(rpm)


def launch_sound(folder: Path, heat: str) -> bytes:
    """A launch of a heat of the weekend in a folder, as the bytes of a WAV file."""
    weekend = read_folder(folder, "tent1").weekend
    assert weekend is not None
    time_s, rpm = speed_law(prepare(weekend, like=heat))
    sound = engine_sound(time_s, rpm, RATE_HZ, seed=SEED)
    sound = reverberate(sound, RATE_HZ, rt60_s=0.35, direct_db=5.0, seed=SEED)
    return wav_bytes(add_noise(sound, 15.0, seed=SEED), RATE_HZ)


def main(target: Path) -> None:
    target.parent.mkdir(exist_ok=True)
    heat = target.stem.rsplit("-", 1)[-1]
    target.write_bytes(launch_sound(target.parent.parent, heat))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
