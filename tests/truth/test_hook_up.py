"""What is said of a hook-up that is `auto`: the smallest change is the smallest and hides no margin, the
output that can do the least harm is taken, no lead is given out twice unsaid.

The truth is found by brute force, without the program: every set of changes from a list that costs less than
what is said is made to the documents, and every way to feed every input is asked of the rules of the check
(`tests.settings.hookup.exhaustive`). Currents are worked out by hand: 42 V / (9.2 ohm · 0.95) = 4.805 A.
"""

from __future__ import annotations

import copy
import itertools
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from tests.said import says
from tests.settings.hookup import exhaustive
from tests.settings.hookup.scene import GOOD_LEAD, Data, needs, output, scene, supply
from tests.truth.saying import case_documents
from tests.truth.table import TruthTable

from railwright.documents.loader import Documents, load_documents
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle

FIGURE, PROCEDURE, PERMISSION, LEAD, UNCOUPLE, OUTPUT = 1, 2, 3, 4, 5, 100
"""What changes cost, as the manual has them: the smallest is the one that costs least."""

JOINS = {"may_join": ["series", "parallel"]}
COARSE = {"level": "1 V .. 66 V", "accuracy": "2 V", "response": "100 us"}


@dataclass
class Station:
    """A bench, its inputs and what the procedure says, as data to be changed."""

    supplies: dict[str, Data]
    inputs: dict[str, Data]
    leads: dict[str, Data] = field(default_factory=dict)
    hook_up: dict[str, Data] = field(default_factory=dict)
    limits: dict[str, Data] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in self.inputs:
            self.leads.setdefault(f"to {name}", dict(GOOD_LEAD))
            self.hook_up.setdefault(name, {"from": "auto", "lead": f"to {name}"})
            self.limits.setdefault(name, {})

    @property
    def documents(self) -> Documents:
        return scene(self.supplies, self.inputs, leads=self.leads, hook_up=self.hook_up, limits=self.limits)


Change = tuple[int, Callable[[Station], None]]


def menu(station: Station) -> Iterator[Change]:
    """Every single change that could help: its cost, and what makes it."""
    names = [(s, o) for s, each in station.supplies.items() for o in each["outputs"]]
    for supply_, each in station.supplies.items():
        if "isolation" not in each:
            yield FIGURE, lambda at, s=supply_: at.supplies[s].update(isolation="200 V")
        if "coupled" in each:
            yield UNCOUPLE, lambda at, s=supply_: at.supplies[s].pop("coupled", None)
    for s, o in names:
        if station.supplies[s]["outputs"][o].get("programming") is None:
            good = output(1, 1)["programming"]
            yield FIGURE, lambda at, s=s, o=o, g=good: at.supplies[s]["outputs"][o].update(programming=g)
    for size in (2, 3):
        for chosen in itertools.combinations(names, size):

            def join(at: Station, chosen: tuple[tuple[str, str], ...] = chosen) -> None:
                for s, o in chosen:
                    at.supplies[s]["outputs"][o].update(JOINS)

            if any("may_join" not in station.supplies[s]["outputs"][o] for s, o in chosen):
                yield PERMISSION, join
    for name, limits in station.limits.items():
        if limits.get("at_limit") == "trip":
            regulates = {**limits, "at_limit": "regulate", "trip_delay": None}
            yield PROCEDURE, lambda at, n=name, r=regulates: at.limits.update({n: r})
        if limits.get("current_limit", "auto") != "auto":
            need = float(station.inputs[name]["current"]["steady"].split("..")[1].split()[0])
            for amperes in (1.001 * need + 0.003, 1.05 * need, 1.5 * need):
                text = f"{amperes:.4f} A"
                yield PROCEDURE, lambda at, n=name, t=text: at.limits[n].update(current_limit=t)
        if "opp" in limits:
            yield PROCEDURE, lambda at, n=name: at.limits[n].pop("opp", None)
        if station.hook_up[name].get("sense") == "at load":
            yield PROCEDURE, lambda at, n=name: at.hook_up[n].update(sense="at terminals")
        yield LEAD, lambda at, n=name: at.leads.update({f"to {n}": {**GOOD_LEAD, "conductor": "AWG 8"}})


