"""What somebody else changes during a run is noticed within a stated period, and named."""

from __future__ import annotations

import asyncio
import json
import math
from pathlib import Path

import pytest
from tests.running.small import PROCEDURE
from tests.running.virtual import LEFT, RIGHT, Played, play
from tests.said import figures, says

from railwright.records.ended import Ended
from railwright.twin.server import ReplyTime
from railwright.twin.virtual_network import VirtualNetwork

LONG = PROCEDURE.replace("hold: 100 ms", "hold: 3 s")
LISTS = ", points: {at_most: 50, dwell: 1 ms .. 10 s, between: [step]}, opp:"


def meddled(folder: Path, message: str, after: float, address: str = LEFT, procedure: str = LONG) -> Played:
    """Another client sends a message so long after the outputs went on [s]."""
    sent: list[float] = []

    async def meddle(network: VirtualNetwork) -> None:
        while not network.energised("left.1"):
            await asyncio.sleep(0.01)
        await asyncio.sleep(after)
        _, writer = await network.connect(address)
        writer.write(message.encode() + b"\n")
        sent.append(network.loop.now())
        await asyncio.sleep(math.inf)

    played = play(
        folder,
        procedure,
        reply=ReplyTime(query=1e-3),
        meanwhile=meddle,
        edit_bench=lambda text: text.replace(", opp:", LISTS).replace("},\n        opp:", "}" + LISTS),
    )
    assert sent
    played.off_begun -= sent[0]
    return played


@pytest.mark.parametrize(
    ("message", "setting"),
    [
        ("VOLT:PROT 20,(@1)", "left.1: ovp"),
        ("CURR 1.2,(@1)", "left.1: current_limit"),
        ("VOLT:SLEW 500,(@1)", "left.1: slew_rising"),
        ("LIST:VOLT 12,(@1);:LIST:DWEL 1,(@1);:VOLT:MODE LIST,(@1)", "left.1: voltage_mode"),
    ],
)
def test_a_setting_is_named_within_the_period(tmp_path: Path, message: str, setting: str) -> None:
    played = meddled(tmp_path, message, 0.731)
    assert (played.outcome.ended, setting in played.outcome.cause) == (Ended.CHANGED, True)
    assert 0.0 < played.off_begun < played.outcome.settings_periods["left"] + 0.05


def test_an_output_that_is_switched_on_is_noticed_with_the_next_reading(tmp_path: Path) -> None:
    late = LONG.replace("gap: 50 ms, rise", "gap: 2 s, rise")
    played = meddled(tmp_path, "INST:NSEL 1;:OUTP ON", 0.5, RIGHT, late)
    assert played.outcome.ended is Ended.CHANGED
    assert says(played.outcome.cause, "aux", "right.1", "on")
    assert 0.0 < played.off_begun < 0.04


def test_an_output_that_is_switched_off_is_noticed_with_the_next_reading(tmp_path: Path) -> None:
    played = meddled(tmp_path, "OUTP OFF,(@1)", 0.5)
    assert played.outcome.ended is Ended.STOPPED
    assert says(played.outcome.cause, "left.1", "off")
    assert 0.0 < played.off_begun < 0.04


def test_the_run_states_the_period(tmp_path: Path) -> None:
    played = play(tmp_path, reply=ReplyTime(query=1e-3))
    assert played.outcome.ended is Ended.COMPLETED, played.outcome.cause
    assert played.whats("left")[-1] == "settings watched"
    about = json.loads((played.outcome.folder / "run.json").read_text("utf-8"))
    assert about["settings_periods"] == pytest.approx({"left": 1.0, "right": 1.0}, abs=0.05)
    assert not any("asked for again" in line for line in played.outcome.deviations)


def test_a_period_above_ten_seconds_is_a_deviation(tmp_path: Path) -> None:
    """14 settings at 100 ms a query, in a tenth of the time."""
    played = play(tmp_path, reply=ReplyTime(query=0.1))
    assert played.outcome.ended is Ended.COMPLETED, played.outcome.cause
    assert 10.0 < played.outcome.settings_periods["left"] < 20.0
    told = [line for line in played.outcome.deviations if "every setting was asked for again" in line]
    assert [line.partition(":")[0] for line in told] == ["left", "right"]


@pytest.mark.parametrize(
    ("reply", "given", "slower"),
    [
        (ReplyTime(query=1e-3), "", []),
        (ReplyTime(query=0.1), "", ["left", "right"]),
        (ReplyTime(query=0.1), "1 s", []),
        (ReplyTime(message=0.03), "5 ms", ["left", "right"]),
    ],
)
def test_an_exchange_that_takes_longer_than_was_reckoned_with_is_a_deviation(
    tmp_path: Path, reply: ReplyTime, given: str, slower: list[str]
) -> None:
    """Two answers, of the setting and of the error queue: 200 ms, or 20 ms where the bench gives none."""

    def gives(text: str) -> str:
        return text.replace("    dialect:", f"    exchange: {given}\n    dialect:") if given else text

    outcome = play(tmp_path, reply=reply, edit_bench=gives).outcome
    told = [line for line in outcome.deviations if "'exchange'" in line]
    assert [line.partition(":")[0] for line in told] == slower
    for line in told:
        took, taken = figures(line)
        assert taken == (given or "20 ms")
        assert float(took.split()[0]) == pytest.approx(1e3 * (reply.message + 2 * reply.query), rel=0.1)


def test_what_the_run_moves_itself_is_no_alarm(tmp_path: Path) -> None:
    """Set points faster than settings are asked for, by slew, on a supply that takes 20 ms a query."""
    swept = PROCEDURE.replace("points: 3, dwell: 40 ms", "points: 40, dwell: 50 ms")
    played = play(tmp_path, swept, reply=ReplyTime(query=0.005))
    assert played.outcome.ended is Ended.COMPLETED, played.outcome.cause
