"""Groups of outputs as one feed: shares of the voltage, sums of what is read, all off together."""

from __future__ import annotations

import time
from collections.abc import Iterator
from functools import partial
from typing import Literal

import numpy as np
import pytest
from tests.instruments.fake_supply import FakeSupply
from tests.said import says

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import VisaSession
from railwright.instruments.supply import OutputReading
from railwright.plan.listing import Listing
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.running.rig import Rig
from railwright.traces import Mode
from railwright.waveforms.point_list import PointList


def bench_of(fake: FakeSupply, **more: object) -> Bench:
    """A supply of two outputs, with more that its document says."""
    output = {"voltage": "0 V .. 36 V", "current": "0 A .. 2 A", "slew": "1 V/s .. 10 V/ms"}
    output |= {"reading": {"voltage": {}, "current": {}, "latency": "3 ms"}}
    supply = {"address": fake.address, "dialect": "channel-list", "outputs": {"1": output, "2": output}}
    return Bench.model_validate(
        {
            "bench": "b",
            "location": "dry",
            "ambient": "23 °C",
            "supplies": {"left": supply | more},
            "leads": {"pair": {"conductor": "AWG 18", "one_way_length": "1 m"}},
        }
    )


def rig(fake: FakeSupply, arrangement: Literal["series", "parallel"]) -> Rig:
    share = 0.5 if arrangement == "series" else 1.0
    parts = tuple(OutputSetPoints(OutputName(f"left.{n}"), 1.0, "regulate", 0.0, 30.0, share) for n in (1, 2))
    return connected(bench_of(fake), {"main": Feed("main", arrangement, parts, "pair", "at terminals")})


def connected(bench: Bench, feeds: dict[str, Feed]) -> Rig:
    made = Rig(bench, feeds, partial(VisaSession, timeout=0.2))
    for one in made.supplies.values():
        one.connect()
    return made


@pytest.fixture
def fake() -> Iterator[FakeSupply]:
    with FakeSupply(channels=2) as made:
        yield made


@pytest.mark.parametrize(("arrangement", "each", "current"), [("series", "12", 0.3), ("parallel", "24", 1.2)])
def test_a_pair_is_set_and_read_as_one(
    fake: FakeSupply, arrangement: Literal["series", "parallel"], each: str, current: float
) -> None:
    made = rig(fake, arrangement)
    made.set("main", 24.0, 100.0, switch_on=True)
    assert [output.settings["VOLT"] for output in fake.outputs.values()] == [each, each]
    assert fake.outputs[1].settings["VOLT:SLEW"] == ("50" if arrangement == "series" else "100")
    before = time.monotonic()
    (reading,) = made.read(["main"])
    assert reading.voltage == pytest.approx(24.0)
    assert reading.current == pytest.approx(current)
    assert [name for name, _, _ in reading.outputs] == ["left.1", "left.2"]
    assert before - 0.003 <= reading.time <= time.monotonic() - 0.003
    made.off("main")
    assert not any(output.on for output in fake.outputs.values())
    made.close()


