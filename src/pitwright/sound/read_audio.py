"""Sound files as a stream of mono blocks: WAV with our own reader, all else through PyAV.

A recording is never loaded whole: an hour of sound passes through in blocks of some seconds.
WAV (integer 8, 16, 24, 32 bit and float 32, 64 bit) needs no library. What phones write (m4a, mp3,
ogg and relatives) needs PyAV, which the optional extra ``sound`` installs.
"""

from __future__ import annotations

import importlib
import importlib.util
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Protocol

import numpy as np
from numpy.typing import NDArray

from pitwright.signs import visible

Samples = NDArray[np.float32]

LOWEST_RATE_HZ = 4_000
HIGHEST_RATE_HZ = 768_000

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_OPEN_ENDED = (0, 0xFFFFFFFF)


class AudioError(Exception):
    """A recording cannot be used; the message says which file and why, fit to be shown."""

    def __init__(self, reason: str) -> None:
        super().__init__(visible(reason, keep=""))


class NotAudioError(AudioError):
    """The file is not a sound recording, or holds no sound track."""


class DamagedAudioError(AudioError):
    """The file is a recording by its marks, but no sound can be got out of it."""


class AudioLibraryMissingError(AudioError):
    """The file needs the optional decoding library, which is not installed."""


class Recording(Protocol):
    """What the analysis needs of a recording: its sample rate and its mono blocks, in order."""

    @property
    def rate_hz(self) -> int:
        """Samples per second."""

    @property
    def duration_s(self) -> float | None:
        """Length as the header states it, None when it does not."""

    @property
    def notes(self) -> list[str]:
        """Plain remarks for the user; complete only after the last block."""

    def blocks(self, seconds: float = 10.0) -> Iterator[Samples]:
        """Mono samples, full scale 1.0, in blocks of about this length."""


@dataclass
class SampleRecording:
    """A recording already in memory (synthesised, or made by a test)."""

    samples: NDArray[Any]
    rate_hz: int
    notes: list[str] = field(default_factory=list)

    @property
    def duration_s(self) -> float | None:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz

    def blocks(self, seconds: float = 10.0) -> Iterator[Samples]:
        """Mono samples in blocks of this length."""
        step = max(1, int(seconds * self.rate_hz))
        for start in range(0, len(self.samples), step):
            yield np.asarray(self.samples[start : start + step], dtype=np.float32)


@dataclass
class _FileRecording:
    """What the WAV and the library reader share: the name, the mix-down and the remarks."""

    source: Path | BinaryIO
    name: str
    rate_hz: int
    channels: int
    duration_s: float | None
    notes: list[str] = field(default_factory=list)
    _pick: int | None = None
    _decided: bool = False

    def _note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def _mono(self, block: NDArray[np.float32]) -> Samples:
        """Mix (channels, n) down to one channel and make every sample finite."""
        if not np.isfinite(block).all():
            self._note("some samples were not numbers and were taken as silence")
            block = np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0)
        if block.shape[0] == 1:
            return np.asarray(block[0])
        mixed = block.mean(axis=0, dtype=np.float32)
        if not self._decided:
            # Microphones wired in opposition cancel in the mean. Decide once, on the first block
            # with sound, so that the level does not jump in the middle of a launch.
            power = np.mean(np.square(block), axis=1)
            if power.max() > 1e-10:
                self._decided = True
                if float(np.mean(np.square(mixed))) < 0.1 * float(power.max()):
                    self._pick = int(power.argmax())
                    self._note(
                        f"the channels cancel each other; only channel {self._pick + 1} was used"
                    )
        return np.asarray(mixed if self._pick is None else block[self._pick])


@dataclass
class WavRecording(_FileRecording):
    """A WAV file; fields beyond the shared ones say how its samples lie in the data chunk."""

    data_start: int = 0
    data_bytes: int = 0
    width: int = 2
    is_float: bool = False

    def blocks(self, seconds: float = 10.0) -> Iterator[Samples]:
        """Mono samples in blocks of this length, straight from the data chunk."""
        frame = self.width * self.channels
        step = max(1, int(seconds * self.rate_hz)) * frame
        opened = isinstance(self.source, Path)
        stream: BinaryIO = self.source.open("rb") if isinstance(self.source, Path) else self.source
        try:
            stream.seek(self.data_start)
            left = self.data_bytes
            while left >= frame:
                raw = stream.read(min(step, left))
                left -= len(raw)
                whole = len(raw) - len(raw) % frame
                if not whole:
                    break
                flat = _samples_from_bytes(raw[:whole], self.width, self.is_float)
                yield self._mono(np.ascontiguousarray(flat.reshape(-1, self.channels).T))
        finally:
            if opened:
                stream.close()


