"""The remedy of `restarts-for-ever` frees every power-up and sweep, and no much lower limit does.

Brute force: a plain explicit integration of output capacitor, lead and input capacitor with an ideal limit
and a constant-power converter (its equations by hand, common practice, no source), and bisection of the
limit. However slowly the voltage rises, a converter keeps running from P / (η v_start) on.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from numba import njit
from tests.truth.small import fed_by, write

from railwright.job import Job
from railwright.traces import EventKind

LEAD_OHMS = 2 * 1.2 * 0.03331 + 0.01
"""AWG 20 has 33.31 Ω/km (ASTM B258, published table), and 10 mΩ of contacts."""
OUTPUT_FARADS, RESTART = 150e-6, 1e-3
GATES = {EventKind.STARTS, EventKind.STOPS}


@dataclass(frozen=True)
class Start:
    """A converter [W, V, s] behind a capacitor [F], and how fast the voltage rises [V/s]."""

    power: float
    starts: float
    stops: float
    soft: float
    farads: float
    slope: float
    nominal: float = 24.0

    def runs_with(self, limit: float) -> bool:
        """Whether it runs in the end, and has for 300 ms."""
        fields = self.power, self.starts, self.stops, self.soft, self.farads, self.slope, self.nominal
        return bool(_runs_in_the_end(limit, *fields))

    def least_limit(self) -> float:
        """The limit above which it runs [A], by bisection."""
        low, high = 0.02 * self.power / self.starts, 3.0 * self.power / self.starts
        for _ in range(12):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self.runs_with(middle) else (middle, high)
        return high

    def job(self, limit: float, folder: Path) -> Job:
        load: list[Any] = [
            {"capacitor": {"capacitance": f"{self.farads} F", "esr": "1 mohm"}},
            {
                "converter": {
                    "output_power": f"{self.power} W",
                    "efficiency": "100 %",
                    "starts_at": f"{self.starts} V",
                    "stops_at": f"{self.stops} V",
                    "soft_start": f"{self.soft} s",
                }
            },
        ]
        given = {**fed_by(*load), "current": {"steady": "0 A .. 2.5 A", "at_most": "3 A"}}
        rise, half = f"{self.slope / 1e3} V/ms", 0.5 * (self.starts + self.nominal)
        sweep = {"input": "main", "from": f"{half} V", "to": f"{self.nominal} V", "points": 3}
        return Job.open(
            write(
                folder,
                {"main": given},
                {
                    "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
                    "limits": {
                        "main": {"current_limit": f"{limit:.4g} A", "at_limit": "regulate", "ovp": "37 V"}
                    },
                    "steps": [
                        {"power_up": {"order": ["main"], "rise": rise, "settle": "2 s"}, "name": "up"},
                        {"sweep": {**sweep, "dwell": "100 ms"}, "name": "sweep"},
                        {"power_down": {"order": ["main"], "gap": "300 ms"}, "name": "down"},
                        {"power_up": {"order": ["main"], "rise": rise, "settle": "2 s"}, "name": "again"},
                    ],
                    "record": {"every": "20 ms"},
                },
            )
        )


@njit  # type: ignore[untyped-decorator]
def _runs_in_the_end(limit, power, starts, stops, soft, farads, slope, nominal):  # type: ignore[no-untyped-def]
    """See `Start`; explicit steps of 2 µs."""
    h, out, at_load, running, since = 2e-6, 0.0, 0.0, False, -1.0
    end = nominal / slope + 1.5
    for k in range(int(end / h)):
        t = k * h
        through = (out - at_load) / LEAD_OHMS
        # The output follows its set point as far as the limit and its capacitor let it.
        out += min(min(slope * t, nominal) - out, (limit - through) / OUTPUT_FARADS * h)
        if running and at_load <= stops:
            running, since = False, t
        elif not running and at_load >= starts and t - since >= RESTART:
            running, since = True, t
        drawn = min(1.0, (t - since) / soft) * power / at_load if running else 0.0
        at_load += h * (through - drawn) / farads
    return running and since < end - 0.3


STARTS = {
    "light, 100 µF": Start(4.0, 9.0, 7.0, 5e-3, 100e-6, 1e3),
    "medium, 470 µF": Start(10.0, 16.0, 12.0, 8e-3, 470e-6, 1e3),
    "narrow hysteresis": Start(8.0, 10.0, 9.2, 3e-3, 220e-6, 2e3),
    "slow rise": Start(6.0, 12.0, 8.0, 10e-3, 330e-6, 100.0),
    "big capacitor": Start(12.0, 18.0, 9.0, 20e-3, 2.2e-3, 2e3),
}


@pytest.mark.parametrize("start", STARTS.values(), ids=STARTS)
def test_the_remedy_frees_every_start_and_no_much_lower_limit_does(start: Start, tmp_path: Path) -> None:
    least = start.least_limit()
    check = start.job(0.8 * least, tmp_path / "low").check()
    (finding,) = [each for each in check.findings if each.rule == "restarts-for-ever"]
    told = {
        word: float(limit) for limit, word in re.findall(r"above ([\d.]+) A frees it, (\w+)", finding.remedy)
    }
    assert told["with"] == pytest.approx(least, rel=0.01)
    assert told["however"] == pytest.approx(start.power / start.starts, rel=3e-3)
    for limit, free in ((1.02 * told["with"], True), (1.02 * told["however"], True), (0.9 * least, False)):
        record = start.job(limit, tmp_path / f"{limit}").rehearse().record
        for name in ("up", "again"):
            span = record.span(name)
            gates = [e for e in record.events if e.kind in GATES and span.start <= e.time <= span.end]
            runs = gates[-1].kind is EventKind.STARTS and gates[-1].time < span.end - 0.3
            assert runs is free, (name, limit)
        if free:
            span = record.span("sweep")
            assert not [
                e for e in record.events if e.kind is EventKind.STOPS and span.start <= e.time <= span.end
            ]
