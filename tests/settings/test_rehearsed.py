"""Rules that need a rehearsal: on fabricated records, and on the physics themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from tests.said import figures, says
from tests.settings.station import DEMO, TODAY, Edit, line_of, of_rule, station

from railwright.assumptions import Assumption
from railwright.documents.loader import Documents, load_documents
from railwright.evaluation.evaluate import evaluate
from railwright.plan.timeline import build_timeline
from railwright.quantities import figures_of
from railwright.rehearsal.rehearse import rehearse
from railwright.rehearsal.starts import hardest
from railwright.settings.check import check
from railwright.settings.findings import Finding, Severity
from railwright.settings.hookup import hooked_up
from railwright.settings.hookup.result import HookedUp
from railwright.settings.rehearsed import REHEARSED_RULES
from railwright.settings.rehearsed.view import stretches
from railwright.settings.rules import RULES
from railwright.settings.settle import Settings, rehearsed_findings, settle
from railwright.traces import Event, EventKind, Facts, Mode, Record, Traces


@dataclass
class Bent:
    """A fabricated rehearsal in which all goes well, with one thing bent; traces on a grid of 1 ms."""

    documents: Documents
    assumptions: tuple[Assumption, ...] = ()

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
                    before = voltage[np.searchsorted(self.time, action.time)]
                    ramp = np.clip((self.time - action.time) / (action.over or 1e-9), 0.0, 1.0)
                    after = self.time >= action.time
                    voltage[after] = (before + ramp * (action.voltage - before))[after]
            self.channels[name] = {
                "voltage": voltage,
                "terminal_voltage": voltage.copy(),
                "current": np.where(voltage > np.where(np.gradient(voltage) < 0.0, 7.6, 8.5), draw, 0.0),
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
        traces = {
            name: Traces(self.time, {channel: each.copy() for channel, each in columns.items()})
            for name, columns in self.channels.items()
        }
        events = sorted([*self.events, *self._stops_and_starts()], key=lambda event: event.time)
        return Record("rehearsal", traces, tuple(events), self.spans)

    def _stops_and_starts(self) -> Iterator[Event]:
        """As a rehearsal tells them of the converter whose current goes away and comes back."""
        runs = self.channels["main"]["current"] > 0.1
        for place in np.flatnonzero(np.diff(runs.astype(int))) + 1:
            kind = EventKind.STARTS if runs[place] else EventKind.STOPS
            yield Event(float(self.time[place]), "main", kind, Facts(load="converter"))

    def findings(self) -> tuple[Finding, ...]:
        settings = settle(self.documents, TODAY)
        return rehearsed_findings(HookedUp(self.documents), settings, self.record, self.assumptions)


def found(bent: Bent, rule: str) -> list[Finding]:
    return [finding for finding in bent.findings() if finding.rule == rule]


@pytest.fixture
def bent(tmp_path: Path) -> Bent:
    return Bent(station(tmp_path))


def test_every_rule_is_asked_for_here() -> None:
    text = Path(__file__).read_text("utf-8")
    assert [rule.id for rule in REHEARSED_RULES if text.count(f'"{rule.id}"') == 0] == []


def test_all_goes_well(bent: Bent) -> None:
    assert bent.findings() == ()


def test_a_trip_is_a_stop(bent: Bent) -> None:
    bent.bend("transducer", "mode", 0.05, 0.11, Mode.CC)
    bent.happens(Event(0.11, "right.1", EventKind.TRIPS_CURRENT_LIMIT))
    (finding,) = found(bent, "trips-rehearsed")
    assert finding.blocks
    assert says(finding.why, "110 ms", "first power", "0.1 A", "60 ms")
    assert "trip_delay: 60 ms" in line_of(finding)


def test_an_ovp_trip_points_at_the_ovp(bent: Bent) -> None:
    (finding,) = found(bent.happens(Event(3.0, "left.1", EventKind.TRIPS_OVP)), "trips-rehearsed")
    assert "ovp: 18 V" in line_of(finding)


@pytest.mark.parametrize(("what", "key"), [("trips OCP", "ocp"), ("trips OPP", "opp")])
def test_a_trip_of_its_own_level_points_there(tmp_path: Path, what: str, key: str) -> None:
    edit = ("procedure", "    ovp: 18 V\n", "    ovp: 18 V\n    ocp: 800 mA\n    opp: 9 W\n")
    bent = Bent(station(tmp_path, edit)).happens(Event(0.11, "left.1", EventKind(what)))
    (finding,) = found(bent, "trips-rehearsed")
    assert f"{key}:" in line_of(finding)
    assert f"raise '{key}'" in finding.remedy


GUARD = (
    (
        "bench",
        "\nleads:",
        "\nfixtures:\n  guard: {fuse: {curve: [{current: 500 mA, time: 10 ms}, "
        "{current: 2 A, time: 1 ms}]}}\n\nleads:",
    ),
    ("procedure", "lead: silicone pair, sense", "lead: silicone pair, fixture: guard, sense"),
)


def test_a_fuse_that_opens_is_a_stop(tmp_path: Path) -> None:
    bent = Bent(station(tmp_path, *GUARD))
    assert found(bent, "fuse-rehearsed") == []
    bent.bend("main", "current", 0.0, 0.01, 1.2)
    (finding,) = found(bent.happens(Event(0.011, "main", EventKind.FUSE_OPENS)), "fuse-rehearsed")
    assert finding.blocks
    assert says(finding.why, "11 ms", "first power", "guard", "1.2 A")
    assert "fixture: guard" in line_of(finding)


def test_a_quick_fuse_opens_in_the_inrush_by_the_physics(tmp_path: Path) -> None:
    documents = station(tmp_path, *GUARD)
    rules = [f.rule for f in played(documents)[1]]
    assert "fuse-rehearsed" in rules


INSIDE = (
    "device",
    "    load:                                # parts in parallel\n",
    "    inside: {fuse: {curve: [{current: 700 mA, time: 1 h}, {current: 1 A, time: 20 ms}]}}\n"
    "    load:                                # parts in parallel\n",
)


def test_a_fuse_inside_that_opens_is_a_stop_and_one_that_nearly_does_a_caution(tmp_path: Path) -> None:
    """Its line from 0.7 A, 1 h to 1 A, 20 ms: 1 A for 12 ms is 60 % of the way, for 9 ms 45 %."""
    for amperes, until, part in ((1.0, 0.012, 0.6), (1.0, 0.009, None), (0.69, 1.0, None)):
        folder = tmp_path / f"{until}"
        folder.mkdir()
        bent = Bent(station(folder, INSIDE))
        bent.bend("main", "current", 0.05, 0.05 + until, amperes)
        hits = found(bent, "fuse-pulse")
        assert bool(hits) is (part is not None)
        for finding in hits:
            assert says(finding.why, "fuse inside", "half")
            assert float(re.findall(r"gone (\d+)%", finding.why)[0]) / 100.0 == pytest.approx(part, abs=0.06)
            assert "inside:" in line_of(finding)
    happens = bent.happens(Event(0.011, "main", EventKind.FUSE_OPENS, Facts(load="inside")))
    (finding,) = found(happens, "fuse-rehearsed")
    assert finding.blocks
    assert says(finding.why, "fuse inside")
    assert "inside:" in line_of(finding)


@pytest.mark.parametrize(
    ("rated", "hold", "on", "waits"),
    [
        ("no", "", False, True),
        ("no", "6 s", False, False),
        ("yes", "", False, False),
        ("no", "", True, False),
        ("no", "6 s", True, False),
    ],
)
def test_a_contact_that_is_moved_before_the_voltage_has_fallen(
    rated: str, hold: str, on: bool, waits: bool, tmp_path: Path
) -> None:
    """12 V stand there as main goes off; in 6 s the load and the bleeder have taken them. While it is on a
    run does not wait: it refuses.
    """
    relays = (
        "relays:\n  S: {address: TCPIP::127.0.0.1::5040::SOCKET, contacts: {gate: {channel: 1, fixture: box, "
        f"without_power: open, voltage: 30 V, current: 5 A, under_load: {rated}}}}}}}\n"
    )
    down = "  - power_down: {order: [transducer, main], gap: 20 ms}\n"
    after = "  - relays: {open: [gate], settle: 100 ms}\n    name: disconnect\n"
    pause = f"  - hold: {hold}\n" if hold else ""
    edits: tuple[Edit, ...] = (
        ("bench", "\nleads:", f"\n{relays}fixtures:\n  box: {{switch: {{resistance: 20 mohm}}}}\n\nleads:"),
        (
            "procedure",
            "lead: silicone pair, sense: at load",
            "lead: silicone pair, fixture: box, sense: at terminals",
        ),
        ("procedure", down, (f"{pause}{after}{down}" if on else f"{down}{pause}{after}")),
    )
    findings = [each for each in played(station(tmp_path, *edits))[1] if each.rule == "relay-waits"]
    assert len(findings) == waits
    if waits:
        assert says(findings[0].why, "12 V", "main", "gate", "open", "disconnect")
        assert "open: [gate]" in line_of(findings[0])


@pytest.mark.parametrize(("rated", "made"), [(1.0, True), (90.0, False)])
def test_a_contact_that_closes_onto_an_empty_input(rated: float, made: bool, tmp_path: Path) -> None:
    """How much flows, `tests/truth/test_closing_surge.py` compares with scipy."""
    relays = (
        "relays:\n  S: {address: TCPIP::127.0.0.1::5040::SOCKET, contacts: {gate: {channel: 1, fixture: box, "
        f"without_power: open, voltage: 30 V, current: {rated} A, under_load: yes}}}}}}\n"
    )
    box = "fixtures:\n  box: {switch: {starts: open, resistance: 20 mohm}}\n"
    down = "  - power_down: {order: [transducer, main], gap: 20 ms}\n"
    close = "  - relays: {close: [gate], settle: 100 ms}\n    name: connect\n"
    sensed = "lead: silicone pair, sense: at load"
    edits: tuple[Edit, ...] = (
        ("bench", "\nleads:", f"\n{relays}{box}\nleads:"),
        ("procedure", sensed, "lead: silicone pair, fixture: box, sense: at terminals"),
        ("procedure", down, close + down),
    )
    own = {each.rule: each for each in played(station(tmp_path, *edits))[1]}
    assert own["closing-surge"].blocks
    assert "close: [gate]" in line_of(own["closing-surge"])
    assert ("contact-making-current" in own) == made


def test_a_trip_delay_with_little_room(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "mode", 0.0, 0.03, Mode.CC), "trip-delay-margin")
    assert says(finding.why, "30 ms", "first power", "40 ms", "1.33")
    assert found(Bent(bent.documents).bend("main", "mode", 0.0, 0.025, Mode.CC), "trip-delay-margin") == []


def test_a_stop_condition_that_comes_true(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "current", 1.0, 1.2, 0.95), "stop-rehearsed")
    assert says(finding.why, "199.2 ms", "999.9 ms")
    assert "current_above: 900 mA" in line_of(finding)
    assert found(Bent(bent.documents).bend("main", "current", 1.0, 1.09, 0.95), "stop-rehearsed") == []


def test_a_hold_ends_in_its_time_or_never_or_at_once(tmp_path: Path) -> None:
    until = "hold: {until: {current_below: 200 mA, for: 100 ms, input: main}, at_most: 2 s}"
    documents = station(tmp_path, ("procedure", "- hold: 2 s", f"- {until}"))
    (never,) = found(Bent(documents), "hold-never")
    assert says(never.why, "2 s", "0.2 A")
    assert "current_below: 200 mA" in line_of(never)
    comes = Bent(documents).bend("main", "current", 1.0, 1.5, 0.1)
    assert found(comes, "hold-never") == found(comes, "hold-at-once") == []
    (at_once,) = found(Bent(documents).bend("main", "current", 0.0, 1.5, 0.1), "hold-at-once")
    assert at_once.blocks


def test_more_charge_than_may_go_into_an_input(bent: Bent) -> None:
    """1 A from the start on: 1.5 C have gone in after 1.5 s of being on."""
    procedure = bent.documents.procedure
    limits = procedure.limits["main"].model_copy(update={"charge_at_most": 1e3})
    large = procedure.model_copy(update={"limits": procedure.limits | {"main": limits}})
    assert found(Bent(replace(bent.documents, procedure=large)), "charge-rehearsed") == []
    limits = limits.model_copy(update={"charge_at_most": 1.5})
    small = procedure.model_copy(update={"limits": procedure.limits | {"main": limits}})
    bent = Bent(replace(bent.documents, procedure=small))
    (finding,) = found(bent.bend("main", "current", 0.0, 2.0, 1.0), "charge-rehearsed")
    assert says(finding.why, "1.5 C", "1.502 s")  # it is on after the first two rows


def test_restarts_for_ever(bent: Bent) -> None:
    bent.happens(*(Event(0.5 + 0.1 * turn, "main", EventKind.STARTS) for turn in range(5)))
    (finding,) = found(bent, "restarts-for-ever")
    assert says(finding.why, "5", "steady")
    assert says(finding.remedy, "0.6494 A")
    assert "current_limit: 1 A" in line_of(finding)
    assert (
        found(Bent(bent.documents).happens(Event(0.01, "main", EventKind.STARTS)), "restarts-for-ever") == []
    )


def test_hangs_low(bent: Bent) -> None:
    bent.bend("main", "mode", 0.0, 2.3, Mode.CC).bend("main", "voltage", 0.0, 2.3, 3.0)
    (finding,) = found(bent, "hangs-low")
    assert says(finding.why, "first power", "3 V")


def test_not_settled(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "voltage", 0.0, 0.3, 11.0), "not-settled")
    assert says(finding.why, "11 V", "first power", "12 V")


def test_a_voltage_that_is_nothing_within_the_output_s_error_is_settled(bent: Bent) -> None:
    """0 V are set, to 5 mV; what the rehearsal leaves of that is none of the operator's business."""
    documents = bent.documents
    power_up = documents.procedure.steps[0].power_up
    assert power_up is not None
    at_zero = power_up.model_copy(update={"voltages": {"main": 0.0}})
    first = documents.procedure.steps[0].model_copy(update={"power_up": at_zero})
    steps = (first, *documents.procedure.steps[1:])
    procedure = documents.procedure.model_copy(update={"steps": steps})
    bent = Bent(replace(documents, procedure=procedure))
    bent.bend("main", "voltage", 0.0, 0.3, 4.9e-28)
    assert found(bent, "not-settled") == []
    assert found(bent.bend("main", "voltage", 0.0, 0.3, 1.1), "not-settled") != []