def feeds_all(station: Station) -> bool:
    documents = station.documents
    ways = exhaustive.ways_of(documents, most=3)
    return all(ways) and exhaustive.best(documents, ways) is not None


def changed(station: Station, changes: tuple[Change, ...]) -> Station:
    other = copy.deepcopy(station)
    for _, change in changes:
        change(other)
    return other


def cheaper(station: Station, cost: int, most: int) -> int | None:
    """The least cost of a set of up to `most` changes, below a cost, with which every input is fed."""
    every = list(menu(station))
    sets = [chosen for size in range(most + 1) for chosen in itertools.combinations(every, size)]
    for chosen in sorted(sets, key=lambda chosen: sum(each[0] for each in chosen)):
        total = sum(each[0] for each in chosen)
        if total >= cost:
            return None
        if feeds_all(changed(station, chosen)):
            return total
    return None


KINDS = {
    # A word of a remedy -> what such a change costs.
    "give '": FIGURE,
    "write ": PROCEDURE,
    "leave '": PROCEDURE,
    "may_join": PERMISSION,
    "a lead ": LEAD,
    "uncouple ": UNCOUPLE,
    "output of": OUTPUT,
    "figures or steps": OUTPUT,
}


def cost_said(remedy: str) -> int:
    """What the changes that a remedy names cost together."""
    return sum(remedy.count(word) * cost for word, cost in KINDS.items())


def two(*more: Data, **joins: object) -> dict[str, Data]:
    return {"a": supply(output(30, 2, **joins)), "b": supply(output(30, 2, **joins), *more)}


def drawn(seed: int) -> Station:
    """One or two inputs, two or three outputs; each lacks this or that."""
    draw = random.Random(seed)

    def an_output() -> Data:
        return output(
            draw.choice([13, 30, 30]),
            draw.choice([0.5, 1.0, 2.0]),
            **draw.choice([{}, {}, JOINS]),
            **draw.choice([{}, {}, {}, {"programming": None}]),
            **draw.choice([{}, {}, {"opp": {"level": "1 W .. 90 W"}}]),
        )

    def a_supply(count: int) -> Data:
        made = supply(*(an_output() for _ in range(count)), isolation=draw.choice(["200 V", "200 V", None]))
        if count == 2 and draw.random() < 0.2:
            made["coupled"] = [{"outputs": ["1", "2"], "by": "step"}]
        return made

    names = ("one", "two")[: draw.choice([1, 2])]
    inputs = {n: needs(draw.choice([12, 24, 44]), draw.choice([0.3, 0.98, 1.7])) for n in names}
    station = Station({"a": a_supply(draw.choice([1, 2])), "b": a_supply(1)}, inputs)
    for name in names:
        if draw.random() < 0.3:
            station.limits[name] = {"at_limit": "trip", "trip_delay": "100 ms"}
        if draw.random() < 0.2:
            station.limits[name]["current_limit"] = draw.choice(["0.2 A", "3 A"])
        if draw.random() < 0.2:
            station.limits[name]["opp"] = "auto"
        if draw.random() < 0.3:
            station.hook_up[name]["sense"] = "at load"
        if draw.random() < 0.3:
            station.leads[f"to {name}"]["permitted_current"] = draw.choice(["0.5 A", "1.5 A"])
    return station


