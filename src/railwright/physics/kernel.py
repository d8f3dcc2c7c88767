"""The compiled kernel: plays a branch from one instant to another, with its actions, trips and events.

Importing this module loads numba; the first call compiles, later processes take the result from the cache.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.physics.compiled import compiled, compiled_entry
from railwright.physics.dispatch import load_enter
from railwright.physics.equations import (
    command,
    jacobian,
    output_current,
    positions,
    reference,
    regions,
    rhs,
    terminals,
)
from railwright.physics.layout import (
    CLEAR,
    CURRENT,
    EV_CC,
    EV_CP,
    EV_CV,
    EV_LOAD,
    EV_OFF,
    EV_ON,
    EV_TRIP_LIMIT,
    EV_TRIP_LINKED,
    EV_TRIP_OVP,
    FALL,
    IMAX,
    LIMIT,
    LIMIT_SINCE,
    NOBODY,
    OF_LOAD,
    OF_TERMINALS,
    ON,
    OVERSHOOT,
    OVP,
    OVP_RESPONSE,
    OVP_SINCE,
    POWER,
    POWER_LIMIT,
    REF_GOAL,
    REF_RATE,
    REF_START,
    REF_TIME,
    RISE,
    ROW_CONNECTOR,
    ROW_CURRENT,
    ROW_OUTPUTS,
    ROW_TERMINALS,
    ROW_TIME,
    SET_DELAY,
    SET_DOWN,
    SET_LIMIT,
    SET_LINE,
    SET_OVP,
    SET_POWER,
    SET_SENSE,
    SET_TRIPS,
    SET_UP,
    SET_VOLTAGE,
    SINKING,
    SLEW_DOWN,
    SLEW_UP,
    STEP,
    STEPS,
    SWITCH_OFF,
    SWITCH_ON,
    TIME,
    TRIP_DELAY,
    TRIP_LINKED,
    TRIPPED,
    TRIPS,
    VMAX,
    VOLTAGE,
    WORST,
    AnySystem,
    Array,
)
from railwright.physics.rosenbrock import interpolate
from railwright.physics.solver import FAILED, make_solver

DONE, FAILURE, FULL, STOPPED = range(4)
STARTING_STEP = 1e-6
solver_step = make_solver(rhs, jacobian, regions)
MOST_PARTS = 32
"""Largest number of recorded rows for one step of the solver."""


@compiled
def _move_reference(t: float, goal: float, rate: float, fixed: Array, settings: Array) -> None:
    """Let the reference move to its goal, never faster than the output itself can."""
    start = reference(t, settings)
    own = fixed[RISE] if goal > start else fixed[FALL]
    rate = min(rate, own)
    settings[REF_START], settings[REF_TIME], settings[REF_GOAL] = start, t, goal
    settings[REF_RATE] = rate if goal > start else -rate if goal < start else 0.0


@compiled
def _log(events: Array, count: int, t: float, what: int, about: int) -> int:
    if count < events.shape[0]:
        events[count, 0], events[count, 1], events[count, 2] = t, what, about
    return count + 1


@compiled
def _switch_off(settings: Array, tripped: int) -> None:
    settings[ON] = 0.0
    settings[LIMIT_SINCE] = np.inf
    settings[OVP_SINCE] = np.inf
    if tripped:
        settings[TRIPPED] = tripped


@compiled
def _act(t: float, j: int, what: int, a: float, b: float, y: Array, system: AnySystem) -> int:
    """Carry out one action on the output j; returns the event + 1 that comes of it, or 0."""
    fixed, settings = system.fixed[j], system.settings[j]
    if what == SET_VOLTAGE:
        rising = a > reference(t, settings)
        _move_reference(t, a, settings[SLEW_UP] if rising else settings[SLEW_DOWN], fixed, settings)
    elif what == SET_LINE:
        distance = abs(a - reference(t, settings))
        _move_reference(t, a, distance / b if b > 0.0 else np.inf, fixed, settings)
    elif what == SET_UP:
        settings[SLEW_UP] = a
    elif what == SET_DOWN:
        settings[SLEW_DOWN] = a
    elif what == SET_LIMIT:
        settings[LIMIT] = a
    elif what == SET_OVP:
        settings[OVP] = a
    elif what == SET_TRIPS:
        settings[TRIPS] = a
        settings[LIMIT_SINCE] = np.inf
    elif what == SET_DELAY:
        settings[TRIP_DELAY] = a
    elif what == SET_POWER:
        settings[POWER] = a
    elif what == SET_SENSE:
        settings[OF_TERMINALS], settings[OF_LOAD] = a, b
    elif what == CLEAR:
        settings[TRIPPED] = 0.0
    elif what == SWITCH_ON and settings[ON] == 0.0 and settings[TRIPPED] == 0.0:
        settings[ON] = 1.0
        goal = settings[REF_GOAL]
        settings[REF_RATE], settings[REF_GOAL] = 0.0, 0.0
        _move_reference(t, goal, settings[SLEW_UP], fixed, settings)
        y[3 * j + 1] = 0.0
        y[3 * j + 2] = fixed[OVERSHOOT]
        return EV_ON + 1
    elif what == SWITCH_OFF and settings[ON] == 1.0:
        _switch_off(settings, 0)
        return EV_OFF + 1
    elif what == TRIP_LINKED and settings[TRIPPED] == 0.0:
        _switch_off(settings, EV_TRIP_LINKED)
        return EV_TRIP_LINKED + 1
    return 0


@compiled
def _record(row: Array, t: float, y: Array, system: AnySystem) -> None:
    """One row: time, voltage at the terminals and at the connector, current; each output's voltage, current, mode."""
    outputs = system.fixed.shape[0]
    first, stride, lead, connector = positions(outputs, system.branch)
    source = terminals(y, system)
    row[ROW_TIME], row[ROW_TERMINALS], row[ROW_CONNECTOR], row[ROW_CURRENT] = t, source, y[connector], y[lead]
    lost = (y[connector] - source) / (outputs if stride else 1)
    for j in range(outputs):
        own = y[first + stride * j]
        _, who, _ = command(
            t, own, own + lost, y[3 * j + 1], y[3 * j + 2], system.fixed[j], system.settings[j]
        )
        mode = 0.0 if who == NOBODY else 2.0 if who == CURRENT else 3.0 if who == POWER_LIMIT else 1.0
        at = ROW_OUTPUTS + 3 * j
        row[at], row[at + 1] = own, output_current(j, y, system)
        row[at + 2] = 4.0 if system.settings[j, TRIPPED] != 0.0 else mode


