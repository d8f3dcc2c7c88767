"""What changes at an instant: set points carried out, timers, trips, and who is in charge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import compiled
from railwright.physics.dispatch import load_corner, load_current, load_enter, load_parts
from railwright.physics.equations import keep, load_voltage, positions, reference, regions
from railwright.physics.layout import (
    BLOCKED,
    BLOWN,
    CLEAR,
    CROWBAR,
    CURRENT,
    EV_BLOCKS,
    EV_BLOWS,
    EV_CC,
    EV_CLOSES,
    EV_CONDUCTS,
    EV_CP,
    EV_CV,
    EV_LOAD,
    EV_OFF,
    EV_ON,
    EV_OPENS,
    EV_TRIP_LIMIT,
    EV_TRIP_LINKED,
    EV_TRIP_OCP,
    EV_TRIP_OPP,
    EV_TRIP_OVP,
    FALL,
    HELD,
    IMAX,
    IN_CHARGE,
    LIMIT,
    LIMIT_SINCE,
    NOBODY,
    OCP,
    OCP_DELAY,
    OCP_SINCE,
    OF_LOAD,
    OF_TERMINALS,
    ON,
    OPENED,
    OPP,
    OPP_RESPONSE,
    OPP_SINCE,
    OVERSHOOT,
    OVP,
    OVP_RESPONSE,
    OVP_SINCE,
    POWER_LIMIT,
    REF_GOAL,
    REF_RATE,
    REF_START,
    REF_TIME,
    RISE,
    SENSE_RATE,
    SENSE_START,
    SENSE_TIME,
    SET_LINE,
    SET_LOAD,
    SET_SENSE,
    SET_SENSE_ERROR,
    SET_TRIPS,
    SET_VOLTAGE,
    SETTINGS,
    SHORTED,
    SINKING,
    SLEW_DOWN,
    SLEW_UP,
    SWITCH_OFF,
    SWITCH_ON,
    TRIP_DELAY,
    TRIP_LINKED,
    TRIPPED,
    TRIPS,
    VOLTAGE,
    AnySystem,
    Array,
)

LINE_PARTS, LINE_PART = 8.0, 0.02
"""A line of the set point is passed in steps of no more than this part of it, or of this [s] where that is
more: a single step across a far bend of a load's law would be right at its end alone, not in between.
"""

JUMP = 1e-5
"""Part of the rated current from which on a change of a load's current at an instant is a jump."""


@compiled
def move_reference(t: float, goal: float, rate: float, fixed: Array, settings: Array) -> None:
    """Let the reference move to its goal, never faster than the output itself can."""
    start = reference(t, settings)
    own = fixed[RISE] if goal > start else fixed[FALL]
    rate = min(rate, own)
    settings[REF_START], settings[REF_TIME], settings[REF_GOAL] = start, t, goal
    settings[REF_RATE] = rate if goal > start else -rate if goal < start else 0.0


@compiled
def log_event(events: Array, count: int, t: float, what: int, about: int, level: float = 0.0) -> int:
    """Write an event down; returns how many there are now. level: of the limit or protection that acts, as it
    stands now: it may be set anew before anyone reads this.
    """
    if count < events.shape[0]:
        events[count, 0], events[count, 1], events[count, 2], events[count, 3] = t, what, about, level
    return count + 1


@compiled
def switch_off(settings: Array, tripped: int) -> None:
    """Open the pass element; tripped: the event that is the reason, 0 for none."""
    settings[ON] = 0.0
    for timer in (LIMIT_SINCE, OVP_SINCE, OPP_SINCE, OCP_SINCE):
        settings[timer] = np.inf
    if tripped:
        settings[TRIPPED] = tripped


