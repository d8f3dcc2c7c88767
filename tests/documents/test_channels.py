"""Which channel each output of a supply is: by its own key, or by its name where that is a number."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench import BENCH, copy_demo, edit

from railwright.documents.bench import Supply
from railwright.documents.loader import load_bench
from railwright.documents.sources import DocumentErrors

SECOND = "      2: {same_as: 1}\n"


def bench_with(folder: Path, outputs: str) -> Path:
    """The demo's bench with these in place of the second output of 'left'."""
    copy_demo(folder)
    edit(folder / BENCH, SECOND, outputs)
    return folder / BENCH


@pytest.mark.parametrize(
    ("outputs", "channels"),
    [
        (SECOND, {"1": 1, "2": 2}),
        ("      3: {same_as: 1}\n", {"1": 1, "3": 3}),
        ("      B: {same_as: 1, channel: 3}\n", {"1": 1, "B": 3}),
        ("      3: {same_as: 1, channel: 2}\n      B: {same_as: 3, channel: 3}\n", {"1": 1, "3": 2, "B": 3}),
        # A channel is no output's but its own: what is the same as B has the channel of its own name.
        ("      B: {same_as: 1, channel: 3}\n      4: {same_as: B}\n", {"1": 1, "B": 3, "4": 4}),
    ],
)
def test_an_output_has_its_own_channel_or_that_of_its_name(
    tmp_path: Path, outputs: str, channels: dict[str, int]
) -> None:
    assert load_bench(bench_with(tmp_path, outputs)).model.supplies["left"].channels == channels


@pytest.mark.parametrize(
    ("outputs", "line"),
    [
        (
            "      B: {same_as: 1}\n",
            "44:7: expected a 'channel' for output 'B', whose name is no number, got none; add the number by "
            "which the instrument knows it, such as 'channel: 2'",
        ),
        (
            "      0: {same_as: 1}\n",
            "44:7: expected a 'channel' for output '0', whose name is no number, got none; add the number by "
            "which the instrument knows it, such as 'channel: 2'",
        ),
        (
            "      B: {same_as: 1, channel: 1}\n",
            "44:32: expected another channel for 'B' than for '1' (line 18), got 1 again; an "
            "instrument knows each output by its own",
        ),
        (
            "      B: {same_as: 1, channel: 2}\n      2: {same_as: 1}\n",
            "45:7: expected another channel for '2' than for 'B' (line 44), got 2 again; an "
            "instrument knows each output by its own",
        ),
        (
            "      B: {same_as: 1, channel: 0}\n",
            "44:32: expected the number of a channel, 1 to 99999, got '0'",
        ),
        (
            "      B: {same_as: 1, channel: 2.0}\n",
            "44:32: expected the number of a channel, 1 to 99999, got '2.0'",
        ),
    ],
)
def test_a_channel_that_is_none_or_not_its_own_is_told_at_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, outputs: str, line: str
) -> None:
    bench_with(tmp_path, outputs)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_bench(BENCH)
    assert str(caught.value).splitlines() == [f"{BENCH}:{line}"]


def test_several_outputs_without_a_channel_are_each_shown_another(tmp_path: Path) -> None:
    path = bench_with(tmp_path, "      B: {same_as: 1}\n      2: {same_as: 1}\n      C: {same_as: 1}\n")
    with pytest.raises(DocumentErrors) as caught:
        load_bench(path)
    shown = [line.rpartition("such as ")[2] for line in str(caught.value).splitlines()]
    assert shown == ["'channel: 3'", "'channel: 4'"]


def test_a_supply_made_in_code_tells_it_too() -> None:
    output = {"voltage": "0 V .. 36 V", "current": "0 A .. 2 A"}

    def supply(outputs: dict[str, dict[str, object]]) -> Supply:
        return Supply.model_validate(
            {"address": "ASRL1::INSTR", "dialect": "channel-list", "outputs": outputs}
        )

    assert supply({"3": {**output, "channel": 2}, "1": output}).channels == {"3": 2, "1": 1}
    with pytest.raises(ValueError, match="'B' has no channel"):
        _ = supply({"B": output}).channels
    with pytest.raises(ValueError, match="'1' has channel 1, as another has"):
        _ = supply({"2": {**output, "channel": 1}, "1": output}).channels
