"""A linked trip: by the supply, where it links by itself, else by the program after its next look.

A run looks every 50 ms at least, at equal parts of the interval at which readings are recorded; seeing the
trip takes one exchange, switching off another, of all supplies at once (the program's own rule, restated here
as figures).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from tests.said import says
from tests.truth.small import fed_by, supply, write
from tests.truth.table import TruthTable, Within

from railwright.archive.stored import evaluate_run, open_stored
from railwright.documents.loader import Documents, load_documents
from railwright.evaluation.outcome import Outcome
from railwright.guard.local_link import LocalLink
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.settings.settle import settle
from railwright.traces import EventKind
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

TODAY = dt.date(2026, 11, 25)

OWN = 1e-3
"""Time that a supply is taken to need for a link of its own [s]."""

BURST = {
    "profile": {
        "compliance": "1 V",
        "points": [
            {"time": "0 s", "current": "300 mA"},
            {"time": "800 ms", "current": "300 mA"},
            {"time": "800 ms", "current": "2 A"},
            {"time": "4 s", "current": "2 A"},
        ],
    }
}
"""A load that the current limit of 1 A does not carry from 0.8 s on: a trip after the delay."""


OVERLOAD = {"resistor": {"resistance": "8 ohm"}}
"""1.5 A at the nominal 12 V."""


@dataclass(frozen=True)
class Case:
    """core: outputs that feed the input that trips. aux: those of the one that follows. links: whether the
    supplies link by themselves. delay: from the trip to when the input that follows goes off [s].
    """

    core: tuple[str, ...]
    aux: tuple[str, ...]
    every: str
    links: bool
    delay: float
    exchange: str | None = None


CASES = {
    "one supply that links": Case(("s.1",), ("s.2",), "20 ms", True, OWN),
    "one supply that links, seldom read": Case(("s.1",), ("s.2",), "1 s", True, OWN),
    "one supply that does not": Case(("s.1",), ("s.2",), "20 ms", False, 0.020 + 2 * 0.020),
    "seldom read": Case(("s.1",), ("s.2",), "1 s", False, 0.050 + 2 * 0.020),
    "read every 60 ms, seen every 30 ms": Case(("s.2",), ("s.1",), "60 ms", False, 0.030 + 2 * 0.020),
    "a fast supply": Case(("s.1",), ("s.3",), "10 ms", False, 0.010 + 2 * 0.005, "5 ms"),
    "two supplies that link": Case(("s.1",), ("t.1",), "20 ms", True, 0.020 + 2 * 0.020),
    "half of a series is on another supply": Case(("s.1",), ("s.2", "t.1"), "20 ms", True, 0.020 + 2 * 0.02),
    "a series on the supply": Case(("s.1",), ("s.2", "s.3"), "20 ms", True, OWN),
}


def documents(case: Case, folder: Path, load: Any = BURST, **more: Any) -> Documents:
    exchange = {} if case.exchange is None else {"exchange": case.exchange}
    outputs = [{"sink": None}] * 3
    path = write(
        folder,
        {"core": fed_by(load, nominal="12 V"), "aux": fed_by({"resistor": {"resistance": "60 ohm"}})},
        {
            "hook_up": {"core": feed(case.core), "aux": feed(case.aux)},
            "limits": {
                "core": {"current_limit": "1 A", "at_limit": "trip", "trip_delay": "100 ms", "ovp": "30 V"},
                "aux": {
                    "current_limit": "2 A",
                    "at_limit": "regulate",
                    "ovp": "37 V",
                    "trips_when": ["core"],
                },
            },
            "steps": [
                {"power_up": {"order": ["core", "aux"], "gap": "10 ms", "settle": "300 ms"}, "name": "up"},
                {"hold": "2 s", "name": "steady"},
                {"power_down": {"order": ["aux", "core"]}},
            ],
            "record": {"every": case.every},
            **more,
        },
        {
            "s": supply(*outputs, port=5998, isolation="300 V", **exchange),
            "t": supply(*outputs, port=5999, isolation="300 V", **exchange),
        },
    )
    found = load_documents(path)
    return found if case.links else without_links(found)


def feed(outputs: Sequence[str]) -> dict[str, Any]:
    source = outputs[0] if len(outputs) == 1 else {"series": list(outputs)}
    return {"from": source, "lead": "pair", "sense": "at terminals"}


def without_links(given: Documents) -> Documents:
    """The documents, with supplies whose dialect has no command for linked trips."""
    supplies = {
        name: each.model_copy(update={"dialect": each.dialect.model_copy(update={"link": None})})
        for name, each in given.bench.supplies.items()
    }
    return replace(given, bench=given.bench.model_copy(update={"supplies": supplies}))


def rehearsed(given: Documents) -> tuple[SetPoints, Prediction]:
    set_points = settle(given, TODAY).set_points
    return set_points, rehearse(given, set_points, timeline=plan_of(given, set_points).played)


@pytest.fixture(params=CASES, ids=list(CASES))
def case(request: pytest.FixtureRequest) -> Case:
    return CASES[request.param]


@pytest.mark.case("linked-trip")
@pytest.mark.parametrize("name", CASES)
def test_it_is_rehearsed_when_it_happens(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    case = CASES[name]
    given = documents(case, tmp_path)
    _, prediction = rehearsed(given)
    trip = next(each for each in prediction.record.events if each.kind is EventKind.TRIPS_CURRENT_LIMIT)
    after = [each.time for each in prediction.record.events if each.kind is EventKind.TRIPS_LINKED]
    assert trip.subject == case.core[0]
    assert len(after) == len(case.aux)
    for number, time in enumerate(after, start=1):
        expected = pytest.approx(case.delay, abs=1e-6)
        truth_table.compare(f"linked trip {number} after the trip", expected, time - trip.time, "s")


@pytest.mark.parametrize("name", [name for name, each in CASES.items() if "t.1" not in each.aux[1:]])
@pytest.mark.case("linked-trip")
def test_on_the_supplies_it_comes_no_later(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """But for a group across two supplies, which twins do not simulate."""
    case = CASES[name]
    given, loop = documents(case, tmp_path), VirtualLoop()
    set_points, _ = rehearsed(given)
    with VirtualNetwork(loop, given.bench, given.device, given.procedure, seed=5) as network:
        outcome = run(
            given, set_points, unit="T-1", operator="O", folder=tmp_path / "run",
            link=LocalLink(loop, network.connect),
        )  # fmt: skip
        ends = {name: network.energised(name)[-1][1] for name in (*case.core, *case.aux)}
    assert says(outcome.cause, "core tripped", "current limit")
    for name in case.aux:
        end, cause = ends[name], ends[case.core[0]]
        assert end is not None
        assert cause is not None
        # As late as that at most; and later than its own link would be, where the program switches. A
        # simulated supply acts on its link with the next message, which comes within 4 ms.
        expected = Within(2e-3 if case.delay > OWN else -1e-3, case.delay + 4e-3)
        truth_table.compare(f"{name} off after {case.core[0]}", expected, end - cause, "s")


@pytest.mark.parametrize(("links", "delay"), [(True, OWN), (False, 0.025 + 2 * 0.02)])
def test_outputs_that_feed_one_input_follow_each_other(links: bool, delay: float, tmp_path: Path) -> None:
    """At 1 A the first of two in series gives 2 V of 8 V, at the limit; the second, of 1.5 A, regulates."""
    given = documents(Case(("s.1", "s.2"), ("s.3",), "25 ms", links, delay), tmp_path, OVERLOAD)
    set_points = dict(settle(given, TODAY).set_points)
    first, second = set_points["core"].outputs
    pair = (first, replace(second, current_limit=1.5))
    set_points["core"] = replace(set_points["core"], outputs=pair)
    events = rehearse(given, set_points, timeline=plan_of(given, set_points).played).record.events
    (trip,) = [each for each in events if each.kind is EventKind.TRIPS_CURRENT_LIMIT]
    after = {each.subject: each.time - trip.time for each in events if each.kind is EventKind.TRIPS_LINKED}
    assert trip.subject == "s.1"
    assert after == {"s.2": pytest.approx(delay, abs=1e-6), "s.3": pytest.approx(delay, abs=1e-6)}


def test_the_check_says_who_switches_and_how_late(case: Case, tmp_path: Path) -> None:
    given = documents(case, tmp_path)
    found = settle(given, TODAY).findings
    told = [each for each in found if each.rule == "linked-trip-by-program"]
    if case.delay == OWN:
        assert not told
    else:
        taken = case.exchange or "20 ms"
        assert any(says(each.why, "core", f"{case.delay * 1e3:g} ms", taken) for each in told)
        assert all(("'exchange'" in each.why) is (case.exchange is None) for each in told)


@pytest.mark.parametrize("every", ["20 ms", "1 s"])
def test_a_run_that_a_trip_ends_is_no_pass(every: str, tmp_path: Path) -> None:
    level = {"name": "level", "measure": "mean_voltage", "of": "aux", "during": "up", "at_most": "30 V"}
    given = documents(replace(CASES["one supply that links"], every=every), tmp_path, requires=[level])
    settings = settle(given, TODAY)
    loop, folder = VirtualLoop(), tmp_path / "run"
    with VirtualNetwork(loop, given.bench, given.device, given.procedure, seed=5) as network:
        run(
            given, settings.set_points, unit="T-1", operator="O", folder=folder,
            settings=as_data(settings), link=LocalLink(loop, network.connect),
        )  # fmt: skip
    evaluation = evaluate_run(open_stored(folder), [])
    assert evaluation.outcome is not Outcome.PASS


@pytest.mark.parametrize(("stale", "asked"), [((2,), ()), ((0, 1), (0,)), ((), (0,)), ((1, 2), ())])
def test_links_of_an_earlier_session_are_undone(
    stale: tuple[int, ...], asked: tuple[int, ...], tmp_path: Path
) -> None:
    """s.3 feeds aux; it follows only what the procedure has it follow: s.1, which feeds core, or nothing."""
    given, loop = documents(Case(("s.1",), ("s.3",), "20 ms", True, OWN), tmp_path), VirtualLoop()
    if not asked:
        aux = given.procedure.limits["aux"].model_copy(update={"trips_when": ()})
        limits = {**given.procedure.limits, "aux": aux}
        given = replace(given, procedure=given.procedure.model_copy(update={"limits": limits}))
    with VirtualNetwork(loop, given.bench, given.device, given.procedure, seed=5) as network:
        panel = network.servers["s"].supply.panels[2]
        panel.follows = tuple(each for each in stale if each != 2)
        run(
            given, rehearsed(given)[0], unit="T-1", operator="O", folder=tmp_path / "run",
            link=LocalLink(loop, network.connect),
        )  # fmt: skip
        assert panel.follows == asked
