"""Traces: parts of them, as they are and closed at their ends."""

import numpy as np
import pytest

from railwright.traces import Mode, Traces

RAMP = Traces(
    np.array([0.0, 1.0, 5.0]),
    {"voltage": np.array([0.0, 2.0, 10.0]), "mode": np.array([Mode.CC, Mode.CV, Mode.OFF], dtype=float)},
)


def test_a_part_holds_the_instants_inside() -> None:
    assert RAMP.between(0.5, 4.0).time.tolist() == [1.0]


def test_a_closed_part_reaches_both_ends() -> None:
    part = RAMP.closed(0.5, 4.0)
    assert part.time.tolist() == [0.5, 1.0, 4.0]
    assert part.columns["voltage"].tolist() == [1.0, 2.0, 8.0]
    assert part.columns["mode"].tolist() == [Mode.CC, Mode.CV, Mode.CV]
    assert np.trapezoid(part.columns["voltage"], part.time) == pytest.approx(4.0**2 - 0.5**2)


def test_a_closed_part_ends_with_the_trace() -> None:
    assert RAMP.closed(4.0, 9.0).time.tolist() == [4.0, 5.0, 5.0]
    assert RAMP.closed(6.0, 9.0).time.size == 0


def test_channels_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match="channel 'voltage' has 2 values for 1 instants"):
        Traces(np.array([0.0]), {"voltage": np.array([0.0, 1.0])})
