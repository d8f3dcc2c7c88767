"""What speaks against a group with a lead and a place of sensing: voltage, power, drop, current, OVP."""

from __future__ import annotations

import math

from railwright.documents.hook_up import AUTO
from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import output_path
from railwright.settings.hookup.obstacle import (
    FIGURE,
    LEAD,
    PROCEDURE,
    Found,
    Obstacle,
    Proposal,
    each_of,
    round_down,
    round_up,
)
from railwright.settings.rule import Path
from railwright.settings.windows.current_limit import HEADROOM, ROOM_TO_CHARGE
from railwright.settings.windows.ovp import OVP_STEP
from railwright.settings.windows.ovp import window as ovp_window
from railwright.settings.windows.window import collision


def voltage(proposal: Proposal) -> Found:
    """The voltage at the terminals is more than the group gives."""
    if proposal.top > proposal.group.full_voltage:
        drop = proposal.sensed_drop
        with_drop = f" with the drop of {show(drop, 'V')} that is sensed away" if drop else ""
        yield Obstacle(
            f"{proposal.group.gives} {show(proposal.group.full_voltage, 'V')}; "
            f"{show(proposal.top, 'V')} is needed{with_drop}"
        )


def power(proposal: Proposal) -> Found:
    """The power drawn is more than the group gives while no output gives more than its own."""
    if proposal.power > proposal.group.full_power:
        yield Obstacle(
            f"{proposal.group.gives} {show(proposal.group.full_power, 'W')}; "
            f"{show(proposal.power, 'W')} is needed"
        )


def sense(proposal: Proposal) -> Found:
    """An output cannot sense at the load, or not make up for the lead's drop."""
    if proposal.sense != "at load":
        return
    need = proposal.demand.current
    drop = proposal.drop(need)
    for name, output in each_of(proposal.group):
        if output.sense is None:
            yield Obstacle(
                f"{name} cannot sense at the load",
                f"write 'sense: at terminals' for {proposal.demand.name}",
                PROCEDURE,
                (*proposal.demand.at_hook_up, "sense"),
            )
        elif output.sense.compensates is None:
            yield Obstacle(
                f"how much drop {name} makes up for is unknown",
                f"give 'compensates' of {name}",
                FIGURE,
                (*output_path(name), "sense"),
            )
        elif drop > output.sense.compensates:
            fixed = proposal.drop(0.0) + need * (
                proposal.demand.fixture.resistance.high if proposal.demand.fixture else 0.0
            )
            room = (output.sense.compensates - fixed) / need
            yield Obstacle(
                f"lead '{proposal.lead_name}' drops {show(drop, 'V')} at {show(need, 'A')}; {name} makes up "
                f"for {show(output.sense.compensates, 'V')}",
                f"a lead of at most {show(round_down(room), 'ohm')} (both ways, contacts and warmth counted) "
                f"for {proposal.demand.name}"
                if room > 0
                else None,
                LEAD,
                ("bench", "leads", proposal.lead_name),
            )


def lead(proposal: Proposal) -> Found:
    """The lead carries less than the current limit lets through."""
    demand, group, permitted = proposal.demand, proposal.group, proposal.lead.permitted_current
    asked = demand.limits.current_limit
    limit = HEADROOM * demand.current if asked == AUTO else float(asked)
    most = limit + (group.limit_error(limit) or 0.0)
    wanted = most
    if asked == AUTO:  # an automatic limit keeps its error away from both ends, the need and the lead
        wanted += group.limit_error(1.1 * most) or 0.0
        most += group.limit_error(permitted or most) or 0.0
    where: Path = ("bench", "leads", proposal.lead_name)
    if permitted is None:
        if demand.wish.lead == AUTO or asked == AUTO:
            yield Obstacle(
                f"what lead '{proposal.lead_name}' may carry is unknown",
                f"give 'permitted_current' of lead '{proposal.lead_name}' ({show(round_up(wanted), 'A')} or "
                f"more is needed)",
                FIGURE,
                where,
            )
    elif most > permitted:
        yield Obstacle(
            f"lead '{proposal.lead_name}' may carry {show(permitted, 'A')}; the limit of {demand.name} lets "
            f"{show(most, 'A')} through",
            f"a lead with a 'permitted_current' of {show(round_up(wanted), 'A')} or more for {demand.name}",
            LEAD,
            where,
        )


def ovp(proposal: Proposal) -> Found:
    """No OVP level, or not the one that is written, lies between what is played and what is withstood."""
    demand, group = proposal.demand, proposal.group
    known = [(output.ovp.accuracy if output.ovp else None) or 0.0 for output in group.rows]
    accuracy = sum(known) if group.series else max(known)
    asked = demand.limits.current_limit
    limit = ROOM_TO_CHARGE * demand.current if asked == AUTO else float(asked)
    highest = demand.highest + (group.voltage_error(demand.highest) or 0.0)
    highest += proposal.drop(limit) if proposal.sense == "at load" else 0.0
    withstands = demand.input.withstands_always
    level = demand.limits.ovp
    if level == AUTO:
        if _surely(proposal, highest):
            return
        window = ovp_window(proposal.fed(), limit)
        if pair := window.colliding():
            why, _ = collision(window, pair)
            yield Obstacle(f"with {group.words} and lead '{proposal.lead_name}', {why}")
        return
    value = float(level)
    too_low = value - accuracy <= highest
    if not too_low and (withstands is None or value + accuracy <= withstands):
        return
    change: str | None = f"write 'ovp: auto' in the limits of {demand.name}"
    if not _surely(proposal, highest):
        known_all = all(o.ovp and o.ovp.accuracy is not None and figures.ovp_overshoot(o) for o in group.rows)
        if not known_all or ovp_window(proposal.fed(), limit).colliding():
            change = None
    part = (change, PROCEDURE, (*demand.at_limits, "ovp")) if change else (None, 0, None)
    if too_low:
        yield Obstacle(
            f"the OVP of {group.words} may trip from {show(value - accuracy, 'V')} on; up to "
            f"{show(highest, 'V')} stands at the terminals with lead '{proposal.lead_name}'",
            *part,
        )
    if withstands is not None and value + accuracy > withstands:
        yield Obstacle(
            f"the OVP of {group.words} may let {show(value + accuracy, 'V')} stand; the input withstands "
            f"{show(withstands, 'V')}",
            *part,
        )


def _surely(proposal: Proposal, highest: float) -> bool:
    """Whether an OVP level has room without a closer look at its window: bounds that lie inside its ends."""
    group, withstands = proposal.group, proposal.demand.input.withstands_always
    if withstands is None:
        return False
    low, high, wrong = highest, math.inf, 0.0
    for output, share in zip(group.rows, group.shares, strict=True):
        overshoot = figures.ovp_overshoot(output)
        if output.ovp is None or output.ovp.accuracy is None or overshoot is None:
            return False
        low = max(low, output.ovp.level.low / share, highest + output.ovp.accuracy / share)
        high = min(high, output.ovp.level.high / share)
        wrong += output.ovp.accuracy + overshoot
    return low + 5 * OVP_STEP * len(group.rows) < min(high, withstands - wrong)  # some steps of its grid


def of_proposal(proposal: Proposal) -> Found:
    """Obstacles that hang on lead and sense."""
    for look in (voltage, power, sense, lead, ovp):
        yield from look(proposal)
