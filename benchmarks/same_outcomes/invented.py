"""Devices, benches and procedures that the dice invent."""

from __future__ import annotations

from random import Random

from benchmarks.same_outcomes.documents import Data, Documents
from benchmarks.same_outcomes.loads import figure, load, recordings
from benchmarks.same_outcomes.steps import drawn_steps

from railwright.physics.loads import KINDS

NAMES = ("main", "aux", "lamp", "radio", "heater rail", "logger")
VOLTS = (3.3, 5.0, 12.0, 12.0, 24.0, 24.0, 28.0, 48.0)
CONDUCTORS = ("AWG 18", "AWG 20", "AWG 14", "AWG 24", "0.5 mm2 class 5", "1.5 mm2 class 2")


def invented(dice: Random) -> Documents:
    """Three documents that fit together, more or less."""
    made = Documents({}, {}, {})
    count = dice.choice((1, 1, 2, 2, 3))
    inputs = {name: (dice.choice(VOLTS), _amperes(dice)) for name in dice.sample(NAMES, count)}
    made.device = _device(dice, inputs, made)
    hook_up, supplies, leads = _bench_parts(dice, inputs, made.device)
    made.bench = {
        "bench": "Invented bench",
        "location": dice.choice(("dry", "dry", "wet")),
        "ambient": dice.choice(("23 °C", "23 °C ± 3 °C", "10 °C .. 30 °C")),
        **(
            {"interlock": {"opened_by": "cage door", "seen_to_act": "2001-11-02"}}
            if dice.random() < 0.4
            else {}
        ),
        "supplies": supplies,
        "leads": leads,
    }
    if dice.random() < 0.25:
        name = dice.choice(list(inputs))
        made.bench["fixtures"] = {"box": _fixture(dice, *inputs[name])}
        if isinstance(hook_up, dict) and isinstance(hook_up[name], dict):
            hook_up[name]["fixture"] = "box"
    if dice.random() < 0.2:
        made.bench["stock"] = [{"conductor": each} for each in ("AWG 12", "AWG 16")]
    made.files |= recordings(dice, next(iter(inputs.values()))[0])
    made.procedure = {
        "procedure": f"Invented {dice.randrange(1000)}",
        "device": "device.yaml",
        "bench": "bench.yaml",
        "hook_up": hook_up,
        "limits": _limits(dice, inputs),
        **drawn_steps(dice, inputs),
    }
    return made


def _amperes(dice: Random) -> float:
    return dice.choice((0.05, 0.2, 0.5, 0.5, 1.0, 2.0)) * dice.uniform(0.7, 1.3)


def _device(dice: Random, inputs: dict[str, tuple[float, float]], made: Documents) -> Data:
    names = list(inputs)
    device: Data = {"device": f"Invented device {dice.randrange(1000)}", "inputs": {}}
    returns = dice.choice(("common", "isolated", "earth", "mixed"))
    for name, (volts, amperes) in inputs.items():
        kinds = [dice.choice(list(KINDS))]
        kinds += ["capacitor"] * (dice.random() < 0.5 and kinds[0] != "capacitor")
        kinds += [dice.choice(("resistor", "led_string", "coil"))] * (dice.random() < 0.2)
        own: Data = {
            "nominal": figure(volts, "V"),
            "operating": f"{figure(0.75 * volts, 'V')} .. {figure(1.3 * volts, 'V')}",
        }
        if dice.random() < 0.93:
            own["withstands"] = [{"voltage": figure(1.7 * volts, "V")}]
            own["withstands"] += [{"voltage": figure(2.1 * volts, "V"), "for": "1 s"}] * (dice.random() < 0.5)
            own["withstands"] += [{"reverse": figure(volts, "V")}] * (dice.random() < 0.5)
        if dice.random() < 0.95:
            own["current"] = {"steady": f"{figure(0.2 * amperes, 'A')} .. {figure(1.5 * amperes, 'A')}"}
            if dice.random() < 0.93:
                own["current"]["at_most"] = figure(dice.uniform(3, 6) * amperes, "A")
        own["return"] = dice.choice(("common", "isolated")) if returns == "mixed" else returns
        if dice.random() < 0.1:
            own["rail"] = "negative"
        own["load"] = [load(dice, kind, volts, amperes / len(kinds), made) for kind in kinds]
        device["inputs"][name] = own
    if len(names) > 1:
        if dice.random() < 0.5:
            device["order"] = [{"after": names[0], "then": names[1], "delay": "10 ms .. 200 ms"}]
        if dice.random() < 0.4:
            bound = figure(dice.uniform(0.9, 1.6) * max(volts for volts, _ in inputs.values()), "V")
            device["never"] = [{"voltage_of": names[1], "minus": names[0], "outside": f"-{bound} .. {bound}"}]
    return device


