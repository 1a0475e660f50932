"""Invented launches whose engine speed is known exactly, spoilt in the ways recordings are."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
from synthesis import add_noise, engine_sound, random_voice, reverberate

RATE = 48_000
NO_PLATEAU_KINDS = ("straight", "bent", "spin", "held")
CODECS = ("none", "mp3", "aac", "vorbis", "opus")


@dataclass
class Truth:
    kind: str
    time_s: np.ndarray
    rpm: np.ndarray
    plateau_rpm: float | None
    plateau_s: tuple[float, float] | None
    spoilt: dict = field(default_factory=dict)

    def at(self, time_s):
        return np.interp(time_s, self.time_s, self.rpm)


def draw_law(rng: np.random.Generator, kind: str, plateau_s: float | None = None) -> Truth:
    """A speed law between 5,000 and 40,000 rpm.

    plateau: idle, climb, stand-still of 0.1 to 0.35 s, pull. Without one: straight (one climb to
    the top), bent (steep, then flatter, never standing), spin (a stand-still of 20 to 60 ms), held
    (a rev on the stand: climb, hold, fall, no pull).
    """
    level = float(np.exp(rng.uniform(np.log(8_500), np.log(30_000))))
    idle = float(rng.uniform(5_000, min(13_000, 0.75 * level)))
    top = float(min(40_000, level * rng.uniform(1.3, 2.0)))
    climb = float(rng.uniform(50_000, 300_000))
    pull = float(rng.uniform(0.35, 1.2))  # log speed per second
    t = [0.0, float(rng.uniform(0.5, 1.0))]
    r = [idle, idle]
    plateau = None

    def add(seconds: float, rpm: float) -> None:
        t.append(t[-1] + max(seconds, 1e-3))
        r.append(rpm)

    def pull_to(rpm: float) -> None:
        start = r[-1]
        seconds = np.log(rpm / start) / pull
        for part in np.linspace(0, 1, 12)[1:]:
            add(seconds / 11, start * (rpm / start) ** part)

    if kind in ("plateau", "spin"):
        add((level - idle) / climb, level)
        hold = plateau_s or float(
            rng.uniform(0.1, 0.35) if kind == "plateau" else rng.uniform(0.02, 0.06)
        )
        drift = 1 + float(rng.uniform(-0.004, 0.004))
        plateau = (t[-1], t[-1] + hold)
        add(hold, level * drift)
        pull_to(top)
        truth_rpm = level * (1 + drift) / 2
    elif kind == "straight":
        add((top - idle) / float(rng.uniform(15_000, 150_000)), top)
    elif kind == "bent":
        add((level - idle) / climb, level)
        pull_to(top)
    else:
        add((level - idle) / climb, level)
        add(float(rng.uniform(0.15, 0.5)), level)
    if kind != "held":
        add(float(rng.uniform(0.1, 0.4)), r[-1] * 1.002)
    add((r[-1] - idle) / 60_000, idle)
    add(0.3, idle)
    # Corners of an engine with inertia are rounded; 6 ms is less than any real one needs.
    fine = np.arange(0, t[-1], 0.001)
    law = np.interp(fine, t, r)
    soft = np.convolve(np.pad(law, 3, mode="edge"), np.ones(7) / 7, mode="valid")
    return Truth(
        kind,
        fine,
        soft,
        truth_rpm if kind == "plateau" else (level if kind == "spin" else None),
        plateau,
    )


def draw_sound(
    rng: np.random.Generator,
    truth: Truth,
    snr_db: float,
    *,
    reverb: bool | None = None,
    second: bool | None = None,
    clipped: bool | None = None,
    codec: str | None = None,
) -> np.ndarray:
    """The launch as a phone might record it; what is not given is drawn."""
    seed = int(rng.integers(2**31))
    reverb = bool(rng.random() < 0.6) if reverb is None else reverb
    second = bool(rng.random() < 0.5) if second is None else second
    clipped = bool(rng.random() < 0.3) if clipped is None else clipped
    codec = str(rng.choice(CODECS)) if codec is None else codec
    truth.spoilt = {"reverb": reverb, "second": second, "clipped": clipped, "codec": codec}
    sound = engine_sound(truth.time_s, truth.rpm, RATE, voice=random_voice(rng), seed=seed)
    if second:
        speed = rng.uniform(6_000, 35_000)
        other = engine_sound(
            [0, truth.time_s[-1]],
            [speed, speed * rng.uniform(0.9, 1.1)],
            RATE,
            voice=random_voice(rng),
            seed=seed + 1,
        )
        sound = sound + 10 ** (-6 / 20) * other[: len(sound)]
    if reverb:
        sound = reverberate(
            sound, RATE, rt60_s=rng.uniform(0.2, 0.7), direct_db=rng.uniform(0, 8), seed=seed + 2
        )
    sound = add_noise(sound, snr_db, colour=rng.uniform(0, 0.7), seed=seed + 3)
    sound = sound / np.sqrt(np.mean(sound**2)) * 0.15
    if clipped:
        limit = float(np.quantile(np.abs(sound), 0.93))
        sound = np.clip(sound, -limit, limit)
    sound = np.clip(sound, -1, 1).astype(np.float32)
    return sound if codec == "none" else compress(sound, codec)


_ENCODERS = {
    "mp3": ("mp3", "libmp3lame", "fltp", 96_000),
    "aac": ("ipod", "aac", "fltp", 64_000),
    "vorbis": ("ogg", "vorbis", "fltp", 64_000),
    "opus": ("ogg", "libopus", "flt", 48_000),
}


def encode(sound: np.ndarray, codec: str, rate: int = RATE) -> bytes:
    """The sound as a compressed file."""
    import av

    form, name, layout, bits = _ENCODERS[codec]
    target = io.BytesIO()
    with av.open(target, "w", format=form) as out:
        # FFmpeg's own Vorbis encoder is stereo only and has to be allowed by name.
        channels = "stereo" if codec == "vorbis" else "mono"
        options = {"strict": "-2"} if codec == "vorbis" else {}
        stream = out.add_stream(name, rate=rate, layout=channels, options=options)
        stream.bit_rate = bits
        data = np.ascontiguousarray(sound[None, :], dtype=np.float32)
        frame = av.AudioFrame.from_ndarray(data, format="fltp", layout="mono")
        frame.sample_rate = rate
        shape = av.AudioResampler(format=layout, layout=channels, rate=rate)
        for part in [*shape.resample(frame), *shape.resample(None)]:
            out.mux(stream.encode(part))
        out.mux(stream.encode(None))
    return target.getvalue()


def compress(sound: np.ndarray, codec: str) -> np.ndarray:
    """There and back through a compressed file, read with our own reader."""
    from pitwright.sound.read_audio import open_recording

    recording = open_recording(io.BytesIO(encode(sound, codec)), codec)
    return np.concatenate(list(recording.blocks()))
