"""Whether and when a protection trips, and whether an input stays in constant voltage: rehearsed, played on
simulated supplies over SCPI, and evaluated from the run's folder.

The truth is worked out here: a set point that moves from U0 at the slew s reaches the level of a limit,
I·R, or of an OVP after (level - U0)/s; the protection acts a delay later. A capacitor that is charged by the
current I takes C·U/I. Common practice, no source.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.archive.stored import ExternalRecording, evaluate_run, open_stored
from railwright.cli.exits import Exit
from railwright.cli.run_words import code_of_run
from railwright.evaluation.outcome import Evaluation, Result
from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.twin.recorder import Trigger
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

SLEW = 1e3
"""Of the set point, V/s; the outputs follow at up to 4 V/ms."""

BEFORE = 12.0
OHMS = 20.0

LOOSE = 1.2e-3
"""What rise, loop and lead leave open of an instant [s]."""


@dataclass(frozen=True)
class Played:
    """One procedure, three ways."""

    rehearsed: Evaluation
    outcome: RunOutcome
    evaluated: Evaluation
    stops: tuple[str, ...]
    cautions: tuple[str, ...]

    def outcomes(self, requirement: str) -> tuple[str, str]:
        """As rehearsed, and as evaluated from the run's folder."""
        return self.result(requirement, rehearsed=True).outcome, self.result(requirement).outcome

    def result(self, requirement: str, *, rehearsed: bool = False) -> Result:
        results = (self.rehearsed if rehearsed else self.evaluated).results
        return next(each for each in results if each.requirement == requirement)

    def finds(self, requirement: str, truth: float, slack: float = LOOSE) -> None:
        """The rehearsal comes to the truth, and the run's interval holds it."""
        exact, read = (self.result(requirement, rehearsed=each).measured for each in (True, False))
        assert exact is not None
        assert read is not None
        assert exact.value == pytest.approx(truth, abs=slack)
        assert exact.low == exact.high
        # 95 % of what is bounded: it may lie as far outside as half of the rest.
        outside = slack + 0.03 * (read.high - read.low)
        assert read.low - outside <= truth <= read.high + outside


