"""Draws that can be played: the invented documents of `same_outcomes`, completed, and what is true behind the
supplies.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from benchmarks.disagreement_hunt.situations import arrange, arrange_edges, arrange_wider, ask
from benchmarks.same_outcomes.documents import Data, Documents
from benchmarks.same_outcomes.invented import invented
from benchmarks.same_outcomes.loads import figure

OVERLOADS = {
    "resistor": ("resistance", 0.15, 0.6),
    "constant_current": ("current", 1.5, 5.0),
    "converter": ("output_power", 1.3, 3.0),
    "capacitor": ("capacitance", 3.0, 30.0),
    "coil": ("resistance", 0.15, 0.6),
    "dc_motor": ("load_torque", 1.5, 4.0),
    "filament_lamp": ("rated_power", 1.5, 4.0),
}
"""Kind of load -> the quantity that makes it draw more than it should, and by which factors."""


UNSTEADY = ("converter", "profile")
"""Loads that draw the more the lower their voltage is, or jump. On a lead of inductance L and resistance R,
with nothing but the 10 nF of the connector beside it, constant power P at V is unsteady where C < L P / (R
V²) (trace of the linearised circuit): a lead of 3 m, 3 µH and 0.2 Ω with 6 W at 3.3 V asks for 8 µF. What
such a draw does within a microsecond hangs on the solver's step; real inputs have a capacitor, and so have
these.
"""


@dataclass(frozen=True)
class Draw:
    """One draw: the files, the seed of the twins, and what is true of them beyond their documents."""

    name: str
    files: dict[str, bytes]
    seed: int
    true: dict[str, str]


def draw(seed: int, number: int, *, arranged: bool = True, wider: bool = True) -> Draw:
    """The draw of this number; it is the same whatever the number of draws is. arranged: with situations on
    which much hangs (`situations.py`), by dice of their own; without them it is as chance has it. wider: with
    those that came later, too, by dice of theirs; draws of before are as they were without them.
    """
    dice, others = Random(f"disagreement {seed} {number}"), Random(f"situations {seed} {number}")
    documents = invented(dice)
    if arranged:
        arrange(documents, others)
        arrange_edges(documents, Random(f"edges {seed} {number}"))
        if wider:
            arrange_wider(documents, Random(f"wider {seed} {number}"))
    complete(documents, dice)
    if arranged:
        ask(documents, others)
    true = overload(documents, dice) if dice.random() < 0.35 else {}
    return Draw(f"{seed}/{number}", dict(documents.written(Random(0))), dice.randrange(10_000), true)


def complete(documents: Documents, dice: Random) -> None:
    """Fill in what data sheets leave out, and leave out what waits for a person: a draw that is refused
    compares nothing.
    """
    inputs = documents.device["inputs"]
    for own in inputs.values():
        volts, steady = float(own["nominal"].split()[0]), own.get("current", {}).get("steady")
        for part in own["load"]:
            # Twins cannot know when a procedure begins: a profile that counts from there is another there.
            if "profile" in part and "starts_at" not in part["profile"]:
                part["profile"] |= {
                    "starts_at": figure(0.6 * volts, "V"),
                    "stops_at": figure(0.4 * volts, "V"),
                }
        if any(kind in UNSTEADY for part in own["load"] for kind in part) and not any(
            "capacitor" in part for part in own["load"]
        ):
            own["load"].append({"capacitor": {"capacitance": "22 uF", "esr": "50 mohm"}})
        own.setdefault("withstands", [{"voltage": figure(1.7 * volts, "V")}])
        own.setdefault("current", {"steady": steady or "0 A .. 10 A"}).setdefault("at_most", "20 A")
    for lead in documents.bench["leads"].values():
        lead.setdefault("contact_resistance_loop", "8 mohm ± 25 %")
        lead["permitted_current"] = "15 A"
    for supply in documents.bench["supplies"].values():
        output = supply["outputs"]["1"]
        output["output_capacitance"] = output.get("output_capacitance", "220 uF")
        output.setdefault("ovp", {"level": "1 V .. 200 V", "accuracy": "100 mV", "response": "200 us"})
        output.setdefault("rise", "12 ms")
        output.setdefault("limit_response", "1 ms")
        output.setdefault("trip_delay", "2 ms .. 5 s")
        output.setdefault("sense", {"compensates": "2 V"})
    procedure = documents.procedure
    for name, own in procedure["limits"].items():
        hook = procedure["hook_up"][name] if isinstance(procedure["hook_up"], dict) else {"from": "auto"}
        _known_limits(own, _outputs(documents, hook))
    procedure.pop("overrides", None)
    if dice.random() < 0.7:
        procedure.pop("stop_when", None)
    for step in procedure["steps"]:
        step.get("shape", {}).pop("advance", None)
    wanted = procedure.setdefault("requires", [])
    for number, (name, step) in enumerate(
        (name, step["name"]) for name in inputs for step in procedure["steps"] if "name" in step
    ):
        if dice.random() < 0.4:
            wanted.append(_wanted(dice, number, name, step, float(inputs[name]["nominal"].split()[0])))


def _outputs(documents: Documents, hook: Data) -> list[Data]:
    """Data sheets of the outputs that feed an input."""
    source = hook["from"]
    names = source if isinstance(source, list) else [source]
    if isinstance(source, dict):
        names = next(iter(source.values()))
    if source == "auto":
        return [supply["outputs"]["1"] for supply in documents.bench["supplies"].values()]
    return [documents.bench["supplies"][name.rpartition(".")[0]]["outputs"]["1"] for name in names]


def _known_limits(own: Data, outputs: list[Data]) -> None:
    """Leave out protections that the outputs have not."""
    for key in ("opp", "ocp"):
        if any(key not in each for each in outputs):
            own.pop(key, None)
    if "ocp" not in own:
        own.pop("ocp_delay", None)


def _wanted(dice: Random, number: int, name: str, step: str, volts: float) -> Data:
    """A requirement of what the supply's own readings can tell of a step."""
    measure, limit = dice.choice(
        (
            ("mean_voltage", {"at_least": figure(dice.uniform(0.8, 1.05) * volts, "V")}),
            ("restarts", {"at_most": "0"}),
            ("high_state_level", {"at_most": figure(dice.uniform(0.95, 1.3) * volts, "V")}),
            ("low_state_level", {"at_least": figure(dice.uniform(0.4, 1.0) * volts, "V")}),
            ("peak_voltage", {"at_most": figure(dice.uniform(1.0, 1.4) * volts, "V")}),
        )
    )
    of: Data = {"name": f"hunt {number}", "measure": measure, "of": name, "during": step}
    return {**of, **limit}


def overload(documents: Documents, dice: Random) -> dict[str, str]:
    """One load that draws far more than its document says."""
    known = [
        (name, kind)
        for name, own in documents.device["inputs"].items()
        for part in own["load"]
        for kind in part
        if kind in OVERLOADS and (kind != "filament_lamp" or "rated_power" in part[kind])
    ]
    if not known:
        return {}
    name, kind = dice.choice(known)
    field, low, high = OVERLOADS[kind]
    return {f"{name}.{kind}.{field}": f"x{dice.uniform(low, high):.3g}"}
