"""Supplies that take one command a message: what selects an output and what is told to it stay together."""

from __future__ import annotations

from pathlib import Path
from unittest.mock import patch

import pytest
from benchmarks.fault_matrix import bench
from benchmarks.fault_matrix.play import Played, play

from railwright.dialects.dialect import load_dialect
from railwright.documents import bench as documents
from railwright.records.ended import Ended


def played(
    folder: Path, dialect: str, procedure: str = bench.PROCEDURE, mischief: tuple[str, ...] = ()
) -> Played:
    """The procedure with every command once, on supplies of which none takes two commands in a message."""
    with (
        patch.object(bench, "BENCH", bench.BENCH.replace("channel-list", dialect)),
        patch.object(bench, "PROCEDURE", procedure),
        patch.object(
            documents, "load_dialect", lambda name: load_dialect(name).model_copy(update={"compound": False})
        ),
    ):
        return play(bench.lay_out(folder), folder / "run", mischief)


@pytest.mark.parametrize("dialect", ["channel-list", "selected-output"])
def test_every_command_reaches_the_output_that_it_is_for(tmp_path: Path, dialect: str) -> None:
    done = played(tmp_path, dialect)
    assert done.outcome is not None
    assert (done.outcome.ended, done.outcome.off_confirmed) == (Ended.COMPLETED, True), done.outcome.cause
    assert not [text for _, text in done.messages if ";" in text]
    main, lamp, radio = (done.energised[name] for name in ("main", "lamp", "radio"))
    assert len(main) == len(lamp) == len(radio) == 1
    assert main[0][0] < lamp[0][0] < radio[0][0]


@pytest.mark.parametrize(
    "mischief", ["left: reset at 0.9 s", "left: slow 20 ms at 0.9 s", "left.1: overheats at 0.9 s"]
)
def test_off_reaches_every_output(tmp_path: Path, mischief: str) -> None:
    done = played(tmp_path, "selected-output", mischief=(mischief,))
    assert done.outcome is not None
    assert done.outcome.off_confirmed, done.outcome.not_confirmed
    assert all(spans and spans[-1][1] is not None for spans in done.energised.values())


def test_a_ramp_down_selects_its_output(tmp_path: Path) -> None:
    limits = "lamp: {current_limit"
    ramp = bench.PROCEDURE.replace(limits, "lamp: {at_end: {ramp_down: 100 ms}, current_limit")
    down = "  - power_down: {order: [radio, lamp, main], gap: 20 ms}\n    name: down\n"
    assert down in ramp
    without = ramp.replace(down, "")
    done = played(tmp_path, "selected-output", without)
    assert done.outcome is not None
    assert (done.outcome.ended, done.outcome.off_confirmed) == (Ended.COMPLETED, True), done.outcome.cause
    assert not [text for _, text in done.messages if ";" in text]
    assert ("left", "SOURce:VOLTage 0") in done.messages