@dataclass
class LibraryRecording(_FileRecording):
    """A compressed file, decoded by PyAV as it is read."""

    def blocks(self, seconds: float = 10.0) -> Iterator[Samples]:
        """Mono samples in blocks of about this length, decoded on the way."""
        av = _library(self.name)
        want = max(1, int(seconds * self.rate_hz))
        held: list[Samples] = []
        count, total = 0, 0
        try:
            with av.open(_for_library(self.source)) as container:
                for part in self._decode(av, container):
                    held.append(part)
                    count += len(part)
                    total += len(part)
                    if count >= want:
                        yield np.concatenate(held)
                        held, count = [], 0
        except av.error.FFmpegError as error:
            if not total:
                reason = f"{self.name}: cannot be decoded ({error.strerror})"
                raise DamagedAudioError(reason) from error
            self._note(f"the file is damaged after {total / self.rate_hz:.1f} s; what came before "
                       "was used")  # fmt: skip
        if held:
            yield np.concatenate(held)
        if not total:
            raise DamagedAudioError(f"{self.name}: no sound could be decoded from it")
        if self.duration_s is not None and total < 0.95 * self.duration_s * self.rate_hz:
            # Not 'ends early': what is missing may have been left out on the way.
            self._note(f"only {_of_stated(total / self.rate_hz, self.duration_s)} could be read")

    def _decode(self, av: Any, container: Any) -> Iterator[Samples]:
        stream = container.streams.audio[0]
        resampler = av.AudioResampler(format="fltp")
        bad = 0
        for packet in container.demux(stream):
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                # One spoilt packet costs some 20 ms; give up only when most are spoilt. Decoders
                # call the spoilt by many names: invalid, not permitted, not implemented.
                bad += 1
                self._note("parts of the file are damaged and were left out")
                if bad > 500:
                    raise
                continue
            for frame in frames:
                for even in resampler.resample(frame):
                    yield self._mono(np.asarray(even.to_ndarray(), dtype=np.float32))


def open_recording(source: str | Path | BinaryIO, name: str | None = None) -> Recording:
    """Open a sound file for reading in blocks.

    source is a path or a seekable binary file; name is used in messages (default: the file's name).
    Raises NotAudioError, DamagedAudioError, AudioLibraryMissingError, or the OSError of the open.
    """
    if isinstance(source, (str, Path)):
        path = Path(source)
        label = name or path.name
        with path.open("rb") as stream:
            wav = _parse_wav(stream, path, label)
        return wav or _open_with_library(path, label)
    label = name or "recording"
    source.seek(0)
    wav = _parse_wav(source, source, label)
    return wav or _open_with_library(source, label)


def _parse_wav(stream: BinaryIO, source: Path | BinaryIO, name: str) -> WavRecording | None:
    """Read the chunks of a RIFF/RF64 WAVE file; None when another reader should try the file.

    Layout as in the Microsoft/IBM "Multimedia Programming Interface and Data Specifications 1.0"
    and the WAVEFORMATEXTENSIBLE addition; RF64 sizes as in EBU Tech 3306.
    """
    head = stream.read(12)
    if not head:
        raise NotAudioError(f"{name}: the file is empty")
    if head[:4] not in (b"RIFF", b"RF64"):
        return None
    if head[8:12] != b"WAVE":
        return None
    end = _size(stream)
    position, wide_size = 12, 0
    layout: tuple[int, int, int, int] | None = None
    while position + 8 <= end:
        stream.seek(position)
        chunk, size = struct.unpack("<4sI", stream.read(8))
        body = position + 8
        if chunk == b"ds64" and size >= 16 and body + 16 <= end:
            wide_size = struct.unpack("<QQ", stream.read(16))[1]
        elif chunk == b"fmt ":
            layout = _parse_format(stream.read(min(size, 40)), name)
        elif chunk == b"data":
            if layout is None:
                raise DamagedAudioError(f"{name}: the sound comes before its format description")
            return _wav_from(source, name, layout, body, wide_size or size, end)
        position = body + size + size % 2
    raise DamagedAudioError(f"{name}: a WAV file without sound in it (it was cut off?)")


