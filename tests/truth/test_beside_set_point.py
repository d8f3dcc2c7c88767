"""An output that says CV and does not stand at its set point is found, and nothing that does is.

The truth is what the twins' physics gave. What is read beside it is put into the run's record by hand, beyond
0.05 % + 6 mV of reading and 0.05 % + 8 mV of programming, or within them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.truth import test_contradictions as records
from tests.truth.test_contradictions import (
    AT_TERMINALS,
    CONVERTER,
    DIP,
    HEAVY,
    PARALLEL,
    STACK,
    Played,
    changed,
    judged,
    recorded,
)

from railwright.evaluation.outcome import DOCUMENT, SET_POINT, Outcome
from railwright.traces import Record, Traces

LATENCY = 3e-3
"""Of the readings [s], as the bench of `small` has it."""

SWEEP = [
    {"hold": "300 ms", "name": "rest"},
    {
        "sweep": {"input": "main", "from": "10 V", "to": "14 V", "points": 3, "dwell": "200 ms"},
        "name": "line",
    },
]


LOWER = [
    {"hold": "300 ms", "name": "rest"},
    {"shape": {"input": "main", "segments": [{"step_to": "6 V"}, {"hold": "400 ms"}]}, "name": "low"},
]


def played(**play: Any) -> Played:
    """With what regulates by its status, which is of the instant when a reading comes."""
    case = records.played(**play)
    own, true = case.record.traces["main"], case.truth.traces["main"]
    later = np.minimum(np.searchsorted(true.time, own.time + LATENCY), true.time.size - 1)
    columns = {**own.columns, "mode": true.columns["mode"][later]}
    return replace(case, record=replace(case.record, traces={"main": Traces(own.time, columns)}))


def read(case: Played) -> str:
    """The column of the voltage: where it is sensed."""
    return next(
        each for each in ("voltage", "terminal_voltage") if each in case.record.traces["main"].columns
    )


def dead(case: Played) -> Record:
    """It says on and CV, and gives nothing."""
    record = changed(case.record, read(case), lambda _, v: 0.0004 + 0.0 * v)
    return changed(record, "current", lambda _, v: 0.0 * v)


def frozen(after: float) -> Callable[[Played], Record]:
    """From that time of the record on every reading is the same."""

    def made(case: Played) -> Record:
        record = case.record
        for channel in (read(case), "current"):
            record = changed(
                record, channel, lambda t, v: np.where(t > after, v[np.searchsorted(t, after)], v)
            )
        return record

    return made


def beside(by: float) -> Callable[[Played], Record]:
    return lambda case: changed(case.record, read(case), lambda _, v: np.where(v > 1.0, v + by, v))


WRONG: dict[str, tuple[dict[str, Any], Callable[[Played], Record]]] = {
    "nothing is given": ({}, dead),
    "nothing is given, to two in series": (STACK, dead),
    "nothing is given, to two in parallel": ({"hook_up": PARALLEL}, dead),
    "readings stand still while it is swept": ({"steps": SWEEP}, frozen(0.4)),
    "1 V too little": ({}, beside(-1.0)),
    "1 V too much": ({}, beside(1.0)),
    "0.3 V too little of 9 V": ({"nominal": "9 V"}, beside(-0.3)),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_does_not_stand_where_it_was_told_to_decides_nothing(name: str) -> None:
    play, how = WRONG[name]
    case = played(**play)
    found = judged(case, record=how(case))
    (only,) = found.contradictions
    assert (only.of, only.quantity, only.sources[1]) == ("main", "voltage", SET_POINT)
    assert only.first < only.at <= only.last or only.first <= only.at < only.last
    assert all(each.outcome is Outcome.INCONCLUSIVE for each in found.results if each.measured is not None)
    assert found.outcome is not Outcome.PASS


def open_lead(case: Played) -> Record:
    """The set point stands at the terminals, and next to nothing flows."""
    return changed(case.record, "current", lambda _, v: np.minimum(v, 7e-4))


@pytest.mark.parametrize(
    "play",
    [
        {"hook_up": AT_TERMINALS},
        {"hook_up": AT_TERMINALS, "load": CONVERTER, "steps": DIP},
        {"hook_up": AT_TERMINALS, "nominal": "9 V", "every": "20 ms"},
        STACK,
    ],
)
def test_a_voltage_at_the_connector_is_not_told_by_a_lead_that_carries_nothing(play: dict[str, Any]) -> None:
    case = played(**play)
    assert not judged(case).contradictions
    found = judged(case, record=open_lead(case))
    (only,) = found.contradictions
    assert (only.of, only.quantity, only.sources[1]) == ("main", "current", DOCUMENT)
    results = {each.requirement: each for each in found.results}
    assert results["level"].outcome is Outcome.INCONCLUSIVE
    assert results["level"].reason == only.words
    # What flows is still told: that is less than what is required, whatever the lead.
    assert results["least"].outcome is not Outcome.PASS


@pytest.mark.parametrize(("by", "rows"), [(1.3, 1), (0.4, 1), (2.0, 3)])
def test_a_reading_above_the_set_point_among_others_that_stand_at_it_is_wrong(by: float, rows: int) -> None:
    case = played()
    time = case.record.traces["main"].time
    first = float(time[np.searchsorted(time, case.record.span("rest").start + 0.2)])
    wrong = changed(
        case.record,
        read(case),
        lambda t, v: np.where((t >= first) & (t < first + (rows - 0.5) * 10e-3), v + by, v),
    )
    (only,) = judged(case, record=wrong).contradictions
    assert (only.quantity, only.sources[1]) == ("voltage", SET_POINT)
    assert only.last - only.first == pytest.approx((rows - 1) * 10e-3, abs=5e-3)


def test_a_recorder_still_decides_what_the_supply_reads_wrongly() -> None:
    """It tells of itself; that the supply's readings contradict it is said, too."""
    case = played()
    found = judged(case, recorded(case))
    assert found.outcome is Outcome.PASS
    assert not found.contradictions


RIGHT: dict[str, dict[str, Any]] = {
    "a resistor": {},
    "much current, sensed at the load": HEAVY,
    "much current, sensed at the terminals": {**HEAVY, "hook_up": AT_TERMINALS},
    "a converter, with a dip": {"load": CONVERTER, "steps": DIP},
    "a sweep": {"steps": SWEEP},
    "down, with a capacitor that little discharges": {
        "load": {
            "capacitor": {"capacitance": "470 uF", "esr": "0.2 ohm"},
            "resistor": {"resistance": "2 kohm"},
        },
        "steps": LOWER,
    },
    "down, with a capacitor that a load discharges": {"load": CONVERTER, "steps": LOWER},
    "in series": STACK,
    "in parallel": {"hook_up": PARALLEL},
    "seldom read": {"steps": SWEEP, "every": "40 ms"},
}


@pytest.mark.parametrize("name", RIGHT)
@pytest.mark.parametrize("by", [0.0, 0.01, -0.01])
def test_what_does_is_not_found(name: str, by: float) -> None:
    """by: what it is read beside it within the bounds [V]."""
    play: Mapping[str, Any] = RIGHT[name]
    case = played(**play)
    assert judged(case, record=beside(by)(case)).contradictions == ()
