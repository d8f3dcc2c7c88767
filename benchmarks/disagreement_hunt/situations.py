"""Situations that chance draws seldom and on which much hangs: put into invented documents, so that a hunt of
some hundred draws meets each of them often enough.

Each is a function of the documents and the dice. Which of them a draw has is a matter of the dice alone, and
none of them knows what the hunt is to find.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from random import Random

from benchmarks.same_outcomes.documents import Data, Documents
from benchmarks.same_outcomes.loads import figure

SHORT, LONG = ("5 ms", "10 ms"), ("20 ms", "30 ms", "60 ms", "100 ms", "200 ms")
"""How long a level may last; the short ones want a point list, or are played late."""


def dwells(dice: Random) -> Iterator[str]:
    """How long one level after another lasts: in most draws as long as the host can keep."""
    known = SHORT + LONG if dice.random() < 0.25 else LONG
    while True:
        yield dice.choice(known)


def arrange(documents: Documents, dice: Random) -> None:
    """Put some situations into documents, before what data sheets leave out is filled in."""
    names = list(documents.device["inputs"])
    shares = (
        (0.45, stopping_load),
        (0.3, slow_outputs),
        (0.3, several_outputs),
        (0.15, table),
        (0.2, little_current),
    )
    for share, situation in shares:
        if dice.random() < share:
            situation(documents, dice, dice.choice(names))


def arrange_edges(documents: Documents, dice: Random) -> None:
    """Put one situation at the edges of steps into some documents, by dice of their own."""
    if dice.random() < 0.4:
        name = dice.choice(list(documents.device["inputs"]))
        dice.choice((at_one_instant, line_after_jump, crest, brief_step))(documents, dice, name)


def ask(documents: Documents, dice: Random) -> None:
    """Ask for measures of any step: of every input the more, the more of it there is to tell apart."""
    procedure, inputs = documents.procedure, documents.device["inputs"]
    wanted = procedure.setdefault("requires", [])
    number = 0
    for name, own in inputs.items():
        volts, amperes = volts_of(own), amperes_of(own)
        stops = any("stops_at" in part.get(kind, {}) for part in own["load"] for kind in part)
        for step in procedure["steps"]:
            if "name" not in step:
                continue
            for measure, limit in _measures(dice, volts, amperes, stops, step):
                number += 1
                asked = {"name": f"asked {number}", "measure": measure, "of": name, "during": step["name"]}
                wanted.append({**asked, **limit})


def _measures(
    dice: Random, volts: float, amperes: float, stops: bool, step: Data
) -> Iterator[tuple[str, Data]]:
    """Measures of one step, with limits about what they come to."""
    if stops and dice.random() < 0.7:
        yield "restarts", {"at_most": str(dice.choice((0, 0, 1, 2)))}
    spread = dice.uniform(0.6, 1.5)
    known: tuple[tuple[float, str, Data], ...] = (
        (0.2, "peak_current", {"at_most": figure(1.5 * spread * amperes, "A")}),
        (0.15, "peak_voltage", {"at_most": figure(spread * volts, "V")}),
        (0.15, "mean_current", {"at_most": figure(spread * amperes, "A")}),
        (0.1, "mean_power", {"at_most": figure(spread * volts * amperes, "W")}),
        (0.15, "charge", {"at_most": figure(0.5 * spread * amperes, "C")}),
        (0.1, "energy", {"at_most": figure(0.5 * spread * volts * amperes, "J")}),
        (0.15, "low_state_level", {"at_least": figure(0.6 * spread * volts, "V")}),
        (0.1, "high_state_level", {"at_most": figure(spread * volts, "V")}),
        (0.15, "time_out_of_cv", {"at_most": figure(0.05 * spread, "s")}),
        (0.1, "trips", {"at_most": "0"}),
    )
    for share, measure, limit in known:
        if dice.random() < share:
            yield measure, limit
    if stops and "shape" in step and dice.random() < 0.3:
        yield "turn_off_voltage", {"at_most": figure(0.7 * spread * volts, "V")}
    if "power_up" in step and dice.random() < 0.3:
        yield "start_up_time", {"at_most": figure(0.1 * spread, "s")}


def volts_of(own: Data) -> float:
    """Nominal voltage of an input [V]."""
    return float(own["nominal"].split()[0])


def amperes_of(own: Data) -> float:
    """About the current of an input [A]; 0.5 A where its document says none."""
    if not (steady := own.get("current", {}).get("steady")):
        return 0.5
    number, unit = steady.rpartition("..")[2].split()
    return float(number) * {"A": 1.0, "mA": 1e-3, "uA": 1e-6}[unit] / 1.5


def stopping_load(documents: Documents, dice: Random, name: str) -> None:
    """A load that stops, and dips in which it may or may not: shallow and deep, short and long, in a step,
    over an edge between two, and close to either side of it.
    """
    own = documents.device["inputs"][name]
    volts, amperes = volts_of(own), amperes_of(own)
    starts = dice.uniform(0.55, 0.8) * volts
    stops = dice.uniform(0.75, 0.95) * starts
    thresholds = {
        "starts_at": f"{figure(starts, 'V')} .. {figure(1.03 * starts, 'V')}",
        "stops_at": f"{figure(0.96 * stops, 'V')} .. {figure(stops, 'V')}",
    }
    if dice.random() < 0.7:
        part: Data = {
            "converter": {
                "output_power": figure(0.85 * volts * amperes, "W"),
                "efficiency": "85 %",
                **thresholds,
                **({"soft_start": figure(dice.uniform(2e-3, 40e-3), "s")} if dice.random() < 0.5 else {}),
            }
        }
    else:
        parts = [dice.uniform(0.2, 1.0) for _ in range(4)]
        points = [
            {"time": figure(0.1 * number, "s"), "current": figure(part * amperes, "A")}
            for number, part in enumerate([*parts, parts[0]])
        ]
        part = {"profile": {"points": points, "repeats": "always", **thresholds}}
    # A capacitor of k I / V holds the voltage up for about k, and takes as long to charge.
    holds = 10.0 ** dice.uniform(-3.5, -1.0)
    capacitor = {"capacitance": f"{figure(holds * amperes / volts, 'F')} ± 10 %", "esr": "50 mohm"}
    own["load"] = [{"capacitor": capacitor}, part]

    def low() -> str:
        return figure(dice.choice((0.5, 0.9, 1.05, 1.2, dice.uniform(0.3, 1.5))) * stops, "V")

    dwell = dwells(dice)
    nominal = figure(volts, "V")
    steps: list[Data] = []
    count = dice.choice((1, 2, 2, 3))
    for number in range(count):
        pieces: list[Data] = []
        for _ in range(dice.choice((0, 1, 1, 2))):
            pieces += [{"step_to": low()}, {"hold": next(dwell)}]
            pieces += [{"step_to": nominal}, {"hold": next(dwell)}]
        pieces.append({"hold": next(dwell)})
        match dice.randrange(3):
            case 0:  # it ends low: what the next step begins with is the way back
                pieces += [{"step_to": low()}, {"hold": next(dwell)}]
            case 1:
                pieces += [{"off_for": dice.choice(("10 ms", "30 ms", "100 ms"))}, {"hold": "200 ms"}]
            case 2 if dice.random() < 0.5:
                over = dice.choice(("100 ms", "500 ms"))
                pieces += [{"line_to": low(), "over": over}, {"line_to": nominal, "over": over}]
        shape = {"input": name, "segments": pieces}
        steps.append({"shape": shape, "name": f"dips {number + 1}"})
        if dice.random() < 0.3:
            steps.append({"hold": dice.choice(("40 ms", "100 ms")), "name": f"between {number + 1}"})
    steps[-1 if "shape" in steps[-1] else -2]["shape"]["segments"] += [
        {"step_to": nominal},
        {"hold": "300 ms"},
    ]
    insert(documents, dice, steps)


def insert(documents: Documents, dice: Random, steps: list[Data]) -> None:
    """Put steps before the power-down, in place of one that moves an input where nothing asks for it."""
    procedure = documents.procedure
    asked = {each["during"] for each in procedure.get("requires", ())} | {
        each["during"] for each in procedure.get("stop_when", ()) if "during" in each
    }
    own = procedure["steps"]
    spare = [each for each in own if ("shape" in each or "sweep" in each) and each["name"] not in asked]
    if spare and dice.random() < 0.7:
        own.remove(dice.choice(spare))
    at = next((number for number, each in enumerate(own) if "power_down" in each), len(own))
    own[at:at] = steps


def slow_outputs(documents: Documents, dice: Random, name: str) -> None:
    """Outputs that can only be programmed to a low slew, and lines that are steeper and less steep."""
    volts = volts_of(documents.device["inputs"][name])
    slew = 10.0 ** dice.uniform(0.2, 1.8) * volts
    for supply in documents.bench["supplies"].values():
        supply["outputs"]["1"]["slew"] = f"1 V/s .. {slew:.3g} V/s"
    dwell = dwells(dice)
    pieces: list[Data] = []
    level = volts
    for _ in range(dice.choice((1, 2, 3))):
        to = dice.uniform(0.6, 1.2) * volts
        over = abs(to - level) / slew * dice.choice((0.3, 0.7, 0.95, 1.05, 1.5, 4.0))
        pieces.append({"line_to": figure(to, "V"), "over": figure(max(over, 2e-3), "s")})
        pieces += [{"hold": next(dwell)}] * (dice.random() < 0.7)
        level = to
    pieces += [{"step_to": figure(volts, "V")}, {"hold": "200 ms"}]
    shape = {"input": name, "segments": pieces}
    insert(documents, dice, [{"shape": shape, "name": "steep"}])


def several_outputs(documents: Documents, dice: Random, name: str) -> None:
    """Two outputs on one input, whose jumps and limits they share."""
    procedure = documents.procedure
    if not isinstance(hook_up := procedure["hook_up"], dict):
        return
    number = list(documents.device["inputs"]).index(name)
    supply = list(documents.bench["supplies"])[number]
    group = dice.choice(("series", "parallel", "parallel"))
    lead = list(documents.bench["leads"])[number]
    fixture = {key: each for key, each in hook_up[name].items() if key == "fixture"}
    outputs = [f"{supply}.1", f"{supply}.2"]
    hook_up[name] = {"from": {group: outputs}, "lead": lead, "sense": "auto", **fixture}
    if group == "parallel" and dice.random() < 0.8:
        # The one that is set a little higher gives all up to its limit: it would trip.
        procedure["limits"][name] |= {"at_limit": "regulate"}
        for key in ("trip_delay", "trips_when"):
            procedure["limits"][name].pop(key, None)
    volts = volts_of(documents.device["inputs"][name])
    dwell = dwells(dice)
    pieces: list[Data] = []
    for _ in range(dice.choice((1, 2, 3))):
        to = figure(dice.uniform(0.5, 1.25) * volts, "V")
        over = dice.choice(("20 ms", "100 ms", "300 ms"))
        pieces.append(dice.choice(({"step_to": to}, {"line_to": to, "over": over})))
        pieces.append({"hold": next(dwell)})
    pieces += [{"step_to": figure(volts, "V")}, {"hold": next(dwell)}]
    insert(documents, dice, [{"shape": {"input": name, "segments": pieces}, "name": "shared"}])


def table(documents: Documents, dice: Random, name: str) -> None:
    """A sequence as a table, with rows that jump and rows that are lines, and limits."""
    own = documents.device["inputs"][name]
    volts, amperes = volts_of(own), amperes_of(own)
    rows = ["dwell_s,voltage_V,limit_A,way"]
    for _ in range(dice.randrange(2, 6)):
        dwell, to = dice.choice((0.02, 0.05, 0.1, 0.2)), dice.uniform(0.6, 1.2) * volts
        limit = f"{dice.uniform(0.6, 1.5) * amperes:.4g}" if dice.random() < 0.3 else ""
        rows.append(f"{dwell},{to:.4g},{limit},{dice.choice(('step', 'step', 'line'))}")
    rows.append(f"0.2,{volts:g},,step")
    documents.files["sequence.csv"] = ("\n".join(rows) + "\n").encode()
    insert(documents, dice, [{"shape": {"input": name, "table": "sequence.csv"}, "name": "table"}])


def little_current(documents: Documents, dice: Random, name: str) -> None:
    """A limit that comes down below what the load draws, for a while."""
    own = documents.device["inputs"][name]
    volts, amperes = volts_of(own), amperes_of(own)
    dwell = dwells(dice)
    pieces: list[Data] = [{"hold": next(dwell)}]
    for _ in range(dice.choice((1, 2))):
        to = figure(dice.uniform(0.7, 1.2) * volts, "V")
        pieces.append({"step_to": to, "current_limit": figure(dice.uniform(0.3, 1.1) * amperes, "A")})
        pieces.append({"hold": next(dwell)})
    pieces += [{"step_to": figure(volts, "V")}, {"hold": next(dwell)}]
    insert(documents, dice, [{"shape": {"input": name, "segments": pieces}, "name": "limited"}])


def at_one_instant(documents: Documents, dice: Random, name: str) -> None:
    """A shape that ends with a jump back, right before one that begins with another jump: an instant at the
    level in between would start a load that is away, and that runs on at the level after it.
    """
    own = documents.device["inputs"][name]
    volts, amperes = volts_of(own), amperes_of(own)
    starts = dice.uniform(0.65, 0.85) * volts
    stops = dice.uniform(0.6, 0.8) * starts
    between = figure((0.4 * stops + 0.6 * starts), "V")
    converter = {
        "output_power": figure(0.85 * volts * amperes, "W"),
        "efficiency": "85 %",
        "starts_at": figure(starts, "V"),
        "stops_at": figure(stops, "V"),
    }
    own["load"] = [
        {"capacitor": {"capacitance": figure(3e-4 * amperes / volts, "F"), "esr": "50 mohm"}},
        {"converter": converter},
    ]
    nominal = figure(volts, "V")
    low = {"step_to": figure(0.5 * stops, "V")}
    first = [low, {"hold": "200 ms"}, {"step_to": between}, {"hold": "100 ms"}, {"step_to": nominal}]
    second = [{"step_to": between}, {"hold": "100 ms"}, {"step_to": nominal}, {"hold": "200 ms"}]
    shapes = [{"input": name, "segments": pieces} for pieces in (first, second)]
    insert(documents, dice, [{"shape": each, "name": f"at once {n}"} for n, each in enumerate(shapes, 1)])
    documents.procedure.setdefault("requires", []).append(
        {"name": "at once", "measure": "restarts", "of": name, "during": "at once 2", "at_most": "0"}
    )


def line_after_jump(documents: Documents, dice: Random, name: str) -> None:
    """A line that begins where a jump leads, on outputs that take their time for the jump."""
    volts = volts_of(documents.device["inputs"][name])
    slew = dice.uniform(5.0, 60.0) * volts
    for supply in documents.bench["supplies"].values():
        supply["outputs"]["1"]["slew"] = f"1 V/s .. {slew:.3g} V/s"
    to, then = (figure(dice.uniform(0.6, 1.2) * volts, "V") for _ in range(2))
    line = {"line_to": then, "over": dice.choice(("200 ms", "400 ms", "800 ms"))}
    pieces = [{"step_to": to}, line, {"hold": "100 ms"}, {"step_to": figure(volts, "V")}, {"hold": "300 ms"}]
    insert(documents, dice, [{"shape": {"input": name, "segments": pieces}, "name": "jump and line"}])


def crest(documents: Documents, dice: Random, name: str) -> None:
    """A ripple, on whose crests the voltage is slow."""
    volts = volts_of(documents.device["inputs"][name])
    part = dice.uniform(0.1, 0.4)
    ripple = {
        "ripple": "sine",
        "peak_to_peak": figure(part * volts, "V"),
        "frequency": dice.choice(("1 Hz", "2 Hz", "4 Hz")),
        "on": figure(volts, "V"),
        "for": dice.choice(("500 ms", "1 s")),
    }
    pieces = [ripple, {"step_to": figure(volts, "V")}]
    insert(documents, dice, [{"shape": {"input": name, "segments": pieces}, "name": "ripple"}])
    for measure in ("high_state_level", "low_state_level"):
        asked = {"name": f"{measure} of a ripple", "measure": measure, "of": name, "during": "ripple"}
        documents.procedure.setdefault("requires", []).append({**asked, "at_most": figure(2 * volts, "V")})


def brief_step(documents: Documents, dice: Random, name: str) -> None:
    """Steps that hold a few readings at most, which are asked for often."""
    volts = volts_of(documents.device["inputs"][name])
    pieces = [{"step_to": figure(dice.uniform(0.6, 0.95) * volts, "V")}, {"hold": "20 ms"}]
    steps: list[Data] = [{"shape": {"input": name, "segments": pieces}, "name": "brief"}]
    steps.append({"hold": dice.choice(("25 ms", "40 ms", "60 ms", "100 ms")), "name": "brief hold"})
    back = [{"step_to": figure(volts, "V")}, {"hold": "200 ms"}]
    steps.append({"shape": {"input": name, "segments": back}, "name": "back"})
    insert(documents, dice, steps)
    documents.procedure["record"] = {"every": "5 ms"}
    for step in ("brief", "brief hold"):
        for measure in ("high_state_level", "low_state_level"):
            asked = {"name": f"{measure} of {step}", "measure": measure, "of": name, "during": step}
            documents.procedure.setdefault("requires", []).append(
                {**asked, "at_most": figure(2 * volts, "V")}
            )


def arrange_wider(documents: Documents, dice: Random) -> None:
    """Put coupled settings, a voltage that is held before a power-up, and decays into some documents, by dice
    of their own.
    """
    name = dice.choice(list(documents.device["inputs"]))
    if dice.random() < 0.12:
        held_before(documents, dice, name)
    elif dice.random() < 0.15:
        decay(documents, dice, name)
    if dice.random() < 0.4:
        coupled(documents, dice, dice.choice(list(documents.device["inputs"])))


def slow_readings(documents: Documents, name: str, update: int) -> int:
    """Readings of the input's supply that are new every so many milliseconds; gives those."""
    number = list(documents.device["inputs"]).index(name)
    supply = list(documents.bench["supplies"].values())[number]
    reading = supply["outputs"]["1"].get("reading")
    if reading is not None:
        reading |= {"update": f"{update} ms", "aperture": f"{update * 4 // 5} ms"}
    return update


