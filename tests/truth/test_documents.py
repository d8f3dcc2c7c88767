"""Documents that once ended in a traceback, or were spoken to wrongly.

An operating range that begins at 0 V; an output whose name is a number and that does not stand at that place;
a conductor of a section that is not made. Currents are worked out by Ohm's law and by power over voltage; the
sections are those of IEC 60228 (from memory), table 3, class 5.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.truth.saying import played
from tests.truth.small import fed_by, supply, write
from tests.truth.table import TruthTable

from railwright.documents.sources import DocumentErrors
from railwright.job import Job

CONVERTER = {
    "converter": {
        "output_power": "6 W",
        "efficiency": "80 %",
        "starts_at": "5 V",
        "stops_at": "4 V",
        "soft_start": "5 ms",
    }
}
LEDS = {
    "led_string": {
        "count": 3,
        "forward_voltage": "3 V",
        "rated_current": "300 mA",
        "series_resistance": "10 ohm",
    }
}


def procedure(source: Any, **limits: str) -> dict[str, Any]:
    least = {"current_limit": "2 A", "at_limit": "regulate", "ovp": "30 V", **limits}
    return {
        "hook_up": {"main": {"from": source, "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": least},
        "steps": [{"power_up": {"order": ["main"], "settle": "300 ms"}, "name": "up"}, {"hold": "200 ms"}],
        "record": {"every": "10 ms"},
    }


@pytest.mark.case("operating-from-zero")
@pytest.mark.parametrize("source", ["s.1", "auto"])
@pytest.mark.parametrize("nominal", [24.0, 12.0])
@pytest.mark.parametrize(
    ("load", "amperes"),
    [
        ({"resistor": {"resistance": "30 ohm"}}, lambda volts: volts / 30.0),
        ({"constant_current": {"current": "250 mA", "compliance": "1 V"}}, lambda volts: 0.25),
        (CONVERTER, lambda volts: 6.0 / 0.8 / volts),
    ],
    ids=["resistor", "constant current", "converter"],
)
def test_an_operating_range_may_begin_at_zero(
    load: dict[str, Any],
    amperes: Any,
    nominal: float,
    source: str,
    tmp_path: Path,
    truth_table: TruthTable,
) -> None:
    given = fed_by(load, nominal=f"{nominal:g} V", operating="0 V .. 24 V")
    given["current"] = {"steady": "0 A .. 1.5 A", "at_most": "4 A"}
    check = Job.open(write(tmp_path, {"main": given}, procedure(source))).check()
    traces = check.rehearse().record.traces["main"]
    current = float(np.interp(0.45, traces.time, traces.columns["current"]))
    # The lead's 0.1 ohm take less than 0.5 % of it.
    truth_table.compare("steady current", pytest.approx(amperes(nominal), rel=5e-3), current, "A")


def switched_on(sent: list[str]) -> set[str]:
    """Numbers of the outputs that lines sent to a supply switch on: in the line, or selected before it."""
    selected, found = "", set()
    for command in (each.strip() for line in sent for each in line.split(";")):
        if match := re.fullmatch(r":?INST\w*:NSEL\w* (\d+)", command):
            selected = match[1]
        elif match := re.fullmatch(r":?OUTP\w*:STAT\w* (?:ON|1)(?:,\(@(\d+)\))?", command):
            found.add(match[1] or selected)
    return found


@pytest.mark.case("output-named-2")
@pytest.mark.parametrize("dialect", ["channel-list", "selected-output"])
@pytest.mark.parametrize(
    ("names", "fed"), [(["2", "1"], "2"), (["2", "1"], "1"), (["3", "1", "2"], "2"), (["2", "3"], "3")]
)
def test_an_output_is_spoken_to_by_its_own_number(
    names: list[str], fed: str, dialect: str, tmp_path: Path, truth_table: TruthTable
) -> None:
    """Only the output that feeds the input goes on, by its number in the lines that a supply is sent: a
    simulated supply that counted outputs as the driver does would agree with a wrong one.
    """
    made = supply(*[{}] * len(names), dialect=dialect)
    made["outputs"] = dict(zip(names, made["outputs"].values(), strict=True))
    load = {"resistor": {"resistance": "30 ohm"}}
    path = write(tmp_path, {"main": fed_by(load)}, procedure(f"s.{fed}"), {"s": made})
    sent: list[str] = []
    with played(path, seed=2, sent=sent) as (network, _):
        traces = network.truth().traces["main"]
    truth_table.compare("numbers of outputs switched on", {fed}, switched_on(sent))
    truth_table.compare(
        "highest voltage", pytest.approx(24.0, abs=0.1), float(traces.columns["voltage"].max())
    )


MADE = ("0.5", "0.75", "1", "1.5", "2.5", "4", "6", "10", "16", "25")


@pytest.mark.case("odd-section")
@pytest.mark.parametrize("section", [*MADE, "3", "0.6", "2", "5", "1.2", "7"])
def test_a_conductor_is_one_that_is_made(section: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """Where it is read, it is also rehearsed and simulated."""
    load = {"resistor": {"resistance": "30 ohm"}}
    lead = {"conductor": f"{section} mm2 class 5"}
    path = write(tmp_path, {"main": fed_by(load)}, procedure("s.1"), lead=lead)
    try:
        Job.open(path).rehearse()
        with played(path, seed=2) as (network, _):
            said = f"on: {any(event.kind.value == 'on' for event in network.truth().events)}"
    except DocumentErrors as errors:
        (problem,) = errors.problems
        said = f"line {str(problem).split(':')[1]}"
    lines = (tmp_path / "small.bench.yaml").read_text("utf-8").splitlines()
    (at,) = [number for number, line in enumerate(lines, start=1) if '"conductor"' in line]
    truth_table.compare("read and played, or refused", "on: True" if section in MADE else f"line {at}", said)
