"""Every wire of a set-up sheet in words: links, leads, sense leads, returns, earth."""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.hook_up import HookUp
from railwright.documents.loader import Documents
from railwright.quantities import show
from railwright.report.fixture_box import fixture_box
from railwright.report.wired_beside import meter_words, meters_of, pin_words, pins_of


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
        box = fixture_box(hook_up.fixture, bench)
        through = f" through '{box.name}' ({box.words}), which sits at the input" if box else ""
        upper, lower = _terminals(documents, name)
        yield f"Lead '{hook_up.lead}' ({words}): {plus} to {upper}{through}; {minus} to {lower}."
        yield from _sense_wires(upper, lower, hook_up)
        yield from _meters(documents, name, (plus, minus), (upper, lower))
    yield from pin_words(pins_of(documents.device, bench, procedure))
    yield from _returns(documents)


def _meters(
    documents: Documents, name: str, outputs: tuple[str, str], inputs: tuple[str, str]
) -> Iterator[str]:
    """The multimeters at an input. outputs, inputs: the terminals of its lead's two ends, + first."""
    procedure = documents.procedure
    mine = tuple(each for each in meters_of(documents.bench, procedure) if each.input == name)
    terminals = {}
    for each in mine:
        terminals[each.name] = inputs if each.at == "connector" else outputs
        if each.quantity == "current":
            terminals[each.name] = outputs[0], f"the lead '{procedure.hook_up[name].lead}'"
    yield from meter_words(mine, terminals)


def _terminals(documents: Documents, name: str) -> tuple[str, str]:
    """The input's terminals that the outputs' + and − go to: of a negative rail, 0 V and −."""
    negative = documents.device.inputs[name].rail == "negative"
    return (f"{name} 0 V", f"{name} −") if negative else (f"{name} +", f"{name} −")


def _zero(documents: Documents, name: str) -> str:
    """What the input's 0 V terminal is marked with."""
    return "0 V" if documents.device.inputs[name].rail == "negative" else "−"


def _apart(documents: Documents) -> Iterator[str]:
    """An isolated input's 0 V is joined with no other's; each pair is told once."""
    names = list(documents.procedure.hook_up)
    told = set[str]()
    for name in names:
        if documents.device.inputs[name].returns != "isolated":
            continue
        told.add(name)
        others = " or ".join(f"{other} {_zero(documents, other)}" for other in names if other not in told)
        if others:
            yield f"Do not join {name} {_zero(documents, name)} with {others}: {name} is isolated."


def _links(hook_up: HookUp, conductor: str) -> Iterator[str]:
    if hook_up.arrangement == "series":
        for upper, lower in zip(hook_up.outputs, hook_up.outputs[1:], strict=False):
            yield f"Link ({conductor} or thicker), at the output terminals: {upper} − to {lower} +."
    elif hook_up.arrangement == "parallel":
        for sign in "+−":
            joined = " and ".join(f"{output} {sign}" for output in hook_up.outputs)
            yield f"Links ({conductor} or thicker, equally long), at the output terminals: {joined} joined."


def _sense_wires(upper: str, lower: str, hook_up: HookUp) -> Iterator[str]:
    outputs = hook_up.outputs
    if hook_up.sense == "at terminals":
        at = ", ".join(outputs)
        yield f"Sense of {at}: s+ to +, s− to −, at the output itself (links, or the output's setting)."
        return
    if hook_up.arrangement == "parallel":
        plus = " and ".join(f"{output} s+" for output in outputs)
        minus = " and ".join(f"{output} s−" for output in outputs)
        yield (
            f"Sense: {plus} joined, {minus} joined, at the output terminals. From there one twisted pair: "
            f"the joined s+ to {upper}, the joined s− to {lower}, at the input's connector."
        )
        return
    yield (
        f"Sense leads, a twisted pair: {outputs[0]} s+ to {upper}, {outputs[-1]} s− to {lower}, at the "
        "input's connector."
    )
    if hook_up.arrangement == "series":
        inner = [f"{output} s−" for output in outputs[:-1]] + [f"{output} s+" for output in outputs[1:]]
        yield f"Sense terminals inside the chain to their own output's terminals: {', '.join(inner)}."


def _returns(documents: Documents) -> Iterator[str]:
    device, bench, used = documents.device, documents.bench, documents.procedure.outputs
    common = [name for name, given in device.inputs.items() if given.returns == "common"]
    if len(common) > 1:
        zeros = [(_zero(documents, name), name) for name in common]
        each = [
            f"the {mark} of {' and '.join(name for own, name in zeros if own == mark)}"
            for mark in dict.fromkeys(own for own, _ in zeros)
        ]
        yield f"Inside the device {' and '.join(each)} are joined (0 V): join nothing outside."
    yield from _apart(documents)
    earthed = [name for name, given in device.inputs.items() if given.returns == "earth"]
    for name in earthed:
        yield f"Inside the device the {_zero(documents, name)} of {name} is tied to earth."
    tied = [output for output in used if bench.output(output).negative == "earth"]
    for output in tied:
        yield f"{output} −: tied to earth in the supply."
    for supply, given in bench.supplies.items():
        joined = [f"{supply}.{each}" for each in given.common_negative if f"{supply}.{each}" in used]
        if len(joined) > 1:
            yield f"Inside '{supply}' the − of {' and '.join(joined)} are joined."
    if not earthed and not tied:
        yield "Nothing is tied to earth: outputs and device float."
    yield "Every supply keeps the protective earth of its own mains plug."
