"""What happens between readings moved a result past its interval: a load that hunts faster than it is read.

The truth is that of the simulated supplies: its voltage times its current by the trapezoid rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
from benchmarks.disagreement_hunt.drawing import Draw
from benchmarks.disagreement_hunt.playing import Played, play

from railwright.evaluation.decision import Tolerance, decide
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.misreading import PHASES, misreadings_of
from railwright.evaluation.outcome import Outcome
from railwright.measures.outcome import Measured

from .small import fed_by, supply, write

READING = {
    "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "5 mA", "resolution": "0.1 mA", "noise": "0.1 mA"},
}
MOST = {"energy": "9 J", "mean_power": "9 W", "mean_current": "5 A"}


# Many: what makes a converter hunt, and how it is read.
def hunting(
    folder: Path, power: str, loop: str, farads: str, every: str, update: str, aperture: str
) -> Played:
    """A converter that its lead lets stop as soon as it draws, played in every place."""
    output = {
        "reading": {**READING, "update": update, "aperture": aperture, "latency": "3 ms"},
        "voltage": "0 V .. 6 V",
        "current": "0 A .. 6 A",
        "ovp": {"level": "1 V .. 7 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"},
    }
    converter = {"output_power": power, "efficiency": "85 %", "starts_at": "1.9 V", "stops_at": "1.6 V"}
    device = fed_by(
        {"converter": converter},
        {"capacitor": {"capacitance": farads, "esr": "50 mohm"}},
        nominal="3.3 V",
        operating="2.4 V .. 4.3 V",
        withstands=[{"voltage": "6 V"}],
    )
    wanted: list[Mapping[str, Any]] = [
        {"name": name, "measure": name, "of": "in", "during": "steady", "at_most": most}
        for name, most in MOST.items()
    ]
    procedure = {
        "hook_up": {"in": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"in": {"current_limit": "5 A", "at_limit": "regulate", "ovp": "5.5 V"}},
        "steps": [
            {"power_up": {"order": ["in"], "gap": "10 ms", "settle": "200 ms"}, "name": "up"},
            {"hold": "400 ms", "name": "steady"},
            {"power_down": {"order": ["in"], "gap": "10 ms"}},
        ],
        "record": {"every": every},
        "requires": wanted,
    }
    path = write(
        folder / "given", {"in": device}, procedure, {"s": supply(output)}, {"contact_resistance_loop": loop}
    )
    files = {each.name: each.read_bytes() for each in path.parent.iterdir()}
    files["procedure.yaml"] = files.pop(path.name)
    (folder / "played").mkdir()
    return play(Draw("hunting", files, 7, {}), folder / "played")


def true_means(found: Played) -> dict[str, float]:
    """Of the step as it was played."""
    span, traces = found.outcome.record.span("steady"), found.truth.traces["in"]
    inside = (traces.time >= span.start) & (traces.time <= span.end)
    time, volts, amperes = (each[inside] for each in (traces.time, *(traces.columns[n] for n in COLUMNS)))
    lasts = float(time[-1] - time[0])
    joules = float(np.trapezoid(volts * amperes, time))
    coulombs = float(np.trapezoid(amperes, time))
    return {"energy": joules, "mean_power": joules / lasts, "mean_current": coulombs / lasts}


COLUMNS = ("voltage", "current")

VARIANTS = {
    "5.8 W behind 1 ohm": ("5.8 W", "1 ohm", "22 uF", "5 ms", "10 ms", "8 ms"),
    "twice as far apart": ("5.8 W", "1 ohm", "22 uF", "20 ms", "20 ms", "16 ms"),
    "3 W behind 2 ohm": ("3 W", "2 ohm", "22 uF", "5 ms", "10 ms", "8 ms"),
    "a larger capacitor": ("5.8 W", "1 ohm", "100 uF", "10 ms", "10 ms", "2 ms"),
}


@pytest.mark.parametrize("given", VARIANTS.values(), ids=VARIANTS)
def test_the_interval_holds_what_is_true_of_a_load_that_hunts(
    given: tuple[str, str, str, str, str, str], tmp_path: Path
) -> None:
    found = hunting(tmp_path, *given)
    true = true_means(found)
    assert len([e for e in found.truth.events if e.kind.name == "STOPS"]) > 50
    for each in found.evaluated.results:
        assert each.measured is not None
        assert each.measured.low <= true[each.requirement] <= each.measured.high
    # By what the readings alone tell, they are too sure.
    set_points = found.check.settings.set_points
    alone = evaluate(found.documents, set_points, found.outcome.record).results
    said = next(each.measured for each in alone if each.requirement == "energy")
    assert said is not None
    assert said.low > true["energy"]


@pytest.mark.parametrize("rule", ["guarded", "simple"])
@pytest.mark.parametrize("side", ["below", "above"])
def test_no_rule_passes_or_fails_within_what_readings_miss(
    rule: Literal["guarded", "simple"], side: str
) -> None:
    sure = Measured(5.0, 4.9, 5.1, (), "read")
    misread = (
        replace(sure, low=3.9, misread_below=1.0)
        if side == "below"
        else replace(sure, high=6.1, misread_above=1.0)
    )
    outer, inner = ((4.5, None), (None, 4.5)) if side == "below" else ((None, 5.5), (5.5, None))
    for tolerance, without in ((Tolerance(*outer), Outcome.PASS), (Tolerance(*inner), Outcome.FAIL)):
        assert decide(sure, tolerance, "V", rule, 1.0)[0] is without
        assert decide(misread, tolerance, "V", rule, 1.0)[0] is Outcome.INCONCLUSIVE
    far = Tolerance(0.0, 10.0)
    assert decide(misread, far, "V", rule, 1.0)[0] is Outcome.PASS


def read(value: float, within: float = 0.1) -> Measured:
    return Measured(value, value - within, value + within, (), "read")


@pytest.mark.parametrize(
    ("true", "shown", "below", "above"),
    [
        (5.0, 5.0, 0.0, 0.0),
        (5.109, 5.0, 0.0, 0.0),
        (5.2, 5.0, 0.0, 0.15),
        (4.8, 5.0, 0.15, 0.0),
        (-1.0, 1.0, 1.95, 0.0),
    ],
)
def test_the_middle_half_of_the_interval_holds_what_is_true(
    true: float, shown: float, below: float, above: float
) -> None:
    found = misreadings_of({("a", 0): read(true, 0.0)}, [(("a", "supply", 0), read(shown))])
    assert found.get(("a", "supply", 0), (0.0, 0.0)) == pytest.approx((below, above))
    middle = shown - 0.05 - below, shown + 0.05 + above
    assert (below, above) == (0.0, 0.0) or middle[0] - 1e-9 <= true <= middle[1] + 1e-9


def test_points_of_a_sweep_and_phases_are_each_held_against_their_own() -> None:
    exact = {("a", 0): read(5.0, 0.0), ("a", 1): read(9.0, 0.0)}
    right = [(("a", "supply", 0), read(5.0)), (("a", "supply", 1), read(9.0))]
    assert misreadings_of(exact, right) == {}
    other = [
        (("a", "supply", 1), read(8.0)),
        (("a", "supply", 1), read(9.5)),
        (("b", "supply", 0), read(1.0)),
    ]
    found = misreadings_of(exact, [*right, *other])
    assert found == {("a", "supply", 1): pytest.approx((0.45, 0.95))}


def test_every_phase_asks_and_updates_at_another_time() -> None:
    assert len({phase.asked for phase in PHASES}) == len({phase.updated for phase in PHASES}) == len(PHASES)