def held_before(documents: Documents, dice: Random, name: str) -> None:
    """A battery, which holds the input up before its power-up, and means that are asked of that."""
    own = documents.device["inputs"][name]
    volts, amperes = volts_of(own), amperes_of(own)
    battery = {
        "open_circuit_voltage": figure(dice.uniform(0.3, 0.95) * volts, "V"),
        "series_resistance": figure(dice.uniform(0.3, 2.0) * volts / amperes, "ohm"),
        "capacity": figure(2000.0 * amperes, "C"),
        "state_of_charge": "50 %",
    }
    own["load"] = [{"battery": battery}]
    slow_readings(documents, name, dice.choice((20, 50, 50)))
    first = next(each for each in documents.procedure["steps"] if "power_up" in each)
    first["power_up"]["settle"] = dice.choice(("100 ms", "150 ms", "300 ms"))
    wanted = documents.procedure.setdefault("requires", [])
    for measure, limit in (
        ("mean_voltage", figure(1.3 * volts, "V")),
        ("mean_current", figure(amperes, "A")),
    ):
        wanted.append(
            {
                "name": f"held {measure}",
                "measure": measure,
                "of": name,
                "during": first["name"],
                "at_most": limit,
            }
        )


def decay(documents: Documents, dice: Random, name: str) -> None:
    """An input that is off for a while, and falls as its capacitors empty into its load: the readings nearest
    to nothing are still on their way there. Some of them are within 3 % of it.
    """
    own = documents.device["inputs"][name]
    volts, amperes = volts_of(own), amperes_of(own)
    update = slow_readings(documents, name, dice.choice((10, 20, 20))) * 1e-3
    ohms, constant = volts / amperes, dice.uniform(1.5, 3.5) * update
    number = list(documents.device["inputs"]).index(name)
    output = list(documents.bench["supplies"].values())[number]["outputs"]["1"]
    output["output_capacitance"] = "220 uF"
    capacitor = {"capacitance": figure(max(1e-6, constant / ohms - 220e-6), "F"), "esr": "50 mohm"}
    own["load"] = [{"capacitor": capacitor}, {"resistor": {"resistance": figure(ohms, "ohm")}}]
    away = figure(3.5 * constant + dice.uniform(2.0, 5.0) * update, "s")
    pieces: list[Data] = [{"off_for": away}, {"hold": dice.choice(("60 ms", "200 ms"))}]
    insert(documents, dice, [{"shape": {"input": name, "segments": pieces}, "name": "decay"}])
    asked = {"name": "lowest of a decay", "measure": "low_state_level", "of": name, "during": "decay"}
    documents.procedure.setdefault("requires", []).append({**asked, "at_most": figure(volts, "V")})


