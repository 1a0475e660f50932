"""What is no engine at all, and what a phone does to any sound."""

from __future__ import annotations

import numpy as np
from launch_truth import encode
from scipy.signal import lfilter, resample_poly


def music(rng, seconds: float, rate: int) -> np.ndarray:
    """A tune with chords, bass and drums; some notes glide, some trill."""
    clock = np.arange(int(seconds * rate)) / rate
    out = np.zeros(len(clock))
    beat = rng.uniform(0.25, 0.6)
    scale = np.array([0, 2, 3, 5, 7, 8, 10, 12])
    root = rng.uniform(80, 260)
    for voice in range(int(rng.integers(1, 4))):
        at, last = 0.0, root
        while at < seconds:
            length = beat * rng.choice([0.5, 1, 1, 2, 3])
            note = root * 2.0 ** ((rng.choice(scale) + 12 * rng.integers(0, 2)) / 12)
            first, end = int(at * rate), min(len(clock), int((at + length) * rate))
            t = clock[first:end] - at
            glide = rng.uniform(0.05, 0.5) if rng.random() < 0.35 else 1e-3
            pitch = note + (last - note) * np.exp(-t / (glide / 3))
            if rng.random() < 0.4:
                pitch = pitch * (1 + 0.015 * np.sin(2 * np.pi * 5.5 * t))
            phase = 2 * np.pi * np.cumsum(pitch) / rate
            tone = sum(
                np.sin(k * phase) / k ** rng.uniform(0.4, 1.4)
                for k in range(1, 14)
                if k * note < 0.4 * rate
            )
            out[first:end] += tone * np.exp(-t / rng.uniform(0.2, 2.0)) * (0.6 if voice else 1.0)
            last, at = note, at + length
    if rng.random() < 0.7:
        for hit in np.arange(0, seconds, beat / 2):
            n = int(0.05 * rate)
            first = int(hit * rate)
            burst = rng.standard_normal(n) * np.exp(-np.arange(n) / (0.01 * rate))
            out[first : first + n] += 1.5 * burst[: len(out) - first] * (rng.random() < 0.6)
    return out / (np.std(out) + 1e-9)


def speech(rng, seconds: float, rate: int) -> np.ndarray:
    """Someone talks: phrases of syllables whose pitch rises, stands and falls, through formants."""
    out = np.zeros(int(seconds * rate))
    at, base = rng.uniform(0.0, 0.3), rng.uniform(85, 260)
    while at < seconds - 0.3:
        length = rng.uniform(0.6, 1.8)
        n = min(int(length * rate), len(out) - int(at * rate))
        t = np.arange(n) / rate
        knots = base * np.exp(0.22 * rng.standard_normal(int(length / 0.16) + 3))
        pitch = np.interp(t, np.arange(len(knots)) * 0.16, knots)
        pitch *= 1 + 0.01 * rng.standard_normal()
        turn = np.cumsum(pitch * (1 + 0.006 * rng.standard_normal(n))) / rate
        glottal = np.maximum(0.0, np.sin(2 * np.pi * turn)) ** 3
        voiced = np.interp(t, np.arange(len(knots)) * 0.16, rng.choice([0, 1, 1, 1], len(knots)))
        source = glottal * voiced + 0.08 * rng.standard_normal(n) * (1.2 - voiced)
        sound = np.diff(source, prepend=0.0)
        for low, high in ((300, 800), (900, 2200), (2300, 3200)):
            tone = rng.uniform(low, high)
            r = np.exp(-np.pi * rng.uniform(60, 160) / rate)
            sound = lfilter([1 - r], [1, -2 * r * np.cos(2 * np.pi * tone / rate), r * r], sound)
            sound = sound / (np.std(sound) + 1e-9)
        first = int(at * rate)
        out[first : first + n] += sound * np.hanning(n) ** 0.3
        at += length + rng.uniform(0.1, 0.5)
    return out / (np.std(out) + 1e-9)


FAULTS = ("reverb", "second", "clipped", "codec")
CODECS = ("mp3", "aac", "vorbis", "opus")


def as_recorded(sound, rate: int, rng, snr_db: float, other=None, faults=None) -> np.ndarray:
    """The sound with what a paddock and a phone do to it; faults None: by lot.

    other: a second engine of the same length, 6 dB down when the lot says so.
    """
    lot = {
        "reverb": rng.random() < 0.6,
        "second": rng.random() < 0.4,
        "clipped": rng.random() < 0.3,
        "codec": rng.random() < 0.6,
    }
    on = lot if faults is None else {name: name in faults for name in FAULTS}
    sound = sound / np.sqrt(np.mean(sound**2))
    if other is not None and on["second"]:
        sound = sound + 0.5 * other[: len(sound)]
    if on["reverb"]:
        tail_s = rng.uniform(0.2, 0.7)
        n = int(tail_s * rate)
        tail = rng.standard_normal(n) * 10 ** (-3 * np.arange(n) / n)
        tail *= 10 ** (-rng.uniform(1, 8) / 20) / np.sqrt(np.sum(tail**2))
        tail[0] = 1.0
        size = 1 << (len(sound) + n).bit_length()
        sound = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: len(sound)]
    noise = rng.standard_normal(len(sound))
    colour = rng.uniform(0.0, 0.97)
    noise = lfilter([1.0], [1.0, -colour], noise)
    noise *= 1 + 0.5 * np.interp(
        np.arange(len(sound)), np.linspace(0, len(sound), 9), rng.uniform(-1, 1, 9)
    )
    level = np.sqrt(np.mean(sound**2)) * 10 ** (-snr_db / 20)
    sound = sound + level * noise / np.sqrt(np.mean(noise**2))
    sound = 0.15 * sound / np.sqrt(np.mean(sound**2))
    if on["clipped"]:
        limit = float(np.quantile(np.abs(sound), 0.94))
        sound = np.clip(sound, -limit, limit)
    sound = np.clip(sound, -1, 1).astype(np.float32)
    if on["codec"]:
        sound = _there_and_back(sound, rate, str(rng.choice(CODECS)))
    return sound


def _there_and_back(sound, rate: int, codec: str) -> np.ndarray:
    import io

    from pitwright.sound.read_audio import open_recording

    recording = open_recording(io.BytesIO(encode(sound, codec, rate)), codec)
    back = np.concatenate(list(recording.blocks()))
    if recording.rate_hz != rate:
        back = resample_poly(back, rate, recording.rate_hz).astype(np.float32)
    # An encoder puts some silence in front; truth is told in the time of the sound itself.
    size = 1 << (len(back) + len(sound)).bit_length()
    agree = np.fft.irfft(np.fft.rfft(back, size) * np.conj(np.fft.rfft(sound, size)), size)
    return back[int(np.argmax(agree[: rate // 5])) :]