@compiled
def act(t: float, j: int, what: int, a: float, b: float, y: Array, system: AnySystem) -> int:
    """Carry out one action on the output j; returns the event + 1 that comes of it, or 0."""
    fixed, settings = system.fixed[j], system.settings[j]
    if what < SETTINGS:
        settings[what] = a
    elif what == SET_VOLTAGE:
        rising = a > reference(t, settings)
        move_reference(t, a, settings[SLEW_UP] if rising else settings[SLEW_DOWN], fixed, settings)
    elif what == SET_LINE:
        distance = abs(a - reference(t, settings))
        move_reference(t, a, distance / b if b > 0.0 else np.inf, fixed, settings)
    elif what == SET_TRIPS:
        settings[TRIPS] = a
        settings[LIMIT_SINCE] = np.inf
    elif what == SET_SENSE:
        settings[OF_TERMINALS], settings[OF_LOAD] = a, b
    elif what == SET_SENSE_ERROR:
        settings[SENSE_START], settings[SENSE_TIME], settings[SENSE_RATE] = a, t, b
    elif what == CLEAR:
        settings[TRIPPED] = 0.0
        settings[SHORTED] = 0.0
    elif what == SWITCH_ON and settings[ON] == 0.0 and settings[TRIPPED] == 0.0:
        settings[ON] = 1.0
        settings[SHORTED] = 0.0
        first, stride, _, _ = positions(system.fixed.shape[0], system.branch)
        stands = max(0.0, y[first + stride * j])
        goal = stands if a else settings[REF_GOAL]
        # What a source holds up is not pulled down: it begins there, unless it is set to less. What a
        # capacitor still holds is no source: the output begins at nothing, and that falls meanwhile.
        begins = min(goal, stands) if a or system.branch[HELD] else 0.0
        settings[REF_RATE], settings[REF_GOAL] = 0.0, begins
        move_reference(t, goal, settings[SLEW_UP], fixed, settings)
        y[3 * j + 1] = 0.0
        y[3 * j + 2] = fixed[OVERSHOOT]
        return EV_ON + 1
    elif what == SWITCH_OFF and settings[ON] == 1.0:
        switch_off(settings, 0)
        return EV_OFF + 1
    elif what == TRIP_LINKED and settings[TRIPPED] == 0.0:
        switch_off(settings, EV_TRIP_LINKED)
        return EV_TRIP_LINKED + 1
    return 0


@compiled
def act_on_branch(what: int, place: int, value: float, system: AnySystem) -> int:
    """Carry out one action on the lead or a load; returns the event + 1 that comes of it, or 0."""
    if what == SET_LOAD:
        system.parameters[place] = value
        return 0
    changes = system.branch[place] != value
    system.branch[place] = value
    if place == OPENED and changes:
        return EV_OPENS + 1 if value else EV_CLOSES + 1
    return 0


@compiled
def load_draws(m: int, t: float, y: Array, system: AnySystem) -> float:
    """Current into the load m [A]."""
    kind, p, q, begins, ends = load_parts(m, system)
    _, _, _, connector = positions(system.fixed.shape[0], system.branch)
    v = load_voltage(m, y, connector, system)
    return load_current(kind, v, t, p, y[begins:ends], q)  # type: ignore[no-any-return]


@compiled
def since(running: bool, began: float, t: float) -> float:
    """When a timer began to run [s]; inf while its condition does not hold."""
    return min(began, t) if running else np.inf


@compiled
def settle_path(region: int, t: float, y: Array, system: AnySystem, events: Array, count: int) -> int:
    """Let the lead's diode block or conduct and its fuse open; returns the number of events."""
    path = system.branch
    if region & 3:  # its current is zero now, not what the solver's tolerance left of it
        _, _, lead, _ = positions(system.fixed.shape[0], system.branch)
        y[lead] = 0.0
    if region & 1:
        path[BLOCKED] = 1.0
        return log_event(events, count, t, EV_BLOCKS, 0)
    if region & 2:
        path[BLOCKED] = 0.0
        return log_event(events, count, t, EV_CONDUCTS, 0)
    if region & 4:
        path[BLOWN] = 1.0
        return log_event(events, count, t, EV_BLOWS, 0)
    return count