def test_an_input_that_stays_below_its_operating_range_does_not_come_up(bent: Bent) -> None:
    traces = bent.record.traces["transducer"]
    low = bent.documents.device.inputs["transducer"].operating.low
    end = float(traces.time[-1])
    bent.bend("main", "voltage", 0.0, 0.1, 5.0).bend("transducer", "voltage", 0.0, end, 0.9 * low)
    assert found(bent, "order-rehearsed") == []


def test_steady_current(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.3, 2.2, 0.03), "steady-current-rehearsed")
    assert says(finding.why, "4 mA", "25 mA")
    assert "steady: 4 mA .. 25 mA" in line_of(finding)


def test_order(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "voltage", 0.0, 0.1, 5.0), "order-rehearsed")
    assert says(finding.why, "main", "5 V", "9 V")
    assert "after: main" in line_of(finding)


def test_withstand(bent: Bent) -> None:
    (finding,) = found(bent.bend("main", "voltage", 1.0, 2.1, 21.0), "withstand-rehearsed")
    assert "above 20 V for 1.1 s" in finding.why
    assert found(Bent(bent.documents).bend("main", "voltage", 1.0, 1.9, 21.0), "withstand-rehearsed") == []


@pytest.mark.parametrize("others", [[], [(3.0, 3.2)], [(3.0, 3.2), (3.5, 3.51)]])
def test_a_voltage_that_swings_above_what_is_withstood_says_of_how_many_times_that_is_the_longest(
    others: list[tuple[float, float]], bent: Bent
) -> None:
    bent.bend("main", "voltage", 1.0, 2.1, 21.0)
    for begin, end in others:
        bent.bend("main", "voltage", begin, end, 21.0)
    (finding,) = found(bent, "withstand-rehearsed")
    assert says(finding.why, "20 V", "1.1 s", f"{len(others) + 1}", "21 V") is bool(others)
    counts = [(each.value, each.unit) for each in figures_of(finding.why) if each.name == "times"]
    assert counts == [(len(others) + 1, "")] * bool(others)


