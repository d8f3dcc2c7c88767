"""True traces of the last minutes."""

import numpy as np

from railwright.twin.history import MERGE_AT, History


def filled(pieces: int, keep: float) -> History:
    history = History(("value",), keep)
    for number in range(pieces):
        time = np.array([number, number + 1.0])
        history.append(time, 10 * time)
    return history


def test_rows_from_the_last_at_or_before_a_time_on() -> None:
    time, value = filled(10, 1e9).since(6.5)
    assert time[0] == 6.0
    assert np.array_equal(value, 10 * time)
    assert time[-1] == 10.0


def test_rows_between_two_times() -> None:
    time, _ = filled(2 * MERGE_AT, 1e9).between(100.5, 103.5)
    assert (time[0], time[-1]) == (100.0, 104.0)


def test_old_rows_are_forgotten() -> None:
    time, _ = filled(4 * MERGE_AT, float(MERGE_AT)).since(0.0)
    assert 2 * MERGE_AT - 1 <= time[0] <= 3 * MERGE_AT
    assert time[-1] == 4 * MERGE_AT


def test_an_empty_history() -> None:
    assert [rows.size for rows in History(("a", "b"), 1.0).since(0.0)] == [0, 0, 0]
