"""What the outputs of a group must be able to: reach what is played, sense, be joined, stand off earth."""

from __future__ import annotations

from railwright.documents.output_name import OutputName
from railwright.quantities import state
from railwright.settings.constraints.constraint import Breach, Constraint, Facts, threshold
from railwright.settings.context import FedInput
from railwright.settings.group import Group, output_path
from railwright.settings.rule import Path, Unknown


def highest(source: FedInput) -> Constraint:
    """A voltage played, with the drop that sensing makes up for, is no more than can be set [V]."""
    drop, full = source.sensed_drop, source.full_voltage

    def breach(voltage: float) -> Breach:
        return (
            state(
                "{level}{added} is more than the {full_voltage} that {outputs} can give",
                level=(voltage, "V"),
                added=state(" and the lead's drop of {drop} that is sensed away", drop=(drop, "V"))
                if drop
                else "",
                full_voltage=(full, "V"),
                outputs=source.words,
            ),
            "take an output with a higher range, join outputs in series, or play a lower voltage",
        )

    return threshold(
        "full",
        "high",
        full - drop,
        state("{outputs} can give {full_voltage}", outputs=source.words, full_voltage=(full, "V")),
        source.at_output,
        rule="voltage-range",
        breach=breach,
    )


def lowest(source: FedInput) -> Constraint:
    """No output has to be set below its range [V]."""
    shares = dict(zip(source.names, source.shares, strict=True))
    name = max(shares, key=lambda each: source.outputs[each].voltage.low / shares[each])
    low = source.outputs[name].voltage.low

    why = state("the range of {output} begins at {range_low}", output=name, range_low=(low, "V"))
    return threshold(
        "begin",
        "low",
        low / shares[name],
        why,
        source.at_output,
        rule="voltage-range",
        breach=lambda voltage: (
            state("{why}; {level} is played on it", why=why, level=(voltage * shares[name], "V")),
            "play a voltage inside the output's range",
        ),
    )


def sensing(source: FedInput) -> list[OutputName]:
    """Outputs that are asked to sense at the load, and of which the bench does not say that they can."""
    return [name for name, output in source.outputs.items() if source.senses and output.sense is None]


def along(source: FedInput) -> str:
    """The resistance of lead and fixture, for people."""
    words = state("{resistance} at most, both ways with contacts", resistance=(source.warm.high, "ohm"))
    if source.fixture is None:
        return words
    drop = source.fixture.drop.high
    return state(
        "{words} and fixture '{fixture}'{diode}",
        words=words,
        fixture=source.fixture_name or "",
        diode=state(" and {diode_drop} in its diode", diode_drop=(drop, "V")) if drop else "",
    )


def made_up_for(source: FedInput) -> Facts:
    """The lead drops no more than sensing makes up for [V]: one constraint for each output that can."""
    for name, output in source.outputs.items() if source.senses else ():
        if output.sense is None:
            continue
        most, path = output.sense.compensates, (*output_path(name), "sense", "compensates")
        if most is None:
            yield Unknown(
                name,
                path,
                "how much drop sensing makes up for",
                f"sensing of {source.name}",
                "sense-compensation",
            )
            continue
        makes = state("{output} makes up for {compensation}", output=name, compensation=(most, "V"))

        def breach(drop: float, makes: str = makes) -> Breach:
            return (
                state(
                    "lead '{lead}' drops up to {drop} ({along}); {makes}",
                    lead=source.lead_name,
                    drop=(drop, "V"),
                    along=along(source),
                    makes=makes,
                ),
                "take a thicker or shorter lead",
            )

        yield threshold(name, "high", most, makes, path, rule="sense-compensation", breach=breach)


def apart(group: Group) -> list[OutputName]:
    """Outputs of a group of which the bench does not say that they may be joined like this."""
    return [
        name for name, output in group.outputs.items() if group.arrangement not in ("alone", *output.may_join)
    ]


def isolated(source: FedInput) -> Facts:
    """What outputs in series, or with the positive terminal at 0 V, reach is within what their supplies are
    isolated from earth for [V].
    """
    if not source.series and source.input.rail != "negative":
        return
    for name, isolation in zip(source.names, source.isolations, strict=True):
        path: Path = ("bench", "supplies", name.supply, "isolation")
        if isolation is None:
            yield Unknown(
                name,
                path,
                "isolation of the supply from earth",
                state("{reach} of {input} against it", reach=(source.farthest, "V"), input=source.name),
                "isolation",
            )
            continue
        bears = state(
            "{output} is isolated from earth up to {isolation}", output=name, isolation=(isolation, "V")
        )

        def breach(reach: float, bears: str = bears) -> Breach:
            return (
                state(
                    "{outputs} can reach {reach}; {bears}",
                    outputs=source.words,
                    reach=(reach, "V"),
                    bears=bears,
                ),
                "join fewer outputs, or take a supply with a higher isolation",
            )

        yield threshold(name, "high", isolation, bears, path, rule="isolation", breach=breach)
