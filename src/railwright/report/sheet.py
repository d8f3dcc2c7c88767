"""The sheet: what somebody without this program needs to set the bench up, as one page.

Wiring drawing and every wire in words; what to dial in on each output, in which order, and what to verify.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from railwright.documents.bench import Bench
from railwright.documents.hook_up import HookUp
from railwright.documents.loader import Documents
from railwright.documents.procedure import PowerUp
from railwright.quantities import show
from railwright.rehearsal.setpoints import Feed, OutputSetPoints, SetPoints
from railwright.report.fixture_box import fixture_box
from railwright.report.text import breakable, sentence
from railwright.report.wiring import wiring_of, wiring_svg
from railwright.settings.context import Source, sources_of
from railwright.settings.findings import Finding
from railwright.settings.settle import Settings

OFF_BELOW = 1.0
"""Voltage below which an output that was switched off counts as empty on the sheet [V]."""
HAND = 2.0
"""Shortest time between two outputs that a hand can keep [s]."""
NOT_OF_SETTING_UP = (
    "reading-too-slow",
    "reading-too-coarse",
    "requirement-masked",
    "requirement-out-of-reach",
    "step-too-short",
    "threshold-not-crossed",
    "recorded-too-fast",
    "dwell-too-short",
)
"""Rules about what is measured: nothing to mind while a bench is set up."""
MOST_CAUTIONS = 7
"""Cautions that find room."""


def sheet_of(documents: Documents, settings: Settings, made: dt.date) -> dict[str, Any]:
    """Everything on the sheet of a procedure whose inputs all have their set points, as the template's data.

    made: the day that stands on it. KeyError where an input has no set points.
    """
    device, bench, procedure = documents.device, documents.bench, documents.procedure
    sources, _ = sources_of(documents)
    power_up = next((step.power_up for step in procedure.steps if step.power_up is not None), None)
    stops = [finding for finding in settings.findings if finding.blocks]
    return {
        "title": breakable(device.device),
        "subject": breakable(procedure.procedure),
        "bench": breakable(bench.bench),
        "laboratory": breakable(bench.laboratory.name) if bench.laboratory else "",
        "made": made.isoformat(),
        "blocked": [sentence(f"{f.about}: {f.why}") for f in stops],
        "wiring": wiring_svg(wiring_of(device, bench, procedure)),
        "wires": [_with_sign(breakable(line)) for line in wires(documents)],
        "dial": _dial(documents, settings.set_points, power_up),
        "order": [breakable(line) for line in in_order(documents, settings.set_points, sources, power_up)],
        "cautions": [breakable(line) for line in _cautions(settings.findings)],
        "year": [made.year, made.month, made.day],
    }


def _with_sign(line: str) -> str:
    """A terminal's name stays with its sign at the end of a line."""
    return line.replace(" +", "\u00a0+").replace(" −", "\u00a0−")


# Wires


def wires(documents: Documents) -> Iterator[str]:
    """Every wire in words, input by input: from which terminal to which, with what."""
    bench, procedure = documents.bench, documents.procedure
    for name in documents.device.inputs:
        hook_up = procedure.hook_up[name]
        first, last = hook_up.outputs[0], hook_up.outputs[-1]
        lead = bench.leads[hook_up.lead]
        conductor = lead.conductor.text.replace("mm2", "mm²")
        words = f"{conductor}, {show(lead.one_way_length, 'm')} for each conductor"
        if lead.permitted_current is not None:
            words += f", up to {show(lead.permitted_current, 'A')}"
        yield from _links(hook_up, conductor)
        plus, minus = f"{first} +", f"{last} −"
        if hook_up.arrangement == "parallel":
            plus, minus = "the joined +", "the joined −"
        box = fixture_box(hook_up.fixture, bench.fixture(hook_up.fixture))
        through = f" through '{box.name}' ({box.figures}), which sits at the input" if box else ""
        upper, lower = _terminals(documents, name)
        yield f"Lead '{hook_up.lead}' ({words}): {plus} to {upper}{through}; {minus} to {lower}."
        yield from _sense_wires(upper, lower, hook_up)
    yield from _returns(documents)


def _terminals(documents: Documents, name: str) -> tuple[str, str]:
    """The input's terminals that the outputs' + and − go to: of a negative rail, 0 V and −."""
    negative = documents.device.inputs[name].rail == "negative"
    return (f"{name} 0 V", f"{name} −") if negative else (f"{name} +", f"{name} −")


def _links(hook_up: HookUp, conductor: str) -> Iterator[str]:
    if hook_up.arrangement == "series":
        for upper, lower in zip(hook_up.outputs, hook_up.outputs[1:], strict=False):
            yield f"Link ({conductor} or thicker): {upper} − to {lower} +."
    elif hook_up.arrangement == "parallel":
        for sign in "+−":
            joined = " and ".join(f"{output} {sign}" for output in hook_up.outputs)
            yield f"Links ({conductor} or thicker, equally long): {joined} joined."