def test_never(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "voltage", 4.0, 4.1, -8.0), "never-rehearsed")
    assert says(finding.why, "-17 V", "25 V")
    assert "outside: -17 V .. 25 V" in line_of(finding)


def test_a_requirement_that_will_fail(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.06, 0.1, 0.07), "requirement-predicted")
    assert says(finding.why, "transducer inrush", "70 mA")


def test_a_brief_peak(bent: Bent, tmp_path: Path) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.06, 0.065, 0.05), "peak-brief")
    assert says(finding.why, "50 mA", "90 %", "5 ms", "10 ms")
    assert says(finding.remedy, "12 000")
    slow = station(tmp_path, ("procedure", "record: {every: 10 ms}", "record: {every: 30 ms}"))
    (finding,) = found(Bent(slow).bend("transducer", "current", 0.06, 0.0605, 0.05), "peak-brief")
    assert says(finding.remedy, "5 300", "10 000")


def test_what_the_check_asks_of_a_recording_is_what_the_evaluation_asks(tmp_path: Path) -> None:
    """Statically, by rehearsal, and from a run's readings: one rate for one requirement."""
    documents = station(tmp_path)
    settings = settle(documents, TODAY)
    (static,) = of_rule(settings, "reading-too-slow")
    brief = Bent(documents).bend("transducer", "current", 0.06, 0.065, 0.05)
    (rehearsed,) = found(brief, "peak-brief")
    readings = {
        name: Traces(each.time[::10], {key: column[::10] for key, column in each.columns.items()})
        for name, each in brief.record.traces.items()
    }
    judged = evaluate(documents, settings.set_points, replace(brief.record, origin="run", traces=readings))
    inrush = next(each for each in judged.results if each.requirement == "transducer inrush")
    assert inrush.outcome == "inconclusive"
    for said in (static.remedy, rehearsed.remedy, inrush.reason):
        assert "12 000 samples/s" in said
    assert says(static.why, "readings", "inconclusive")