def played(path: Path, seed: int = 1) -> Played:
    """Play a procedure, whatever its check says."""
    job, loop = Job.open(path), VirtualLoop()
    check = job.check()
    documents, settings = check.checked.documents, check.settings
    folder = path.parent / "run"
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure, seed=seed) as network:
        outcome = run(
            documents, settings.set_points, unit="T-1", operator="O", folder=folder,
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
    assert outcome.off_confirmed
    found = {
        severity: tuple(f.rule for f in check.findings if f.severity == severity)
        for severity in ("stop", "caution")
    }
    return Played(
        check.rehearse().evaluation.evaluation,
        outcome,
        evaluate_run(open_stored(folder), []),
        found["stop"],
        found["caution"],
    )


def line(to: str, start: float = BEFORE) -> dict[str, str]:
    """The segment that brings an input from one voltage to another."""
    return {"line_to": to, "over": f"{abs(float(to.split()[0]) - start) / SLEW} s"}


@dataclass(frozen=True)
class Bench:
    """A resistor on an input that is brought from 12 V to a higher voltage. None leaves a limit out."""

    to: str = "24 V"
    hold: str = "400 ms"
    limits: tuple[tuple[str, Any], ...] = ()
    output: tuple[tuple[str, Any], ...] = ()
    feed: Any = "s.1"
    every: str = "10 ms"
    more: tuple[dict[str, Any], ...] = ()

    def write(self, folder: Path, requires: list[dict[str, Any]], **whole: Any) -> Path:
        limits: dict[str, Any] = {
            "current_limit": "1 A",
            "at_limit": "trip",
            "trip_delay": "60 ms",
            "ovp": "32 V",
        }
        limits = {key: value for key, value in {**limits, **dict(self.limits)}.items() if value is not None}
        up = {"order": ["main"], "rise": "4 V/ms", "settle": "200 ms", "voltages": {"main": f"{BEFORE} V"}}
        over = {"input": "main", "segments": [line(self.to), {"hold": self.hold}]}
        procedure = {
            "hook_up": {"main": {"from": self.feed, "lead": "pair", "sense": "at terminals"}},
            "limits": {"main": limits},
            "steps": [
                {"power_up": up, "name": "up"},
                {"hold": "150 ms", "name": "before"},
                {"shape": over, "name": "over"},
                *self.more,
                {"hold": "200 ms", "name": "after"},
            ],
            "record": {"every": self.every},
            "requires": requires,
        }
        output = dict(self.output)
        inputs = {"main": fed_by({"resistor": {"resistance": f"{OHMS} ohm"}})}
        supplies = {"s": supply(output, output)}
        return write(
            folder, whole.get("inputs", inputs), {**procedure, **whole.get("procedure", {})}, supplies
        )


def trip(
    at_most: str, name: str = "trips", of: str = "main", during: str = "over", **more: Any
) -> dict[str, Any]:
    return {"name": name, "measure": "trip_time", "of": of, "during": during, "at_most": at_most, **more}


def none(name: str = "stays on", of: str = "main", during: str = "before", **more: Any) -> dict[str, Any]:
    return {"name": name, "measure": "trips", "of": of, "during": during, "at_most": 0, **more}


AFTER = {"name": "after", "measure": "mean_current", "of": "main", "during": "after", "at_most": "1 A"}
CV = {"name": "CV", "measure": "time_out_of_cv", "of": "main", "during": "before", "at_most": "50 ms"}
OCP = ("ocp", {"level": "10 mA .. 3.3 A", "delay": "0 s .. 1 s"})
OPP = ("opp", {"level": "1 W .. 130 W", "response": "2 ms"})

REACHES = ((1.0 * OHMS) - BEFORE) / SLEW
"""From the step to the current limit of 1 A [s]; the lead, with less than 0.1 Ω, adds 0.1 ms at most."""

REGULATES = (("at_limit", "regulate"), ("trip_delay", None), ("current_limit", "2 A"))
STRONG = ("current_limit", "2 A")
SLOW = ("ovp", {"level": "1 V .. 44 V", "accuracy": "0 mV", "response": "3 ms", "at": "terminals"})
SERIES = {"series": ["s.1", "s.2"]}
PARALLEL = {"parallel": ["s.1", "s.2"]}
LIMIT = "current limit"

EXPECTED = [
    # a current limit that trips after its delay (fold-back: constant voltage to constant current)
    ("limit", Bench(), LIMIT, REACHES + 60e-3),
    ("delay 30 ms", Bench(limits=(("trip_delay", "30 ms"),)), LIMIT, REACHES + 30e-3),
    ("delay 170 ms", Bench(limits=(("trip_delay", "170 ms"),), every="43 ms"), LIMIT, REACHES + 170e-3),
    ("record seldom", Bench(every="200 ms"), LIMIT, REACHES + 60e-3),
    # over-voltage: 0.2 ms after 20 V are exceeded
    ("ovp", Bench(limits=(("ovp", "20 V"), STRONG)), "OVP", 8.0 / SLEW + 200e-6),
    (
        "slow ovp",
        Bench(limits=(("ovp", "21 V"), STRONG), output=(SLOW,), every="7 ms"),
        "OVP",
        9.0 / SLEW + 3e-3,
    ),
    # over-current beside a limit that regulates: 0.9 A are reached at 18 V
    (
        "ocp",
        Bench(limits=(*REGULATES, ("ocp", "0.9 A"), ("ocp_delay", "80 ms")), output=(OCP,)),
        "OCP",
        6.0 / SLEW + 80e-3,
    ),
    # over-power: 20 W in 20 Ω at 20 V, for 2 ms
    ("opp", Bench(limits=(*REGULATES, ("opp", "20 W")), output=(OPP,)), "OPP", 8.0 / SLEW + 2e-3),
    # outputs in series: each has the limit, and its part of the OVP
    ("series", Bench(feed=SERIES), LIMIT, REACHES + 60e-3),
    (
        "series, ovp",
        Bench(feed=SERIES, limits=(("ovp", "20 V"), STRONG)),
        "OVP",
        8.0 / SLEW + 200e-6,
    ),
    # in parallel each one sees the whole voltage
    (
        "parallel, ovp",
        Bench(feed=PARALLEL, limits=(("ovp", "20 V"), ("current_limit", "4 A"))),
        "OVP",
        8.0 / SLEW + 200e-6,
    ),
]


@pytest.mark.parametrize(
    ("bench", "protection", "truth"), [each[1:] for each in EXPECTED], ids=[e[0] for e in EXPECTED]
)
def test_a_required_trip_in_time_is_the_end_that_was_asked_for(
    bench: Bench, protection: str, truth: float, tmp_path: Path
) -> None:
    latest = f"{truth + 0.15:.4f} s"
    path = bench.write(tmp_path, [none(), CV, trip(latest, by=protection), trip(latest, "any"), AFTER])
    found = played(path)
    assert found.stops == ()
    assert (found.outcome.ended, code_of_run(found.outcome)) == (Ended.EXPECTED_TRIP, Exit.DONE)
    for name in ("trips", "any"):
        assert found.outcomes(name) == ("pass", "pass")
        found.finds(name, truth)
    assert found.outcomes("stays on") == ("pass", "pass")
    assert found.outcomes("CV") in [("pass", "pass"), ("pass", "inconclusive")]  # polled every 50 ms
    # What the trip precedes is not played, and said not to be judged.
    assert found.outcomes("after") == ("not judged", "not judged")
    assert [span.name for span in found.outcome.record.spans] == ["up", "before", "over"]
    assert found.rehearsed.outcome == "pass"
    assert found.evaluated.outcome in ("pass", found.outcomes("CV")[1])
    # Nothing is left on: its own trip, and OFF from the guard.
    assert [off.confirmed for off in found.outcome.switched_off.values()] == [True]


def test_a_trip_too_late_is_a_failed_requirement_of_a_run_that_ended_as_asked(tmp_path: Path) -> None:
    found = played(Bench().write(tmp_path, [trip("40 ms"), AFTER]))
    assert (found.outcome.ended, code_of_run(found.outcome)) == (Ended.EXPECTED_TRIP, Exit.DONE)
    assert found.outcomes("trips") == ("fail", "fail")
    assert found.outcomes("after") == ("not judged", "not judged")
    assert (found.rehearsed.outcome, found.evaluated.outcome) == ("fail", "fail")


@pytest.mark.parametrize(("every", "latest"), [("10 ms", "70 ms"), ("50 ms", "85 ms"), ("500 ms", "90 ms")])
def test_what_the_status_is_polled_too_seldom_for_is_inconclusive(
    every: str, latest: str, tmp_path: Path
) -> None:
    """68 ms are within it, and nobody can tell: it is polled every 10 ms or every 50 ms."""
    found = played(Bench(every=every).write(tmp_path, [trip(latest)]))
    assert found.outcomes("trips") == ("pass", "inconclusive")
    assert found.outcome.ended is Ended.EXPECTED_TRIP
    assert "trip-status-slow" in found.cautions


def test_a_trip_that_does_not_come_fails(tmp_path: Path) -> None:
    """1.2 A flow at 24 V, and the limit is 2 A."""
    path = Bench(limits=(("current_limit", "2 A"),)).write(
        tmp_path, [trip("100 ms"), trip("600 ms", "later"), AFTER]
    )
    found = played(path)
    assert (found.outcome.ended, code_of_run(found.outcome)) == (Ended.COMPLETED, Exit.DONE)
    assert found.outcomes("trips") == ("fail", "fail")
    # The step is shorter than what is permitted: it might have come yet.
    assert found.outcomes("later") == ("inconclusive", "inconclusive")
    assert "trip-step-short" in found.cautions
    assert found.outcomes("after")[0] != "not judged"
    assert found.outcomes("after")[1] != "not judged"


@pytest.mark.parametrize(("width", "every"), [(30, "10 ms"), (45, "10 ms"), (20, "7 ms")])
def test_a_pulse_shorter_than_the_delay_never_trips(width: int, every: str, tmp_path: Path) -> None:
    """It is in the limit from 20 V up to 20 V down: for 4 ms more on either side than at the top."""
    pulses = [line("24 V", 12.5), {"hold": f"{width} ms"}, line("12.5 V", 24.0), {"hold": "40 ms"}]
    steps = [{"shape": {"input": "main", "segments": pulses * 2}, "name": "pulses"}]
    held = {"name": "held", "measure": "time_out_of_cv", "of": "main", "during": "pulses", "at_most": "80 ms"}
    never = {**held, "name": "never", "at_most": "0 s"}
    bench = Bench(
        limits=(("trip_delay", "60 ms"),), to="12.5 V", hold="50 ms", every=every, more=tuple(steps)
    )
    found = played(bench.write(tmp_path, [none(during="pulses"), held, never]))
    assert found.outcome.ended is Ended.COMPLETED
    assert found.outcomes("stays on") == ("pass", "pass")
    assert found.outcomes("held") == ("pass", "pass")
    assert found.outcomes("never") == ("fail", "fail")
    found.finds("held", width * 1e-3 + 8e-3)


def test_a_trip_in_the_wrong_step_stays_a_failure_of_the_run(tmp_path: Path) -> None:
    """It is required in the step after the one in which it comes."""
    again = {"hold": "300 ms", "name": "again"}
    bench = Bench(more=(again,))
    found = played(bench.write(tmp_path, [none(during="over"), trip("200 ms", during="again"), AFTER]))
    assert (found.outcome.ended, code_of_run(found.outcome)) == (Ended.TRIPPED, Exit.STOPPED)
    assert found.outcomes("stays on") == ("fail", "fail")
    assert found.outcomes("trips") == ("inconclusive", "inconclusive")
    assert "trips-rehearsed" in found.stops
    assert found.evaluated.outcome == "fail"
    alone = played(replace(bench).write(tmp_path / "alone", [trip("200 ms", during="again")]))
    assert alone.evaluated.outcome == "inconclusive"
    assert alone.evaluated.withheld


@pytest.mark.parametrize("hold", ["56.3 ms", "55.5 ms"])
def test_a_trip_on_the_edge_of_two_steps_passes_in_neither(hold: str, tmp_path: Path) -> None:
    """Its delay has run since the step before: which of the two it lies in, no status tells."""
    again = {"hold": "300 ms", "name": "again"}
    found = played(Bench(hold=hold, more=(again,)).write(tmp_path, [trip("100 ms", during="again")]))
    assert found.result("trips").outcome == "inconclusive"


def test_another_protection_than_the_required_one_fails(tmp_path: Path) -> None:
    found = played(
        Bench().write(tmp_path, [trip("100 ms", by="OVP"), none("no OVP", during="over", by="OVP")])
    )
    assert (found.outcome.ended, code_of_run(found.outcome)) == (Ended.TRIPPED, Exit.STOPPED)
    assert found.outcomes("trips") == ("fail", "fail")
    assert found.outcomes("no OVP")[0] == "pass"
    assert "trips-rehearsed" in found.stops


def test_a_protection_that_is_not_used_stops_the_check(tmp_path: Path) -> None:
    path = Bench(limits=(("at_limit", "regulate"), ("trip_delay", None))).write(
        tmp_path, [trip("100 ms", by="current limit")]
    )
    assert "trip-not-armed" in [f.rule for f in Job.open(path).check().findings if f.blocks]


def two_inputs(folder: Path, linked: bool, second: str, requires: list[dict[str, Any]]) -> Path:
    """A second input, on the same supply or on another one, at 12 V throughout."""
    bench, limits = (
        Bench(),
        {"current_limit": "2 A", "at_limit": "trip", "trip_delay": "60 ms", "ovp": "32 V"},
    )
    load = fed_by({"resistor": {"resistance": "30 ohm"}}, nominal="12 V")
    path = bench.write(folder, requires)
    up = {"order": ["main", "aux"], "rise": "4 V/ms", "settle": "200 ms", "voltages": {"main": "12 V"}}
    over = [
        {"shape": {"input": of, "segments": [line(to), {"hold": "300 ms"}]}, "name": name}
        for of, to, name in (("main", "24 V", "over"), ("aux", "28 V", "aux over"))
    ]
    job = {
        "hook_up": {
            "main": {"from": "s.1", "lead": "pair", "sense": "at terminals"},
            "aux": {"from": second, "lead": "pair", "sense": "at terminals"},
        },
        "limits": {
            "main": {**limits, "current_limit": "1 A"},
            "aux": {**limits, **({"trips_when": ["main"]} if linked else {})},
        },
        "steps": [{"power_up": up, "name": "up"}, {"hold": "150 ms", "name": "before"}, *over],
        "record": {"every": "10 ms"},
        "requires": requires,
    }  # fmt: skip
    inputs = {"main": fed_by({"resistor": {"resistance": f"{OHMS} ohm"}}), "aux": load}
    supplies = {"s": supply({}, {}), "t": supply({}, port=5998, dialect="selected-output")}
    return write(path.parent, inputs, job, supplies)


@pytest.mark.parametrize(("linked", "second"), [(True, "s.2"), (True, "t.1"), (False, "s.2"), (False, "t.1")])
def test_an_input_that_follows_another_one_has_not_tripped(linked: bool, second: str, tmp_path: Path) -> None:
    requires = [trip("100 ms"), none("aux stays", "aux", "over"), none("aux before", "aux", "up")]
    found = played(two_inputs(tmp_path, linked, second, requires))
    assert (found.outcome.ended, code_of_run(found.outcome)) == (Ended.EXPECTED_TRIP, Exit.DONE)
    for name in ("trips", "aux stays", "aux before"):
        assert found.outcomes(name) == ("pass", "pass")
    found.finds("trips", REACHES + 60e-3)
    assert found.evaluated.outcome == "pass"
    assert {name: off.confirmed for name, off in found.outcome.switched_off.items()} == {
        "main": True,
        "aux": True,
    }


def test_a_second_required_trip_is_never_reached_and_no_pass(tmp_path: Path) -> None:
    requires = [trip("100 ms"), trip("100 ms", "aux trips", "aux", "aux over")]
    found = played(two_inputs(tmp_path, False, "s.2", requires))
    assert found.outcome.ended is Ended.EXPECTED_TRIP
    assert found.outcomes("trips") == ("pass", "pass")
    assert found.outcomes("aux trips") == ("inconclusive", "inconclusive")
    assert (found.rehearsed.outcome, found.evaluated.outcome) == ("inconclusive", "inconclusive")
    assert "trip-ends-run" in found.cautions


@pytest.mark.parametrize(
    ("farads", "amperes", "every"), [(1e-3, 0.5, "10 ms"), (2e-3, 1.2, "7 ms"), (1e-3, 0.2, "20 ms")]
)
def test_constant_voltage_is_broken_while_an_inrush_is_in_the_limit(
    farads: float, amperes: float, every: str, tmp_path: Path
) -> None:
    """The limit charges the device's capacitor and the output's own, 150 µF, to 20 V beside 200 Ω:
    -R·C·ln(1 - U/(I·R)), which is 51, 37 and 159 ms.
    """
    truth = -200.0 * (farads + 150e-6) * math.log(1.0 - 20.0 / (200.0 * amperes))
    cv = {"measure": "time_out_of_cv", "of": "main", "during": "up"}
    requires = [
        {**cv, "name": "long enough", "at_most": f"{truth + 0.06} s"},
        {**cv, "name": "too short", "at_most": f"{truth / 2 - 8e-3} s"},
        {**cv, "name": "never", "at_most": "0 s"},
        none(during="up"),
    ]
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": f"{amperes} A", "at_limit": "regulate", "ovp": "32 V"}},
        "steps": [{"power_up": {"order": ["main"], "rise": "20 V/ms", "settle": "300 ms"}, "name": "up"}],
        "record": {"every": every},
        "requires": requires,
    }
    load = {"capacitor": {"capacitance": f"{farads} F", "esr": "50 mohm"}}
    beside = {"resistor": {"resistance": "200 ohm"}}
    found = played(write(tmp_path, {"main": fed_by(load, beside, nominal="20 V")}, procedure))
    assert found.outcomes("long enough") == ("pass", "pass")
    assert found.outcomes("too short") == ("fail", "fail")
    assert found.outcomes("never") == ("fail", "fail")
    found.finds("long enough", truth, 0.03 * truth + LOOSE)
    assert found.outcomes("stays on") == ("pass", "pass")


