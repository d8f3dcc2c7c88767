"""Rules about what lies between outputs and an input. Leads: drop with and without sensing, what they bear,
which conductor of a stock would do, and how warm one may get. Fixtures: fuses, switches, what their data
sheets leave open.

References
----------
.. [1] ISO 13732-1: a surface that is touched for a minute burns from 51 °C on, whatever it is made of (from
   memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import NamedTuple

from railwright.circuit.leads import most_resistance
from railwright.documents.bench import Lead, StockConductor
from railwright.documents.conductor import Conductor
from railwright.grouping import grouped
from railwright.physics.conductor_heat import temperature_rise
from railwright.plan.set_points import Feed
from railwright.quantities import Statement, joined, state
from railwright.settings.constraints import current_limit, outputs
from railwright.settings.constraints.constraint import broken, constraints_in
from railwright.settings.constraints.outputs import along
from railwright.settings.constraints.trip_delay import fuse
from railwright.settings.context import Context, FedInput, PlacedFuse
from railwright.settings.findings import Ranking, Severity
from railwright.settings.played import Level
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import having, inputs, judged, settings_judged
from railwright.settings.windows.current_limit import HEADROOM

TOUCHED = 51.0
"""Surface temperature from which touching for a minute burns [°C] [1]_."""
ASSUMED = (
    "each conductor by itself in still air, with up to 0.8 mm of insulation; bundled or covered it gets "
    "hotter"
)
"""What the temperature rests on, for people."""


class ConductorChoice(NamedTuple):
    """A conductor of a stock in place of a lead's: its drop both ways with contacts [V], its rise [K]."""

    conductor: Conductor
    drop: float
    rise: float


def recommend(
    stock: Iterable[StockConductor],
    lead: Lead,
    current: float,
    carries: float,
    ambient: float,
    permitted_drop: float,
    permitted_rise: float,
) -> ConductorChoice | None:
    """The thinnest conductor of a stock with which a lead of this length drops and warms no more than it may.

    current: steady [A], for drop and rise; carries: what the lead has to be permitted to carry [A], which is
    asked only of conductors whose permitted current is given. ambient: the highest [°C]. permitted_drop [V],
    permitted_rise [K]. None: none of them does.
    """
    carrying = (
        (each.conductor, temperature_rise(each.conductor.section, current, ambient, each.conductor.iec_class))
        for each in stock
        if each.permitted_current is None or each.permitted_current >= carries
    )
    cool = (
        ConductorChoice(conductor, current * most_resistance(lead, conductor, ambient + rise), rise)
        for conductor, rise in carrying
        if rise <= permitted_rise and math.isfinite(rise)
    )
    able = (choice for choice in cool if choice.drop <= permitted_drop)
    return min(able, key=lambda choice: choice.conductor.section, default=None)


RISE = 30.0
"""Rise of a lead that is wanted at most at its steady current [K] (common practice, no source)."""
USED_UP = 0.8
"""Part of what sensing makes up for that a lead's steady drop may take (ours)."""
UNSENSED = 5e-3
"""Drop without sensing that goes unnoticed, in parts of nominal, as rule lead-drop-unsensed has it."""

NOTICED = "its drop is noticed without sensing"
"""What is wrong with a lead that would do otherwise."""


def _meant_within(source: FedInput) -> list[Level]:
    """Levels at which the input has to work, with the programming error as the margin."""
    operating = source.input.operating
    return source.played.meant_within(operating, source.voltage_error(operating.low) or 0.0)


def too_low(source: FedInput) -> Level | None:
    """The first level that the lead's drop, where nothing senses, takes below the operating range."""
    drop, operating = source.steady_drop, source.input.operating
    if source.senses or drop is None:
        return None
    return next((each for each in _meant_within(source) if each.voltage - drop < operating.low - 1e-9), None)


@rule("lead-drop", Severity.CAUTION, worst=Ranking("at_connector", over="low", lowest=True))
@of_every(inputs)
def lead_drop(source: FedInput) -> Outcome:
    """Without sensing, the lead's drop takes the input below its operating range."""
    if not source.senses and source.needs is None:
        yield Unknown(source.name, source.at_input, "what the input draws", "the lead's drop")
    level, drop = too_low(source), source.steady_drop
    if level is not None and drop is not None and source.needs is not None:
        yield Hit(
            source.name,
            level.path,
            state(
                "{level} at the terminals leaves {at_connector} at the connector (lead {along}, "
                "{needed}); it must work from {low}",
                level=(level.voltage, "V"),
                at_connector=(level.voltage - drop, "V"),
                along=along(source),
                needed=(source.needs[0], "A"),
                low=(source.input.operating.low, "V"),
            ),
            "sense at the load, take a thicker or shorter lead, or raise the voltage by the drop",
        )