def _output(dice: Random, volts: float, amperes: float, group: str) -> Data:
    """An output for an input of so much, with most of a data sheet."""
    top, most = dice.uniform(1.6, 2.5) * volts, dice.uniform(2.0, 5.0) * amperes
    if group == "series":
        top /= 1.6
    if group == "parallel":
        most /= 1.6
    if dice.random() < 0.1:
        most *= 0.4
    accuracy = {
        "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"},
        "current": {
            "of_value": "0.1 %",
            "offset": figure(1e-3 * most, "A"),
            "resolution": "0.1 mA",
            "noise": "0.1 mA",
        },
    }
    setting = {what: {key: each[key] for key in each if key != "noise"} for what, each in accuracy.items()}
    update = dice.choice((5, 10, 10, 20, 50))
    sheet: Data = {
        "power": figure(dice.uniform(0.6, 1.0) * top * most, "W"),
        "programming": setting,
        "reading": {
            **accuracy,
            "update": f"{update} ms",
            "aperture": f"{0.8 * update:g} ms",
            "latency": "3 ms",
        },
        "rise": dice.choice(("2 ms", "12 ms", "40 ms")),
        "fall": {"loaded": "30 ms", "unloaded": "480 ms"},
        "slew": f"1 V/s .. {max(1.0, 0.1 * top):.3g} V/ms",
        "recovery": {"time": "80 us", "band": "20 mV", "step": "25 % .. 75 %"},
        "limit_response": dice.choice(("200 us", "1 ms", "5 ms")),
        "output_capacitance": dice.choice(("47 uF", "220 uF", "470 uF")),
        "bleeder": dice.choice(("300 ohm", "1 kohm", "5 kohm")),
        "ovp": {"level": f"1 V .. {figure(1.1 * top, 'V')}", "accuracy": "100 mV", "response": "200 us"},
        "trip_delay": "2 ms .. 5 s",
        "sense": {"compensates": dice.choice(("500 mV", "1 V", "2 V"))},
        "may_join": ["series", "parallel"],
    }
    sheet = {key: value for key, value in sheet.items() if dice.random() < 0.985}
    if dice.random() < 0.15:
        sheet["sink"] = figure(most, "A")
    if "ovp" in sheet and dice.random() < 0.15:
        sheet["ovp"] |= {"crowbar": dice.choice(("true", "50 mohm"))}
    if dice.random() < 0.5:
        sheet["points"] = {
            "at_most": "200",
            "dwell": dice.choice(("1 ms .. 300 s", "20 ms .. 300 s")),
            "between": ["step", "line"],
        }
    if dice.random() < 0.4:
        sheet["opp"] = {"level": f"100 mW .. {figure(1.1 * top * most, 'W')}"}
        sheet["ocp"] = {"level": f"10 mA .. {figure(1.1 * most, 'A')}", "delay": "1 ms .. 1 s"}
    return {"voltage": f"0 V .. {figure(top, 'V')}", "current": f"0 A .. {figure(most, 'A')}", **sheet}


