"""An invented engine to listen to: firing pulses through an exhaust, for the demo and the tests.

A single-cylinder two-stroke gives one exhaust pulse a turn. Each pulse rings a few damped
resonances (muffler, pipe, casing), differs a little from the last in strength and moment, and is
heard with background noise and the reverberation of a pit lane. The constants are invented: they
are meant to be awkward for the listener, not to copy any engine.
"""

from __future__ import annotations

import io
import wave
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Signal = NDArray[np.float64]


@dataclass(frozen=True)
class Voice:
    """How an engine sounds.

    resonances: (frequency in Hz, decay time in s, weight) each; strength_jitter: relative standard
    deviation of one pulse's strength; timing_jitter: of one turn's length; every_second_turn: 0
    (each turn fires alike) to 1 (every second turn is mute), the four-stroking of a rich mixture.
    """

    resonances: tuple[tuple[float, float, float], ...] = (
        (420.0, 0.004, 0.7),
        (1150.0, 0.0025, 1.0),
        (2600.0, 0.0012, 0.6),
    )
    strength_jitter: float = 0.12
    timing_jitter: float = 0.005
    every_second_turn: float = 0.0


def random_voice(rng: np.random.Generator) -> Voice:
    """A voice drawn at random: three to five resonances between 250 and 5,000 Hz."""
    count = int(rng.integers(3, 6))
    tones = np.exp(rng.uniform(np.log(250.0), np.log(5000.0), count))
    return Voice(
        resonances=tuple(
            (float(f), float(rng.uniform(1.0, 3.0) / f), float(rng.uniform(0.4, 1.0)))
            for f in tones
        ),
        strength_jitter=float(rng.uniform(0.05, 0.2)),
        timing_jitter=float(rng.uniform(0.001, 0.008)),
    )


def engine_sound(
    time_s: ArrayLike,
    rpm: ArrayLike,
    rate_hz: int = 48_000,
    *,
    voice: Voice | None = None,
    seed: int = 0,
) -> Signal:
    """Sound of an engine that follows rpm(time_s), linear between the points given.

    The result starts at time_s[0], lasts to time_s[-1] and has unit RMS. Raises ValueError when
    times do not increase or a speed is not positive.
    """
    voice = voice or Voice()
    times = np.asarray(time_s, dtype=float)
    speeds = np.asarray(rpm, dtype=float)
    if times.ndim != 1 or times.shape != speeds.shape or len(times) < 2:
        raise ValueError("time and speed must be two equally long rows of at least two numbers")
    if not (np.diff(times) > 0).all():
        raise ValueError("times must increase")
    if not (speeds > 0).all():
        raise ValueError("engine speed must be positive")
    rng = np.random.default_rng(seed)
    count = round(float(times[-1] - times[0]) * rate_hz)
    clock = np.arange(count) / rate_hz
    turns = np.concatenate(([0.0], np.cumsum(np.interp(clock, times - times[0], speeds))))
    turns = turns[:-1] / (60.0 * rate_hz)
    fired = np.arange(1, int(turns[-1]) + 1, dtype=float)
    moments = np.interp(fired + voice.timing_jitter * rng.standard_normal(len(fired)), turns, clock)
    strength = 1.0 + voice.strength_jitter * rng.standard_normal(len(fired))
    strength[1::2] *= 1.0 - voice.every_second_turn
    excitation = np.zeros(count + 2)
    place = moments * rate_hz
    whole = np.minimum(place.astype(int), count - 1)
    part = place - whole
    np.add.at(excitation, whole, strength * (1.0 - part))
    np.add.at(excitation, whole + 1, strength * part)
    response_clock = np.arange(int(0.03 * rate_hz)) / rate_hz
    response = np.zeros_like(response_clock)
    for tone, decay, weight in voice.resonances:
        if tone < 0.45 * rate_hz:
            response += weight * np.exp(-response_clock / decay) * np.sin(
                2.0 * np.pi * tone * response_clock
            )  # fmt: skip
    response += 0.6 * np.exp(-response_clock / 0.0008)
    return _unit(convolve(excitation[:count], response)[:count])


def convolve(signal: Signal, response: Signal) -> Signal:
    """Full linear convolution by FFT."""
    length = len(signal) + len(response) - 1
    size = 1 << (length - 1).bit_length()
    product = np.fft.rfft(signal, size) * np.fft.rfft(response, size)
    return np.asarray(np.fft.irfft(product, size)[:length])


def reverberate(
    signal: Signal, rate_hz: int, *, rt60_s: float = 0.5, direct_db: float = 3.0, seed: int = 0
) -> Signal:
    """Add a tail of noise, 60 dB down after rt60_s and in all direct_db below the direct sound."""
    rng = np.random.default_rng(seed)
    clock = np.arange(int(rt60_s * rate_hz)) / rate_hz
    tail = rng.standard_normal(len(clock)) * 10.0 ** (-3.0 * clock / rt60_s)
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return convolve(signal, tail)[: len(signal)]


def add_noise(signal: Signal, snr_db: float, *, colour: float = 0.5, seed: int = 0) -> Signal:
    """Add noise of amplitude 1/f^colour (0 white, 0.5 pink), snr_db below the signal."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal(len(signal)))
    shape = np.maximum(np.arange(len(spectrum)), len(spectrum) / 1000.0) ** -colour
    noise = _unit(np.asarray(np.fft.irfft(spectrum * shape, len(signal))))
    level = float(np.sqrt(np.mean(signal**2))) * 10.0 ** (-snr_db / 20.0)
    return np.asarray(signal + level * noise)


def wav_bytes(signal: Signal, rate_hz: int = 48_000, *, peak: float = 0.7) -> bytes:
    """A 16-bit mono WAV file of the signal, scaled to this peak, as bytes to be written."""
    scaled = signal * (peak / max(float(np.max(np.abs(signal))), 1e-12))
    target = io.BytesIO()
    with wave.open(target, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        out.writeframes(np.round(scaled * 32767.0).astype("<i2").tobytes())
    return target.getvalue()


def _unit(signal: Signal) -> Signal:
    return np.asarray(signal / max(float(np.sqrt(np.mean(signal**2))), 1e-12))
