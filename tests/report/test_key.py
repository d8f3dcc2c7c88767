"""The key of a figure: everything is in it, in order, and no wider than the figure."""

from __future__ import annotations

from itertools import chain, pairwise

import pytest
from matplotlib.figure import Figure

from railwright.report.drawing import drawing
from railwright.report.key import LETTERS_A_LINE, draw_key, key_of

ENTRIES = [f"{n}  {n}.5 ms, main: enters CC (at 8.995 V, 0.4645 A)" for n in range(1, 13)]


@pytest.mark.parametrize("count", [1, 2, 3, 7, 12])
def test_entries_keep_their_order_down_the_columns_and_columns_stay_apart(count: int) -> None:
    with drawing():
        key = key_of(ENTRIES[:count], (), 6.2)
        assert list(chain(*key.columns)) == ENTRIES[:count]
        figure = Figure(figsize=(6.9, 3.0))
        draw_key(figure, key, 0.6, 1.0)
        boxes = [text.get_window_extent() for text in figure.texts]
    assert len(boxes) == count
    assert max(box.x1 for box in boxes) / figure.dpi < 6.9
    assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[k + 1 :])


def test_short_entries_share_a_line_and_long_ones_do_not() -> None:
    with drawing():
        assert len(key_of(["1  0 s, main: off", "2  20 ms, aux: off"], (), 6.2).columns) == 2
        assert len(key_of(["W" * 70, "W" * 70], (), 6.2).columns) == 1


def test_a_long_entry_is_broken_into_lines_and_nothing_of_it_is_lost() -> None:
    long = "2  0.1163 s, camera: enters CV (at 24 V, 0.4465 A; before it 16.81 V, 0.6 A; no reading in it)"
    entries = [ENTRIES[0], long, ENTRIES[2], ENTRIES[3]]
    with drawing():
        key = key_of(entries, (), 6.2)
        lines = list(chain(*key.columns))
        assert " ".join(line.strip() for line in lines) == " ".join(entries)
        assert len(lines) == len(entries) + 1
        assert len(key.columns) == 2
        # An entry stands in one column, and what goes on does not begin with a number.
        assert all(column[0][0].isdigit() for column in key.columns)
        assert key.step * len(key.columns) <= 6.2 + 0.2


def test_remarks_are_broken_into_lines_and_take_their_height() -> None:
    words = "; ".join(f"requirement {n}: at most {n} mC" for n in range(1, 20))
    with drawing():
        key, twice = key_of((), (words,), 6.2), key_of((), (words, words), 6.2)
    assert " ".join(key.remarks) == words
    assert max(map(len, key.remarks)) <= LETTERS_A_LINE
    assert twice.height == pytest.approx(2.0 * key.height)
    assert 0.1 < key.height / len(key.remarks) < 0.15  # of letters of 7 points, in inches
    assert all(a != b for a, b in pairwise(key.remarks))


def test_nothing_to_say_takes_no_room() -> None:
    assert key_of((), (), 6.2).height == 0.0
