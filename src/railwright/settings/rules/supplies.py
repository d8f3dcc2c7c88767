"""Rules about what a supply does beside what its outputs are told: what is switched with them, what they do
while they are off, and when the mains return; and about what carries the messages to it: slow lines, shared
buses, what was not tried.
"""

from __future__ import annotations

from railwright.documents.address import gpib_of, untried_of
from railwright.documents.bench import Supply
from railwright.documents.figures import off_sink
from railwright.documents.wires import Wires
from railwright.grouping import grouped
from railwright.guard.address import transport_of
from railwright.plan.line_time import line_of, reading_time
from railwright.plan.off_order import held_voltage
from railwright.quantities import state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import inputs, supplies


@rule("master-switch", Severity.CAUTION)
@of_every(with_seen(supplies))
def master_switch(context: Context, name: str, supply: Supply) -> Outcome:
    """Outputs that the procedure does not use go on and off with the master switch of their supply, which a
    run switches.
    """
    used = {output for source in context.sources.values() for output in source.outputs}
    unused = context.bench.unused_outputs(name, used)
    if supply.dialect.master is not None and unused:
        yield Hit(
            name,
            ("bench", "supplies", name, "dialect"),
            state(
                "{outputs} of {name}, which the procedure does not use, would go on and off with its "
                "master switch",
                outputs=" and ".join(unused),
                name=name,
            ),
            "switch them off before: a run that finds one on refuses to begin",
        )


@rule("selection-unseen", Severity.CAUTION, on_sheet=False)
@of_every(supplies)
def selection_unseen(name: str, supply: Supply) -> Outcome:
    """Outputs of a supply are selected by a message of its own, and its dialect has no query of which one is:
    somebody else who selects, at its panel or over another connection, is not noticed.
    """
    if supply.dialect.selects_apart and supply.dialect.instrument.selected is None:
        yield Hit(
            name,
            ("bench", "supplies", name, "dialect"),
            state(
                "dialect '{dialect}' cannot ask {name} which output is selected: while somebody selects, "
                "too, commands and OFF go to another output, and readings are of another",
                dialect=supply.dialect.name,
                name=name,
            ),
            "add the query as 'instrument.selected' where the supply has one; without it, lock its panel and "
            "see to it that nobody else connects",
        )


@rule("restart-unseen", Severity.CAUTION, on_sheet=False)
@of_every(supplies)
def restart_unseen(name: str, supply: Supply) -> Outcome:
    """A supply comes back as it was when its mains return, or may, and its dialect has nothing that tells
    that its power came on: a short failure of its mains is not noticed, unless it is silent for longer than
    it is waited for.
    """
    if supply.dialect.power_query is None and supply.after_mains != "stays off":
        does = "comes on again" if supply.after_mains == "comes on" else "may come on again (not stated)"
        yield Hit(
            name,
            ("bench", "supplies", name, "dialect"),
            state(
                "nothing in dialect '{dialect}' tells that {name} restarted: when its mains fail for a "
                "moment, it {does}, and the run goes on as if nothing had been",
                dialect=supply.dialect.name,
                name=name,
                does=does,
            ),
            "write what tells it as 'instrument.power_on', or as 'event_status' where it has *ESR?; or feed "
            "it from an uninterruptible supply",
        )


@rule("comes-on-by-itself", Severity.CAUTION)
@of_every(supplies)
def comes_on_by_itself(name: str, supply: Supply) -> Outcome:
    """A supply switches its outputs on by itself when its mains return."""
    if supply.after_mains == "comes on":
        yield Hit(
            name,
            ("bench", "supplies", name, "after_mains"),
            state("{name} comes on as it was before when its mains return, whoever is there", name=name),
            "fit a contactor that drops out with the mains and stays open until somebody closes it; "
            "without one, switch the supply's mains off before they return",
        )


@rule("comes-on-unattended", Severity.STOP)
def comes_on_unattended(context: Context) -> Outcome:
    """A run is to go on alone on a supply that comes on by itself when the mains return, or may: this
    computer, which would switch it off, may have lost them too. Only an interlock helps that stays open.
    """
    interlock = context.interlock
    if context.procedure.attended or (interlock is not None and interlock.stays_open):
        return
    for name, supply in context.used_supplies.items():
        path = ("bench", "supplies", name)
        if supply.after_mains is None:
            yield Unknown(
                name,
                (*path, "after_mains"),
                "what it does when its mains return",
                "whether its outputs come on with nobody there",
            )
        elif supply.after_mains == "comes on":
            yield Hit(
                name,
                (*path, "after_mains"),
                state(
                    "{name} comes on by itself when its mains return, and nobody is to be there; the run "
                    "that would switch it off may have ended with them",
                    name=name,
                ),
                "fit an interlock that stays open after a mains failure (`stays_open: yes`), or stay beside "
                "the bench (attended: yes)",
            )


@rule("off-takes-in", Severity.CAUTION, worst=Ranking("takes"))
@of_every(with_seen(inputs))
def off_takes_in(context: Context, source: FedInput) -> Outcome:
    """The device holds a voltage by itself, and the output takes in current from it while it is off."""
    held = held_voltage(context.device, source.name)
    if held is None or (source.fixture is not None and source.fixture.diode is not None):
        return
    what = [output.when_off for output in source.rows]
    takes = _taken_in(source)
    if takes is None and None in what:
        yield Unknown(
            source.names[0],
            (*source.at_output, "when_off"),
            "what the output is while it is off",
            "what it draws from the device's own source then",
        )
    elif takes is None:
        yield Unknown(
            source.names[0],
            (*source.at_output, "sink"),
            "current that the output can take in",
            "what it draws from the device's own source while off",
        )
    elif takes > 0.0:
        yield Hit(
            source.name,
            (*source.at_output, "when_off"),
            state(
                "{outputs} take in up to {takes} while off ({what}), from the device's own source of up "
                "to {held}",
                outputs=" and ".join(source.outputs),
                takes=(takes, "A"),
                what=" and ".join(dict.fromkeys(map(str, what))),
                held=(held[1], "V"),
            ),
            "open a switch between output and input after switching off, or put a diode there",
        )


def _taken_in(source: FedInput) -> float | None:
    """Current that an input's outputs take in together while they are off [A]; None: unknown. Of outputs in
    series one that takes in nothing lets none of them.
    """
    known = [off_sink(output) for output in source.rows]
    if not source.parallel and 0.0 in known:
        return 0.0
    return source.whole(known, sum if source.parallel else min)


@rule("shared-bus", Severity.CAUTION)
def shared_bus(context: Context) -> Outcome:
    """Supplies share one bus, such as GPIB or RS-485, with each other or with relays: they are told one after
    the other, and one that hangs holds up OFF for all of them.
    """
    fed = dict[str, Wires](supplies(context))
    moving = dict.fromkeys(lies.instrument for lies in context.contacts.values())
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