def _parse_format(raw: bytes, name: str) -> tuple[int, int, int, int]:
    if len(raw) < 16:
        raise DamagedAudioError(f"{name}: the format description is cut off")
    code, channels, rate, _, align, bits = struct.unpack("<HHIIHH", raw[:16])
    if code == _EXTENSIBLE and len(raw) >= 26:
        code = struct.unpack("<H", raw[24:26])[0]
    if not 1 <= channels <= 64:
        raise DamagedAudioError(f"{name}: the format description gives {channels} channels")
    if align and align % channels == 0 and align // channels * 8 >= bits:
        bits = align // channels * 8  # a 20-bit sample lies in three bytes, left justified
    return code, channels, rate, bits


def _wav_from(
    source: Path | BinaryIO,
    name: str,
    layout: tuple[int, int, int, int],
    start: int,
    stated: int,
    end: int,
) -> WavRecording | None:
    code, channels, rate, bits = layout
    plain = (code == _PCM and bits in (8, 16, 24, 32)) or (code == _FLOAT and bits in (32, 64))
    if not plain:
        if code in (_PCM, _FLOAT):
            raise DamagedAudioError(f"{name}: samples of {bits} bits are not possible here")
        return None  # ADPCM, A-law and the like: the library knows them
    _check_rate(rate, name)
    width = bits // 8
    there = max(0, end - start)
    size = there if stated in _OPEN_ENDED else min(stated, there)
    frame = width * channels
    if size < frame:
        raise DamagedAudioError(f"{name}: the header is there, but no sound after it")
    recording = WavRecording(
        source=source,
        name=name,
        rate_hz=rate,
        channels=channels,
        duration_s=size / frame / rate,
        data_start=start,
        data_bytes=size,
        width=width,
        is_float=code == _FLOAT,
    )
    if stated not in _OPEN_ENDED and stated > there + frame:
        short = _of_stated(size / frame / rate, stated / frame / rate)
        recording._note(f"the file ends early: {short}")
    return recording


def _of_stated(got_s: float, stated_s: float) -> str:
    return f"{got_s:.1f} s of the {stated_s:.1f} s its header states"


def _check_rate(rate: int, name: str) -> None:
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise DamagedAudioError(
            f"{name}: {rate} samples per second; from {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} can be "
            "used"
        )


def _samples_from_bytes(raw: bytes, width: int, is_float: bool) -> Samples:
    if is_float:
        floats = np.frombuffer(raw, dtype="<f4" if width == 4 else "<f8")
        return np.asarray(np.clip(floats, -1e6, 1e6), dtype=np.float32)
    if width == 1:  # 8-bit WAV is unsigned
        eight = np.frombuffer(raw, dtype=np.uint8).astype(np.float32)
        return (eight - np.float32(128.0)) / np.float32(128.0)
    if width == 3:
        # Put the three bytes into the top of a 32-bit word, so that the sign comes for free.
        words = np.zeros((len(raw) // 3, 4), dtype=np.uint8)
        words[:, 1:] = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 3)
        return np.asarray(words.view("<i4")[:, 0].astype(np.float32) / np.float32(2**31))
    whole = np.frombuffer(raw, dtype="<i2" if width == 2 else "<i4")
    return np.asarray(whole.astype(np.float32) / np.float32(2 ** (8 * width - 1)))


def _size(stream: BinaryIO) -> int:
    stream.seek(0, 2)
    return stream.tell()


def library_installed() -> bool:
    """Whether the optional library for m4a, mp3 and ogg is there; WAV needs none."""
    return importlib.util.find_spec("av") is not None


def _library(name: str) -> Any:
    try:
        return importlib.import_module("av")
    except ImportError as error:
        raise AudioLibraryMissingError(
            f"{name}: not a plain WAV file, and the library for m4a, mp3 and ogg is not installed. "
            'Install it with: pip install "pitwright[sound]". Or save the recording as WAV.'
        ) from error


def _for_library(source: Path | BinaryIO) -> str | BinaryIO:
    if isinstance(source, Path):
        return str(source)
    source.seek(0)
    return source


def _open_with_library(source: Path | BinaryIO, name: str) -> LibraryRecording:
    av = _library(name)
    try:
        with av.open(_for_library(source)) as container:
            if not container.streams.audio:
                raise NotAudioError(f"{name}: there is no sound track in it")
            stream = container.streams.audio[0]
            rate, channels = int(stream.rate or 0), int(stream.channels or 1)
            length = container.duration / 1e6 if container.duration else None
    except (av.error.FFmpegError, UnicodeDecodeError, AttributeError) as error:
        # A track without a decoder has no rate to ask for.
        raise NotAudioError(
            f"{name}: not a sound recording that can be read, or damaged at its very start"
        ) from error
    _check_rate(rate, name)
    return LibraryRecording(
        source=source, name=name, rate_hz=rate, channels=channels, duration_s=length
    )
