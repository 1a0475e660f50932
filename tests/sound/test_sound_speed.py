"""Speed against time: tones, chirps and engines of known law."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal
from synthesis import Voice, add_noise, engine_sound, random_voice

from pitwright.sound.listen import follow
from pitwright.sound.read_audio import SampleRecording
from pitwright.sound.spectrum import SpectrumStream, candidate_rpm
from pitwright.sound.viterbi import Grid

RATE = 48_000


def track_of(sound, rate=RATE):
    return follow(SampleRecording(np.asarray(sound), rate))[0]


def inner(track, edge=0.1):
    return (track.time_s > edge) & (track.time_s < track.time_s[-1] - edge)


def sawtooth(hertz_of_time, seconds=2.0, rate=RATE):
    """A harmonic-rich tone by scipy, from the phase of a known law."""
    clock = np.arange(int(seconds * rate)) / rate
    return 0.2 * signal.sawtooth(2 * np.pi * np.cumsum(hertz_of_time(clock)) / rate)


@pytest.mark.parametrize("rpm", [5_000, 8_123, 12_345, 19_000, 27_777, 40_000])
def test_a_steady_tone_agrees_with_a_long_periodogram(rpm):
    sound = sawtooth(lambda t: np.full_like(t, rpm / 60))
    hertz, power = signal.periodogram(sound, RATE, window="hann", nfft=1 << 22)
    second_route = 60 * hertz[np.argmax(power)]
    track = track_of(sound)
    assert second_route == pytest.approx(rpm, rel=1e-4)
    np.testing.assert_allclose(track.rpm[inner(track)], second_route, rtol=0.003)
    assert np.median(track.rpm[inner(track)]) == pytest.approx(second_route, rel=0.001)


@pytest.mark.parametrize(
    ("first", "last", "seconds"),
    [(6_000, 12_000, 2.0), (38_000, 9_000, 2.0), (10_000, 40_000, 1.5)],
)
@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_a_chirp_of_known_law_within_half_a_percent(first, last, seconds, rate):
    def law(t):
        return (first + (last - first) * t / seconds) / 60

    track = track_of(sawtooth(law, seconds, rate), rate)
    use = inner(track)
    np.testing.assert_allclose(track.rpm[use], 60 * law(track.time_s[use]), rtol=0.005)
    assert track.confidence[use].min() > 0.8


def test_a_chirp_agrees_with_the_ridge_of_a_scipy_spectrogram():
    sound = signal.chirp(np.arange(2 * RATE) / RATE, 150, 2.0, 500) * 0.2
    sound = np.sign(sound) * np.abs(sound)  # a bare sine has no harmonics; make some:
    sound = np.clip(sound, -0.08, 0.2)
    plain = signal.ShortTimeFFT(signal.windows.hann(4_800), 480, RATE, mfft=1 << 16)
    spectrum = plain.spectrogram(sound)
    ridge = plain.f[np.argmax(spectrum[: round(700 / plain.delta_f)], axis=0)]
    track = track_of(sound)
    use = inner(track, 0.15)
    other = np.interp(track.time_s[use], plain.t(len(sound)), ridge)
    np.testing.assert_allclose(track.rpm[use] / 60, other, rtol=0.01)


@pytest.mark.parametrize("rpm", [9_000, 16_000, 24_000])
@pytest.mark.parametrize("missing", [1, 2])
def test_no_octave_is_lost_when_low_lines_are_missing(rpm, missing):
    """A small loudspeaker or wind filter takes the fundamental away; the speed stays."""
    clock = np.arange(RATE) / RATE
    sound = sum(np.sin(2 * np.pi * h * rpm / 60 * clock) / h for h in range(missing + 1, 12))
    track = track_of(0.1 * sound)
    np.testing.assert_allclose(track.rpm[inner(track)], rpm, rtol=0.01)


def test_engines_are_not_heard_an_octave_off():
    wrong = 0
    for seed in range(24):
        rng = np.random.default_rng(seed)
        speed = rng.uniform(8_000, 36_000)
        sound = engine_sound([0, 0.8], [speed, 1.1 * speed], voice=random_voice(rng), seed=seed)
        track = track_of(0.1 * add_noise(sound, 15, seed=seed))
        true = np.interp(track.time_s, [0, 0.8], [speed, 1.1 * speed])
        wrong += np.median(np.abs(track.rpm / true - 1)) > 0.02
    assert wrong <= 1


@pytest.mark.parametrize("mute", [0.6, 0.8, 1.0])
def test_firing_every_second_turn_is_recognised(mute):
    """A rich spell of 0.4 s: the pitch falls an octave at once, the speed does not."""
    right = marked = 0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        voice, speed = random_voice(rng), rng.uniform(15_000, 22_000)
        rich = replace(voice, every_second_turn=mute)
        law = ([0, 0.5], [speed, speed]), ([0, 0.4], [speed, 1.03 * speed])
        after = ([0, 0.5], [1.03 * speed, 1.1 * speed])
        sound = np.concatenate(
            (
                engine_sound(*law[0], voice=voice, seed=seed),
                engine_sound(*law[1], voice=rich, seed=seed + 50),
                engine_sound(*after, voice=voice, seed=seed),
            )
        )
        track = track_of(0.1 * add_noise(sound, 20, seed=seed))
        true = np.interp(track.time_s, [0, 0.5, 0.9, 1.4], speed * np.array([1, 1, 1.03, 1.1]))
        use = (track.time_s > 0.53) & (track.time_s < 0.87)
        right += np.mean(np.abs(track.rpm / true - 1)[use] < 0.02) > 0.9
        marked += np.mean(track.every_second[use]) > 0.5
    assert right >= 7
    assert marked >= 5


def test_a_long_rich_spell_is_heard_by_the_unevenness_of_its_pulses():
    """With no change to go by, every second pulse at half strength still tells."""
    right = 0
    for seed in range(8):
        voice = replace(random_voice(np.random.default_rng(seed)), every_second_turn=0.5)
        sound = engine_sound([0, 1.0], [16_000, 20_000], voice=voice, seed=seed)
        track = track_of(0.1 * add_noise(sound, 20, seed=seed))
        true = np.interp(track.time_s, [0, 1], [16_000, 20_000])
        right += np.mean(np.abs(track.rpm / true - 1)[inner(track)] < 0.02) > 0.95
    assert right >= 7


def test_firing_every_turn_is_not_called_every_second():
    for seed in range(6):
        voice = random_voice(np.random.default_rng(seed))
        sound = engine_sound([0, 1.0], [16_000, 20_000], voice=voice, seed=seed)
        track = track_of(0.1 * add_noise(sound, 20, seed=seed))
        assert np.mean(track.every_second) < 0.1


def test_the_fastest_free_climb_is_followed():
    law = ([0, 0.5, 0.55, 1.0], [9_000, 9_000, 24_000, 24_000])
    track = track_of(0.1 * engine_sound(*law))
    settled = (track.time_s > 0.6) & (track.time_s < 0.9)
    np.testing.assert_allclose(track.rpm[settled], 24_000, rtol=0.01)
    before = (track.time_s > 0.1) & (track.time_s < 0.45)
    np.testing.assert_allclose(track.rpm[before], 9_000, rtol=0.02)


def test_noise_alone_gives_no_confidence():
    rng = np.random.default_rng(4)
    track = track_of(0.1 * rng.standard_normal(3 * RATE))
    smooth = np.convolve(track.confidence, np.ones(17) / 17, mode="valid")
    assert smooth.max() < 0.5


def test_confidence_falls_with_the_noise():
    sound = engine_sound([0, 1.0], [15_000, 17_000], voice=Voice(), seed=3)
    means = [np.mean(track_of(0.1 * add_noise(sound, snr)).confidence) for snr in (20, 5, -5, -15)]
    assert means == sorted(means, reverse=True)
    assert means[0] > 0.9 > 0.5 > means[-1]


def test_block_size_changes_nothing():
    sound = 0.1 * add_noise(engine_sound([0, 1, 1.1, 2], [9e3, 9e3, 2e4, 3e4], seed=1), 15)

    def followed(block_s):
        return follow(SampleRecording(sound, RATE), block_s=block_s)[0]

    whole, small = followed(60.0), followed(0.0317)
    np.testing.assert_allclose(small.time_s, whole.time_s)
    np.testing.assert_allclose(small.rpm, whole.rpm, rtol=1e-3)


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 22_050, 32_000, 192_000])
def test_unusual_sample_rates(rate):
    track = track_of(sawtooth(lambda t: np.full_like(t, 300.0), 1.0, rate), rate)
    assert np.median(track.rpm[inner(track)]) == pytest.approx(18_000, rel=0.005)


def test_frames_sit_where_they_say():
    """A tone switched on at 1 s is loud from the frame centred there on."""
    sound = np.concatenate((np.zeros(RATE), sawtooth(lambda t: np.full_like(t, 250.0), 1.0)))
    stream = SpectrumStream(RATE)
    level = np.concatenate([stream.feed(sound).level_db, stream.finish().level_db])
    half = level[-60] - 3.0
    assert np.argmax(level > half) * stream.hop_s == pytest.approx(1.0, abs=0.012)


class TestGrid:
    def test_against_every_path_tried_out(self):
        rpm = 10_000 * 2 ** (np.arange(5) / 70)
        scores = np.random.default_rng(0).normal(size=(6, 5)).astype(np.float32)
        grid = Grid(rpm, 70, limit=150.0)  # one state a step, here and there two
        reach = np.ceil(np.log2(1 + 150.0 / rpm[0]) * 70)
        best = max(
            (route for route in np.ndindex(*(5,) * 6) if np.abs(np.diff(route)).max() <= reach),
            key=lambda route: scores[range(6), route].sum() - np.abs(np.diff(route)).sum() * 5 / 70,
        )
        assert tuple(grid.path(scores)) == best

    def test_the_limit_holds(self):
        rpm = candidate_rpm()[::2]
        scores = np.zeros((20, len(rpm)), dtype=np.float32)
        scores[:10, 20] = scores[10:, 200] = 50.0
        speeds = rpm[Grid(rpm, 70, limit=1_500.0).path(scores)]
        assert np.abs(np.diff(speeds)).max() < 1_500 * 1.3

    def test_pieces_side_by_side_find_what_one_piece_finds(self):
        """Speed wanders through noise; cut elsewhere, the path is the same."""
        rng = np.random.default_rng(1)
        rpm = candidate_rpm()[::2]
        true = (110 + 60 * np.sin(np.arange(1_500) / 90)).astype(int)
        scores = rng.normal(0, 0.4, (1_500, len(rpm))).astype(np.float32)
        scores[np.arange(1_500), true] += 1.0
        grid = Grid(rpm, 70, limit=1_500.0)
        whole, later = grid.path(scores), grid.path(scores[200:])
        np.testing.assert_array_equal(whole[500:], later[300:])
        assert np.mean(np.abs(whole - true) <= 2) > 0.97
