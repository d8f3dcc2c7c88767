"""Outputs of a group that hand over what an input takes, each read at a time of its own.

The truth is a closed form, or that of the simulated supplies by the trapezoid rule.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from benchmarks.disagreement_hunt.drawing import Draw
from benchmarks.disagreement_hunt.playing import Played, play
from tests.measures.scene import Scene

from railwright.documents.figures import output_figures
from railwright.documents.loader import load_documents
from railwright.evaluation.evaluate import evaluate, measured_points
from railwright.evaluation.reading_bias import PHASES, _compared, _of_rehearsal
from railwright.job import Job
from railwright.measures import MEASURES
from railwright.measures.reading_model import Part, ReadingModel
from railwright.measures.signal import View
from railwright.physics.output_stage import derive_output_stage
from railwright.rehearsal.circuit import output_errors
from railwright.rehearsal.handovers import handovers, in_turn
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Record, Traces

from .small import fed_by, supply, write


def handed_over(ends: np.ndarray, begins: float, lasts: float, aperture: float) -> np.ndarray:
    """Mean over each aperture of a line from 0 at `begins` to 1, in closed form."""

    def upto(time: np.ndarray) -> np.ndarray:
        inside = np.clip(time - begins, 0.0, lasts)
        return inside**2 / (2.0 * lasts) + np.maximum(0.0, time - begins - lasts)

    return (upto(ends) - upto(ends - aperture)) / aperture


@pytest.mark.parametrize("amperes", [0.5, 3.2])
@pytest.mark.parametrize(
    ("lasts", "apart", "update", "aperture"),
    [
        (65e-3, 7.7e-3, 10e-3, 8e-3),
        (65e-3, -5e-3, 10e-3, 8e-3),
        (150e-3, 9.9e-3, 10e-3, 8e-3),
        (300e-3, 40e-3, 50e-3, 40e-3),
    ],
)
def test_a_handover_of_many_readings_makes_no_peak(
    lasts: float, apart: float, update: float, aperture: float, amperes: float
) -> None:
    """The sum flows all the time, first of one output, then of the others; rows in succession show more."""
    ends = np.arange(0.02, 2.0, update)
    noise = np.random.default_rng(5).normal(0.0, 1e-4, ends.size)
    for to in ((1.0,), (0.6, 0.4)):
        total = amperes * (1.0 - handed_over(ends, 0.6, lasts, aperture)) + noise
        for place, share in enumerate(to, 1):
            total = total + amperes * share * handed_over(ends + apart / place, 0.6, lasts, aperture)
        parts = tuple(Part(f"a.{n}", 0.0, 1e-3, 1e-4, 1e-4, most=amperes) for n in range(len(to) + 1))
        model = ReadingModel("readings", parts, parts, update, aperture, summed="current")
        view = View(
            Traces(ends, {"current": total, "voltage": np.full(ends.size, 12.0)}),
            model,
            0.1,
            1.5,
            every=update,
        )
        found = MEASURES["peak_current"](view)
        assert found.low <= amperes
        assert found.low > 0.9 * amperes
        # What one output alone reads is no sum of other times.
        one = replace(view, model=replace(model, summed="", current=parts[:1]))
        assert MEASURES["peak_current"](one).low >= found.low


RISES = Scene.of((-0.3, 0.0, 0.0), (0.0, 0.0, 0.0), (0.12, 24.0, 2.0), (0.8, 24.0, 2.0))
"""12 ohm that are switched on at 200 V/s."""

JOULES = 48.0 * (0.12 / 3.0 + 0.38)


def read_apart(every: float, update: float, aperture: float, most: float, seed: int) -> View:
    """Two outputs that feed it, of which one carries all, up to its limit, until the rise is over, and the
    other then, or the first goes on; each is read at a time of its own.
    """
    rng = np.random.default_rng(seed)
    ends = np.arange(-0.2 + rng.uniform(0.0, every), 0.7, every)
    fine = np.linspace(-0.3, 0.8, 11001)
    carried = np.interp(fine, RISES.time, RISES.current)
    own = np.minimum(carried, most)
    if rng.random() < 0.5:
        part = np.interp(fine, [0.12, 0.12 + rng.uniform(1e-3, 30e-3)], [1.0, 0.0])
        own = own * part + (carried - own) * (1.0 - part)
    volts, amperes = [], []
    for each in (own, carried - own)[:: int(rng.choice([-1, 1]))]:
        phase = rng.uniform(0.0, update)
        handed = np.floor((ends - phase) / update) * update + phase
        output = Scene(fine, np.interp(fine, RISES.time, RISES.voltage), each)
        volts.append(output.mean(handed, aperture, "voltage") + rng.uniform(-5e-3, 5e-3))
        amperes.append(output.mean(handed, aperture, "current") + rng.uniform(-5e-3, 5e-3))
    columns = {"voltage": np.mean(volts, axis=0), "current": np.sum(amperes, axis=0)}
    mean, share = (Part("a", 0.0, error, 1e-4, 1e-4) for error in (2.5e-3, 5e-3))
    parts = tuple(replace(share, name=f"a.{n}", most=most) for n in (1, 2))
    halves = tuple(replace(mean, name=f"a.{n}") for n in (1, 2))
    model = ReadingModel("readings", halves, parts, update, aperture, summed="current")
    return View(Traces(ends, columns), model, 0.0, 0.5, switched_on=0.0, goal=24.0, every=every)


@pytest.mark.parametrize("most", [1.5, 3.0])
@pytest.mark.parametrize(
    ("every", "update", "aperture"),
    [(10e-3, 10e-3, 10e-3), (5e-3, 10e-3, 10e-3), (20e-3, 20e-3, 16e-3), (20e-3, 10e-3, 10e-3)],
)
def test_the_energy_counts_that_outputs_are_read_apart(
    every: float, update: float, aperture: float, most: float
) -> None:
    held = 0
    for seed in range(60):
        view = read_apart(every, update, aperture, most, seed)
        found = MEASURES["energy"](view)
        held += found.low <= JOULES <= found.high
    assert held >= 55
    power = MEASURES["mean_power"](view)
    assert 0.5 * (power.high - power.low) == pytest.approx(found.high - found.low)
    # Where the voltage stands, nothing of it counts.
    quiet = MEASURES["energy"](replace(view, start=0.25, switched_on=None))
    assert "product of the outputs" not in {each.source for each in quiet.contributions}


SWEEP: dict[str, Any] = {
    "limits": {"in": {"current_limit": "800 mA", "at_limit": "regulate", "ovp": "20 V"}},
    "steps": [
        {"power_up": {"order": ["in"], "gap": "10 ms", "settle": "200 ms"}, "name": "up"},
        {
            "sweep": {"input": "in", "from": "7 V", "to": "12 V", "points": 8, "dwell": "100 ms"},
            "name": "sweep",
        },
        {"power_down": {"order": ["in"], "gap": "10 ms"}},
    ],
}
PROGRAMMING = {
    "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "1 mA", "resolution": "0.1 mA"},
}


def documents_of(folder: Path, ohms: str, update: float, dwell: float, arrangement: str = "parallel") -> Path:
    """Two outputs that feed a resistor and a capacitor, swept. They come down as fast as they do by taking
    current in, which their data sheet does not say.
    """
    output = {
        "programming": PROGRAMMING,
        "reading": {
            "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"},
            "current": {"of_value": "0.1 %", "offset": "1 mA", "resolution": "0.1 mA", "noise": "0.1 mA"},
            "update": f"{update * 1e3:g} ms",
            "aperture": f"{0.8 * update * 1e3:g} ms",
            "latency": "3 ms",
        },
        "current": "0 A .. 500 mA",
        "voltage": "0 V .. 26 V",
        "power": "13 W",
        "output_capacitance": "470 uF",
        "rise": "2 ms",
        "fall": {"loaded": "30 ms"},
        "bleeder": "1 kohm",
        "sink": None,
        "ovp": {"level": "1 V .. 29 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"},
    }
    steps = [*SWEEP["steps"]]
    steps[1] = {**steps[1], "sweep": {**steps[1]["sweep"], "dwell": f"{dwell * 1e3:g} ms"}}
    device = fed_by(
        {"resistor": {"resistance": ohms}},
        {"capacitor": {"capacitance": "100 uF", "esr": "170 mohm"}},
        nominal="12 V",
        operating="6 V .. 15 V",
        withstands=[{"voltage": "24 V"}],
    )
    wanted = [
        {"name": name, "measure": name, "of": "in", "during": "sweep", "at_most": most}
        for name, most in {
            "mean_current": "5 A",
            "charge": "9 C",
            "energy": "99 J",
            "mean_power": "9 W",
        }.items()
    ]
    procedure = {
        **SWEEP,
        "steps": steps,
        "hook_up": {"in": {"from": {arrangement: ["s.1", "s.2"]}, "lead": "pair", "sense": "at terminals"}},
        "record": {"every": f"{update * 1e3:g} ms"},
        "requires": wanted,
    }
    return write(folder / "given", {"in": device}, procedure, {"s": supply(output, output)})


def played(path: Path, folder: Path, seed: int, parts: float) -> Played:
    """In every place, with set points of the two outputs so far apart, as parts of what the bench lets them
    be.
    """
    files = {each.name: each.read_bytes() for each in path.parent.iterdir()}
    files["procedure.yaml"] = files.pop(path.name)
    true = {
        f"s.{output}.programming.voltage.{what}": f"x{sign * parts}"
        for output, sign in ((1, 1.0), (2, -1.0))
        for what in ("gain", "offset")
    }
    (folder / "played").mkdir()
    return play(Draw("handing over", files, seed, true), folder / "played")


def true_values(found: Played) -> dict[str, float]:
    """Of the sweep as it was played."""
    span, traces = found.outcome.record.span("sweep"), found.truth.traces["in"]
    inside = (traces.time >= span.start) & (traces.time <= span.end)
    time, volts, amperes = (
        each[inside] for each in (traces.time, traces.columns["voltage"], traces.columns["current"])
    )
    lasts = float(time[-1] - time[0])
    joules = float(np.trapezoid(volts * amperes, time))
    coulombs = float(np.trapezoid(amperes, time))
    return {
        "energy": joules,
        "mean_power": joules / lasts,
        "charge": coulombs,
        "mean_current": coulombs / lasts,
    }


SWEPT = {
    "set points apart": ("46 ohm", 50e-3, 100e-3, 0.4, 3),
    "read too low": ("46 ohm", 50e-3, 100e-3, 0.4, 8),
    "the other one above": ("46 ohm", 50e-3, 100e-3, -0.15, 3),
    "less current, faster readings": ("90 ohm", 40e-3, 80e-3, 0.8, 2),
    "a dwell of one update": ("40 ohm", 40e-3, 40e-3, -0.4, 1),
}


@pytest.mark.parametrize("given", SWEPT.values(), ids=SWEPT)
def test_the_interval_holds_what_flowed_while_outputs_hand_over(
    given: tuple[str, float, float, float, int], tmp_path: Path
) -> None:
    ohms, update, dwell, parts, seed = given
    found = played(documents_of(tmp_path, ohms, update, dwell), tmp_path, seed, parts)
    true = true_values(found)
    for each in found.evaluated.results:
        assert each.measured is not None
        assert each.measured.low <= true[each.requirement] <= each.measured.high, each.requirement
    # By what the readings alone tell, they are too sure.
    alone = evaluate(found.documents, found.check.settings.set_points, found.outcome.record).results
    sure = next(each.measured for each in alone if each.requirement == "charge")
    assert sure is not None
    assert not sure.low <= true["charge"] <= sure.high


@pytest.mark.parametrize(("ohms", "update"), [("46 ohm", 50e-3), ("90 ohm", 40e-3), ("30 ohm", 20e-3)])
def test_a_handover_is_as_fast_as_the_integrators_part(ohms: str, update: float, tmp_path: Path) -> None:
    """Two equal loops, with set points e above and below what they regulate to: K_i e a second each."""
    job = Job.open(documents_of(tmp_path, ohms, update, 4 * update)).settle()
    documents, set_points = job.checked.documents, job.settings.set_points
    record = rehearse(documents, set_points, timeline=job.plan.played).record
    stage, _ = derive_output_stage(output_figures(documents.bench.output(set_points["in"].names[0])))
    _, quicker, slower = handovers(documents, set_points, record)
    for case in (quicker, slower):
        errors, _ = output_errors(documents, set_points, case)
        moved = [each.voltage(12.0) - 12.0 for each in errors.values()]
        assert moved[0] == pytest.approx(-moved[1])
        played = rehearse(documents, set_points, case, job.plan.played)
        time = played.record.traces["in"].time
        for error, (_, amperes) in zip(moved, played.shares["in"].values(), strict=True):
            begin, end = np.interp([0.03, 0.035], time, amperes)
            assert (end - begin) / 5e-3 == pytest.approx(stage.k_i * error, rel=0.02)


def risen(folder: Path, ohms: str, update: float, rise: str, settle: str) -> Job:
    """Two outputs in parallel that rise, and a step that follows."""
    path = documents_of(folder, ohms, update, 0.1)
    given = json.loads(path.read_text("utf-8"))
    up = {"power_up": {"order": ["in"], "gap": "10 ms", "rise": rise, "settle": settle}, "name": "up"}
    given["steps"] = [up, {"hold": "300 ms", "name": "sweep"}, SWEEP["steps"][-1]]
    path.write_text(json.dumps(given), "utf-8")
    return Job.open(path).settle()


RISEN = [("30 ohm", 20e-3, "20 V/s"), ("28 ohm", 10e-3, "60 V/s"), ("28 ohm", 20e-3, "10 V/s")]


@pytest.mark.parametrize(("ohms", "update", "rise"), RISEN)
def test_a_step_after_a_rise_holds_what_outputs_hand_over_at_its_end(
    ohms: str, update: float, rise: str, tmp_path: Path
) -> None:
    """One output leads in the rise, however their errors are, and the other carries what stands."""
    job = risen(tmp_path, ohms, update, rise, "1 ms")
    documents, set_points = job.checked.documents, job.settings.set_points
    record = rehearse(documents, set_points, timeline=job.plan.played).record
    traces, span = record.traces["in"], record.span("sweep")
    scene = Scene(traces.time, traces.columns["terminal_voltage"], traces.columns["current"])
    amperes = scene.mean(np.array([span.end]), span.end - span.start, "current")[0]
    widened, _ = _compared(documents, set_points, {"in": update})
    held, alone = 0, 0
    rng = np.random.default_rng(8)
    for _ in range(60):
        lasts, begins = update * rng.uniform(0.1, 1.0), span.start + update * rng.uniform(0.0, 1.0)
        fine = np.unique(np.concatenate((scene.time, np.arange(span.start, span.end, 1e-3))))
        flows = np.interp(fine, scene.time, scene.current)
        left = np.interp(fine, [begins, begins + lasts], [1.0, 0.0]) * np.minimum(flows, 0.4)
        polls = np.arange(traces.time[0] + rng.uniform(0.0, update), traces.time[-1], update)
        volts = np.interp(fine, scene.time, scene.voltage)
        read = [
            Scene(fine, volts, own).mean(polls - rng.uniform(0.0, update), 0.8 * update, each)
            for own in (left, flows - left)
            for each in ("voltage", "current")
        ]
        columns = {"terminal_voltage": (read[0] + read[2]) / 2.0, "current": read[1] + read[3]}
        shown = Record("supply readings", {"in": Traces(polls, columns)}, record.events, record.spans)
        requires = [each for each in documents.procedure.requires if each.name == "mean_current"]
        for key, found in measured_points(documents, set_points, shown, {}, requires).items():
            below, above = widened[key]
            held += found.low - below <= amperes <= found.high + above
            alone += found.low <= amperes <= found.high
    assert held >= 58
    assert alone < 50


def test_a_step_in_which_nothing_moves_is_as_wide_as_its_readings_make_it(tmp_path: Path) -> None:
    job = risen(tmp_path, "46 ohm", 10e-3, "100 V/s", "400 ms")
    documents, set_points = job.checked.documents, job.settings.set_points
    played = rehearse(documents, set_points, timeline=job.plan.played)
    current = played.record.traces["in"].columns["current"]
    for turn in in_turn(documents, set_points, job.plan.played, played):
        shares = turn.shares["in"]
        total = np.sum([amperes for _, amperes in shares.values()], axis=0)
        assert total == pytest.approx(turn.record.traces["in"].columns["current"])
        assert max(float(amperes.max()) for _, amperes in shares.values()) <= max(0.4, current.max()) + 1e-9
        quiet = [each for each in documents.procedure.requires if each.name == "mean_current"]
        assert not _of_rehearsal(documents, set_points, job.plan.timeline, turn, {"in": 10e-3}, quiet)


@pytest.mark.parametrize("ohms", ["10 ohm", "25 ohm"])
def test_outputs_in_series_hand_over_as_fast_as_their_capacitors_part(ohms: str, tmp_path: Path) -> None:
    """In the limit, with limits e above and below: the voltages part by e / C a second each."""
    path = documents_of(tmp_path, ohms, 50e-3, 100e-3, arrangement="series")
    path.write_text(path.read_text("utf-8").replace('"800 mA"', '"200 mA"'), "utf-8")
    documents, set_points = load_documents(path), Job.open(path).settle().settings.set_points
    record = rehearse(documents, set_points).record
    for case in list(handovers(documents, set_points, record))[1:]:
        errors, _ = output_errors(documents, set_points, case)
        off = [each.limit(0.2) - 0.2 for each in errors.values()]
        played = rehearse(documents, set_points, case)
        time = played.record.traces["in"].time
        for error, (volts, _) in zip(off, played.shares["in"].values(), strict=True):
            begin, end = np.interp([0.1, 0.15], time, volts)
            assert (end - begin) / 0.05 == pytest.approx(error / 470e-6, rel=0.02)


def test_one_output_hands_nothing_over(tmp_path: Path) -> None:
    path = documents_of(tmp_path, "46 ohm", 50e-3, 100e-3)
    given = path.read_text("utf-8").replace('"800 mA"', '"400 mA"')
    path.write_text(re.sub(r'"from": \{[^}]*\}', '"from": "s.1"', given), "utf-8")
    job = Job.open(path).settle()
    played = rehearse(job.checked.documents, job.settings.set_points)
    assert not played.shares
    assert not list(handovers(job.checked.documents, job.settings.set_points, played.record))


def test_each_output_of_a_group_is_now_read_earlier_and_now_later() -> None:
    assert {phase.apart < 0.5 for phase in PHASES} == {True, False}
    for place in range(3):
        assert len({(phase.updated + place * phase.apart) % 1.0 for phase in PHASES}) == len(PHASES)
