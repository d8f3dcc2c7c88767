"""Rules about leads: drop with and without sensing, what the lead bears."""

from __future__ import annotations

from railwright.quantities import show
from railwright.settings.context import Context, Source
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Unknown, rule


def _steady_drop(source: Source) -> float | None:
    """Largest drop along the lead, both ways, at the largest steady current [V]; None: current unknown."""
    if source.needs is None:
        return None
    return source.drop(source.needs[0])


def _resistance(source: Source) -> str:
    words = f"{show(source.resistance.high, 'ohm')} at most, both ways with contacts"
    if source.fixture is None:
        return words
    drop = source.fixture.drop.high
    diode = f" and {show(drop, 'V')} in its diode" if drop else ""
    return f"{words} and fixture '{source.hook_up.fixture}'{diode}"


@rule("lead-drop", Severity.CAUTION)
def lead_drop(context: Context) -> Outcome:
    """Without sensing, the lead's drop takes the input below its operating range."""
    for source in context.sources.values():
        drop = _steady_drop(source)
        if source.senses:
            continue
        if drop is None:
            yield Unknown(source.name, source.at_input, "what the input draws", "the lead's drop")
            continue
        for level in source.played.levels:
            operating = source.input.operating
            if level.voltage in operating and level.voltage - drop < operating.low - 1e-9:
                assert source.needs is not None
                yield Hit(
                    source.name,
                    level.path,
                    f"{show(level.voltage, 'V')} at the terminals leaves "
                    f"{show(level.voltage - drop, 'V')} at the "
                    f"connector (lead {_resistance(source)}, {show(source.needs[0], 'A')}); it must work "
                    f"from "
                    f"{show(operating.low, 'V')}",
                    "sense at the load, take a thicker or shorter lead, or raise the voltage by the drop",
                )
                break


@rule("lead-drop-unsensed", Severity.NOTE)
def lead_drop_unsensed(context: Context) -> Outcome:
    """Without sensing, the input sees noticeably less than what is set (more than 0.5 % of nominal)."""
    for source in context.sources.values():
        drop = _steady_drop(source)
        if source.senses or drop is None or drop <= 0.005 * abs(source.input.nominal):
            continue
        assert source.needs is not None
        yield Hit(
            source.name,
            (*source.at_hook_up, "sense"),
            f"the connector is up to {show(drop, 'V')} below the terminals (lead {_resistance(source)}, "
            f"{show(source.needs[0], 'A')})",
            "mind it in what is required at the connector, or sense at the load",
        )


@rule("sense-unavailable", Severity.STOP)
def sense_unavailable(context: Context) -> Outcome:
    """Sensing at the load is asked of an output whose data sheet does not say that it can."""
    for source in context.sources.values():
        if not source.senses:
            continue
        for name, output in source.outputs.items():
            if output.sense is None:
                yield Hit(
                    source.name,
                    (*source.at_hook_up, "sense"),
                    f"the bench does not say that output {name} can sense at the load",
                    "write 'sense: at terminals', or give the output's 'sense' in the bench document",
                )


@rule("sense-compensation", Severity.STOP)
def sense_compensation(context: Context) -> Outcome:
    """With sensing, the lead's steady drop is more than the output can make up for."""
    for source in context.sources.values():
        drop = _steady_drop(source)
        if not source.senses:
            continue
        for name, output in source.outputs.items():
            if output.sense is None:
                continue
            if output.sense.compensates is None:
                path = (*source.at_output, "sense")
                yield Unknown(name, path, "how much drop sensing makes up for", f"sensing of {source.name}")
            elif drop is not None and drop > output.sense.compensates:
                yield Hit(
                    source.name,
                    (*source.at_hook_up, "lead"),
                    f"the lead drops up to {show(drop, 'V')} ({_resistance(source)}); {name} makes up for "
                    f"{show(output.sense.compensates, 'V')}",
                    "take a thicker or shorter lead",
                )


@rule("sense-compensation-peak", Severity.NOTE)
def sense_compensation_peak(context: Context) -> Outcome:
    """With sensing, the drop at the current limit is more than the output can make up for."""
    for source, feed in context.having("current_limit"):
        if not source.senses:
            continue
        drop, steady = source.drop(source.limit(feed)), _steady_drop(source)
        for name, output in source.outputs.items():
            most = output.sense.compensates if output.sense else None
            if most is not None and drop > most and (steady is None or steady <= most):
                yield Hit(
                    source.name,
                    (*source.at_hook_up, "lead"),
                    f"at the current limit of {show(source.limit(feed), 'A')} the lead drops "
                    f"{show(drop, 'V')}; "
                    f"{name} makes up for {show(most, 'V')}",
                    "expect a lower voltage at the load during inrush, or take a thicker lead",
                )


@rule("lead-current", Severity.STOP)
def lead_current(context: Context) -> Outcome:
    """The current limit lets through more than the lead is permitted to carry."""
    for source, feed in context.having("current_limit"):
        limit = source.limit(feed)
        permitted = source.lead.permitted_current
        if permitted is None:
            path = (*source.at_lead, "permitted_current")
            what = f"permitted current of lead '{source.hook_up.lead}'"
            yield Unknown(
                source.name, path, what, f"the current limit of {show(limit, 'A')} against the lead"
            )
            continue
        most = limit + (source.limit_error(limit) or 0.0)
        if most > permitted:
            yield Hit(
                source.name,
                (*source.at_limits, "current_limit"),
                f"the limit lets {show(most, 'A')} through (with programming error); lead "
                f"'{source.hook_up.lead}' "
                f"may carry {show(permitted, 'A')}",
                "lower the current limit, or take a lead that bears it",
            )


@rule("lead-contacts", Severity.NOTE)
def lead_contacts(context: Context) -> Outcome:
    """The contacts of a lead are not counted in its drop, since they are not given."""
    for source in context.sources.values():
        if not source.resistance.contacts:
            path = (*source.at_lead, "contact_resistance_loop")
            what = f"contact resistance of lead '{source.hook_up.lead}'"
            yield Unknown(source.name, path, what, "the part of the contacts in the lead's drop")