def coupled(documents: Documents, dice: Random, name: str) -> None:
    """A second input like one of those that are there, fed by the other output of its supply, which moves
    what is set on both together.
    """
    inputs, procedure = documents.device["inputs"], documents.procedure
    if not isinstance(hook_up := procedure["hook_up"], dict):
        return
    number = list(inputs).index(name)
    supply = list(documents.bench["supplies"])[number]
    lead = list(documents.bench["leads"])[number]
    fixture = {key: each for key, each in hook_up[name].items() if key == "fixture"}
    other = "beside"
    inputs[other] = deepcopy(inputs[name])
    hook_up[name] = {"from": f"{supply}.1", "lead": lead, "sense": "at terminals", **fixture}
    hook_up[other] = {"from": f"{supply}.2", "lead": lead, "sense": "at terminals"}
    procedure["limits"][other] = deepcopy(procedure["limits"][name])
    for step in procedure["steps"]:
        for kind in ("power_up", "power_down"):
            if kind in step:
                order = step[kind]["order"]
                order.insert(order.index(name) + dice.choice((0, 1)), other)
    by = dice.choice(("step", "step", "ratio"))
    kinds = dice.choice((("voltage",), ("current_limit",), ("voltage", "current_limit")))
    documents.bench["supplies"][supply]["coupled"] = [
        {"outputs": [1, 2], "by": by, "of": kind} for kind in kinds
    ]