@compiled
def _parts(
    t: float, end: float, y: Array, system: AnySystem, work: AnySystem, row: Array, fine: float
) -> int:
    """Parts of a step so that straight lines between its rows err by less than `fine` of full scale."""
    outputs = system.fixed.shape[0]
    first, stride, lead, connector = positions(outputs, system.branch)
    volts, amperes, worst = 0.0, 0.0, 0.0
    for j in range(outputs):
        volts, amperes = max(volts, system.fixed[j, VMAX]), max(amperes, system.fixed[j, IMAX])
    for quarter in range(1, 4):
        s = 0.25 * quarter
        interpolate(s, y, work.new, work.dense, work.middle)
        for i in range(first, connector + 1):
            straight = y[i] + s * (work.new[i] - y[i])
            scale = amperes if i == lead else volts
            worst = max(worst, abs(work.middle[i] - straight) / scale)
    return int(min(float(MOST_PARTS), 1.0 + np.floor(np.sqrt(worst / fine))))


@compiled
def _settle(
    t: float,
    y: Array,
    system: AnySystem,
    work: AnySystem,
    charge: NDArray[np.int64],
    events: Array,
    count: int,
) -> tuple[int, bool]:
    """Bring every discrete condition up to date at (t, y); returns the number of events and whether an output tripped."""
    outputs = system.fixed.shape[0]
    settings = system.settings
    tripped = False
    for _ in range(8):
        again = False
        regions(t, y, work.before, system)
        for j in range(outputs):
            bits = work.before[j]
            who = bits & 7
            if settings[j, ON] == 1.0:
                if who == CURRENT and settings[j, TRIPS] == 1.0:
                    settings[j, LIMIT_SINCE] = min(settings[j, LIMIT_SINCE], t)
                else:
                    settings[j, LIMIT_SINCE] = np.inf
                if bits & 8:
                    settings[j, OVP_SINCE] = min(settings[j, OVP_SINCE], t)
                else:
                    settings[j, OVP_SINCE] = np.inf
                event = 0
                if t >= settings[j, OVP_SINCE] + system.fixed[j, OVP_RESPONSE]:
                    event = EV_TRIP_OVP
                elif t >= settings[j, LIMIT_SINCE] + settings[j, TRIP_DELAY]:
                    event = EV_TRIP_LIMIT
                if event:
                    _switch_off(settings[j], event)
                    count = _log(events, count, t, event, j)
                    charge[j] = NOBODY
                    tripped = again = True
                    continue
            now = (
                VOLTAGE if who == SINKING else who
            )  # an output that sinks is one whose voltage loop is in charge
            if now != charge[j]:
                charge[j] = now
                if now == CURRENT:
                    count = _log(events, count, t, EV_CC, j)
                elif now == POWER_LIMIT:
                    count = _log(events, count, t, EV_CP, j)
                elif now != NOBODY:
                    count = _log(events, count, t, EV_CV, j)
        for m in range(system.kinds.shape[0]):
            p = system.parameters[system.parameter_at[m] : system.parameter_at[m + 1]]
            q = system.flags[system.flag_at[m] : system.flag_at[m + 1]]
            region = work.before[outputs + m]
            if region != charge[outputs + m]:
                happened = load_enter(system.kinds[m], region, t, p, q)
                charge[outputs + m] = region
                if happened:
                    count = _log(events, count, t, EV_LOAD + happened - 1, m)
                again = True
        if not again:
            break
    return count, tripped


