"""Loads of every kind and recordings of several forms, drawn about a voltage and a current."""

from __future__ import annotations

import io
import math
import wave
from collections.abc import Callable
from itertools import pairwise
from random import Random

from benchmarks.same_outcomes.documents import Data, Documents

from railwright.physics.loads import KINDS


def figure(value: float, unit: str) -> str:
    """A value in SI units as a document writes it, with three digits and a prefix where that reads better."""
    for prefix, size in (("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9)):
        if abs(value) >= size or (prefix == "n" or value == 0.0):
            number = float(f"{value / size:.3g}")
            return f"{number:g} {prefix}{unit}" if abs(number) < 1e5 else f"{number:.0f} {prefix}{unit}"
    raise AssertionError(value)


def bounded(dice: Random, value: float, unit: str) -> str:
    """A figure, with bounds more often than not."""
    text = figure(value, unit)
    match dice.randrange(4):
        case 0:
            return text
        case 1:
            return f"{figure(0.9 * value, unit)} .. {figure(1.1 * value, unit)}"
        case 2:
            return f"{text} ± {figure(0.1 * value, unit)}"
    return f"{text} ± {dice.choice((5, 10, 20))} %" + dice.choice(("", "", " normal k=2", " triangular"))


def converter_load(capacitance: str, power: str) -> str:
    """The load of an input that starts and stops, as YAML: a converter of this power behind a capacitor."""
    converter = (
        f"{{output_power: {power} ± 10 %, efficiency: 83 % .. 89 %, starts_at: 8.2 V .. 8.6 V, "
        "stops_at: 7.4 V .. 7.8 V, soft_start: 8 ms}"
    )
    capacitor = f"{{capacitance: {capacitance} ± 20 %, esr: 60 mohm}}"
    return f"[{{capacitor: {capacitor}}}, {{converter: {converter}}}]"


def load(dice: Random, kind: str, volts: float, amperes: float, documents: Documents) -> Data:
    """A part of this kind that draws about so much; a file that it needs is put beside the documents.

    Of a kind without a drawing of its own it is one of the load's examples.
    """
    if kind in LOADS:
        return {kind: LOADS[kind](dice, volts, amperes, documents)}
    return {kind: dict(dice.choice(list(KINDS[kind].equations.examples(volts, amperes).values())))}


def _resistor(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    return {"resistance": bounded(dice, volts / amperes, "ohm")}


def _constant_current(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    return {"current": bounded(dice, amperes, "A"), "compliance": figure(dice.uniform(0.2, 0.6) * volts, "V")}


def _capacitor(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    capacitance = amperes / volts * dice.uniform(2e-4, 1e-2)
    return _known(
        dice,
        {"capacitance": bounded(dice, capacitance, "F")},
        {"esr": figure(dice.uniform(0.02, 0.3), "ohm")},
    )


def _converter(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    starts = dice.uniform(0.55, 0.75) * volts
    given = {
        "output_power": bounded(dice, 0.85 * volts * amperes, "W"),
        "efficiency": dice.choice(("85 %", "83 % .. 89 %")),
        "starts_at": f"{figure(starts, 'V')} .. {figure(1.04 * starts, 'V')}",
        "stops_at": f"{figure(0.85 * starts, 'V')} .. {figure(0.9 * starts, 'V')}",
    }
    more = {
        "soft_start": figure(dice.uniform(2e-3, 20e-3), "s"),
        "input_current_limit": figure(dice.uniform(1.8, 3.0) * amperes, "A"),
        "drop_out": figure(0.95 * starts, "V"),
    }
    return _known(dice, given, more, 0.5)


def _filament_lamp(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    rated = (
        {"rated_power": bounded(dice, volts * amperes, "W")}
        if dice.random() < 0.5
        else {"rated_current": bounded(dice, amperes, "A")}
    )
    more = {
        "cold_resistance": figure(volts / amperes / dice.uniform(8, 12), "ohm"),
        "warm_up": figure(dice.uniform(0.03, 0.15), "s"),
    }
    return _known(dice, {"rated_voltage": figure(volts, "V"), **rated}, more)


def _dc_motor(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    constant = volts / dice.uniform(250, 400)
    given = {
        "resistance": bounded(dice, volts / amperes / dice.uniform(4, 8), "ohm"),
        "torque_constant": f"{1e3 * constant:.3g} mN*m/A",
        "inertia": f"{dice.uniform(10, 60):.3g} g*cm2",
        "load_torque": f"{1e3 * constant * 0.7 * amperes:.3g} mN*m",
    }
    more = {"inductance": "2 mH", "friction": f"{1e3 * constant * 0.1 * amperes:.3g} mN*m"}
    return _known(dice, given, more)


def _led_string(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    count = max(1, int(0.75 * volts / 2.1))
    given = {
        "count": str(count),
        "forward_voltage": "2.1 V ± 5 %",
        "rated_current": figure(amperes, "A"),
        "series_resistance": bounded(dice, (volts - 2.1 * count) / amperes, "ohm"),
    }
    return _known(dice, given, {"dynamic_resistance": figure(0.1 / amperes, "ohm"), "ideality": "2"})


def _battery(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    given: Data = {
        "series_resistance": bounded(dice, 0.1 * volts / amperes, "ohm"),
        "capacity": figure(dice.uniform(500, 5000) * amperes, "C"),
        "state_of_charge": f"{dice.randrange(30, 80)} %",
    }
    if dice.random() < 0.5:
        given["open_circuit_voltage"] = figure(0.9 * volts, "V")
    else:
        ends = (("0 %", 0.8), ("50 %", 0.88), ("100 %", 0.95))
        given["curve"] = [{"charge": at, "voltage": figure(part * volts, "V")} for at, part in ends]
    return _known(dice, given, {"diode_drop": "0.4 V"}, 0.8)


def _coil(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    given = {
        "resistance": bounded(dice, volts / amperes, "ohm"),
        "inductance": f"{dice.uniform(5, 200):.3g} mH",
    }
    return _known(dice, given, {"diode_drop": "0.8 V", "diode_resistance": "100 mohm"})


def _iv_table(dice: Random, volts: float, amperes: float, _documents: Documents) -> Data:
    parts = ((0.0, 0.0), (0.5, 0.6), (1.0, 1.0), (1.3, dice.choice((0.8, 1.1, 1.4))))
    points = [{"voltage": figure(v * volts, "V"), "current": figure(i * amperes, "A")} for v, i in parts]
    return _known(dice, {"points": points}, {"factor": "100 % ± 10 %"})


def _profile(dice: Random, volts: float, amperes: float, documents: Documents) -> Data:
    power = dice.random() < 0.5
    unit, size = ("W", volts * amperes) if power else ("A", amperes)
    times = (0.0, 0.3, 0.3, dice.uniform(0.5, 1.0), 1.2)
    values = [size * part for part in (0.3, 0.6, 1.0, 1.0, dice.uniform(0.4, 0.9))]
    given: Data = {}
    if dice.random() < 0.5:
        head = f"time_s,{'power_W' if power else 'current_A'}\n"
        rows = "".join(f"{t:.4g},{v:.4g}\n" for t, v in zip(times, values, strict=True))
        documents.files["draws.csv"] = (head + rows).encode()
        given["file"] = "draws.csv"
    else:
        name = "power" if power else "current"
        pairs = zip(times, values, strict=True)
        given["points"] = [{"time": figure(t, "s"), name: figure(v, unit)} for t, v in pairs]
    more = {
        "compliance": figure(0.5 * volts, "V"),
        "repeats": "always",
        "factor": "100 % ± 5 %",
    }
    if dice.random() < 0.5:
        given |= {"starts_at": figure(0.6 * volts, "V"), "stops_at": figure(0.4 * volts, "V")}
    return _known(dice, given, more, 0.5)


LOADS: dict[str, Callable[[Random, float, float, Documents], Data]] = {
    "resistor": _resistor,
    "constant_current": _constant_current,
    "capacitor": _capacitor,
    "converter": _converter,
    "filament_lamp": _filament_lamp,
    "dc_motor": _dc_motor,
    "led_string": _led_string,
    "battery": _battery,
    "coil": _coil,
    "iv_table": _iv_table,
    "profile": _profile,
}
"""Kinds whose parameters are drawn one by one."""


def _known(dice: Random, given: Data, more: Data, share: float = 0.7) -> Data:
    """What a data sheet always gives, and of the rest a share."""
    return given | {key: value for key, value in more.items() if dice.random() < share}


def recordings(dice: Random, volts: float) -> dict[str, bytes]:
    """The same drawn dip, as recordings of several forms: file name -> content."""
    low, edge, hold = dice.uniform(0.7, 0.9) * volts, dice.uniform(0.02, 0.08), dice.uniform(0.1, 0.2)
    turns = [(0.0, volts), (0.1, volts), (0.1 + edge, low), (0.1 + edge + hold, low), (0.5, volts)]
    time = [0.02 * number for number in range(26)]
    value = [_between(turns, at) for at in time]
    samples = [_between(turns, number / 1000) for number in range(500)]
    comma = "".join(f"{1e3 * t:.1f};{v:.3f}\r\n".replace(".", ",") for t, v in zip(time, value, strict=True))
    return {
        "recorded.csv": _csv("time_s,main_voltage_V", turns),
        "comma.csv": f"# by hand\nZeit [ms];U [V]\r\n{comma}".encode(),
        "bare.csv": "".join(f"{v:.4f}\n" for v in value).encode(),
        "whole.wav": _wav(samples, 20.0 if volts <= 19.0 else 60.0),
    }


def _between(turns: list[tuple[float, float]], at: float) -> float:
    for (start, before), (end, after) in pairwise(turns):
        if at <= end:
            return before + (after - before) * (at - start) / (end - start)
    return turns[-1][1]


def _csv(head: str, rows: list[tuple[float, float]]) -> bytes:
    return (head + "\n" + "".join(f"{t:.5g},{v:.5g}\n" for t, v in rows)).encode()


def _wav(samples: list[float], full_scale: float) -> bytes:
    """16 bits, 1000 samples in a second."""
    kept = io.BytesIO()
    with wave.open(kept, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(1000)
        whole = (math.floor(32767 * value / full_scale) for value in samples)
        file.writeframes(b"".join(each.to_bytes(2, "little", signed=True) for each in whole))
    return kept.getvalue()