def test_one_that_tripped_speaks_for_the_pair(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.set("main", 24.0, None, switch_on=True)
    fake.trip(2, bit=12)
    (reading,) = made.read(["main"])
    assert (reading.mode, reading.trip) == (Mode.TRIPPED, "OVP")
    made.close()


def reading(mode: Mode) -> OutputReading:
    return OutputReading("1", 0.0, 12.0, 1.0, mode, "", on=True)


@pytest.mark.parametrize(
    ("arrangement", "modes", "whole"),
    [
        (
            "series",
            (Mode.CV, Mode.CC),
            Mode.CC,
        ),  # no more flows through any than through the one in its limit
        ("series", (Mode.CP, Mode.CV), Mode.CP),
        ("parallel", (Mode.CC, Mode.CV), Mode.CV),  # the one in its limit carries its share
        ("parallel", (Mode.CV, Mode.CP), Mode.CV),
        ("parallel", (Mode.CC, Mode.CC), Mode.CC),  # none holds the voltage
        ("parallel", (Mode.CP, Mode.CC), Mode.CC),
        ("parallel", (Mode.CV, Mode.TRIPPED), Mode.TRIPPED),
    ],
)
def test_in_parallel_one_that_holds_the_voltage_speaks_for_the_pair(
    fake: FakeSupply, arrangement: Literal["series", "parallel"], modes: tuple[Mode, Mode], whole: Mode
) -> None:
    made = rig(fake, arrangement)
    for order in (modes, modes[::-1]):
        parts = {OutputName(f"left.{n}"): reading(mode) for n, mode in enumerate(order, 1)}
        assert made.together("main", parts).mode is whole
    made.close()


def test_a_slew_that_stands_already_is_not_sent_again(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    for voltage in (10.0, 12.0):
        made.set("main", voltage, 100.0)
    assert sum(unit.startswith("SOURce:VOLTage:SLEW 50") for unit in fake.units) == 2
    made.close()


@pytest.mark.parametrize(
    ("how", "other", "along", "led_to"),
    [("step", 10.0, "20", 20.0), ("ratio", 10.0, "20", 20.0), ("ratio", 25.0, "50", 8.0)],
)
@pytest.mark.parametrize("own", [None, 5.0])
def test_a_coupled_set_point_jumps_where_its_leader_goes_on_faster(
    fake: FakeSupply, how: str, other: float, along: str, led_to: float, own: float | None
) -> None:
    """It goes to 12 V on a line, and is told to be there at once: the other was on its way, too (draws 63/49
    and 66/24 left it there), unless it was told something of its own since, which leads the first elsewhere.
    """
    feeds = {
        name: Feed(
            name,
            "alone",
            (OutputSetPoints(OutputName(f"left.{n}"), 1.0, "regulate", 0.0, 36.0),),
            "pair",
            "at terminals",
        )
        for n, name in ((1, "main"), (2, "radio"))
    }
    made = connected(bench_of(fake, coupled=[{"outputs": ["1", "2"], "by": how}]), feeds)
    made.set("main", 10.0, 1e4)
    made.set("radio", other, 1e4)
    made.set("main", 10.0, 1e4)
    made.set("main", 12.0, 20.0)
    assert fake.outputs[2].settings["VOLT:SLEW"] == along
    if own is not None:
        made.set("radio", 20.0, own)
    made.set("main", 12.0 if own is None else led_to, 1e4)
    assert float(fake.outputs[2].settings["VOLT:SLEW"]) == (1e4 if own is None else own)
    made.close()


def test_a_supply_that_fails_is_told_and_left_out(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.set("main", 24.0, None, switch_on=True)
    fake.silent = True
    told: list[InstrumentError] = []
    assert made.read(["main"], failed=told.append) == []
    assert told[0].lost
    with pytest.raises(InstrumentError):
        made.read(["main"])
    made.close()


def listing() -> Listing:
    return Listing(1, "main", PointList("step", 12.0, np.array([24.0, 10.0]), np.array([0.02, 0.5])), 2)


def test_a_pairs_lists_hold_their_shares_and_start_in_one_message(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.load(listing())
    assert [output.settings["LIST:VOLT"] for output in fake.outputs.values()] == ["12,5", "12,5"]
    assert [output.settings["LIST:COUNT"] for output in fake.outputs.values()] == ["2", "2"]
    made.set("main", 24.0, 10.0, switch_on=True)
    made.arm(listing())
    before = len(fake.units)
    done = made.play(listing())
    assert fake.started == {1, 2}
    assert [unit for unit in fake.units[before:] if unit.startswith("INIT")] == ["INITiate (@1,2)"]
    assert done <= time.monotonic()
    # A slew that was programmed for a line would hold the list back: it is at its fastest again.
    assert fake.outputs[1].settings["VOLT:SLEW"] == "10000"
    made.close()


def test_a_set_point_ends_a_list_and_rules_again(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.load(listing())
    made.set("main", 24.0, None, switch_on=True)
    made.play(listing())
    made.set("main", 8.0, None)
    assert not fake.started
    assert [output.settings["VOLT:MODE"] for output in fake.outputs.values()] == ["FIX", "FIX"]
    assert [output.settings["VOLT"] for output in fake.outputs.values()] == ["4", "4"]
    made.close()


def test_off_comes_before_the_end_of_a_list(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.load(listing())
    made.set("main", 24.0, None, switch_on=True)
    made.play(listing())
    before = len(fake.units)
    made.off("main")
    told = [unit for unit in fake.units[before:] if unit.startswith(("OUTPut:STATe OFF", "ABOR"))]
    assert told[0].startswith("OUTPut:STATe OFF")
    assert told[-1] == "ABORt"
    assert not fake.started
    made.close()


def test_a_list_that_cannot_be_ended_is_told_and_the_output_is_off(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.load(listing())
    made.set("main", 24.0, None, switch_on=True)
    made.play(listing())
    fake.answers["VOLT:MODE?"] = "LIST"
    told: list[InstrumentError] = []
    made.off("main", told.append)
    assert says(str(told[0]), "voltage_mode", "fixed", "list")
    assert not any(output.on for output in fake.outputs.values())
    made.close()


def test_a_list_after_another_is_loaded_when_the_set_point_rules_again(fake: FakeSupply) -> None:
    made = rig(fake, "series")
    made.load(listing())
    made.set("main", 24.0, None, switch_on=True)
    made.play(listing())
    made.load(listing())
    assert not fake.started
    assert [output.settings["VOLT:MODE"] for output in fake.outputs.values()] == ["FIX", "FIX"]
    # The set point was brought to where the list led before it ruled again.
    assert [output.settings["VOLT"] for output in fake.outputs.values()] == ["5", "5"]
    made.close()
