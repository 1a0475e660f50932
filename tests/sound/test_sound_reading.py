"""Recordings of every kind, sound and spoilt: each a clear outcome."""

import importlib
import io
import struct
import wave

import numpy as np
import pytest

from pitwright.sound.read_audio import (
    AudioLibraryMissingError,
    DamagedAudioError,
    NotAudioError,
    SampleRecording,
    open_recording,
)

RATE = 48_000


def tone(seconds=0.5, rate=RATE, hertz=440.0):
    return 0.5 * np.sin(2 * np.pi * hertz * np.arange(int(seconds * rate)) / rate)


def wav(data: bytes, bits: int, *, code=1, channels=1, rate=RATE, extra=b"", size=None) -> bytes:
    """A WAV file put together by hand, independent of the reader and of the wave module."""
    align = channels * bits // 8
    fmt = struct.pack("<HHIIHH", code, channels, rate, rate * align, align, bits) + extra
    body = b"WAVE" + b"fmt " + struct.pack("<I", len(fmt)) + fmt
    body += b"data" + struct.pack("<I", len(data) if size is None else size) + data
    return b"RIFF" + struct.pack("<I", len(body)) + body


def as_int(samples, bits) -> bytes:
    if bits == 8:
        return np.round(samples * 127 + 128).astype(np.uint8).tobytes()
    whole = np.round(samples * (2 ** (bits - 1) - 1)).astype(np.int64)
    if bits == 24:
        return b"".join(int(v).to_bytes(3, "little", signed=True) for v in whole)
    return whole.astype(f"<i{bits // 8}").tobytes()


def read(raw: bytes, seconds=10.0):
    recording = open_recording(io.BytesIO(raw), "heat.wav")
    blocks = list(recording.blocks(seconds))
    return recording, np.concatenate(blocks) if blocks else np.zeros(0)


@pytest.mark.parametrize("bits", [8, 16, 24, 32])
def test_integer_samples_of_every_width(bits):
    expected = tone()
    recording, got = read(wav(as_int(expected, bits), bits))
    assert recording.rate_hz == RATE
    assert recording.duration_s == pytest.approx(0.5)
    np.testing.assert_allclose(got, expected, atol=1.2 / 2 ** (min(bits, 23) - 1))


@pytest.mark.parametrize("bits", [32, 64])
def test_float_samples(bits):
    expected = tone()
    _, got = read(wav(expected.astype(f"<f{bits // 8}").tobytes(), bits, code=3))
    np.testing.assert_allclose(got, expected, atol=1e-7)


def test_the_wave_module_agrees(tmp_path):
    path = tmp_path / "a.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(44_100)
        out.writeframes(as_int(tone(rate=44_100), 16))
    recording = open_recording(path)
    assert recording.rate_hz == 44_100
    got = np.concatenate(list(recording.blocks(0.1)))
    np.testing.assert_allclose(got, tone(rate=44_100), atol=1e-4)


def test_extensible_format_and_chunks_before_the_sound():
    pcm = (
        struct.pack("<HHIH", 22, 16, 4, 1)
        + b"\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"
    )
    raw = wav(as_int(tone(), 16), 16, code=0xFFFE, extra=pcm)
    at = raw.index(b"data")
    raw = raw[:at] + b"LIST" + struct.pack("<I", 5) + b"abcde\x00" + raw[at:]
    _, got = read(raw)
    np.testing.assert_allclose(got, tone(), atol=1e-4)


def test_blocks_join_without_a_seam():
    raw = wav(as_int(tone(), 24), 24)
    np.testing.assert_array_equal(read(raw, 0.0137)[1], read(raw)[1])


def test_stereo_is_mixed_down():
    both = np.stack((tone(), 0.5 * tone()), axis=1)
    _, got = read(wav(as_int(both.ravel(), 16), 16, channels=2))
    np.testing.assert_allclose(got, 0.75 * tone(), atol=1e-4)


def test_stereo_in_opposition_is_not_cancelled():
    both = np.stack((tone(), -tone()), axis=1)
    recording, got = read(wav(as_int(both.ravel(), 16), 16, channels=2))
    assert np.max(np.abs(got)) == pytest.approx(0.5, abs=0.01)
    assert any("cancel" in note for note in recording.notes)