@rule("lead-drop-unsensed", Severity.NOTE, worst=Ranking("drop"))
@of_every(inputs)
def lead_drop_unsensed(source: FedInput) -> Outcome:
    """Without sensing, the input sees noticeably less than what is set (more than 0.5 % of nominal)."""
    if not source.senses and source.needs is not None:
        drop = source.drop(source.needs.current)
        if drop > UNSENSED * abs(source.input.nominal):
            yield Hit(
                source.name,
                (*source.at_hook_up, "sense"),
                state(
                    "the connector is up to {drop} below the terminals (lead {along}, {needed})",
                    drop=(drop, "V"),
                    along=along(source),
                    needed=(source.needs.current, "A"),
                ),
                "allow for it in what is required at the connector, or sense at the load",
            )


@rule("sense-unavailable", Severity.STOP)
@of_every(inputs)
def sense_unavailable(source: FedInput) -> Outcome:
    """Sensing at the load is asked of an output whose data sheet does not say that it can."""
    for name in outputs.sensing(source):
        yield Hit(
            source.name,
            (*source.at_hook_up, "sense"),
            state("the bench does not say that output {output} can sense at the load", output=name),
            "write 'sense: at terminals', or give the output's 'sense' in the bench document",
        )


@rule("sense-compensation", Severity.STOP)
@of_every(inputs)
def sense_compensation(source: FedInput) -> Outcome:
    """With sensing, the lead's steady drop is more than the output can make up for."""
    drops = [] if source.steady_drop is None else [(source.steady_drop, (*source.at_hook_up, "lead"))]
    for fact in outputs.made_up_for(source):
        yield from judged(source, [fact], *drops)


@rule("sense-compensation-peak", Severity.NOTE)
@of_every(having("current_limit"))
def sense_compensation_peak(source: FedInput, feed: Feed) -> Outcome:
    """With sensing, the drop at the current limit is more than the output can make up for."""
    drop, steady = source.drop(feed.limit), source.steady_drop
    for each in constraints_in(outputs.made_up_for(source)):
        if not each.holds(drop) and (steady is None or each.holds(steady)):
            yield Hit(
                source.name,
                (*source.at_hook_up, "lead"),
                state(
                    "at the current limit of {limit} the lead drops {drop}; {made_up_for}",
                    limit=(feed.limit, "A"),
                    drop=(drop, "V"),
                    made_up_for=each.why,
                ),
                "expect a lower voltage at the load during inrush, or take a thicker lead",
            )


@rule("lead-current", Severity.STOP)
def lead_current(context: Context) -> Outcome:
    """The current limit lets through more than the lead is permitted to carry."""
    yield from settings_judged(context, "current_limit", lambda source, _: current_limit.lead(source))


@rule("lead-contacts", Severity.NOTE)
@of_every(inputs)
def lead_contacts(source: FedInput) -> Outcome:
    """The contacts of a lead are not counted in its drop, since they are not given."""
    if not source.resistance.contacts:
        yield Unknown(
            source.name,
            (*source.at_lead, "contact_resistance_loop"),
            f"contact resistance of lead '{source.lead_name}'",
            "the part of the contacts in the lead's drop",
        )


def _trouble(context: Context, source: FedInput, current: float) -> tuple[str, float]:
    """Why a lead will not do at a steady current [A]: its drop, what sensing makes up for, what it carries,
    or its heat; empty: it will. And the drop that would be right [V].
    """
    permitted_drop, why = _permitted_drop(source, source.drop(current))
    words: list[str] = [why] if why else []
    if broken(current_limit.lead(source), _carries(context, source, current)) is not None:
        has = "what the current limit lets through" if source.name in context.feeds else "what is needed"
        words.append(f"it may not carry {has}")
    if _surface(context, source, current) > TOUCHED:
        words.append("it gets too hot to touch")
    return joined(" and ", words), permitted_drop