LIGHT: tuple[Edit, ...] = (
    ("device", "output_power: 3.6 W ± 10 %", "output_power: 10 mW ± 10 %"),
    ("procedure", "{line_to: 6 V, over: 2 s}", "{line_to: 6 V, over: 50 ms}"),
    ("procedure", "- {hold: 500 ms}\n        - {line_to: 12 V", "- {hold: 100 ms}\n        - {line_to: 12 V"),
)


def test_a_dip_that_a_light_load_never_reaches(tmp_path: Path) -> None:
    """1.22 mF against 1 kΩ of bleeder fall from 12 V to 12 V · exp(-0.15 s / 1.2 s) = 10.6 V in 150 ms."""
    _, findings = played(station(tmp_path, *LIGHT))
    (finding,) = [each for each in findings if each.rule == "not-reached"]
    assert finding.about == "main"
    assert says(finding.why, "brown-out", "6 V", "150 ms", "main")
    assert figures(finding.why)[2].startswith("10.")
    assert says(finding.remedy, "bleeder")
    assert "line_to: 6 V" in line_of(finding)


def test_a_dip_that_is_reached_in_its_hold_is_none(tmp_path: Path) -> None:
    _, findings = played(station(tmp_path))
    assert [each for each in findings if each.rule == "not-reached"] == []