def test_an_inrush_longer_than_the_delay_trips_after_the_switching_on(tmp_path: Path) -> None:
    """Charging takes 46 ms at 0.5 A; the delay of 25 ms begins with it."""
    limits = {"current_limit": "500 mA", "at_limit": "trip", "trip_delay": "25 ms", "ovp": "32 V"}
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": limits},
        "steps": [
            {"hold": "100 ms", "name": "off"},
            {"power_up": {"order": ["main"], "rise": "20 V/ms", "settle": "300 ms"}, "name": "up"},
            {"hold": "100 ms", "name": "after"},
        ],
        "record": {"every": "10 ms"},
        "requires": [trip("60 ms", during="up"), AFTER],
    }  # fmt: skip
    load = {"capacitor": {"capacitance": "1 mF", "esr": "50 mohm"}}
    found = played(write(tmp_path, {"main": fed_by(load, nominal="20 V")}, procedure))
    assert found.outcome.ended is Ended.EXPECTED_TRIP
    assert found.outcomes("trips") == ("pass", "pass")
    found.finds("trips", 25e-3)


def test_a_steady_load_stays_in_constant_voltage_as_far_as_the_status_tells(tmp_path: Path) -> None:
    never = {**CV, "name": "never", "at_most": "0 s"}
    found = played(Bench(to="13 V").write(tmp_path, [CV, never]))
    assert found.outcomes("CV") == ("pass", "pass")
    assert found.outcomes("never") == ("pass", "inconclusive")