def _sense_wires(upper: str, lower: str, hook_up: HookUp) -> Iterator[str]:
    outputs = hook_up.outputs
    if hook_up.sense == "at terminals":
        at = ", ".join(outputs)
        yield f"Sense of {at}: s+ to +, s− to −, at the output itself (links, or the output's setting)."
        return
    tops = outputs if hook_up.arrangement != "series" else outputs[:1]
    bottoms = outputs if hook_up.arrangement != "series" else outputs[-1:]
    plus = " and ".join(f"{output} s+" for output in tops)
    minus = " and ".join(f"{output} s−" for output in bottoms)
    yield f"Sense leads, a twisted pair: {plus} to {upper}, {minus} to {lower}, at the input's connector."
    if hook_up.arrangement == "series":
        inner = [f"{output} s−" for output in outputs[:-1]] + [f"{output} s+" for output in outputs[1:]]
        yield f"Sense terminals inside the chain to their own output's terminals: {', '.join(inner)}."


def _returns(documents: Documents) -> Iterator[str]:
    device, bench, hook_up = documents.device, documents.bench, documents.procedure.hook_up
    common = [name for name, given in device.inputs.items() if given.returns == "common"]
    if len(common) > 1:
        zeros = [(("−", "0 V")[device.inputs[name].rail == "negative"], name) for name in common]
        each = [
            f"the {mark} of {' and '.join(name for own, name in zeros if own == mark)}"
            for mark in dict.fromkeys(own for own, _ in zeros)
        ]
        yield f"Inside the device {' and '.join(each)} are joined (0 V): join nothing outside."
    earthed = [name for name, given in device.inputs.items() if given.returns == "earth"]
    for name in earthed:
        zero = "0 V" if device.inputs[name].rail == "negative" else "−"
        yield f"Inside the device the {zero} of {name} is tied to earth."
    used = [output for each in hook_up.values() for output in each.outputs]
    tied = [output for output in used if bench.output(output).negative == "earth"]
    for output in tied:
        yield f"{output} −: tied to earth in the supply."
    for supply, given in bench.supplies.items():
        joined = [f"{supply}.{each}" for each in given.common_negative if f"{supply}.{each}" in used]
        if len(joined) > 1:
            yield f"Inside '{supply}' the − of {' and '.join(joined)} are joined."
    if not earthed and not tied:
        yield "Nothing is tied to earth: outputs and device float."


# What to dial in


def _dial(documents: Documents, set_points: SetPoints, power_up: PowerUp | None) -> dict[str, Any]:
    """The table: a row for each setting, a column for each output."""
    columns = [(feed, points) for name in documents.procedure.hook_up for feed in (set_points[name],)
               for points in feed.outputs]  # fmt: skip
    head = [breakable(points.output) for _, points in columns]
    under = [
        breakable(f"{_instrument(documents.bench, points)}; {_joined(feed)}") for feed, points in columns
    ]
    table: list[tuple[str, list[str]]] = [
        ("OVP", [show(points.ovp, "V") if math.isfinite(points.ovp) else "" for _, points in columns]),
        ("at the current limit", [_action(points) for _, points in columns]),
        ("over-power protection", [_or_off(points.opp, "W") for _, points in columns]),
        ("over-current protection", [_or_off(points.ocp, "A", points.ocp_delay) for _, points in columns]),
        (
            "sense",
            [
                "at the load (external)" if feed.sense == "at load" else "at its terminals"
                for feed, _ in columns
            ],
        ),
        ("current limit", [show(points.current_limit, "A") for _, points in columns]),
        ("rise", [_rise(power_up, points, documents.bench) for _, points in columns]),
        ("voltage, once on", [_voltage(documents, feed, points, power_up) for feed, points in columns]),
    ]
    rows = [(words, [breakable(each or "—") for each in cells]) for words, cells in table if any(cells)]
    return {"head": head, "under": under, "rows": [[words, *cells] for words, cells in rows]}


def _instrument(bench: Bench, points: OutputSetPoints) -> str:
    """Which output of which instrument it is, as it stands on the instrument."""
    supply = bench.supply_of(points.output)
    named = " ".join(part for part in (supply.model, supply.serial) if part)
    return f"output {points.output.partition('.')[2]} of {named or points.output.partition('.')[0]}"


def _joined(feed: Feed) -> str:
    if feed.arrangement == "alone":
        return f"feeds {feed.input}"
    return f"feeds {feed.input}, in {feed.arrangement}"


def _action(points: OutputSetPoints) -> str:
    if points.at_limit == "regulate":
        return "regulates (no trip)"
    return f"trips after {show(points.trip_delay, 's')}"


def _or_off(level: float, unit: str, delay: float = 0.0) -> str:
    if not math.isfinite(level):
        return ""
    return show(level, unit) + (f" after {show(delay, 's')}" if delay else "")


