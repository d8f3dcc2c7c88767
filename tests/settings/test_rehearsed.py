"""Rules that need a rehearsal: on fabricated records, and on the physics themselves."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from tests.settings.station import DEMO, TODAY, Edit, line_of, of_rule, station

from railwright.documents.loader import Documents, load_documents
from railwright.rehearsal.rehearse import rehearse
from railwright.rehearsal.setpoints import SetPoints
from railwright.rehearsal.timeline import build_timeline
from railwright.settings.findings import Finding
from railwright.settings.rehearsed import REHEARSED_RULES
from railwright.settings.rehearsed.view import stretches
from railwright.settings.rules import RULES
from railwright.settings.settle import Settings, rehearsed_findings, settle
from railwright.traces import Event, Mode, Record, Traces


@dataclass
class Bent:
    """A fabricated rehearsal in which all goes well, with one thing bent; traces on a grid of 1 ms."""

    documents: Documents
    assumptions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        timeline = build_timeline(self.documents.procedure, self.documents.device)
        self.spans = timeline.spans
        self.time = np.arange(0.0, timeline.duration + 0.5, 1e-3)
        self.events: list[Event] = []
        self.channels: dict[str, dict[str, np.ndarray]] = {}
        for name, draw in (("main", 0.3), ("transducer", 0.02)):
            voltage = np.zeros_like(self.time)
            for action in timeline.actions:
                if action.input == name and action.kind != "on":
                    voltage[self.time >= action.time + action.over] = action.voltage
            self.channels[name] = {
                "voltage": voltage,
                "terminal_voltage": voltage.copy(),
                "current": np.where(voltage > 8.0, draw, 0.0),
                "mode": np.where(voltage > 0.0, float(Mode.CV), float(Mode.OFF)),
            }

    def bend(self, name: str, channel: str, start: float, end: float, value: float) -> Bent:
        self.channels[name][channel][(self.time >= start) & (self.time < end)] = value
        return self

    def happens(self, *events: Event) -> Bent:
        self.events += events
        return self

    @property
    def record(self) -> Record:
        traces = {name: Traces(self.time, columns) for name, columns in self.channels.items()}
        return Record("rehearsal", traces, tuple(self.events), self.spans)

    def findings(self) -> tuple[Finding, ...]:
        settings = settle(self.documents, TODAY)
        return rehearsed_findings(self.documents, settings, lambda documents, set_points: self)


def found(bent: Bent, rule: str) -> list[Finding]:
    return [finding for finding in bent.findings() if finding.rule == rule]


@pytest.fixture
def bent(tmp_path: Path) -> Bent:
    return Bent(station(tmp_path))


def test_all_goes_well(bent: Bent) -> None:
    assert bent.findings() == ()


def test_a_trip_is_a_stop(bent: Bent) -> None:
    bent.bend("transducer", "mode", 0.05, 0.11, Mode.CC)
    bent.happens(Event(0.11, "right.1", "trips current limit"))
    (finding,) = found(bent, "trips-rehearsed")
    assert finding.blocks
    assert (
        "at 110 ms in 'first power': the current limit of 0.1 A trips after 60 ms in the limit" in finding.why
    )
    assert "trip_delay: 60 ms" in line_of(finding)


def test_an_ovp_trip_points_at_the_ovp(bent: Bent) -> None:
    (finding,) = found(bent.happens(Event(3.0, "left.1", "trips OVP")), "trips-rehearsed")
    assert "ovp: 18 V" in line_of(finding)


def test_a_trip_delay_with_little_room(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "mode", 0.0, 0.03, Mode.CC), "trip-delay-margin")
    assert (
        "stays in the limit for 30 ms in 'first power'; the trip delay of 40 ms is only 1.33 times"
        in finding.why
    )
    assert found(Bent(bent.documents).bend("main", "mode", 0.0, 0.025, Mode.CC), "trip-delay-margin") == []


def test_a_stop_condition_that_comes_true(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "current", 1.0, 1.2, 0.95), "stop-rehearsed")
    assert "holds for 200 ms" in finding.why
    assert "current_above: 900 mA" in line_of(finding)
    assert found(Bent(bent.documents).bend("main", "current", 1.0, 1.09, 0.95), "stop-rehearsed") == []


def test_restarts_for_ever(bent: Bent) -> None:
    bent.happens(*(Event(0.5 + 0.1 * turn, "main", "starts") for turn in range(5)))
    (finding,) = found(bent, "restarts-for-ever")
    assert "starts 5 times in 'steady'" in finding.why
    assert "a current limit above 0.6494 A frees it" in finding.remedy
    assert "current_limit: 1 A" in line_of(finding)
    assert found(Bent(bent.documents).happens(Event(0.01, "main", "starts")), "restarts-for-ever") == []


def test_hangs_low(bent: Bent) -> None:
    bent.bend("main", "mode", 0.0, 2.3, Mode.CC).bend("main", "voltage", 0.0, 2.3, 3.0)
    (finding,) = found(bent, "hangs-low")
    assert "at the end of 'first power' the input hangs at 3 V" in finding.why


def test_not_settled(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "voltage", 0.0, 0.3, 11.0), "not-settled")
    assert "11 V is reached at the end of 'first power'; 12 V is set" in finding.why


def test_steady_current(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.3, 2.2, 0.03), "steady-current-rehearsed")
    assert "4 mA to 25 mA is declared" in finding.why
    assert "steady: 4 mA .. 25 mA" in line_of(finding)


def test_order(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "voltage", 0.0, 0.1, 5.0), "order-rehearsed")
    assert "while main is still at 5 V, below 9 V" in finding.why
    assert "after: main" in line_of(finding)


def test_withstand(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "voltage", 1.0, 2.1, 21.0), "withstand-rehearsed")
    assert "above 20 V for 1.1 s" in finding.why
    assert found(Bent(bent.documents).bend("main", "voltage", 1.0, 1.9, 21.0), "withstand-rehearsed") == []


def test_never(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "voltage", 4.0, 4.1, -8.0), "never-rehearsed")
    assert "must stay within -17 V to 25 V" in finding.why
    assert "outside: -17 V .. 25 V" in line_of(finding)


def test_a_requirement_that_will_fail(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.06, 0.1, 0.07), "requirement-predicted")
    assert "'transducer inrush' comes to 70 mA" in finding.why


def test_a_brief_peak(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.06, 0.065, 0.05), "peak-brief")
    assert "peaks at 50 mA and is above 90 % of it for 5 ms; a reading comes every 10 ms" in finding.why
    assert "2 ksamples/s" in finding.remedy


def test_assumptions_are_noted_once_for_each_subject(tmp_path: Path) -> None:
    said = ("left.1: its sink is not given", "left.1: its damping is 1", "the connector has 10 nF")
    notes = found(Bent(station(tmp_path), said), "assumed")
    assert [note.about for note in notes] == ["left.1", "rehearsal"]
    assert notes[0].why == "its sink is not given; its damping is 1"


def test_a_rehearsed_stop_can_be_overridden(tmp_path: Path) -> None:
    edit: Edit = (
        "procedure",
        "requires:\n",
        "overrides:\n  - {finding: trips-rehearsed, because: a test}\n\nrequires:\n",
    )
    tripped = Bent(station(tmp_path, edit)).happens(Event(0.11, "right.1", "trips current limit"))
    assert [(f.rule, f.blocks) for f in tripped.findings()] == [("trips-rehearsed", False)]
    well = Bent(station(tmp_path, edit)).findings()
    assert [finding.rule for finding in well] == ["override-no-effect"]


def test_nothing_is_rehearsed_without_set_points(tmp_path: Path) -> None:
    documents = station(
        tmp_path, ("procedure", LIMIT, "current_limit: auto"), ("device", ", at_most: 2.5 A", "")
    )
    settings = settle(documents, TODAY)

    def never(documents: Documents, set_points: SetPoints) -> Bent:
        raise AssertionError("must not be rehearsed")

    assert rehearsed_findings(documents, settings, never) == ()


def test_stretches() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    assert stretches(time, np.array([True, True, False, False, True])) == [(0.0, 2.0), (4.0, 4.0)]
    assert stretches(time, np.zeros(5, dtype=bool)) == []


def test_ids_are_unique() -> None:
    ids = [rule.id for rule in REHEARSED_RULES]
    assert len(ids) == len(set(ids)) >= 10
    assert not set(ids) & {rule.id for rule in RULES}


LIMIT = "current_limit: 1 A"


def played(documents: Documents) -> tuple[Settings, tuple[Finding, ...]]:
    settings = settle(documents, TODAY)
    return settings, rehearsed_findings(documents, settings, rehearse)


def test_the_demo_rehearsed_has_no_stop() -> None:
    settings, findings = played(load_documents(DEMO))
    assert [f for f in (*settings.findings, *findings) if f.blocks] == []
    assert {finding.rule for finding in findings} >= {"assumed"}


def test_the_demo_with_a_short_trip_delay_trips_as_the_static_rule_warned(tmp_path: Path) -> None:
    settings, findings = played(station(tmp_path, ("procedure", "trip_delay: 60 ms", "trip_delay: 20 ms")))
    assert [f.about for f in of_rule(settings, "trip-before-charged")] == ["transducer"]
    assert [f.about for f in findings if f.rule == "trips-rehearsed"] == ["transducer"]


def test_constant_power_against_a_low_limit_restarts_for_ever(tmp_path: Path) -> None:
    regulate = (
        "procedure",
        "current_limit: 1 A\n    at_limit: trip                       # or: regulate (IVI-4.4)\n"
        "    trip_delay: 40 ms\n",
        "current_limit: 350 mA\n    at_limit: regulate\n",
    )
    settings, findings = played(station(tmp_path, regulate))
    (finding,) = [f for f in findings if f.rule == "restarts-for-ever"]
    assert finding.about == "main"
    assert finding.blocks
    assert of_rule(settings, "limit-below-need")
