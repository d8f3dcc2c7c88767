"""Fewer samples of a long recording: as it is while it is short, every extreme of it when it is long."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from railwright.recordings.thinning import Thinned, extremes


def thinned(values: np.ndarray, cuts: list[int], most: int) -> tuple[np.ndarray, ...]:
    """Channels (c, n) block by block, cut at these rows; times are the rows."""
    made, row = Thinned(values.shape[0], most), 0
    for end in [*sorted({cut for cut in cuts if 0 < cut < values.shape[1]}), values.shape[1]]:
        made.add(row, np.arange(row, end) * 1.0, list(values[:, row:end]))
        row = end
    return made.result()


@settings(max_examples=200, deadline=None)
@given(
    st.integers(1, 3).flatmap(
        lambda channels: st.tuples(
            st.lists(
                st.lists(st.integers(-5, 5), min_size=channels, max_size=channels), min_size=1, max_size=400
            ),
            st.lists(st.integers(1, 400), max_size=8),
            st.integers(4 * (channels + 1), 120),
        )
    )
)
def test_every_extreme_of_every_channel_is_kept_however_it_comes(
    given: tuple[list[list[int]], list[int], int],
) -> None:
    rows, cuts, most = given
    values = np.array(rows, dtype=np.float64).T
    time, *kept = thinned(values, cuts, most)
    assert time.size <= most
    assert (np.diff(time) > 0.0).all()
    at = time.astype(int)
    assert (at[0], at[-1]) == (0, values.shape[1] - 1)
    for own, channel in zip(kept, values, strict=True):
        assert np.array_equal(own, channel[at])
        assert (own.min(), own.max()) == (channel.min(), channel.max())
    if values.shape[1] <= most:
        assert at.tolist() == list(range(values.shape[1]))


def test_no_stretch_of_a_long_recording_loses_its_peak() -> None:
    """A spike of one sample in each of fifty stretches of a million samples."""
    values = np.zeros((2, 1_000_000))
    spikes = np.random.default_rng(4).permutation(1_000_000)[:50]
    values[0, spikes], values[1, spikes] = np.arange(1.0, 51.0), -1.0
    time, first, second = thinned(values, list(range(0, 1_000_000, 70_001)), 10_000)
    assert 1000 < time.size <= 10_000
    assert sorted(first[first > 0.0].tolist()) == list(range(1, 51))
    assert set(time[second < 0.0].astype(int)) == set(spikes.tolist())


def test_lowest_and_highest_are_the_first_of_their_kind() -> None:
    low, high = extremes(np.array([1.0, 0.0, 0.0, 2.0, 2.0, 7.0, 7.0, 7.0]), np.array([0, 5]))
    assert (low.tolist(), high.tolist()) == ([1, 5], [3, 5])


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.lists(st.sampled_from([-1.0, 0.0, 1.0, 2.5, math.nan]), min_size=1, max_size=9),
        min_size=1,
        max_size=30,
    ),
    st.sampled_from([0, 4, 10**9]),
)
def test_long_and_short_stretches_have_the_extremes_that_a_plain_loop_finds(
    stretches: list[list[float]], long: int
) -> None:
    starts = np.cumsum([0, *map(len, stretches)])[:-1]

    def place(own: list[float], wanted: float) -> int:
        nans = [at for at, value in enumerate(own) if math.isnan(value)]
        return nans[0] if nans else own.index(wanted)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("railwright.recordings.thinning.LONG", long)
        low, high = extremes(np.array([value for own in stretches for value in own]), starts)
    assert (low - starts).tolist() == [place(own, min(own)) for own in stretches]
    assert (high - starts).tolist() == [place(own, max(own)) for own in stretches]


def test_too_few_to_keep_anything() -> None:
    with pytest.raises(ValueError, match="at least 12 samples of 2 channels are kept, got 11"):
        Thinned(2, 11)