def _permitted_drop(source: FedInput, drop: float) -> tuple[float, str]:
    """The drop that a lead may have [V] where it has this one, and what is wrong with it; empty: nothing."""
    compensates = min((each.near for each in constraints_in(outputs.made_up_for(source))), default=math.inf)
    if source.senses:
        if drop <= USED_UP * compensates:
            return max(drop, compensates if compensates < math.inf else drop), ""
        if drop > compensates:
            return USED_UP * compensates, "its drop is more than sensing makes up for"
        part = (drop / compensates, "1")
        return USED_UP * compensates, state(
            "its drop is {part_used:.0%} of what sensing makes up for", part_used=part
        )
    operating, noticed = source.input.operating, UNSENSED * abs(source.input.nominal)
    lowest = min((level.voltage for level in _meant_within(source)), default=math.inf)
    # At the very end of the range no lead would do, however thick: rule lead-drop tells that.
    if operating.low + 1e-9 < lowest < operating.low + drop - 1e-9:
        return lowest - operating.low, "its drop takes the input out of its operating range"
    return (noticed, NOTICED) if drop > noticed else (drop, "")


def _sensing_would_do(source: FedInput) -> bool:
    """Whether the outputs can sense at the load, and make up for the lead's steady drop where known."""
    sensed = replace(source, sense="at load")
    facts = constraints_in(outputs.made_up_for(sensed))
    return not outputs.sensing(sensed) and all(each.holds(source.steady_drop or 0.0) for each in facts)


def _surface(context: Context, source: FedInput, current: float) -> float:
    """How hot a lead gets at a current [°C]; inf: hotter than its insulation bears."""
    ambient = context.bench.ambient.high
    conductor = source.lead.conductor
    return ambient + temperature_rise(conductor.section, current, ambient, conductor.iec_class)


def _carries(context: Context, source: FedInput, current: float) -> float:
    """The current limit that a lead has to bear [A]: the one that is set, or, where none could be settled,
    the one that the steady current asks for, with its error.
    """
    feed = context.feeds.get(source.name)
    return source.at_most(HEADROOM * current) if feed is None else feed.limit


@rule("lead-from-stock", Severity.NOTE)
@of_every(with_seen(inputs))
def lead_from_stock(context: Context, source: FedInput) -> Outcome:
    """A lead will not do, and the bench's stock has a conductor that would, or none."""
    if source.needs is None or not context.bench.stock:
        return
    current, ambient = source.needs.current, context.bench.ambient.high
    words, permitted = _trouble(context, source, current)
    if not words:
        return
    carries = source.at_most(_carries(context, source, current))
    fixed = source.fixture
    spent = current * fixed.resistance.high + fixed.drop.high if fixed is not None else 0.0
    thickest = (1.0 + ROUNDING) * min(section for _, section, _ in _takes(source))
    fitting = [each for each in context.bench.stock if each.conductor.section <= thickest]
    choice = recommend(fitting, source.lead, current, carries, ambient, permitted - spent, RISE)
    sensing = (
        f", or sense at the load, which {' and '.join(source.outputs)} can"
        if not source.senses and _sensing_would_do(source)
        else ""
    )
    noticed = words == NOTICED
    why: str = (
        "no conductor in stock drops so little that its drop is not noticed"
        if noticed
        else "no conductor in stock would do"
    )
    remedy = f"a shorter lead, or a thicker conductor{sensing}"
    if choice is not None:
        why = state(
            "{conductor} from stock: drop {drop}, +{temperature_rise:.2g} K at {needed}",
            conductor=choice.conductor.text,
            drop=(choice.drop, "V", 2),
            temperature_rise=(choice.rise, "K"),
            needed=(current, "A"),
        )
        remedy = f"make it of {choice.conductor.text}{sensing}"
    elif permitted - spent <= 1e-9:
        why = state(
            "fixture '{fixture}' alone drops {drop}",
            fixture=source.fixture_name or "",
            drop=(spent, "V", 2),
        )
        remedy = f"raise the voltage by the drop{sensing}"
    yield Hit(
        source.name,
        (*source.at_hook_up, "lead"),
        state(
            "lead '{lead}' {verdict}; {why}",
            lead=source.lead_name,
            verdict=state("will do, but {trouble}", trouble=words)
            if noticed
            else state("will not do ({trouble})", trouble=words),
            why=why,
        ),
        remedy,
    )


TAKES = 16e-6
"""Section of the thickest conductor that a terminal takes where no document says it [m²] (common practice, no
source: binding posts and screw terminals of bench supplies take 4 mm² to 16 mm²).
"""

ROUNDING = 1e-3
"""Part by which two names of one section, such as that of a gauge, differ at most."""