@compiled
def settle(
    t: float,
    y: Array,
    system: AnySystem,
    work: AnySystem,
    charge: NDArray[np.int64],
    events: Array,
    count: int,
) -> tuple[int, bool, bool]:
    """Bring every discrete condition up to date at (t, y); returns the number of events, whether an output
    tripped, and whether the current of a load jumped.
    """
    outputs = system.fixed.shape[0]
    settings = system.settings
    tripped = jumped = False
    for _ in range(8):
        again = False
        regions(t, y, work.before, system)
        for j in range(outputs):
            bits = work.before[j]
            who = bits & 7
            keep(bits, settings[j])
            if settings[j, ON] == 1.0:
                limiting = who == CURRENT and settings[j, TRIPS] == 1.0
                settings[j, LIMIT_SINCE] = since(limiting, settings[j, LIMIT_SINCE], t)
                settings[j, OVP_SINCE] = since(bits & 8 != 0, settings[j, OVP_SINCE], t)
                settings[j, OPP_SINCE] = since(bits & 64 != 0, settings[j, OPP_SINCE], t)
                settings[j, OCP_SINCE] = since(bits & 128 != 0, settings[j, OCP_SINCE], t)
                event, level = 0, 0.0
                if t >= settings[j, OVP_SINCE] + system.fixed[j, OVP_RESPONSE]:
                    event, level = EV_TRIP_OVP, settings[j, OVP]
                    settings[j, SHORTED] = 1.0 if system.fixed[j, CROWBAR] > 0.0 else 0.0
                elif t >= settings[j, OPP_SINCE] + system.fixed[j, OPP_RESPONSE]:
                    event, level = EV_TRIP_OPP, settings[j, OPP]
                elif t >= settings[j, OCP_SINCE] + settings[j, OCP_DELAY]:
                    event, level = EV_TRIP_OCP, settings[j, OCP]
                elif t >= settings[j, LIMIT_SINCE] + settings[j, TRIP_DELAY]:
                    event, level = EV_TRIP_LIMIT, settings[j, LIMIT]
                if event:
                    switch_off(settings[j], event)
                    count = log_event(events, count, t, event, j, level)
                    charge[j] = NOBODY
                    settings[j, IN_CHARGE] = NOBODY
                    tripped = again = True
                    continue
            now = (
                VOLTAGE if who == SINKING else who
            )  # an output that sinks is one whose voltage loop is in charge
            if now != charge[j]:
                charge[j] = now
                if now == CURRENT:
                    count = log_event(events, count, t, EV_CC, j, settings[j, LIMIT])
                elif now == POWER_LIMIT:
                    count = log_event(events, count, t, EV_CP, j)
                elif now != NOBODY:
                    count = log_event(events, count, t, EV_CV, j)
        for m in range(system.loads.shape[0] - 1):
            kind, p, q, _, _ = load_parts(m, system)
            region = work.before[outputs + m]
            if region != charge[outputs + m]:
                drawn = load_draws(m, t, y, system)
                happened = load_enter(kind, region, t, p, q)
                change = abs(load_draws(m, t, y, system) - drawn)
                jumped = jumped or change > JUMP * system.fixed[0, IMAX]
                charge[outputs + m] = region
                if happened:
                    count = log_event(events, count, t, EV_LOAD + happened - 1, m)
                again = True
        last = outputs + (system.loads.shape[0] - 1)
        if work.before[last] & 7:
            count = settle_path(work.before[last], t, y, system, events, count)
            again = True
        if not again:
            break
    return count, tripped, jumped


@compiled
def turns_corner(t: float, system: AnySystem) -> bool:
    """Whether a set point has just come to the end of its line: what flowed because it moved then dies away,
    and a step as long as those before would be right at its end alone, not in between.
    """
    for j in range(system.fixed.shape[0]):
        settings = system.settings[j]
        rate = settings[REF_RATE]
        if settings[ON] == 1.0 and rate != 0.0:
            corner = settings[REF_TIME] + (settings[REF_GOAL] - settings[REF_START]) / rate
            if corner <= t:
                return True
    return False


@compiled
def next_stop(t: float, target: float, system: AnySystem) -> float:
    """The first instant after t at which a set point turns a corner or a timer runs out, at most target
    [s].
    """
    stop = target
    for j in range(system.fixed.shape[0]):
        settings = system.settings[j]
        if settings[ON] == 0.0:
            continue
        rate = settings[REF_RATE]
        if rate != 0.0:
            corner = settings[REF_TIME] + (settings[REF_GOAL] - settings[REF_START]) / rate
            if corner <= t:
                settings[REF_RATE], settings[REF_START] = 0.0, settings[REF_GOAL]
            else:
                part = (corner - settings[REF_TIME]) / LINE_PARTS
                stop = min(stop, corner, t + max(part, LINE_PART))
        for timer in (
            settings[OVP_SINCE] + system.fixed[j, OVP_RESPONSE],
            settings[LIMIT_SINCE] + settings[TRIP_DELAY],
            settings[OPP_SINCE] + system.fixed[j, OPP_RESPONSE],
            settings[OCP_SINCE] + settings[OCP_DELAY],
        ):
            if timer > t:
                stop = min(stop, timer)
    for m in range(system.loads.shape[0] - 1):
        kind, p, q, _, _ = load_parts(m, system)
        corner = load_corner(kind, t, p, q)
        if corner > t:
            stop = min(stop, corner)
    return stop