@compiled
def _next_stop(t: float, target: float, system: AnySystem) -> float:
    """The first instant after t at which a set point turns a corner or a timer runs out, at most target [s]."""
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
                stop = min(stop, corner)
        for timer in (
            settings[OVP_SINCE] + system.fixed[j, OVP_RESPONSE],
            settings[LIMIT_SINCE] + settings[TRIP_DELAY],
        ):
            if timer > t:
                stop = min(stop, timer)
    return stop


@compiled_entry
def play(
    target: float,
    y: Array,
    clock: Array,
    system: AnySystem,
    charge: NDArray[np.int64],
    actions: Array,
    rows: Array,
    events: Array,
    counts: NDArray[np.int64],
    work: AnySystem,
    relative: float,
    fine: float,
    stop_at_trip: bool,
) -> int:
    """Play one branch to the time `target`.

    y (n,), clock (CLOCK,), charge (outputs + loads,) and the settings and flags of system carry the state from call to
    call. actions (a, ACTION): in order of time. rows (r, ROW_OUTPUTS + 3 · outputs) and events (e, EVENT) are filled;
    counts: rows, events and actions so far. Returns DONE, FAILURE (clock[WORST] names the state), FULL (call again
    with room), or STOPPED (an output has tripped and `stop_at_trip` is set).
    """
    t = clock[TIME]
    while True:
        while counts[2] < actions.shape[0] and actions[counts[2], 0] <= t:
            action = actions[counts[2]]
            for j in range(system.fixed.shape[0]):
                if action[1] < 0.0 or int(action[1]) == j:
                    happened = _act(t, j, int(action[2]), action[3], action[4], y, system)
                    if happened:
                        counts[1] = _log(events, counts[1], t, happened - 1, j)
            counts[2] += 1
            clock[STEP] = STARTING_STEP
        stop = target
        if counts[2] < actions.shape[0]:
            stop = min(stop, actions[counts[2], 0])
        count, tripped = _settle(t, y, system, work, charge, events, counts[1])
        counts[1] = count
        if tripped:
            clock[STEP] = STARTING_STEP
        _record(rows[counts[0]], t, y, system)
        counts[0] += 1
        if tripped and stop_at_trip:
            return STOPPED
        if t >= target:
            return DONE
        if counts[0] + MOST_PARTS + 2 > rows.shape[0] or counts[1] + 64 > events.shape[0]:
            return FULL
        stop = _next_stop(t, stop, system)
        status, end, following, worst = solver_step(t, y, stop, clock[STEP], relative, system, work)
        clock[STEPS] += 1
        clock[WORST] = worst
        if status == FAILED:
            return FAILURE
        parts = _parts(t, end, y, system, work, rows[counts[0]], fine)
        for part in range(1, parts):
            s = part / parts
            interpolate(s, y, work.new, work.dense, work.middle)
            _record(rows[counts[0]], t + s * (end - t), work.middle, system)
            counts[0] += 1
        for i in range(y.shape[0]):
            y[i] = work.new[i]
        t = end
        clock[TIME] = t
        clock[STEP] = following