STATIONS: dict[str, Callable[[], Station]] = {
    "two supplies in series": lambda: Station(two(), {"high": needs(48, 0.5)}),
    "two supplies in parallel": lambda: Station(two(), {"heavy": needs(12, 3.5)}),
    "in series, one figure unknown": lambda: Station(
        {"a": supply(output(30, 2, **JOINS), output(30, 2, programming=None, **JOINS))},
        {"high": needs(48, 0.5)},
    ),
    "a figure that two inputs ask for": lambda: Station(
        {
            "a": supply(*[output(30, 2, **JOINS)] * 4, isolation=None),
            "b": supply(output(60, 0.2)),
        },
        {"one": needs(48, 0.5), "two": needs(44, 0.5)},
    ),
    "a drop that need not be sensed": lambda: Station(
        {"a": supply(output(12.5, 3))},
        {"main": needs(12, 1)},
        leads={"to main": {**GOOD_LEAD, "conductor": "AWG 24", "one_way_length": "5 m"}},
        hook_up={"main": {"from": "auto", "lead": "to main", "sense": "at load"}},
    ),
    "room for no more than the need": lambda: Station(
        two(), {"main": needs(12, 1.99), "other": needs(5, 1.9)}
    ),
    "a lead that bears no more than the need": lambda: Station(
        two(),
        {"main": needs(12, 1.0)},
        leads={"to main": {**GOOD_LEAD, "permitted_current": "1.01 A"}},
    ),
    **{f"drawn {seed}": lambda seed=seed: drawn(seed) for seed in range(12)},
}


@pytest.mark.case("hook-up-smallest")
@pytest.mark.parametrize("name", STATIONS)
def test_no_smaller_change_feeds_every_input(name: str, truth_table: TruthTable) -> None:
    station = STATIONS[name]()
    findings = hooked_up(station.documents).findings
    said = cost_said(findings[0].remedy) if findings else 0
    less = cheaper(station, said, most=3 if len(list(menu(station))) < 9 else 2)
    truth_table.compare("least cost of changes", said if less is None else less, said)
    if not findings:
        assert feeds_all(station)


@pytest.mark.case("hook-up-smallest")
@pytest.mark.parametrize("need", [0.5, 1.3, 2.0, 3.7])
@pytest.mark.parametrize("volts", [5, 12, 24])
def test_a_further_output_is_asked_for_no_more_than_it_takes(
    volts: float, need: float, truth_table: TruthTable
) -> None:
    """Its limit, less its error of 0.1 % and 2 mA, is the need, on a grid of 0.1 mA; a step below is not."""
    inputs = {"main": needs(volts, need), "other": needs(12, 0.2)}

    def with_(*more: Data) -> Station:
        bench = {"a": supply(output(30, 0.4)), **({"b": supply(*more)} if more else {})}
        return Station(bench, inputs)

    (finding,) = hooked_up(with_().documents).findings
    assert says(finding.remedy, f"{volts} V", f"{need:g} A", "error", "main")
    least = math.ceil((need + 2e-3) / 0.999 * 1e4) / 1e4
    for amperes, feeds in ((round(least, 4), True), (round(least - 1e-4, 4), False)):
        said = hooked_up(with_(output(volts, amperes)).documents).findings == ()
        truth_table.compare(f"an output of {amperes:.4f} A feeds {need} A", feeds, said)


