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
    library_installed,
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


def coded(samples, container: str, codec: str) -> bytes:
    """The samples in a container and coding of the library's."""
    import av

    target = io.BytesIO()
    with av.open(target, "w", format=container) as out:
        stream = out.add_stream(codec, rate=RATE, layout="mono")
        whole = np.ascontiguousarray((samples * 32767).astype(np.int16)[None, :])
        frame = av.AudioFrame.from_ndarray(whole, format="s16", layout="mono")
        frame.sample_rate = RATE
        form = "s16p" if codec == "adpcm_ima_wav" else "s16"
        size = stream.codec_context.frame_size or None
        shape = av.AudioResampler(format=form, layout="mono", rate=RATE, frame_size=size)
        for part in shape.resample(frame):
            out.mux(stream.encode(part))
        out.mux(stream.encode(None))
    return target.getvalue()


def spoilt_aac(seconds: float, first: float, last: float, filling: bytes) -> bytes:
    """An m4a whose sound is overwritten between two shares of its length; its index is whole."""
    from launch_truth import encode

    raw = bytearray(encode(tone(seconds).astype(np.float32), "aac"))
    at = 0
    while raw[at + 4 : at + 8] != b"mdat":
        at += int.from_bytes(raw[at : at + 4], "big")
    length = int.from_bytes(raw[at : at + 4], "big") - 8
    start, stop = (at + 8 + round(share * length) for share in (first, last))
    raw[start:stop] = filling * (stop - start)
    return bytes(raw)


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


def test_a_format_description_without_block_alignment():
    """Two bytes a sample go by the bits alone when the alignment is 0 or does not fit."""
    for align in (0, 3):
        raw = bytearray(wav(as_int(tone(), 16), 16, channels=2))
        struct.pack_into("<H", raw, 32, align)
        recording, got = read(bytes(raw))
        assert recording.duration_s == pytest.approx(0.25)
        np.testing.assert_allclose(got, tone().reshape(-1, 2).mean(axis=1), atol=1e-4)


def test_twenty_bits_lie_left_justified_in_three_bytes():
    """Microsoft's rule for bit depths that fill no whole bytes: the low bits are padding."""
    raw = bytearray(wav(as_int(tone(), 24), 24))
    struct.pack_into("<H", raw, 34, 20)
    np.testing.assert_allclose(read(bytes(raw))[1], tone(), atol=1e-6)