def _rise(power_up: PowerUp | None, points: OutputSetPoints, bench: Bench) -> str:
    if power_up is None or power_up.rate is None:
        return ""
    slew = bench.output(points.output).slew
    rate = power_up.rate * points.share
    if slew is None or rate not in slew:
        return "by hand, slowly"
    return f"{rate / 1e3:.4g} V/ms" if rate >= 100.0 else show(rate, "V/s")


def _goal(documents: Documents, name: str, power_up: PowerUp | None) -> float | None:
    """Voltage of an input in the first power-up [V]; None: it is not powered up then."""
    if power_up is None or name not in power_up.order:
        return None
    return power_up.voltages.get(name, documents.device.inputs[name].nominal)


def _voltage(documents: Documents, feed: Feed, points: OutputSetPoints, power_up: PowerUp | None) -> str:
    goal = _goal(documents, feed.input, power_up)
    return "" if goal is None else show(goal * points.share, "V")


# In which order


def in_order(
    documents: Documents, set_points: SetPoints, sources: Mapping[str, Source], power_up: PowerUp | None
) -> Iterator[str]:
    """What to do, one line a step, from all off to all off."""
    yield "Outputs off, voltages at their minimum. Wire as drawn; compare with the list of wires."
    yield (
        "On each output dial in, from the top of the table down: protections, sense, current limit; the "
        "voltage stays at its minimum. Ask every setting back; a second person reads them against the table."
    )
    if power_up is None:
        return
    for place, name in enumerate(power_up.order):
        feed = set_points[name]
        goal = _goal(documents, name, power_up) or 0.0
        wait = f"{show(power_up.gap, 's')} later: " if place and power_up.gap else ""
        quick = " Too quick by hand: let the supply or the program time it, also what follows."
        late = quick if place == 1 and power_up.gap < HAND else ""
        outputs = " and ".join(points.output for points in feed.outputs)
        each = [show(goal * points.share, "V") for points in feed.outputs]
        shares = f" ({', '.join(each)})" if feed.arrangement == "series" else ""
        together = "together, " if len(each) > 1 else ""
        yield f"{wait}{outputs} on, {together}to {show(goal, 'V')}{shares}.{late}"
        yield _verify(sources[name], feed, goal)
    steps = documents.procedure.steps
    down = next((step.power_down for step in reversed(steps) if step.power_down is not None), None)
    order = down.order if down is not None else tuple(reversed(power_up.order))
    gap = f", {show(down.gap, 's')} apart" if down is not None and down.gap else ""
    names = [" and ".join(points.output for points in set_points[name].outputs) for name in order]
    yield f"Off in this order{gap}: {', then '.join(names)}."
    yield (
        f"Before anything is touched or unplugged: every output below {show(OFF_BELOW, 'V')}, by its reading."
    )
    for name in power_up.order:
        if set_points[name].trips_when:
            causes = " or ".join(set_points[name].trips_when)
            yield f"Should {causes} trip, switch {name} off at once: linked trip."


def _verify(source: Source, feed: Feed, goal: float) -> str:
    """What the readings should say once an input is up."""
    where = "at the connector" if feed.sense == "at load" else "at the terminals"
    off = source.voltage_error(goal)
    exact = f" ± {show(off, 'V', 2)}" if off is not None else ""
    drawn = source.load.current(goal) if goal > 0.0 else None
    declared = source.input.current.steady
    if drawn is not None:
        amperes = _range(drawn.low, drawn.high)
    elif declared is not None:
        amperes = _range(declared.low, declared.high)
    else:
        amperes = ""
    expect = f", {amperes}" if amperes else ""
    least = ""
    if feed.sense != "at load" and drawn is not None:
        least = f"; at the connector up to {show(source.drop(drawn.high), 'V', 2)} less"
    return (
        f"Verify {source.name}: {show(goal, 'V')}{exact} {where}{least}{expect}; constant voltage, no trip. "
        "If not, off again."
    )


def _range(low: float, high: float) -> str:
    ends = [show(low, "A", 3), show(high, "A", 3)]
    return " to ".join(dict.fromkeys(ends))


# Cautions


def _cautions(findings: Sequence[Finding]) -> list[str]:
    """What the check warns of, the weightiest first, and what always holds."""
    found = [
        f for f in findings if f.severity == "caution" and not f.blocks and f.rule not in NOT_OF_SETTING_UP
    ]
    lines, told = [], set[str]()
    for finding in found:
        if finding.rule in told:
            continue
        told.add(finding.rule)
        others = [
            other.about for other in found if other.rule == finding.rule and other.about != finding.about
        ]
        too = f" The same holds for {', '.join(others)}." if others else ""
        lines.append(f"{finding.about}: {finding.why}. {sentence(finding.remedy)}{too}")
    more = len(lines) - MOST_CAUTIONS
    if more > 0:
        lines = [*lines[:MOST_CAUTIONS], f"{more} more, which 'railwright check' tells."]
    always = (
        "Keep a switch within reach that does not go through this program. Capacitors keep their charge "
        "after off. Local codes and competent persons decide."
    )
    return [*lines, always]