@pytest.mark.case("hook-up-smallest")
@pytest.mark.parametrize("name", ["auto3", "auto4"])
def test_as_it_was_found(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """big.1 feeds the heater at a limit of its 5 A, as 42 V / (9.2 ohm · 0.95) = 4.805 A, 0.2 % and 8 mA more
    are 4.823 A, on a grid of 1 mA; every input has a lead of its own.
    """
    documents = load_documents(case_documents("hook-up-smallest", tmp_path) / f"{name}.procedure.yaml")
    settings = settle(documents, exhaustive.TODAY)
    asked = [each.why for each in settings.findings if each.rule == "hook-up"]
    truth_table.compare("changes asked for", [], asked)
    hook_up = hooked_up(documents).documents.procedure.hook_up
    truth_table.compare("the heater's output", "big.1", hook_up["heater"].source)
    truth_table.compare("leads in use", 3, len({each.lead for each in hook_up.values()}))
    (window,) = [w for w in settings.windows if (w.about, w.setting) == ("heater", "current_limit")]
    least = math.ceil((42.0 / (9.2 * 0.95) + 8e-3) / 0.998 * 1e3) / 1e3
    assert window.low is not None
    truth_table.compare(
        "least limit of the heater", pytest.approx(least, abs=1.001e-3), window.low.value, "A"
    )


@pytest.mark.parametrize(
    ("volts", "withstands", "outputs", "taken"),
    [
        (5.0, "6.5 V", [32, 6], "a.2"),
        (5.0, "6.5 V", [6, 32], "a.1"),
        (12.0, "16 V", [60, 32, 15], "a.3"),
        (3.3, "4 V", [20, 3.7, 10], "a.2"),
        (24.0, "36 V", [60, 34], "a.2"),
        # Neither can do harm, and the order of the documents decides.
        (24.0, "60 V", [50, 34], "a.1"),
    ],
)
def test_the_output_that_can_do_least_harm_is_taken(
    volts: float, withstands: str, outputs: list[float], taken: str
) -> None:
    bench = {"a": supply(*(output(each, 2) for each in outputs))}
    documents = scene(bench, {"logic": needs(volts, 0.5, withstands=[{"voltage": withstands}])})
    assert hooked_up(documents).documents.procedure.hook_up["logic"].source == taken


@pytest.mark.parametrize(
    ("leads", "given", "shared"),
    [
        (["one"], "auto", 1),
        (["one", "two"], "auto", 0),
        (["one", "two"], {"main": "one", "other": "one"}, 1),
        (["one", "two"], {"main": "two", "other": "one"}, 0),
        (["one", "two"], {"main": "one", "other": "one", "third": "one"}, 2),
    ],
)
def test_two_inputs_on_one_lead_are_told(leads: list[str], given: object, shared: int) -> None:
    names = list(given) if isinstance(given, dict) else ["main", "other"]
    inputs = {name: needs(12, 0.3) for name in names}
    hook_up = given
    if isinstance(given, dict):
        hook_up = {name: {"from": "auto", "lead": lead} for name, lead in given.items()}
    bench = {"a": supply(*[output(30, 2)] * 3)}
    documents = scene(bench, inputs, leads=dict.fromkeys(leads, GOOD_LEAD), hook_up=hook_up)
    found = [each for each in settle(documents, exhaustive.TODAY).findings if each.rule == "lead-shared"]
    assert len(found) == shared
    for finding in found:
        assert says(finding.why, "one", finding.about, "main")


def test_the_leads_of_what_can_be_fed_are_their_own_where_another_cannot() -> None:
    """Nothing feeds the third input: the two others still get a lead each."""
    inputs = {"high": needs(90, 3), "main": needs(12, 0.5), "other": needs(5, 0.5)}
    leads = dict.fromkeys(("thick", "long", "short"), GOOD_LEAD)
    resolved = hooked_up(scene({"a": supply(*[output(30, 2)] * 3)}, inputs, leads=leads))
    assert resolved.findings
    used = [each.lead for each in resolved.documents.procedure.hook_up.values()]
    assert len(used) == len(set(used)) == 2


@pytest.mark.parametrize(
    ("conductor", "output_takes", "input_takes", "end"),
    [
        # Sections by hand: AWG 14 2.08 mm², AWG 10 5.26 mm², AWG 4 21.2 mm², AWG 6 13.3 mm² (ASTM B258).
        ("AWG 14", None, None, ""),
        ("AWG 6", None, None, ""),
        ("AWG 4", None, None, "a.1"),
        ("AWG 4", "25 mm2 class 5", None, "input main"),
        ("AWG 4", "25 mm2 class 5", "25 mm2 class 5", ""),
        ("6 mm2 class 5", "AWG 10", None, "a.1"),
        ("4 mm2 class 5", "AWG 10", "AWG 14", "input main"),
        ("AWG 10", "AWG 10", "AWG 10", ""),
    ],
)
def test_a_conductor_that_a_terminal_does_not_take_is_told(
    conductor: str, output_takes: str | None, input_takes: str | None, end: str
) -> None:
    given = {} if output_takes is None else {"takes": output_takes}
    taken = {} if input_takes is None else {"takes": input_takes}
    bench = {"a": supply(output(30, 2, **given))}
    leads = {"pair": {**GOOD_LEAD, "conductor": conductor}}
    documents = scene(bench, {"main": needs(12, 0.5, **taken)}, leads=leads)
    found = [each for each in settle(documents, exhaustive.TODAY).findings if each.rule == "lead-too-thick"]
    assert [says(each.why, conductor, end) for each in found] == ([True] if end else [])
