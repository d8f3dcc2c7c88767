"""Set points that come sooner than the host can exchange them: what is shown is what is played.

The truth is worked out beside the program, in small steps of time: a host that is free sends the newest set
point that is due, and is busy for one exchange (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.said import says
from tests.truth.small import fed_by, supply, write
from tests.truth.table import TruthTable

from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

TICK = 1e-4
"""Step of time of the truth [s]."""

START = 1.5
"""When the shape or the sweep begins: a power-up of 0.5 s and a hold of 1 s [s]."""


@dataclass(frozen=True)
class Variant:
    """levels: input -> voltages in turn [V]. holds: how long each is asked for [s]; exchange: what one takes,
    None: the bench does not say, 20 ms are taken.
    """

    levels: dict[str, tuple[float, ...]]
    hold: float
    count: int
    exchange: float | None = None
    sweep: bool = False

    @property
    def apart(self) -> float:
        return 0.02 if self.exchange is None else self.exchange

    @property
    def length(self) -> float:
        return self.hold * self.count

    def asked(self, name: str) -> list[tuple[int, float]]:
        """(tick, voltage) of every set point of an input."""
        own = self.levels[name]
        if self.sweep:
            points = np.linspace(own[0], own[1], self.count).tolist()
        else:
            points = [own[number % len(own)] for number in range(self.count)]
        return [(round(number * self.hold / TICK), level) for number, level in enumerate(points)]

    def sent(self) -> dict[str, list[tuple[float, float]]]:
        """Input -> (time from the step's begin, voltage) of every set point that a host sends."""
        asked = {name: self.asked(name) for name in self.levels}
        newest: dict[str, tuple[int, float]] = {}
        sent: dict[str, list[tuple[float, float]]] = {name: [] for name in asked}
        free = 0
        for tick in range(round((self.length + 1.0) / TICK)):
            for name, own in asked.items():
                while own and own[0][0] <= tick:
                    newest[name] = own.pop(0)
            while tick >= free and newest:
                # Of those due at one instant the first in the documents.
                name = min((each for each in asked if each in newest), key=lambda each: newest[each][0])
                sent[name].append((tick * TICK, newest.pop(name)[1]))
                free = tick + round(self.apart / TICK)
        return sent

    def left_out(self) -> int:
        return sum(len(self.asked(name)) - len(own) for name, own in self.sent().items())


VARIANTS = {
    "a square wave of 50 Hz": Variant({"one": (10.0, 14.0)}, 0.01, 120),
    "seven levels, 8 ms each": Variant({"one": (9.0, 11.0, 15.0, 8.0, 12.0, 13.0, 10.0)}, 0.008, 140, 0.033),
    "a fast supply": Variant({"one": (6.0, 9.0, 12.0)}, 0.004, 300, 0.007),
    "two inputs, each by itself slow enough": Variant(
        {"one": (10.0, 14.0, 12.0), "two": (22.0, 26.0)}, 0.03, 60
    ),
    "a sweep": Variant({"one": (8.0, 16.0)}, 0.006, 161, 0.015, sweep=True),
}


def documents(variant: Variant, folder: Path, **more: Any) -> Path:
    names = list(variant.levels)
    load = {"resistor": {"resistance": "60 ohm"}}
    feeds = {name: {"from": f"s.{number}", "lead": "pair"} for number, name in enumerate(names, 1)}
    if variant.sweep:
        ((first, last),) = variant.levels.values()
        sweep = {"input": "one", "from": f"{first} V", "to": f"{last} V", "points": variant.count}
        played: dict[str, Any] = {"sweep": {**sweep, "dwell": f"{variant.hold * 1e3:g} ms"}}
    else:
        waves = {}
        for name, own in variant.levels.items():
            segments = []
            for number in range(variant.count):
                segments.append({"step_to": f"{own[number % len(own)]} V"})
                segments.append({"hold": f"{variant.hold * 1e3:g} ms"})
            waves[name] = {"segments": segments}
        played = {"shape": {"inputs": waves}}
    exchange = {} if variant.exchange is None else {"exchange": f"{variant.exchange * 1e3:g} ms"}
    quick = {"slew": "1 V/s .. 100 V/ms", "rise": "400 us", "fall": {"loaded": "400 us"}}
    small = {**quick, "output_capacitance": "10 uF", "recovery": None}
    return write(
        folder,
        {name: fed_by(load, nominal="12 V") for name in names},
        {
            "hook_up": {name: {**feed, "sense": "at terminals"} for name, feed in feeds.items()},
            "limits": {
                name: {"current_limit": "2 A", "at_limit": "regulate", "ovp": "36 V"} for name in names
            },
            "steps": [
                {"power_up": {"order": names, "gap": "0 ms", "settle": "500 ms"}, "name": "up"},
                {"hold": "1 s", "name": "before"},
                {**played, "name": "fast"},
                {"hold": "200 ms", "name": "after"},
                {"power_down": {"order": names}},
            ],
            "record": {"every": "10 ms"},
            **more,
        },
        {"s": supply(*[small for _ in names], **exchange)},
    )


def virtual(procedure: Path) -> RunOutcome:
    """Played on simulated supplies, whatever the check says."""
    job, loop = Job.open(procedure), VirtualLoop()
    whole, settings = job.documents, job.check(static=True).settings
    with VirtualNetwork(loop, whole.bench, whole.device, whole.procedure, seed=3) as network:
        return run(
            whole, settings.set_points, unit="T-1", operator="O", folder=procedure.parent / "run",
            link=LocalLink(loop, network.connect),
        )  # fmt: skip


@pytest.fixture(params=VARIANTS, ids=list(VARIANTS))
def variant(request: pytest.FixtureRequest) -> Variant:
    return VARIANTS[request.param]


def test_what_is_rehearsed_is_what_the_host_sends(variant: Variant, tmp_path: Path) -> None:
    record = Job.open(documents(variant, tmp_path)).rehearse().record
    start = record.span("fast").start
    for name, sent in variant.sent().items():
        traces = record.traces[name]
        times = np.array([time for time, _ in sent])
        levels = np.array([level for _, level in sent])
        gaps = np.append(np.diff(times), 0.1)
        # What has been sent stands by 4 ms after it, and to the next.
        for part in (0.75, 0.99):
            at = np.maximum(times + 4e-3, times + part * gaps)
            there = at < np.append(times[1:], np.inf)
            seen = np.interp(start + at[there], traces.time, traces.columns["terminal_voltage"])
            assert seen == pytest.approx(levels[there], abs=0.03)


def test_the_check_stops_with_the_numbers_of_the_host(variant: Variant, tmp_path: Path) -> None:
    check = Job.open(documents(variant, tmp_path)).check(static=True)
    stops = [each for each in check.findings if each.rule == "host-cannot-keep"]
    sent, counted = variant.sent(), {}
    for each in stops:
        left_out = variant.count - len(sent[each.about])
        assert each.blocks
        assert says(each.why, f"{variant.count} set points")
        assert not left_out or says(each.why, f"leave out {left_out} of them")
        counted[each.about] = left_out
    assert sum(counted.values()) == variant.left_out() > 0


@pytest.mark.case("fast-shape")
@pytest.mark.parametrize("name", VARIANTS)
def test_the_run_takes_no_longer_and_sends_what_was_rehearsed(
    name: str, tmp_path: Path, truth_table: TruthTable
) -> None:
    variant = VARIANTS[name]
    outcome = virtual(documents(variant, tmp_path))
    assert outcome.ended is Ended.COMPLETED, outcome.cause
    fast = outcome.record.span("fast")
    expected = pytest.approx(variant.length, abs=variant.apart + 0.005)
    truth_table.compare("length of the step", expected, fast.end - fast.start, "s")
    truth_table.compare("set points left out", variant.left_out(), fast.left_out)
    for name, sent in variant.sent().items():
        readings = outcome.record.traces[name].between(fast.start, fast.end)
        assert readings.time.size == pytest.approx(variant.length / 0.01, abs=4)
        # A reading is a mean over 8 ms: it lies between the levels that were sent, never where none was.
        levels = np.array([level for _, level in sent])
        assert readings.columns["terminal_voltage"].max() < levels.max() + 0.05
        assert readings.columns["terminal_voltage"].min() > min(levels.min(), 12.0) - 0.05


@pytest.mark.parametrize("hold", [0.004, 0.009, 0.019])
def test_a_stop_condition_that_holds_ends_it(hold: float, tmp_path: Path) -> None:
    """13 V and 15 V on 60 ohm are 0.217 A at least, in every reading: it ends 0.1 s after the first one."""
    condition = {"input": "one", "during": "fast", "current_above": "205 mA", "for": "100 ms"}
    wave = Variant({"one": (13.0, 15.0)}, hold, round(2.0 / hold))
    outcome = virtual(documents(wave, tmp_path, stop_when=[condition]))
    assert outcome.ended is Ended.STOPPED
    fast = outcome.record.span("fast")
    assert 0.1 <= fast.end - fast.start < 0.16
