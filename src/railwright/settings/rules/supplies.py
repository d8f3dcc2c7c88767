"""Rules about what a supply does beside what its outputs are told: what is switched with them, what they do
while they are off, and when the mains return.
"""

from __future__ import annotations

from railwright.documents.figures import off_sink
from railwright.quantities import state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, rule


@rule("master-switch", Severity.CAUTION)
def master_switch(context: Context) -> Outcome:
    """Outputs that the procedure does not use go on and off with the master switch of their supply, which a
    run switches.
    """
    for name, supply in context.used_supplies.items():
        if supply.dialect.master is None:
            continue
        unused = unused_outputs(context, name)
        if unused:
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


def unused_outputs(context: Context, supply: str) -> list[str]:
    """Outputs of a supply that feed no input."""
    used = {
        name.output for each in context.sources.values() for name in each.outputs if name.supply == supply
    }
    return [own for own in context.bench.supplies[supply].outputs if own not in used]


@rule("comes-on-by-itself", Severity.CAUTION)
def comes_on_by_itself(context: Context) -> Outcome:
    """A supply switches its outputs on by itself when its mains return."""
    for name, supply in context.used_supplies.items():
        if supply.after_mains == "comes on":
            yield Hit(
                name,
                ("bench", "supplies", name, "after_mains"),
                state("{name} comes on as it was before when its mains return, whoever is there", name=name),
                "after a mains failure switch its mains off first, then measure; a contactor that stays open "
                "until somebody closes it does so by itself",
            )


@rule("comes-on-unattended", Severity.STOP)
def comes_on_unattended(context: Context) -> Outcome:
    """A run is to go on alone on a supply that comes on by itself when the mains return, or may: this
    computer, which would switch it off, may have lost them too.
    """
    if context.procedure.attended or context.bench.interlock is not None:
        return
    for name, supply in context.used_supplies.items():
        path = ("bench", "supplies", name)
        if supply.after_mains is None:
            check = "whether its outputs come on with nobody there"
            yield Unknown(name, (*path, "after_mains"), "what it does when its mains return", check)
        elif supply.after_mains == "comes on":
            yield Hit(
                name,
                (*path, "after_mains"),
                state(
                    "{name} comes on by itself when its mains return, and nobody is to be there; the run "
                    "that would switch it off may have ended with them",
                    name=name,
                ),
                "let an interlock cut it that stays open, or stay beside the bench (attended: yes)",
            )


@rule("off-takes-in", Severity.CAUTION, worst=Ranking("takes"))
def off_takes_in(context: Context) -> Outcome:
    """The device holds a voltage by itself, and the output takes in current from it while it is off."""
    from railwright.plan.off_order import held_voltage

    for name, source in context.sources.items():
        held = held_voltage(context.device, name)
        if held is None or (source.fixture is not None and source.fixture.diode is not None):
            continue
        what = [output.when_off for output in source.rows]
        if None in what:
            path, check = (*source.at_output, "when_off"), "what it draws from the device's own source then"
            yield Unknown(source.names[0], path, "what the output is while it is off", check)
            continue
        takes = _taken_in(source)
        if takes is None:
            path, check = (*source.at_output, "sink"), "what it draws from the device's own source while off"
            yield Unknown(source.names[0], path, "current that the output can take in", check)
        elif takes > 0.0:
            yield Hit(
                name,
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
    figures = [each for each in known if each is not None]
    if len(figures) < len(known):
        return None
    return (sum if source.parallel else min)(figures)
