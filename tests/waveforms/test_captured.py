"""Captures as few lines: edges as jumps, levels without the noise; figures against the known truth."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from tests.waveforms.captures import CAPTURES, Capture, captured, levels

from railwright.waveforms.fit_samples import lines_of
from railwright.waveforms.noise import noise_of
from railwright.waveforms.recordings import few_lines
from railwright.waveforms.waveform import Waveform


def wave_of(capture: Capture) -> Waveform:
    return Waveform(capture.time, capture.value)


@pytest.mark.parametrize("capture", CAPTURES, ids=lambda capture: capture.name)
def test_a_capture_is_its_truth_without_the_noise(capture: Capture) -> None:
    made = few_lines(wave_of(capture))
    span = float(np.ptp(capture.truth(capture.time)))
    # Where samples tell a level, it is their mean's error that is left; lines may leave ringing by 0.25 %.
    assert capture.rms(made.wave.at) < 0.0025 * span + 0.1 * capture.noise
    assert capture.latest(made.wave.at) <= 1.01 * float(np.median(np.diff(capture.time)))
    assert made.noise == pytest.approx(capture.noise, rel=0.12, abs=2e-4)
    if "ringing" not in capture.name:
        assert made.jumps == len(capture.edges)
        assert made.points == len(capture.edges) + 1


@pytest.mark.parametrize("capture", CAPTURES, ids=lambda capture: capture.name)
def test_flat_stretches_have_their_mean_and_are_flat(capture: Capture) -> None:
    made = few_lines(wave_of(capture)).wave
    if not capture.name.startswith(("given", "clean", "noisy", "gap")):
        return
    ends = [0.0, *(at for at, _, _ in capture.edges), capture.duration]
    for begin, end in itertools.pairwise(ends):
        inside = (capture.time >= begin + 1e-9) & (capture.time < end - 1e-9)
        mean = float(capture.value[inside].mean())
        told = made.at(np.linspace(begin, end, 50)[1:-1])
        assert np.ptp(told) == 0.0
        assert told[0] == pytest.approx(mean, abs=1e-4)


def test_edges_with_a_sample_on_the_way_cross_half_their_height_in_time() -> None:
    time = np.arange(1000) * 1e-3
    for share in (0.1, 0.3, 0.5, 0.8):
        value = np.where(time < 0.4, 12.0, 9.0)
        value[400] = 12.0 - 3.0 * share  # (0.399 s, 12 V), (0.4 s, on its way), (0.401 s, 9 V)
        made = few_lines(Waveform(time, value))
        crossing = 0.399 + 1e-3 * (0.5 / share if share >= 0.5 else 1.0 + (0.5 - share) / (1.0 - share))
        assert made.jumps == 1
        assert made.wave.time[1] == pytest.approx(crossing)
        assert list(made.wave.value) == [12.0, 12.0, 9.0, 9.0]


def test_edges_of_more_samples_are_lines() -> None:
    time = np.arange(4000) * 1e-3
    value = np.interp(time, [0.0, 1.0, 1.02, 3.0, 3.2, 4.0], [12.0, 12.0, 9.0, 9.0, 12.0, 12.0])
    noisy = value + np.random.default_rng(3).normal(scale=5e-3, size=value.size)
    for given, accuracy in ((value, 1e-3), (noisy, 2e-3)):
        made = few_lines(Waveform(time, given)).wave
        assert not (np.diff(made.time) == 0.0).any()
        assert made.time == pytest.approx([0.0, 1.0, 1.02, 3.0, 3.2, 3.999], abs=accuracy)
        assert made.value == pytest.approx([12.0, 12.0, 9.0, 9.0, 12.0, 12.0], abs=max(4e-3, accuracy))
        # Level stretches are level to the last bit: they are holds.
        assert [made.value[0], made.value[2], made.value[4]] == [made.value[1], made.value[3], made.value[5]]


def test_a_step_within_the_noise_of_single_samples_is_found_in_time() -> None:
    """Three times the noise: no edge between two samples tells it, the means on both sides do."""
    truth, edges = levels(12.0, (1.0, 12.06), (2.0, 11.0))
    capture = captured("", truth, edges, 3.0, 1e-4, 20e-3, seed=9)
    made = few_lines(wave_of(capture)).wave
    assert made.at(np.array([0.5, 1.5, 2.5])) == pytest.approx([12.0, 12.06, 11.0], abs=2e-3)
    assert capture.latest(made.at) < 2e-3


def test_lines_that_would_cross_beyond_their_own_rows_do_not_meet_there() -> None:
    """12 V, down by 6 times the noise and in nine samples nearly back, then up: two jumps, in their order."""
    offset = np.concatenate((np.zeros(440), np.linspace(-0.3, -0.02, 9), np.full(400, 0.4)))
    time = np.arange(offset.size) * 1e-3
    value = 12.0 + offset + 1e-2 * np.random.default_rng(1).normal(size=offset.size)
    instants, jumps = lines_of(time, value, np.array([0, 440, 449]), 0.05, 0.0)
    assert instants == pytest.approx([0.0, 0.4395, 0.4485, 0.848])
    assert list(jumps) == [1, 2]
    noisy = value + 0.05 * np.random.default_rng(2).normal(size=offset.size)
    made = few_lines(Waveform(time, noisy)).wave
    assert made.time[np.flatnonzero(np.diff(made.time) == 0.0)] == pytest.approx([0.4395, 0.4485], abs=1e-3)
    assert made.at(np.array([0.2, 0.44, 0.7])) == pytest.approx([12.0, 11.7, 12.4], abs=0.12)


def test_a_drawn_waveform_of_few_rows_keeps_its_lines() -> None:
    drawn = Waveform(np.array([0.0, 1.0, 1.001, 2.0, 3.0]), np.array([12.0, 12.0, 9.0, 9.0, 12.0]))
    made = few_lines(drawn)
    assert (made.jumps, made.noise, made.error) == (0, 0.0, pytest.approx(0.0, abs=0.0075))


def test_a_drawn_waveform_of_many_rows_keeps_its_lines_and_jumps() -> None:
    """As `railwright waveform --to` writes one: rows where lines meet, two at one time where it jumps."""
    draw = np.random.default_rng(4)
    ends = np.cumsum(draw.uniform(0.01, 1.0, 100))
    wave = Waveform(
        np.concatenate(([0.0], np.repeat(ends, 2)[:-1])), np.repeat(draw.uniform(5.0, 15.0, 100), 2)
    )
    made = few_lines(wave)
    assert (made.noise, made.jumps, made.points) == (0.0, 99, 100)
    assert made.error == pytest.approx(0.0, abs=1e-9)
    zigzag = Waveform(np.append(0.0, ends), draw.uniform(5.0, 15.0, 101))
    found = few_lines(zigzag)
    assert (found.noise, found.jumps) == (0.0, 0)
    assert found.error <= 0.0025 * float(np.ptp(zigzag.value)) * (1.0 + 1e-9)


def test_edges_too_many_for_jumps_stay_lines() -> None:
    time = np.arange(2000) * 1e-3
    wave = Waveform(time, np.where(np.arange(2000) // 5 % 2, 6.0, 12.0))
    assert few_lines(wave).jumps == 399
    made = few_lines(wave, most=300)
    assert made.jumps == 0
    assert made.points <= 300


@pytest.mark.parametrize("rms", [1e-3, 0.05, 2.0])
@pytest.mark.parametrize("kind", ["flat", "edges", "ringing", "ramp"])
def test_noise_is_told_from_what_moves(rms: float, kind: str) -> None:
    time = np.arange(20_000) * 1e-4
    moves = {
        "flat": np.zeros(time.size),
        "edges": 5.0 * (time % 0.1 < 0.03),
        "ringing": 3.0 * np.sin(2.0 * np.pi * 250.0 * time) * np.exp(-(time % 0.5) / 0.1),
        "ramp": 8.0 * time,
    }[kind]
    noise = np.random.default_rng(5).normal(scale=rms, size=time.size)
    assert noise_of(Waveform(time, 12.0 + moves + noise)) == pytest.approx(rms, rel=0.05, abs=3e-4)
    assert noise_of(Waveform(time, 12.0 + moves)) < 3e-4


def test_noise_on_a_coarse_grid_shows() -> None:
    time = np.arange(20_000) * 1e-4
    value = np.round((12.0 + np.random.default_rng(6).normal(scale=4e-3, size=time.size)) / 10e-3) * 10e-3
    assert 2e-3 < noise_of(Waveform(time, value)) < 10e-3
    assert noise_of(Waveform(time, np.full(time.size, 12.0))) == 0.0


def test_of_very_many_samples_parts_tell_the_noise() -> None:
    value = 12.0 + np.random.default_rng(7).normal(scale=5e-3, size=1_200_000)
    value[700_000:] -= 3.0
    wave = Waveform(np.arange(value.size) * 1e-6, value)
    assert noise_of(wave) == pytest.approx(5e-3, rel=0.02)
    made = few_lines(wave)
    assert (made.jumps, made.points) == (1, 2)
    assert made.wave.time[1] == pytest.approx(0.7, abs=1e-6)


@pytest.mark.parametrize("scale", [1e-300, 1e-160, 1e160, 1.7e308])
@pytest.mark.parametrize("interval", [1e-16, 1e290])
def test_no_number_is_too_large_or_too_small(scale: float, interval: float) -> None:
    time, near = np.arange(400) * interval, np.arange(400) * 1.0
    noise = np.random.default_rng(8).normal(scale=0.01, size=400)
    value = np.where(np.arange(400) < 200, 0.9, -0.9) + noise
    made, usual = few_lines(Waveform(time, value * scale)), few_lines(Waveform(near, value))
    assert made.wave.value / scale == pytest.approx(usual.wave.value)
    assert made.wave.time / interval == pytest.approx(usual.wave.time)
    assert (made.points, made.jumps) == (usual.points, usual.jumps) == (2, 1)
    assert made.noise / scale == pytest.approx(usual.noise)
