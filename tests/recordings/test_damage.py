"""Damaged recordings of every kind: samples or one line, never anything else."""

from __future__ import annotations

import warnings
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.recordings.samples import KINDS, columns, written

from railwright.printable import printable
from railwright.recordings.errors import RecordingError
from railwright.recordings.opening import open_recording
from railwright.recordings.samples import Channel, Samples

MADE = columns(300)


@cache
def good(kind: str) -> bytes:
    with TemporaryDirectory() as name:
        return written(Path(name), kind, MADE).read_bytes()


def read(kind: str, content: bytes) -> Samples | RecordingError:
    """What is read of a file with this content, or what is said of it: one line, and no warning."""
    with TemporaryDirectory() as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        path = Path(name) / f"scope{kind}"
        path.write_bytes(content)
        try:
            with open_recording(path) as recording:
                channels = [Channel(place) for place, _ in recording.channels]
                samples = recording.read(channels)
                thinned = recording.thinned(channels)
        except RecordingError as refused:
            error = refused
        else:
            assert np.array_equal(thinned.time, samples.time)
            return samples
    assert printable(str(error), one_line=True) == str(error)
    assert str(error).startswith(f"{path}:{error.line}")
    assert ": expected " in str(error)
    return error


def fit_to_use(samples: Samples) -> None:
    """What everything that comes after relies on."""
    assert samples.time.size >= 2
    assert (np.diff(samples.time) >= 0.0).all()
    for values in (samples.time, *samples.values):
        assert values.dtype == np.float64
        assert values.shape == samples.time.shape
        assert (np.abs(values) <= 1e15).all()


PIECES = [b"\xff" * 8, b"\0" * 8, b"-", b'"', b"\n", b",", b"nan", b"1e999", b"\xff\xff\xff\x7f"]
damages = st.lists(
    st.tuples(
        st.floats(0.0, 1.0, exclude_max=True),
        st.binary(min_size=1, max_size=16) | st.sampled_from(PIECES),
        st.sampled_from(["over", "into", "out", "cut"]),
    ),
    min_size=1,
    max_size=4,
)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=150, deadline=None)
@given(damage=damages)
def test_damage_is_told_or_leaves_samples(kind: str, damage: list[tuple[float, bytes, str]]) -> None:
    content = good(kind)
    for part, piece, how in damage:
        at = int(part * len(content))
        match how:
            case "over":
                content = content[:at] + piece + content[at + len(piece) :]
            case "into":
                content = content[:at] + piece + content[at:]
            case "out":
                content = content[:at] + content[at + len(piece) :]
            case "cut":
                content = content[:at]
    samples = read(kind, content)
    if isinstance(samples, Samples):
        fit_to_use(samples)


@settings(max_examples=150, deadline=None)
@given(
    row=st.integers(1, 300),
    cell=st.integers(0, 2),
    text=st.text(st.characters(codec="utf-8", exclude_characters=',;\r\n"#', exclude_categories=["Nd"])),
)
def test_a_cell_that_is_no_number_is_told_at_its_place(row: int, cell: int, text: str) -> None:
    lines = good(".csv").decode().splitlines()
    cells = lines[row].split(",")
    cells[cell] = text
    lines[row] = ",".join(cells)
    error = read(".csv", "\n".join(lines).encode() + b"\n")
    assert isinstance(error, RecordingError)
    assert error.line == row + 1


@pytest.mark.parametrize("kind", [".parquet", ".h5", ".wav"])
@settings(max_examples=60, deadline=None)
@given(part=st.floats(0.0, 1.0, exclude_max=True))
def test_a_file_that_is_cut_off_gives_nothing(kind: str, part: float) -> None:
    """A file of text may end anywhere; one that says how much it holds has to hold it."""
    assert isinstance(read(kind, good(kind)[: int(part * len(good(kind)))]), RecordingError)


@pytest.mark.parametrize("kind", KINDS)
def test_without_damage_it_is_what_was_written(kind: str) -> None:
    samples = read(kind, good(kind))
    assert isinstance(samples, Samples)
    fit_to_use(samples)
    assert np.array_equal(samples.time, MADE["time_s"])
