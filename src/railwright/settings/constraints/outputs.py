"""What the outputs of a group must be able to: reach what is played, sense, be joined, stand off earth."""

from __future__ import annotations

from railwright.documents.output_name import OutputName
from railwright.quantities import show
from railwright.settings.constraints.constraint import Breach, Constraint, Facts, Missing, threshold
from railwright.settings.context import FedInput
from railwright.settings.group import Group, output_path
from railwright.settings.rule import Path


def highest(source: FedInput) -> Constraint:
    """A voltage played, with the drop that sensing makes up for, is no more than can be set [V]."""
    drop, full = source.sensed_drop, source.full_voltage

    def breach(voltage: float) -> Breach:
        added = f" and the lead's drop of {show(drop, 'V')} that is sensed away" if drop else ""
        return (
            f"{show(voltage, 'V')}{added} is more than the {show(full, 'V')} that {source.words} can give",
            "take an output with a higher range, join outputs in series, or play a lower voltage",
        )

    why = f"{source.words} can give {show(full, 'V')}"
    return threshold("full", "high", full - drop, why, source.at_output, rule="voltage-range", breach=breach)


def lowest(source: FedInput) -> Constraint:
    """No output has to be set below its range [V]."""
    shares = dict(zip(source.names, source.shares, strict=True))
    name = max(shares, key=lambda each: source.outputs[each].voltage.low / shares[each])
    low = source.outputs[name].voltage.low

    why = f"the range of {name} begins at {show(low, 'V')}"
    return threshold(
        "begin",
        "low",
        low / shares[name],
        why,
        source.at_output,
        rule="voltage-range",
        breach=lambda voltage: (
            f"the range of {name} begins at {show(low, 'V')}; {show(voltage * shares[name], 'V')} is played "
            "on it",
            "play a voltage inside the output's range",
        ),
    )


def sensing(source: FedInput) -> list[OutputName]:
    """Outputs that are asked to sense at the load, and of which the bench does not say that they can."""
    return [name for name, output in source.outputs.items() if source.senses and output.sense is None]


def along(source: FedInput) -> str:
    """The resistance of lead and fixture, for people."""
    words = f"{show(source.warm.high, 'ohm')} at most, both ways with contacts"
    if source.fixture is None:
        return words
    drop = source.fixture.drop.high
    diode = f" and {show(drop, 'V')} in its diode" if drop else ""
    return f"{words} and fixture '{source.fixture_name}'{diode}"


def made_up_for(source: FedInput) -> Facts:
    """The lead drops no more than sensing makes up for [V]: one constraint for each output that can."""
    for name, output in source.outputs.items() if source.senses else ():
        if output.sense is None:
            continue
        most, path = output.sense.compensates, (*output_path(name), "sense", "compensates")
        if most is None:
            check = f"sensing of {source.name}"
            yield Missing(path, "how much drop sensing makes up for", "sense-compensation", check, name)
            continue
        makes = f"{name} makes up for {show(most, 'V')}"

        def breach(drop: float, makes: str = makes) -> Breach:
            dropped = f"lead '{source.lead_name}' drops up to {show(drop, 'V')} ({along(source)})"
            return f"{dropped}; {makes}", "take a thicker or shorter lead"

        yield threshold(name, "high", most, makes, path, rule="sense-compensation", breach=breach)


def apart(group: Group) -> list[OutputName]:
    """Outputs of a group of which the bench does not say that they may be joined like this."""
    if group.arrangement == "alone":
        return []
    return [name for name, output in group.outputs.items() if group.arrangement not in output.may_join]


def isolated(source: FedInput) -> Facts:
    """What outputs in series, or with the positive terminal at 0 V, reach is within what their supplies are
    isolated from earth for [V].
    """
    if not source.series and source.input.rail != "negative":
        return
    for name, isolation in zip(source.names, source.isolations, strict=True):
        path: Path = ("bench", "supplies", name.supply, "isolation")
        if isolation is None:
            check = f"{show(source.reach, 'V')} of {source.name} against it"
            yield Missing(path, "isolation of the supply from earth", "isolation", check, name)
            continue
        bears = f"{name} is isolated from earth up to {show(isolation, 'V')}"

        def breach(reach: float, bears: str = bears) -> Breach:
            return (
                f"{source.words} can reach {show(reach, 'V')}; {bears}",
                "join fewer outputs, or take a supply with a higher isolation",
            )

        yield threshold(name, "high", isolation, bears, path, rule="isolation", breach=breach)