def _takes(source: FedInput) -> Iterator[tuple[str, float, str]]:
    """Every end of an input's lead: its name, the section that it takes [m²], and how that is known."""
    ends: list[tuple[str, Conductor | None]] = [(name, row.takes) for name, row in source.outputs.items()]
    return (
        (name, TAKES, "assumed, as no document says it")
        if takes is None
        else (name, takes.section, takes.text)
        for name, takes in (*ends, (f"input {source.name}", source.input.takes))
    )


@rule("lead-too-thick", Severity.CAUTION)
@of_every(inputs)
def lead_too_thick(source: FedInput) -> Outcome:
    """A lead's conductor is thicker than the terminals at one of its ends take."""
    section = source.lead.conductor.section
    ends = [each for each in _takes(source) if section > each[1] * (1.0 + ROUNDING)]
    for name, takes, known in ends[:1]:
        yield Hit(
            source.name,
            source.at_lead,
            state(
                "lead '{lead}' ({conductor}, {section}) is thicker than the {takes} that the terminals of "
                "{end} take ({known})",
                lead=source.lead_name,
                conductor=source.lead.conductor.text,
                section=(section, "m**2"),
                takes=(takes, "m**2"),
                end=name,
                known=known,
            ),
            "take a thinner conductor, or end it in a thinner piece that is counted with the lead",
        )


@rule("lead-shared", Severity.CAUTION)
def lead_shared(context: Context) -> Outcome:
    """One lead of the bench feeds two inputs: there have to be as many of it."""
    users = grouped((source.lead_name, source) for source in context.sources.values())
    for name, (first, *others) in users.items():
        for source in others:
            yield Hit(
                source.name,
                (*source.at_hook_up, "lead"),
                state(
                    "lead '{lead}' is named for {input} and {first}; a pair of conductors feeds one input",
                    lead=name,
                    input=source.name,
                    first=first.name,
                ),
                f"check that there are {1 + len(others)} such leads, or describe another one and use it",
            )


@rule("lead-hot", Severity.CAUTION)
@of_every(with_seen(inputs))
def lead_hot(context: Context, source: FedInput) -> Outcome:
    """A lead gets too hot to be touched, at the steady current or for as long as the limit holds."""
    feed = context.feeds.get(source.name)
    currents: list[tuple[float, Statement]] = []
    if source.needs is not None:
        need, need_from, _ = source.needs
        currents.append((need, state("at {origin}, {needed}", origin=need_from, needed=(need, "A"))))
    if feed is not None and feed.outputs[0].at_limit == "regulate":
        held = state("at the current limit of {limit}, which does not trip", limit=(feed.limit, "A"))
        currents.append((feed.limit, held))
    surfaces = ((words, _surface(context, source, current)) for current, words in currents)
    for words, surface in [each for each in surfaces if each[1] > TOUCHED][:1]:
        yield Hit(
            source.name,
            source.at_lead,
            state(
                "{words}, lead '{lead}' ({conductor}) gets to {surface}; touched for a minute, "
                "{burn_threshold} burns (ISO 13732-1, from memory). Counted: {assumed}",
                words=words,
                lead=source.lead_name,
                conductor=source.lead.conductor.text,
                surface=(surface, "degC", 2) if surface < math.inf else "hundreds of °C",
                burn_threshold=(TOUCHED, "degC"),
                assumed=ASSUMED,
            ),
            "take a thicker conductor, or cover it and let nobody touch it",
        )


@rule("sense-used-up", Severity.CAUTION, worst=Ranking("part_used"))
@of_every(inputs)
def sense_used_up(source: FedInput) -> Outcome:
    """The lead's steady drop takes more than 80 % of what sensing makes up for: little is left."""
    drop = source.steady_drop
    for each in constraints_in(outputs.made_up_for(source)):
        if drop is not None and drop > USED_UP * each.near and each.holds(drop):
            yield Hit(
                source.name,
                (*source.at_hook_up, "lead"),
                state(
                    "the lead drops up to {drop} ({along}), {part_used:.0%} of the {compensation} that "
                    "{output} makes up for",
                    drop=(drop, "V"),
                    along=along(source),
                    part_used=(drop / each.near, "1"),
                    compensation=(each.near, "V"),
                    output=each.key,
                ),
                "take a thicker or shorter lead",
            )


SENSE_OPEN: dict[frozenset[str | None], str] = {
    frozenset({"falls back"}): "with them open it falls back on its terminals, and no reading shows it",
    frozenset({"rises"}): "with them open it rises alike",
}
"""What all outputs of an input do with an open sense lead -> what comes of it."""

OPEN_UNKNOWN = "with them open it falls back on its terminals or rises: the bench does not say which"