def _bench_parts(
    dice: Random, inputs: dict[str, tuple[float, float]], device: Data
) -> tuple[Data, Data, Data]:
    """Hook-up, supplies and leads. Each input has a supply of its own, or shares one where groups allow."""
    supplies: Data = {}
    hook_up: Data = {}
    leads: Data = {}
    for number, (name, (volts, amperes)) in enumerate(inputs.items(), start=1):
        group = dice.choice(("alone", "alone", "series", "parallel"))
        output = _output(dice, volts, amperes, group)
        supply: Data = {
            "address": f"TCPIP::127.0.0.1::{5024 + number}::SOCKET",
            "dialect": dice.choice(("channel-list", "selected-output")),
        }
        sheet: Data = {
            "model": f"IV-{dice.randrange(100, 999)}",
            "serial": f"I-{dice.randrange(1000, 9999)}",
            "calibrated": {
                "on": "2001-03-02",
                "due": dice.choice(("2199-03-02", "2004-01-01")),
                "certificate": "C-1",
            },
            "isolation": dice.choice(("60 V", "150 V", "240 V")),
        }
        supply |= {key: value for key, value in sheet.items() if dice.random() < 0.8}
        supply["outputs"] = {"1": output, "2": {"same_as": "1"}}
        key = f"supply {number}" if dice.random() < 0.3 else f"s{number}"
        supplies[key] = supply
        lead = f"pair {number}"
        leads[lead] = {
            "conductor": dice.choice(CONDUCTORS),
            "one_way_length": f"{dice.choice((0.5, 1, 1.5, 3, 6))} m",
        }
        if dice.random() < 0.93:
            leads[lead] |= {
                "contact_resistance_loop": "8 mohm ± 25 %",
                "permitted_current": f"{dice.choice((3, 8, 15))} A",
            }
        outputs = [f"{key}.1", f"{key}.2"]
        sense = dice.choice(("at load", "at terminals", "auto"))
        hook_up[name] = {
            "from": outputs[0] if group == "alone" else {group: outputs},
            "lead": lead,
            "sense": sense,
        }
        if dice.random() < 0.15:
            hook_up[name] = {"from": "auto"} | (
                {"lead": lead, "sense": "auto"} if dice.random() < 0.5 else {"lead": "auto", "sense": "auto"}
            )
    return ("auto" if dice.random() < 0.1 else hook_up), supplies, leads


def _fixture(dice: Random, volts: float, amperes: float) -> Data:
    parts: Data = {
        "fuse": {
            "curve": [
                {"current": figure(1.6 * amperes, "A"), "time": "100 s"},
                {"current": figure(6 * amperes, "A"), "time": "50 ms"},
            ],
            "resistance": "40 mohm",
        },
        "diode": {"drop": "0.5 V ± 0.1 V", "resistance": "60 mohm"},
        "switch": {"resistance": "5 mohm"},
        "capacitor": {"capacitance": figure(1e-3 * amperes / volts, "F"), "esr": "50 mohm"},
    }
    return {key: parts[key] for key in dice.sample(list(parts), dice.choice((1, 2)))}


def _limits(dice: Random, inputs: dict[str, tuple[float, float]]) -> Data:
    names, limits = list(inputs), {}
    for name, (volts, amperes) in inputs.items():
        own: Data = {
            "current_limit": "auto" if dice.random() < 0.5 else figure(dice.uniform(1.3, 3.0) * amperes, "A"),
            "at_limit": dice.choice(("regulate", "trip", "trip")),
            "ovp": "auto" if dice.random() < 0.5 else figure(dice.uniform(1.35, 1.6) * volts, "V"),
        }
        if own["at_limit"] == "trip":
            own["trip_delay"] = dice.choice(("auto", "auto", "20 ms", "100 ms"))
        if dice.random() < 0.06:
            own["opp"] = dice.choice(("auto", figure(3 * volts * amperes, "W")))
        if dice.random() < 0.06:
            own |= {"ocp": figure(2 * amperes, "A"), "ocp_delay": "50 ms"}
        others = [other for other in names if other != name]
        if others and own["at_limit"] == "trip" and dice.random() < 0.3:
            own["trips_when"] = [others[0]]
        if others and name == names[-1] and dice.random() < 0.2:
            own["off_after"] = [others[0]]
        if dice.random() < 0.12:
            own["at_end"] = dice.choice(("off", {"ramp_down": "300 ms"}, {"stays_on": "it cools"}))
        limits[name] = own
    return limits