def test_a_point_of_a_sweep_that_is_not_reached(bent: Bent) -> None:
    sweep = bent.spans[2]
    voltage, start, end = sweep.points[-1]
    bent.bend("main", "voltage", start, end + 1e-3, voltage - 0.5)
    (finding,) = found(bent, "not-reached")
    assert says(finding.why, "16 V", "500 ms", "main", "15.5 V")
    assert "sweep:" in line_of(finding)


def test_what_the_rehearsal_predicts_is_what_evaluation_measures(bent: Bent) -> None:
    """Measures that need evaluation: restarts, start-up time, turn-off voltage; and what is only just met."""
    start = bent.spans[2].start
    bent.happens(Event(start + 0.25, "main", EventKind.STOPS, Facts(load="converter")))
    bent.happens(Event(start + 0.3, "main", EventKind.STARTS, Facts(load="converter")))
    bent.bend("main", "current", 0.0, 0.1, 0.6)
    said = {each.why for each in found(bent, "requirement-predicted")}
    assert any(says(why, "keeps running over the line range", "1", "0") for why in said)
    assert any(says(why, "start-up time", "60 ms") and figures(why)[0].startswith("99") for why in said)
    stays = Bent(bent.documents).bend("main", "current", 0.0, 99.0, 0.3)
    assert any(says(f.why, "stops at") for f in found(stays, "requirement-predicted"))


