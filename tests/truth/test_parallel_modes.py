"""Outputs in parallel are never set exactly alike: one stands in its limit while another holds the voltage.

The truth is worked out here. A load draws I; each output gives up to its own limit L. With I < ΣL the one
that is set lowest of those that are needed regulates, and the input is in constant voltage. With I > ΣL none
does: the voltage falls to ΣL·R. Common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write
from tests.truth.test_trips import PARALLEL, Bench, Played, line, none, played, trip

OHMS = 8.0
UNLIKE = {"programming": {
    "voltage": {"of_value": "0 %", "offset": "20 mV", "resolution": "1 mV"},
    "current": {"of_value": "0 %", "offset": "0 mA", "resolution": "1 mA"},
}}  # fmt: skip
CV: dict[str, Any] = {"name": "CV", "measure": "time_out_of_cv", "of": "main", "during": "steady"}
LEVEL = {"name": "level", "measure": "mean_voltage", "of": "main", "during": "steady", "at_least": "11.9 V"}


def run_of(folder: Path, limit: str, *, outputs: int, seed: int) -> Played:
    """12 V on 8 Ω, so 1.5 A; `limit`: of all outputs together, each with its share."""
    procedure = {
        "hook_up": {
            "main": {
                "from": {"parallel": [f"s.{n}" for n in range(1, outputs + 1)]},
                "lead": "pair",
                "sense": "at load",
            }
        },
        "limits": {"main": {"current_limit": limit, "at_limit": "regulate", "ovp": "20 V"}},
        "steps": [
            {"power_up": {"order": ["main"], "rise": "2 V/ms", "settle": "150 ms"}, "name": "up"},
            {"hold": "600 ms", "name": "steady"},
            {"power_down": {"order": ["main"]}},
        ],
        "record": {"every": "10 ms"},
        "requires": [{**CV, "at_most": "50 ms"}, LEVEL],
    }
    inputs = {"main": fed_by({"resistor": {"resistance": f"{OHMS} ohm"}}, nominal="12 V")}
    path = write(folder, inputs, procedure, {"s": supply(*[UNLIKE] * outputs)})
    return played(path, seed)


@pytest.mark.parametrize(
    ("limit", "outputs", "seed"), [("1.8 A", 2, 1), ("1.6 A", 2, 2), ("2.1 A", 3, 1), ("2.4 A", 2, 3)]
)
def test_one_in_its_limit_does_not_take_the_input_out_of_constant_voltage(
    limit: str, outputs: int, seed: int, tmp_path: Path
) -> None:
    found = run_of(tmp_path / "s", limit, outputs=outputs, seed=seed)
    assert found.outcomes("level") == ("pass", "pass")
    assert found.outcomes("CV") == ("pass", "pass")
    exact, read = (found.result("CV", rehearsed=each).measured for each in (True, False))
    assert exact is not None
    assert read is not None
    assert (exact.value, read.value) == (0.0, 0.0)


@pytest.mark.parametrize(("limit", "seed"), [("1.2 A", 1), ("1.4 A", 2)])
def test_all_in_their_limit_hold_no_voltage(limit: str, seed: int, tmp_path: Path) -> None:
    found = run_of(tmp_path / "s", limit, outputs=2, seed=seed)
    assert found.outcomes("level") == ("fail", "fail")
    assert found.outcomes("CV") == ("fail", "fail")
    # From its beginning to its end.
    found.finds("CV", 0.6, 0.012)


@pytest.mark.parametrize(
    ("limit", "delay", "hold", "every"),
    [
        ("2 A", "60 ms", "58.5 ms", "10 ms"),
        ("2 A", "60 ms", "60 ms", "20 ms"),
        ("1.8 A", "60 ms", "59 ms", "10 ms"),
        ("2 A", "110 ms", "108.5 ms", "10 ms"),
    ],
)
def test_a_trip_on_the_edge_of_two_steps_passes_in_neither(
    limit: str, delay: str, hold: str, every: str, tmp_path: Path
) -> None:
    """One of two outputs carries all. It is in its limit, half of the whole, from 20 V or 18 V on, while the
    other one holds the voltage, and trips before the next step begins; the status tells so after that.
    """
    again = [line("26 V", 24.0), {"hold": "300 ms"}]
    bench = Bench(
        limits=(("current_limit", limit), ("trip_delay", delay)),
        hold=hold,
        every=every,
        feed=PARALLEL,
        more=({"shape": {"input": "main", "segments": again}, "name": "again"},),
        # One that sinks would take what the other gives.
        output=(*UNLIKE.items(), ("sink", None)),
    )
    requires = [trip("150 ms", during="again"), none(during="over"), none("again", during="again")]
    found = played(bench.write(tmp_path, requires))
    assert found.outcome.record.spans[-1].name == "again"
    assert [found.result(name).outcome for name in ("trips", "stays on", "again")] == ["inconclusive"] * 3
