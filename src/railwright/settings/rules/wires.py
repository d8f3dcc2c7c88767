"""Rules about what carries the messages to the supplies: slow lines, shared buses, what was not tried."""

from __future__ import annotations

from railwright.documents.address import gpib_of, untried_of
from railwright.documents.bench import Supply
from railwright.documents.wires import Wires
from railwright.grouping import grouped
from railwright.guard.address import transport_of
from railwright.plan.line_time import line_of, reading_time
from railwright.quantities import state
from railwright.settings.context import Context
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, of_every, rule, with_seen
from railwright.settings.rules.judge import supplies
from railwright.settings.rules.relays import used_contacts


@rule("shared-bus", Severity.CAUTION)
def shared_bus(context: Context) -> Outcome:
    """Supplies share one bus, such as GPIB or RS-485, with each other or with relays: they are told one after
    the other, and one that hangs holds up OFF for all of them.
    """
    fed = dict[str, Wires](supplies(context))
    moving = dict.fromkeys(lies.instrument for lies in used_contacts(context).values())
    wires = fed | {name: context.bench.relays[name] for name in moving}
    buses = ((each.bus or gpib_of(each.address), name) for name, each in wires.items())
    for bus, names in grouped(buses).items():
        if bus is not None and len(names) > 1 and names[0] in fed:
            yield Hit(
                ", ".join(names),
                ("bench", "supplies", names[0], "address"),
                state(
                    "{names} share the bus {bus}: while one holds it, nothing reaches another, not even OFF",
                    names=", ".join(names),
                    bus=bus,
                ),
                "give each a connection of its own, or an interlock that cuts all of them",
            )


@rule("line-slow", Severity.CAUTION, worst=Ranking("takes"))
@of_every(with_seen(supplies))
def line_slow(context: Context, name: str, supply: Supply) -> Outcome:
    """A serial line, or a supply that wants a pause between messages, is too slow for the readings that the
    procedure asks for: fewer are taken.
    """
    every = context.procedure.record.every
    line = line_of(supply)
    used = dict.fromkeys(own for each in context.sources.values() for own in each.outputs)
    takes = reading_time(supply, (own.output for own in used if own.supply == name))
    if takes > every:
        if line is None:
            yield Hit(
                name,
                ("bench", "supplies", name, "dialect"),
                state(
                    "a reading takes {takes} with the pauses of {pause} that its dialect asks for; the "
                    "procedure asks for one every {every}",
                    takes=(takes, "s"),
                    pause=(supply.dialect.session.pause, "s"),
                    every=(every, "s"),
                ),
                "record less often, or write a shorter pause into the dialect where the supply allows it",
            )
        else:
            yield Hit(
                name,
                ("bench", "supplies", name, "line" if supply.line is not None else "address"),
                state(
                    "a reading takes {takes} on the line at {baud} Bd; the procedure asks for one every "
                    "{every}",
                    takes=(takes, "s"),
                    baud=line.baud,
                    every=(every, "s"),
                ),
                "set the supply and 'line' to a higher rate, or record less often",
            )


@rule("transport-untried", Severity.NOTE)
@of_every(supplies)
def transport_untried(name: str, supply: Supply) -> Outcome:
    """A supply is reached by a way that was not tried with this program, such as USB or GPIB."""
    settings = supply.session_settings
    untried = untried_of(supply.address) or settings.visa
    if transport_of(supply.address, settings) == "library" and untried:
        yield Hit(
            name,
            ("bench", "supplies", name, "address"),
            state(
                "{untried} was not tried with this program; it uses the same code as VXI-11, which was tried",
                untried=untried,
            ),
            "switch off by hand at the first run, with somebody at the mains switch",
        )
