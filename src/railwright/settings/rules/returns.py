"""Rules about how outputs are joined: shorts through a common return, series, parallel, earth."""

from __future__ import annotations

from railwright.circuit import terminals
from railwright.quantities import state
from railwright.settings.constraints.outputs import apart
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, of_every, rule, with_seen
from railwright.settings.rules.judge import inputs


@rule("return-short", Severity.STOP)
@of_every(with_seen(inputs))
def return_short(context: Context, source: FedInput) -> Outcome:
    """The hook-up shorts an output: through a common return, earth, or joined negatives."""
    for output, chain in terminals.shorted(context.links, source.outputs).items():
        yield Hit(
            source.name,
            (*source.at_hook_up, "from"),
            state(
                "the hook-up joins + and − of {output}: {chain}",
                output=output,
                chain=terminals.spoken(chain, terminals.plus(output)),
            ),
            "feed the input from an output that floats, or from another supply, or isolate the return",
        )


@rule("may-not-join", Severity.STOP)
@of_every(inputs)
def may_not_join(source: FedInput) -> Outcome:
    """Outputs are joined in series or in parallel that the bench does not say may be."""
    for name in apart(source):
        joins = source.outputs[name].may_join
        said = "only in " + " or ".join(joins) if joins else "neither in series nor parallel"
        yield Hit(
            source.name,
            (*source.at_hook_up, "from"),
            state(
                "{output} is joined in {arrangement}; the bench says that it may be joined {said}",
                output=name,
                arrangement=source.arrangement,
                said=said,
            ),
            "take other outputs, or give 'may_join' in the bench document where the maker permits it",
        )


@rule("unequal-group", Severity.CAUTION)
@of_every(inputs)
def unequal_group(source: FedInput) -> Outcome:
    """Outputs joined in one group differ in range or rise: one of them limits the others."""
    first = source.rows[0]
    for name in source.unlike:
        other = source.outputs[name]
        yield Hit(
            source.name,
            (*source.at_hook_up, "from"),
            state(
                "{output} differs from {first}: {voltage:g} V, {current:g} A against "
                "{first_voltage:g} V, {first_current:g} A",
                output=name,
                first=source.names[0],
                voltage=(other.voltage.high, "V"),
                current=(other.current.high, "A"),
                first_voltage=(first.voltage.high, "V"),
                first_current=(first.current.high, "A"),
            ),
            "join outputs of one kind where there are any",
        )


@rule("isolation-lost", Severity.CAUTION)
def isolation_lost(context: Context) -> Outcome:
    """An input declared isolated is fed by an output whose negative terminal is tied to earth or to
    another's.
    """
    sets = terminals.joined(context.links)
    for source in (each for each in context.sources.values() if each.input.returns == "isolated"):
        own = terminals.zero_volts(source.name)
        others = [terminals.zero_volts(name) for name in context.sources if name != source.name]
        reached = [other for other in (terminals.EARTH, *others) if sets.together(own, other)]
        for other in reached[:1]:
            yield Hit(
                source.name,
                (*source.at_input, "return"),
                state(
                    "{input} is declared isolated, but its 0 V is joined: {chain}",
                    input=source.name,
                    chain=terminals.spoken(terminals.path(context.links, own, other), own),
                ),
                "feed it from an output that floats, if its isolation matters",
            )


@rule("floating", Severity.NOTE)
def floating_device(context: Context) -> Outcome:
    """No terminal of an input's hook-up is tied to earth: the device floats, and may stand at any voltage to
    earth.
    """
    sets = terminals.joined(context.links)
    sources = list(context.sources.values())
    if sources and not any(
        sets.together(terminals.zero_volts(source.name), terminals.EARTH) for source in sources
    ):
        yield Hit(
            ", ".join(source.name for source in sources),
            sources[0].at_output,
            "no 0 V of the hook-up is tied to earth: outputs and device float",
            "tie 0 V to earth at one point, unless something forbids it",
        )