def test_a_file_cut_short_gives_what_is_there_and_says_so():
    data = as_int(tone(1.0), 16)
    recording, got = read(wav(data[: len(data) // 2 + 1], 16, size=len(data)))
    assert len(got) == RATE // 2
    assert any("ends early" in note and "0.5 s of the 1.0 s" in note for note in recording.notes)


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF])
def test_a_recorder_that_never_wrote_the_length(size):
    _, got = read(wav(as_int(tone(), 16), 16, size=size))
    assert len(got) == RATE // 2


def test_samples_that_are_not_numbers():
    samples = tone().astype("<f4")
    samples[100:110] = np.nan
    samples[200] = np.inf
    recording, got = read(wav(samples.tobytes(), 32, code=3))
    assert np.isfinite(got).all()
    assert recording.notes == ["some samples were not numbers and were taken as silence"]


@pytest.mark.parametrize(
    ("raw", "error", "word"),
    [
        (b"", NotAudioError, "empty"),
        (b"heat,lap,time\n1,1,15.2\n" * 50, NotAudioError, "not a sound"),
        (bytes(range(256)) * 40, NotAudioError, "not a sound"),
        (wav(b"", 16), DamagedAudioError, "no sound after"),
        (wav(as_int(tone(), 16), 16)[:30], DamagedAudioError, "cut off"),
        (wav(as_int(tone(), 16), 16)[:20], DamagedAudioError, "cut off"),
        (wav(as_int(tone(), 16), 16)[:36], DamagedAudioError, "without sound"),
        (wav(as_int(tone(), 16), 16, rate=0), DamagedAudioError, "samples per second"),
        (wav(as_int(tone(), 16), 16, channels=0), DamagedAudioError, "0 channels"),
        (wav(b"\0" * 4000, 40), DamagedAudioError, "40 bits"),
    ],
)
def test_what_cannot_be_read_says_why(raw, error, word):
    with pytest.raises(error, match=word) as caught:
        read(raw)
    assert "heat.wav" in str(caught.value)


def test_a_missing_file_is_the_usual_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        open_recording(tmp_path / "none.wav")


def test_without_the_library_the_message_says_how_to_get_it(monkeypatch):
    real = importlib.import_module

    def absent(name, *rest):
        if name == "av":
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr("importlib.import_module", absent)
    with pytest.raises(AudioLibraryMissingError, match=r"pip install \"pitwright\[sound\]\""):
        read(b"\0\0\0\x20ftypM4A " + b"\0" * 200)
    read(wav(as_int(tone(), 16), 16))  # plain WAV goes on working


def test_samples_in_memory_come_in_blocks():
    recording = SampleRecording(tone(), RATE)
    assert [len(b) for b in recording.blocks(0.2)] == [9_600, 9_600, 4_800]


class TestCompressed:
    @pytest.fixture(autouse=True)
    def _library(self):
        pytest.importorskip("av")

    @pytest.mark.parametrize("codec", ["mp3", "aac", "vorbis", "opus"])
    def test_phone_formats(self, codec):
        from launch_truth import encode

        recording, got = read(encode(tone(2.0).astype(np.float32), codec))
        assert recording.rate_hz == RATE
        middle = got[RATE // 2 : RATE // 2 + RATE]
        spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
        assert np.argmax(spectrum) == pytest.approx(440, abs=1)
        # This Vorbis encoder takes stereo only; splitting mono over two channels costs 3 dB each.
        expected = 0.5 / np.sqrt(2) if codec == "vorbis" else 0.5
        assert 4 * np.max(spectrum) / RATE == pytest.approx(expected, rel=0.05)

    def test_a_compressed_file_cut_short_is_used_or_refused_in_words(self):
        from launch_truth import encode

        raw = encode(tone(2.0).astype(np.float32), "mp3")
        recording, got = read(raw[: len(raw) // 2])
        assert 0.8 * RATE < len(got) < 1.2 * RATE
        assert any("ends early" in note or "damaged" in note for note in recording.notes)
        head = encode(tone(2.0).astype(np.float32), "aac")[:400]
        with pytest.raises((NotAudioError, DamagedAudioError), match=r"heat\.wav"):
            read(head)

    def test_spoilt_bytes_in_the_middle_leave_the_rest(self):
        from launch_truth import encode

        raw = bytearray(encode(tone(2.0).astype(np.float32), "mp3"))
        raw[9_000:11_000] = bytes(2_000)
        _, got = read(bytes(raw))
        assert len(got) > 1.2 * RATE

    def test_a_film_without_sound(self):
        import av

        target = io.BytesIO()
        with av.open(target, "w", format="mp4") as out:
            stream = out.add_stream("mpeg4", rate=10)
            stream.width = stream.height = 32
            stream.pix_fmt = "yuv420p"
            for _ in range(3):
                image = np.zeros((32, 32, 3), dtype=np.uint8)
                out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")))
            out.mux(stream.encode(None))
        with pytest.raises(NotAudioError, match="no sound track"):
            read(target.getvalue())