@pytest.mark.parametrize("played", [{"left_out": 219}, {"left_out": 1}, {"late": 1.5}])
@pytest.mark.parametrize("level", [0.03, 0.059])
def test_what_the_host_does_not_play_has_no_value_to_tell(
    tmp_path: Path, played: dict[str, float], level: float
) -> None:
    """Whether it would lie far inside of what is permitted (60 mA) or close to it."""
    bent = Bent(station(tmp_path)).bend("transducer", "current", 0.06, 0.1, level)
    inrush = next(each for each in bent.documents.procedure.requires if each.name == "transducer inrush")
    bent.spans = tuple(replace(each, **played) if each.name == inrush.during else each for each in bent.spans)
    told = [f for f in found(bent, "requirement-predicted") if says(f.why, "transducer inrush")]
    (finding,) = told
    assert says(finding.why, played.get("left_out", "1.5 s"))
    assert "mA" not in finding.why


def test_a_requirement_that_is_met_by_little(bent: Bent) -> None:
    (finding,) = found(bent.bend("transducer", "current", 0.06, 0.1, 0.057), "requirement-close")
    assert says(finding.why, "transducer inrush", "57 mA", "3 mA", "60 mA")
    assert (
        found(Bent(bent.documents).bend("transducer", "current", 0.06, 0.1, 0.05), "requirement-close") == []
    )


def test_assumptions_are_noted_once_for_each_subject(tmp_path: Path) -> None:
    said = (
        Assumption("left.1", "its sink is not given"),
        Assumption("left.1", "its damping is 1"),
        Assumption("", "the connector has 10 nF"),
    )
    notes = found(Bent(station(tmp_path), said), "assumed")
    assert [note.about for note in notes] == ["left.1", "rehearsal"]
    assert notes[0].why == "; ".join(each.text for each in said[:2])


@pytest.mark.parametrize("part", ["lead", ""])
def test_what_is_assumed_of_a_lead_is_noted_at_the_lead(tmp_path: Path, part: str) -> None:
    """Whatever its sentence says."""
    documents = station(tmp_path)
    made = Assumption("main", "what is misleading is assumed", part)
    (note,) = found(Bent(documents, (made,)), "assumed")
    lead = documents.procedure.hook_up["main"].lead
    path = ("bench", ("leads", lead)) if part else ("device", ("inputs", "main"))
    assert note.where == documents.where(*path)


def test_a_rehearsed_stop_can_be_overridden(tmp_path: Path) -> None:
    edit: Edit = (
        "procedure",
        "requires:\n",
        "overrides:\n  - {finding: trips-rehearsed, because: a test}\n\nrequires:\n",
    )
    tripped = Bent(station(tmp_path, edit)).happens(Event(0.11, "right.1", EventKind.TRIPS_CURRENT_LIMIT))
    assert [(f.rule, f.blocks) for f in tripped.findings()] == [("trips-rehearsed", False)]
    well = Bent(station(tmp_path, edit)).findings()
    assert [finding.rule for finding in well] == ["override-no-effect"]


NO_MAIN: tuple[Edit, ...] = (
    ("procedure", "current_limit: 1 A", "current_limit: auto"),
    ("device", ", at_most: 2.5 A", ""),
)


def test_nothing_is_rehearsed_without_set_points(tmp_path: Path) -> None:
    neither = (
        ("procedure", "current_limit: 100 mA", "current_limit: auto"),
        ("device", ", at_most: 150 mA", ""),
    )
    documents = station(tmp_path, *NO_MAIN, *neither)
    settings = settle(documents, TODAY)
    assert settings.set_points == {}

    checked = check(hooked_up(documents), TODAY)
    assert checked.rehearsal is None
    assert not {f.rule for f in checked.settings.findings} & {rule.id for rule in REHEARSED_RULES}


def test_an_input_without_set_points_leaves_the_others_rehearsed(tmp_path: Path) -> None:
    """The transducer trips as it does beside main; nothing is said of main but that it was left out."""
    short: Edit = ("procedure", "trip_delay: 60 ms", "trip_delay: 20 ms")
    settings, findings = played(station(tmp_path, *NO_MAIN, short))
    assert set(settings.set_points) == {"transducer"}
    assert [f.about for f in findings if f.rule == "trips-rehearsed"] == ["transducer"]
    (note,) = [f for f in findings if f.rule == "not-rehearsed"]
    assert (note.about, note.severity) == ("main", Severity.NOTE)
    assert says(note.why, "transducer")
    assert line_of(note).strip() == "main:"
    assert {f.rule for f in findings if f.about == "main"} == {"not-rehearsed"}
    _, both = played(station(tmp_path, short))
    assert not [f for f in both if f.rule == "not-rehearsed"]


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
    rehearsal = rehearse(documents, settings.set_points)
    return settings, rehearsed_findings(
        HookedUp(documents), settings, rehearsal.record, rehearsal.assumptions
    )