@pytest.mark.parametrize("stated", [0xFFFFFFFF, 0])
def test_a_wide_file_tells_its_size_in_a_chunk_of_its_own(stated):
    """EBU Tech 3306: RF64, and the size of the sound as 64 bits in ds64."""
    data = as_int(tone(), 16)
    plain = wav(data, 16, size=stated)
    wide = b"ds64" + struct.pack("<IQQQI", 28, 0, len(data) - 9600, len(tone()), 0)
    recording, got = read(b"RF64\xff\xff\xff\xff" + plain[8:12] + wide + plain[12:])
    assert recording.duration_s == pytest.approx(0.4)
    np.testing.assert_allclose(got, tone()[: -RATE // 10], atol=1e-4)


def test_a_wide_file_cut_off_in_its_sizes_goes_by_what_is_there():
    wide = b"ds64" + struct.pack("<IQ", 28, 0)
    with pytest.raises(DamagedAudioError, match=r"heat\.wav: a WAV file without sound in it"):
        read(b"RF64\xff\xff\xff\xffWAVE" + wide)


def test_sound_before_its_format_description():
    raw = wav(as_int(tone(), 16), 16)
    head, fmt, data = raw[:12], raw[12:36], raw[36:]
    with pytest.raises(DamagedAudioError, match=r"heat\.wav: the sound comes before its format"):
        read(head + data + fmt)


def test_a_file_that_grows_shorter_while_it_is_read_ends_there():
    raw = io.BytesIO(wav(as_int(tone(), 16), 16))
    recording = open_recording(raw, "heat.wav")
    raw.truncate(44 + 2 * 1000)
    np.testing.assert_allclose(
        np.concatenate(list(recording.blocks(0.01))), tone()[:1000], atol=1e-4
    )


def test_bad_samples_are_remarked_on_once():
    samples = tone().astype("<f4")
    samples[[100, -100]] = np.nan
    recording, _ = read(wav(samples.tobytes(), 32, code=3), seconds=0.1)
    assert recording.notes == ["some samples were not numbers and were taken as silence"]


def test_opposition_is_judged_by_the_first_block_with_sound():
    """Half a second of silence says nothing of how the microphones are wired."""
    both = np.stack((tone(), -0.9 * tone()), axis=1)
    both = np.concatenate((np.zeros_like(both), both))
    recording, got = read(wav(as_int(both.ravel(), 16), 16, channels=2), seconds=0.1)
    assert recording.notes == ["the channels cancel each other; only channel 1 was used"]
    np.testing.assert_allclose(got[RATE // 2 :], tone(), atol=1e-4)


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
        assert recording.notes == ["only 1.0 s of the 2.0 s its header states could be read"]
        head = encode(tone(2.0).astype(np.float32), "aac")[:400]
        with pytest.raises((NotAudioError, DamagedAudioError), match=r"heat\.wav"):
            read(head)

    def test_spoilt_bytes_in_the_middle_leave_the_rest(self):
        from launch_truth import encode

        raw = bytearray(encode(tone(2.0).astype(np.float32), "mp3"))
        raw[9_000:11_000] = bytes(2_000)
        _, got = read(bytes(raw))
        assert len(got) > 1.2 * RATE

    def test_some_bad_packets_are_left_out_whatever_the_decoder_calls_them(self):
        """The decoder calls 0xff 'not implemented', which is no end of the recording either."""
        for filling in (b"\xff", b"\0"):
            recording, got = read(spoilt_aac(4.0, 0.4, 0.5, filling))
            assert recording.notes == [
                "parts of the file are damaged and were left out",
                "only 3.6 s of the 4.0 s its header states could be read",
            ]
            assert len(got) == pytest.approx(3.6 * RATE, abs=0.1 * RATE)
            assert np.std(got[-RATE:]) == pytest.approx(0.5 / np.sqrt(2), rel=0.02)

    def test_a_recording_spoilt_from_a_point_on_is_used_up_to_there(self):
        recording, got = read(spoilt_aac(24.0, 0.25, 1.0, b"\0"), seconds=1.0)
        assert len(got) == pytest.approx(6 * RATE, abs=0.1 * RATE)
        assert recording.notes == [
            "parts of the file are damaged and were left out",
            "the file is damaged after 6.0 s; what came before was used",
            "only 6.0 s of the 24.0 s its header states could be read",
        ]

    @pytest.mark.parametrize(
        ("seconds", "reason"),
        [
            (2.0, r"heat\.wav: no sound could be decoded from it"),
            (24.0, r"heat\.wav: cannot be decoded \(Invalid data found"),
        ],
    )
    def test_a_recording_spoilt_all_through_says_so(self, seconds, reason):
        with pytest.raises(DamagedAudioError, match=reason):
            read(spoilt_aac(seconds, 0.0, 1.0, b"\0"))

    def test_blocks_are_of_about_the_length_asked_for(self):
        from launch_truth import encode

        raw = encode(tone(2.0).astype(np.float32), "mp3")
        lengths = [len(b) for b in open_recording(io.BytesIO(raw)).blocks(0.5)]
        assert all(0.5 * RATE <= n < 0.55 * RATE for n in lengths[:-1])
        assert sum(lengths) == len(read(raw)[1])

    def test_a_file_that_ends_with_a_block(self):
        """Nothing is held back then, and nothing is made up."""
        from launch_truth import encode

        raw = encode(tone(2.0).astype(np.float32), "mp3")
        whole = read(raw)[1]
        one = list(open_recording(io.BytesIO(raw)).blocks(len(whole) / RATE))
        assert len(one) == 1
        np.testing.assert_array_equal(one[0], whole)

    @pytest.mark.parametrize("codec", ["pcm_alaw", "adpcm_ms", "adpcm_ima_wav"])
    def test_a_wav_of_another_coding_goes_to_the_library(self, codec):
        _, got = read(coded(tone(1.0), "wav", codec))
        np.testing.assert_allclose(got[RATE // 4 : RATE // 2], tone()[RATE // 4 :], atol=0.03)

    def test_a_riff_file_that_is_no_wave_goes_to_the_library(self, tmp_path):
        raw = coded(tone(1.0), "avi", "pcm_s16le")
        assert raw[:4] + raw[8:12] == b"RIFFAVI "
        path = tmp_path / "heat.avi"
        path.write_bytes(raw)
        got = np.concatenate(list(open_recording(path).blocks()))
        np.testing.assert_allclose(got, tone(1.0), atol=1e-4)

    def test_the_library_is_said_to_be_there(self):
        assert library_installed()

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