RECORDER = {
    "interval": "50 us",
    "voltage": {"of_value": "0.5 %", "offset": "20 mV", "resolution": "10 mV", "noise": "5 mV"},
    "current": {"of_value": "0.5 %", "offset": "1 mA", "resolution": "0.1 mA", "noise": "0.1 mA"},
}


@pytest.mark.parametrize(("known", "never"), [(True, "pass"), (False, "inconclusive")])
def test_a_recording_below_the_limit_shows_constant_voltage_throughout(
    known: bool, never: str, tmp_path: Path
) -> None:
    """0.65 A are below 1 A, where the error of the limit is given. A trip it does not time: the status
    does, with no remark about the recording.
    """
    cv = {**CV, "name": "never", "during": "over", "at_most": "0 s"}
    requires = [cv, none(during="over"), trip("400 ms", during="last")]
    last = ({"shape": {"input": "main", "segments": [line("24 V")]}, "name": "last"}, {"hold": "100 ms"})
    output = () if known else (("programming", None),)
    path = Bench(to="13 V", more=(*last,), output=output).write(tmp_path, requires)
    text = path.with_name("small.bench.yaml").read_text("utf-8")
    bench = {**json.loads(text), "recorders": {"scope": RECORDER}}
    path.with_name("small.bench.yaml").write_text(json.dumps(bench), "utf-8")
    job, loop = Job.open(path), VirtualLoop()
    check, folder, recording = job.check(), tmp_path / "run", tmp_path / "scope.csv"
    documents, settings = check.checked.documents, check.settings
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure, seed=2) as network:
        run(
            documents, settings.set_points, unit="T-1", operator="O", folder=folder,
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
        assert network.record("scope", Trigger("main", "voltage", 1.0, "rise", 0.05, 0.9), recording)
    found = evaluate_run(open_stored(folder), [ExternalRecording(recording, "scope")])
    said = {each.requirement: (each.outcome.value, each.source) for each in found.results}
    assert said["never"] == (never, "scope" if never == "pass" else "supply readings")
    assert said["stays on"] == ("pass", "supply readings")
    assert said["trips"][1] == "supply readings"
    assert not [note for note in found.notes if "trips" in note or "stays on" in note]


@pytest.mark.parametrize("hold", [56, 57, 60])
def test_a_trip_just_before_the_end_is_known_from_the_status_after_it(hold: int, tmp_path: Path) -> None:
    """The last step ends 0 ms to 4 ms after the trip, before the status is asked for again."""
    path = Bench(hold=f"{hold} ms").write(tmp_path, [none(during="over"), trip("90 ms")])
    whole = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**whole, "steps": whole["steps"][:3]}), "utf-8")
    found = played(path)
    assert found.outcomes("stays on") == ("fail", "fail")
    assert found.outcomes("trips") == ("pass", "pass")
    found.finds("trips", REACHES + 60e-3)


@pytest.mark.parametrize(
    ("hold", "delay", "every"), [("16.9 ms", "5 ms", "50 ms"), ("26.8 ms", "5 ms", "50 ms")]
)
def test_a_whole_overload_between_two_questions_for_the_status_passes_nowhere(
    hold: str, delay: str, every: str, tmp_path: Path
) -> None:
    """Limit and trip fall between two answers, and so does the step's end: either step may hold them."""
    again = {"hold": "60 ms", "name": "again"}
    bench = Bench(limits=(("trip_delay", delay),), hold=hold, every=every, more=(again,))
    path = bench.write(tmp_path, [none(during="over"), none("again", during="again")])
    found = played(path)
    assert found.result("stays on", rehearsed=True).outcome == "fail"
    assert found.result("stays on").outcome in ("inconclusive", "fail")
    assert found.result("again").outcome != "pass"