def test_of_outputs_in_parallel_the_higher_one_trips_alone(tmp_path: Path) -> None:
    """Limits of 0.5 A each, a delay of 40 ms: 0.7 A for 100 ms, for 30 ms, and where the limit regulates."""
    own = "main:       {from: left.1, lead: silicone pair, sense: at load}"
    parallel = ("procedure", own, own.replace("left.1", "{parallel: [left.1, left.2]}"))
    bent = Bent(station(tmp_path, parallel)).bend("main", "current", 3.0, 3.1, 0.7)
    (finding,) = found(bent, "parallel-trip")
    assert finding.blocks
    assert says(finding.why, "0.5 A", "left.1 and left.2", "40 ms")
    brief = Bent(station(tmp_path, parallel)).bend("main", "current", 3.0, 3.03, 0.7)
    assert found(brief, "parallel-trip") == []
    regulates = Bent(station(tmp_path, parallel, regulating("1 A"))).bend("main", "current", 3.0, 3.1, 0.7)
    assert found(regulates, "parallel-trip") == []


def test_the_demo_rehearsed_has_no_stop() -> None:
    settings, findings = played(load_documents(DEMO))
    assert [f for f in (*settings.findings, *findings) if f.blocks] == []
    assert {finding.rule for finding in findings} >= {"assumed"}


def test_the_demo_with_a_short_trip_delay_trips_as_the_static_rule_warned(tmp_path: Path) -> None:
    settings, findings = played(station(tmp_path, ("procedure", "trip_delay: 60 ms", "trip_delay: 20 ms")))
    assert [f.about for f in of_rule(settings, "trip-before-charged")] == ["transducer"]
    assert [f.about for f in findings if f.rule == "trips-rehearsed"] == ["transducer"]


def regulating(limit: str) -> Edit:
    return (
        "procedure",
        "current_limit: 1 A\n    at_limit: trip                       # or: regulate (IVI-4.4)\n"
        "    trip_delay: 40 ms\n",
        f"current_limit: {limit}\n    at_limit: regulate\n",
    )


def starts_of_main(documents: Documents) -> int:
    """How often its converter starts in the first power-up, in the hardest case."""
    settings = settle(documents, TODAY)
    result = rehearse(documents, settings.set_points, hardest)
    first = result.record.spans[0]
    return sum(
        e.subject.startswith("main") and e.what == "starts" and e.time < first.end
        for e in result.record.events
    )


def test_constant_power_against_a_low_limit_restarts_for_ever(tmp_path: Path) -> None:
    """At its lowest starting voltage it asks for 3.96 W / (83 % · 8.2 V) = 0.582 A at most."""
    settings, findings = played(station(tmp_path, regulating("350 mA")))
    (finding,) = [f for f in findings if f.rule == "restarts-for-ever"]
    assert finding.about == "main"
    assert finding.blocks
    assert says(finding.why, "0.5818 A", "8.2 V")
    assert of_rule(settings, "limit-below-need")
    quick, slow = (float(each) for each in re.findall(r"one above ([\d.]+) A frees it", finding.remedy))
    assert slow == pytest.approx(3.96 / 0.83 / 8.2 + 0.0046, rel=5e-3)
    assert 0.35 < quick < slow
    assert starts_of_main(station(tmp_path, regulating(f"{1.03 * quick:.4f} A"))) == 1
    assert starts_of_main(station(tmp_path, regulating(f"{0.94 * quick:.4f} A"))) > 1


def test_a_limit_that_no_output_gives_is_not_asked_for(tmp_path: Path) -> None:
    long = ("bench", "one_way_length: 1.5 m", "one_way_length: 300 m")
    unsensed = ("procedure", "silicone pair, sense: at load", "silicone pair, sense: at terminals")
    _, findings = played(station(tmp_path, regulating("1 A"), long, unsensed))
    (finding,) = [f for f in findings if f.rule == "restarts-for-ever"]
    assert says(finding.why, "7.49 V")
    assert says(finding.remedy, "left.1")


