"""Which inputs are confirmed off while a procedure is played, against a look back over all that was read."""

from __future__ import annotations

import random
from dataclasses import dataclass

import pytest

from railwright.guard.off_plan import InputOff, OffPlan, OutputOff
from railwright.running.off_watch import OffWatch
from railwright.running.outcome import InputReading

OUTPUTS = tuple(
    OutputOff(f"right.{n}", "right", ("OFF",), (0, 0), (1, 0), (2, 0), no_current=0.01) for n in (1, 2)
)


def watched(series: bool, holds: tuple[float, float] | None) -> OffWatch:
    watch = OffWatch()
    watch.plan = OffPlan((), (InputOff("drain", OUTPUTS, series, 1.0, holds=holds),))
    return watch


@dataclass(frozen=True)
class Seen:
    """One reading of the two outputs, and whether they are off by the words of docs/safety.md."""

    asked: float
    time: float
    off: tuple[str, ...]
    outputs: tuple[tuple[str, float, float], ...]

    def reading(self) -> InputReading:
        whole = sum(voltage for _, voltage, _ in self.outputs)
        return InputReading(
            self.time, "drain", "load", whole, 0.0, None, "", self.outputs, off=self.off, asked=self.asked
        )

    def is_off(self, series: bool, holds: tuple[float, float] | None) -> bool:
        voltages = [voltage for _, voltage, _ in self.outputs]
        whole = sum(voltages) if series else max(voltages, key=abs)
        fallen = all(abs(voltage) < 1.0 for voltage in (whole, *voltages))
        held = holds is not None and abs(whole) <= holds[1] + 1.0
        return (
            len(self.off) == len(OUTPUTS)
            and all(abs(current) <= 0.01 for _, _, current in self.outputs)
            and (fallen or held)
        )


@pytest.mark.parametrize("seed", range(200))
def test_it_is_confirmed_by_what_was_asked_since_it_was_switched_and_nothing_else(seed: int) -> None:
    draw = random.Random(seed)
    series, holds = draw.random() < 0.5, draw.choice([None, (3.0, 4.2)])
    watch, seen, switched, now = watched(series, holds), list[Seen](), -1.0, 0.0
    confirmed = 0
    for _ in range(200):
        now += draw.choice([0.01, 0.02, 0.1])
        if draw.random() < 0.04:
            switched = now - draw.choice([0.0, 0.005])
            watch.switched("drain", switched)
        mostly = 0.97 if draw.random() < 0.97 else 0.5
        outputs = tuple(
            (
                output.name,
                draw.choice([0.0, 0.4, -0.3]) if draw.random() < mostly else draw.choice([12.0, -12.0, 4.0]),
                0.0 if draw.random() < mostly else 0.02,
            )
            for output in OUTPUTS
        )
        off = tuple(output.name for output in OUTPUTS if draw.random() < mostly)
        one = Seen(now - draw.choice([0.0, 0.008]), now - draw.choice([0.0, 0.004]), off, outputs)
        seen.append(one)
        watch.see(one.reading())
        # The second computation looks back over everything: the unbroken stretch of off up to now.
        counted = [each for each in seen if min(each.asked, each.time) >= switched]
        stretch: list[Seen] = []
        for each in reversed(counted):
            if not each.is_off(series, holds):
                break
            stretch.append(each)
        expected = bool(stretch) and stretch[0].time - stretch[-1].time >= 0.25
        assert watch.confirmed("drain") is expected
        confirmed += expected
    assert watch.confirmed("another") is False
    assert seed != 0 or confirmed > 10


def test_what_was_read_off_before_it_was_on_for_a_moment_confirms_nothing() -> None:
    watch = watched(False, None)
    zero = tuple((output.name, 0.0, 0.0) for output in OUTPUTS)
    off = tuple(output.name for output in OUTPUTS)
    for k in range(40):
        watch.see(Seen(0.01 * k, 0.01 * k, off, zero).reading())
    assert watch.confirmed("drain")
    # On and off between two readings.
    watch.switched("drain", 0.395)
    watch.switched("drain", 0.398)
    watch.see(Seen(0.397, 0.396, off, zero).reading())
    watch.see(Seen(0.40, 0.40, off, zero).reading())
    assert not watch.confirmed("drain")