@rule("sense-faults", Severity.NOTE)
@of_every(having("ovp"))
def sense_faults(source: FedInput, feed: Feed) -> Outcome:
    """What a wrong sense lead would do: an output that does not see its voltage rises until its OVP trips."""
    if source.senses:
        opens = frozenset(output.sense.open if output.sense else None for output in source.rows)
        watched = all(output.ovp is not None and output.ovp.at == "terminals" for output in source.rows)
        bears = source.input.withstands_always
        ends, borne = state("until its OVP trips, at {ovp} at most", ovp=(source.ovp_at_most(feed), "V")), ""
        if not watched:
            reach = (source.reach, "V")
            ends = state("as far as it can, {reach}: its OVP watches what it senses", reach=reach)
        if bears is not None:
            withstood = (bears, "V")
            borne = state(
                "; {input} withstands {withstood} for any time", input=source.name, withstood=withstood
            )
        yield Hit(
            source.name,
            (*source.at_hook_up, "sense"),
            state(
                "with its sense leads reversed or shorted, {each}{outputs} rises {ends}{borne}; {told}",
                each="each of " if len(source.outputs) > 1 else "",
                outputs=" and ".join(source.outputs),
                ends=ends,
                borne=borne,
                told=SENSE_OPEN.get(opens, OPEN_UNKNOWN),
            ),
            "check the sense leads before the first power-up: railwright first-power does so at low energy",
        )


def fuse_place(source: FedInput, placed: PlacedFuse) -> Path:
    """Where somebody can choose another fuse: the hook-up's fixture, or the device."""
    inside = placed.path[: len(source.at_inside)] == source.at_inside
    return placed.path if inside else (*source.at_hook_up, "fixture")


@rule("fuse-below-need", Severity.STOP, worst=Ranking("needed", over="continuous"))
@of_every(inputs)
def fuse_below_need(source: FedInput) -> Outcome:
    """A fuse opens at what normal operation draws."""
    if not source.fuses:
        return
    if source.needs is None:
        yield Unknown(source.name, source.at_input, "what the input draws", "the fuse against it")
        return
    need, need_from, _ = source.needs
    for placed in source.fuses:
        time = placed.fuse.opens_after(need)
        if math.isfinite(time):
            yield Hit(
                source.name,
                fuse_place(source, placed),
                state(
                    "{origin} is {needed}, at which {fuse} opens after {opening_time}; it bears {continuous} "
                    "for any time",
                    origin=need_from,
                    needed=(need, "A"),
                    fuse=placed.words,
                    opening_time=(time, "s"),
                    continuous=(placed.fuse.curve[0].current, "A"),
                ),
                "take a larger fuse",
            )


@rule("fuse-before-trip", Severity.CAUTION)
@of_every(having("current_limit", "trip_delay"))
def fuse_before_trip(source: FedInput, feed: Feed) -> Outcome:
    """At the current limit a fuse opens, and nothing has switched the output off before."""
    limit, points = feed.limit, feed.outputs[0]
    delay = points.trip_delay if points.at_limit == "trip" else math.inf
    if feed.ocp < limit:
        delay = min(delay, points.ocp_delay)
    for placed in source.fuses:
        yield from judged(source, fuse(source, limit, placed), (delay, fuse_place(source, placed)))


@rule("switch-open", Severity.CAUTION)
@of_every(with_seen(inputs))
def switch_open(context: Context, source: FedInput) -> Outcome:
    """A switch in the lead stands open, and no step closes it: nothing that is played reaches the input."""
    closed = {change.contact for change in context.timeline.contacts if change.closed}
    contact = context.bench.contact_in(source.fixture_name) if context.bench.relays else None
    if source.fixture is not None and source.fixture.opened and contact not in closed:
        yield Hit(
            source.name,
            (*source.at_fixture, "switch"),
            state(
                "the switch in '{fixture}' is open, and nothing in the procedure closes it: {input} stays "
                "without supply",
                fixture=source.fixture_name or "",
                input=source.name,
            ),
            "write 'starts: closed', or check that this is intended",
        )


@rule("fixture-resistance", Severity.NOTE)
@of_every(inputs)
def fixture_resistance(source: FedInput) -> Outcome:
    """Part of a fixture is not counted in the lead's drop, since its resistance is not given."""
    for part in source.fixture.unknown if source.fixture else ():
        yield Unknown(
            source.name,
            (*source.at_fixture, part),
            f"resistance of the {part} in '{source.fixture_name}'",
            "its part in the lead's drop",
        )