def test_a_limited_converter_hangs_where_its_resistance_meets_the_limit(tmp_path: Path) -> None:
    """Below P / (η I) = 8.37 V it is a resistor: 0.35 A are met at 8.37 V · 0.35 / 0.5 = 5.86 V."""
    limited: tuple[Edit, ...] = (
        ("device", "soft_start: 8 ms", "soft_start: 8 ms\n          input_current_limit: 0.5 A"),
        ("device", "stops_at: 7.4 V .. 7.8 V", "stops_at: 3.0 V .. 3.4 V"),
    )
    _, findings = played(station(tmp_path, regulating("350 mA"), *limited))
    (finding,) = [f for f in findings if f.rule == "hangs-low"]
    assert says(finding.why, "5.863 V")
    assert says(finding.why, "0.3456 A")
    assert "one above" in finding.remedy
    assert says(finding.remedy, "slowly")


def test_a_segment_that_is_missed_in_a_later_turn_is_told_once_at_its_place(tmp_path: Path) -> None:
    twice = (
        "procedure",
        "      input: main\n      segments:",
        "      input: main\n      repeat: 3\n      segments:",
    )
    bent = Bent(station(tmp_path, twice))
    shape = bent.spans[3]
    turn = (shape.end - shape.start) / 3
    for number in (1, 2):
        # From 12 V the dip reaches 6 V 2.5 s after the start of each turn, and stays there for 0.5 s.
        start = shape.start + number * turn
        bent.bend("main", "voltage", start + 2.4, start + 3.0 + 2e-3, 7.0)
    (finding,) = found(bent, "not-reached")
    assert says(finding.why, "6 V", "2.5 s", "main", "7 V")
    assert "line_to: 6 V" in line_of(finding)


def test_a_standards_test_that_does_not_leave_its_own_level_is_a_stop(tmp_path: Path) -> None:
    """Without a pause the second dip leaves 8.4 V where it should leave 12 V: 3.6 V, 30 % off."""
    dip = "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 2"
    own: Edit = ("procedure", "  - shape:\n", f"  - shape: {{{dip}}}\n    name: dips\n  - shape:\n")
    _, findings = played(station(tmp_path, own))
    (finding,) = [f for f in findings if f.rule == "standard-start"]
    assert finding.severity is Severity.STOP
    assert "standard: IEC 61000-4-29 dip" in line_of(finding)
    assert says(finding.why, "dips", "IEC 61000-4-29 dip", "12 V", "8.4 V", "30.0%", "±5%")


def test_a_standards_edges_are_missed_and_the_figure_follows_the_rise(tmp_path: Path) -> None:
    dip = "shape: {input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms}"
    own: Edit = ("procedure", "  - shape:\n", f"  - {dip}\n    name: dips\n  - hold: 1 s\n  - shape:\n")
    said = {}
    for rise in ("12 ms", "2 ms"):
        slew = ("bench", ".. 2.4 V/ms  ", ".. 24 V/ms  ")
        edits = (own, slew, ("bench", "rise: 12 ms ", f"rise: {rise} "))
        _, findings = played(station(tmp_path, *edits))
        (finding,) = [f for f in findings if f.rule == "standard-missed"]
        assert finding.severity is Severity.CAUTION
        assert "standard: IEC 61000-4-29 dip" in line_of(finding)
        assert says(finding.why, "dips", "IEC 61000-4-29 dip", "1 µs", "50 µs", "100 Ω")
        assert finding.why.endswith("(IEC 61000-4-29:2000, 6.1, from memory)")
        match = re.search(r"into 100 Ω [\d.]+ ms down and ([\d.]+) (ms|µs) up, at the input", finding.why)
        assert match is not None
        said[rise] = float(match[1]) * (1e-3 if match[2] == "ms" else 1e-6)
    assert said["2 ms"] < 0.5 * said["12 ms"]
    assert said["12 ms"] == pytest.approx(1.2e-3, rel=0.1)


def test_an_interruption_at_low_impedance_that_does_not_get_down_is_told_with_its_level(
    tmp_path: Path,
) -> None:
    gap = "shape: {input: main, standard: IEC 61000-4-29 interruption, impedance: low, duration: 10 ms}"
    own: Edit = ("procedure", "  - shape:\n", f"  - {gap}\n    name: gaps\n  - hold: 1 s\n  - shape:\n")
    _, findings = played(station(tmp_path, own))
    (finding,) = [f for f in findings if f.rule == "standard-missed"]
    assert says(finding.why, "90 %")
    assert says(finding.why, "±5%")
