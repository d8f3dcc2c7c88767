"""Steps, requirements and stop conditions of an invented procedure."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from benchmarks.same_outcomes.documents import Data
from benchmarks.same_outcomes.loads import figure

Inputs = dict[str, tuple[float, float]]
"""Input -> nominal voltage [V] and current [A]."""

STANDARDS = (
    {"standard": "IEC 61000-4-29 dip", "level": "70 %", "duration": "30 ms"},
    {"standard": "IEC 61000-4-29 interruption", "impedance": "high", "duration": "10 ms"},
    {"standard": "IEC 61000-4-29 variation", "level": "85 %", "duration": "300 ms"},
    {"standard": "EN 50155 temporary dip"},
    {"standard": "EN 50155 temporary rise"},
    {"standard": "EN 50155 interruption", "level": "S3", "impedance": "low"},
    {"standard": "EN 50155 change-over", "level": "C2", "impedance": "high"},
    {"standard": "EN 50155 variation", "level": "125 %", "duration": "200 ms"},
)
OF_12_V = ({"standard": "ISO 16750-2 momentary drop"}, {"standard": "ISO 16750-2 starting", "level": "I"})
OF_28_V = (
    {"standard": "MIL-STD-704F normal transient"},
    {"standard": "RTCA DO-160G interruption", "level": "B"},
)


def drawn_steps(dice: Random, inputs: Inputs) -> Data:
    """What a procedure holds from `steps` on."""
    names = list(inputs)
    up: Data = {"order": names, "gap": dice.choice(("20 ms", "50 ms", "100 ms"))}
    if (rise := dice.choice(("none", "auto", "drawn"))) != "none":
        least = min(volts for volts, _ in inputs.values())
        up["rise"] = "auto" if rise == "auto" else f"{least * dice.uniform(10, 60):.3g} V/s"
    up["settle"] = dice.choice(("150 ms", "300 ms", "500 ms"))
    steps: list[Data] = [
        {"power_up": up, "name": "rise"},
        {"hold": dice.choice(("500 ms", "1 s")), "name": "steady"},
    ]
    for number in range(dice.choice((0, 1, 1, 2))):
        name = dice.choice(names)
        steps.append({**_moving(dice, name, inputs), "name": f"part {number + 1}"})
        if dice.random() < 0.5:
            steps.append({"hold": "200 ms"})
    if dice.random() < 0.9:
        steps.append({"power_down": {"order": names[::-1], "gap": dice.choice(("0 s", "20 ms"))}})
    more: Data = {}
    if (stops := list(_stops(dice, inputs))) and dice.random() < 0.6:
        more["stop_when"] = stops
    if dice.random() < 0.15:
        more["attended"] = "no"
    more["record"] = {"every": dice.choice(("5 ms", "10 ms", "10 ms", "20 ms", "50 ms"))}
    if dice.random() < 0.4:
        more["decision"] = dice.choice(({"rule": "simple"}, {"rule": "guarded", "guard_band": "0.5 × U"}))
    if requires := list(_requires(dice, inputs, steps)):
        more["requires"] = requires
    if dice.random() < 0.1:
        found = dice.choice(("limit-below-need", "trips-rehearsed", "touch-voltage", "ovp-range"))
        more["overrides"] = [{"finding": found, "because": "it is meant"}]
    return {"steps": steps, **more}


def _moving(dice: Random, name: str, inputs: Inputs) -> Data:
    """A sweep or a shape of one input, or of all at once."""
    volts = inputs[name][0]
    if dice.random() < 0.3:
        low, high = (figure(part * volts, "V") for part in (dice.uniform(0.6, 0.9), dice.uniform(1.0, 1.35)))
        ends = (low, high) if dice.random() < 0.7 else (high, low)
        points = str(dice.choice((2, 5, 8)))
        dwell = dice.choice(("25 ms", "100 ms", "200 ms"))
        return {"sweep": {"input": name, "from": ends[0], "to": ends[1], "points": points, "dwell": dwell}}
    kind = dice.choice(("segments", "segments", "segments", "standard", "recording"))
    if kind == "recording" and name != next(iter(inputs)):
        kind = "segments"
    if kind == "standard":
        known = STANDARDS + (OF_12_V if volts == 12.0 else OF_28_V if volts == 28.0 else ())
        return {
            "shape": {
                "input": name,
                **dice.choice(known),
                "repeat": str(dice.choice((1, 1, 2))),
                "pause_between": "200 ms",
            }
        }
    if kind == "recording":
        full_scale = "20 V" if volts <= 19.0 else "60 V"
        file = dice.choice(
            (
                {"recording": "recorded.csv"},
                {"recording": "comma.csv", "end": "400 ms"},
                {"recording": "bare.csv", "interval": "20 ms"},
                {"recording": "whole.wav", "full_scale": full_scale},
            )
        )
        return {"shape": {"input": name, **file}}
    if len(inputs) > 1 and dice.random() < 0.25:
        each = {
            other: {
                "segments": [
                    {"step_to": figure(0.9 * v, "V")},
                    {"hold": "100 ms"},
                    {"step_to": figure(v, "V")},
                ]
            }
            for other, (v, _) in inputs.items()
        }
        return {"shape": {"inputs": each, "repeat": "2", "pause_between": "100 ms"}}
    shape: Data = {"input": name, "segments": list(_segments(dice, *inputs[name]))}
    if dice.random() < 0.3:
        shape |= {"repeat": str(dice.randrange(2, 4)), "pause_between": "50 ms"}
    if dice.random() < 0.1:
        shape["advance"] = "on trigger"
    if dice.random() < 0.1:
        shape["at_end"] = dice.choice(("zero", "off"))
    return {"shape": shape}


def _segments(dice: Random, volts: float, amperes: float) -> Iterator[Data]:
    """Pieces that end at the nominal voltage."""
    hold = {"hold": dice.choice(("5 ms", "50 ms", "100 ms", "200 ms"))}
    to = figure(dice.uniform(0.3, 1.3) * volts, "V")
    for _ in range(dice.randrange(1, 4)):
        match dice.randrange(7):
            case 0:
                yield {"step_to": to}
            case 1:
                yield {"line_to": to, "over": dice.choice(("20 ms", "100 ms", "500 ms"))}
            case 2:
                yield {"exponential_to": to, "time_constant": "50 ms", "for": "150 ms"}
            case 3:
                kind = dice.choice(({"ripple": "sine"}, {"ripple": "trapezoid", "edges": "20 ms"}))
                size = {"peak_to_peak": figure(0.1 * volts, "V"), "frequency": dice.choice(("2 Hz", "10 Hz"))}
                yield {**kind, **size, "on": figure(volts, "V"), "for": "500 ms"}
            case 4:
                yield {"off_for": dice.choice(("10 ms", "30 ms", "100 ms"))}
            case 5:
                parts = [{"step_to": to}, dict(hold), {"step_to": figure(volts, "V")}, dict(hold)]
                yield {"repeat": "2", "segments": parts, "pause_between": "20 ms"}
            case 6:
                yield {
                    "step_to": figure(0.95 * volts, "V"),
                    "current_limit": figure(dice.uniform(1.0, 1.4) * amperes, "A"),
                }
        yield dict(hold)
    yield {"step_to": figure(volts, "V")}
    if dice.random() < 0.8:
        yield {"hold": "200 ms"}


def _stops(dice: Random, inputs: Inputs) -> Iterator[Data]:
    for name, (volts, amperes) in inputs.items():
        for_ = {"for": dice.choice(("5 ms", "50 ms", "100 ms"))}
        if dice.random() < 0.6:
            yield {"input": name, "current_above": figure(dice.uniform(1.0, 2.5) * amperes, "A"), **for_}
        if dice.random() < 0.2:
            yield {"input": name, "voltage_above": figure(dice.uniform(1.2, 1.8) * volts, "V"), **for_}
        if dice.random() < 0.2:
            yield {"input": name, "voltage_below": figure(0.5 * volts, "V"), "during": "steady", **for_}
        if dice.random() < 0.1:
            yield {"input": name, "trips": "any", "likely": "a short"}


def _requires(dice: Random, inputs: Inputs, steps: list[Data]) -> Iterator[Data]:
    """Requirements with limits near the value that is likely: met, missed, and in between."""
    moving = {step["name"]: step for step in steps if "sweep" in step or "shape" in step}
    for name, (volts, amperes) in inputs.items():
        around = dice.choice((0.7, 0.97, 1.0, 1.02, 1.2, 2.0))
        charge = amperes * 0.3
        known: list[tuple[str, str, Data]] = [
            ("peak_current", "rise", {"at_most": figure(3 * around * amperes, "A")}),
            ("peak_voltage", "steady", {"at_most": figure(1.05 * around * volts, "V")}),
            (
                "mean_current",
                "steady",
                {"between": f"{figure(0.3 * amperes, 'A')} .. {figure(1.1 * around * amperes, 'A')}"},
            ),
            (
                "mean_voltage",
                "steady",
                {"between": f"{figure(0.97 * volts, 'V')} .. {figure(1.01 * volts, 'V')}"},
            ),
            ("mean_power", "steady", {"at_most": figure(1.1 * around * volts * amperes, "W")}),
            ("charge", "rise", {"at_most": figure(around * charge, "C")}),
            ("energy", "steady", {"at_most": figure(around * volts * amperes, "J")}),
            ("start_up_time", "rise", {"at_most": figure(0.08 * around, "s")}),
            ("restarts", "steady", {"at_most": "0"}),
            ("high_state_level", "steady", {"at_least": figure(0.99 * volts, "V")}),
        ]
        for step in moving:
            known.append(("low_state_level", step, {"at_least": figure(0.6 * volts, "V")}))
            known.append(
                (
                    "turn_off_voltage",
                    step,
                    {"between": f"{figure(0.4 * volts, 'V')} .. {figure(0.65 * volts, 'V')}"},
                )
            )
            known.append(
                (
                    "turn_on_voltage",
                    step,
                    {"between": f"{figure(0.5 * volts, 'V')} .. {figure(0.8 * volts, 'V')}"},
                )
            )
            known.append(("restarts", step, {"at_most": "0"}))
            if "sweep" in moving[step] and moving[step]["sweep"]["input"] == name:
                known.append(
                    (
                        "mean_power",
                        step,
                        {"each_point": "worst", "at_most": figure(1.3 * volts * amperes, "W")},
                    )
                )
        for number, (measure, during, limits) in enumerate(dice.sample(known, dice.choice((0, 1, 2, 3)))):
            at = {"at": "terminals"} if measure.endswith("voltage") and dice.random() < 0.2 else {}
            yield {
                "name": f"{name} {number + 1}",
                "measure": measure,
                "of": name,
                "during": during,
                **at,
                **limits,
            }
