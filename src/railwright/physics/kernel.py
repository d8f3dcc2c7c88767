"""The compiled kernel: plays a branch from one instant to another, with its actions, trips and events.

Importing this module loads numba; the first call compiles, later processes take the result from the cache.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import FLAG, FLOAT, INTEGERS, MATRIX, VECTOR, compiled
from railwright.physics.arrays import SYSTEM, WORK, check_record, check_space, check_system
from railwright.physics.compiled import compiled_entry
from railwright.physics.dispatch import load_current, load_parts
from railwright.physics.equations import (
    jacobian,
    load_voltage,
    output_current,
    positions,
    regions,
    rhs,
    terminals,
)
from railwright.physics.layout import (
    CURRENT,
    IMAX,
    IN_CHARGE,
    NOBODY,
    POWER_LIMIT,
    ROW_CONNECTOR,
    ROW_CURRENT,
    ROW_OUTPUTS,
    ROW_TERMINALS,
    ROW_TIME,
    SET_BRANCH,
    STEP,
    STEPS,
    TIME,
    TRIPPED,
    VMAX,
    WORST,
    AnySystem,
    Array,
)
from railwright.physics.rosenbrock import interpolate
from railwright.physics.solver import FAILED, REACHED, make_solver
from railwright.physics.switching import act, act_on_branch, log_event, next_stop, settle, turns_corner

DONE, FAILURE, FULL, STOPPED = range(4)
STARTING_STEP = 1e-6
JUMP_STEP = 1e-9
"""Step after a current has jumped [s]: what the connector's capacitance makes of it settles in nanoseconds,
and a step across that would be right at its end alone, not in between.
"""
solver_step = make_solver(rhs, jacobian, regions)
MOST_PARTS = 32
"""Largest number of recorded rows for one step of the solver."""


@compiled
def _record(row: Array, t: float, y: Array, system: AnySystem) -> None:
    """One row: time, voltage at the terminals and at the connector, current; each output's voltage,
    current, mode.
    """
    outputs = system.fixed.shape[0]
    first, stride, lead, connector = positions(outputs, system.branch)
    source = terminals(y, system)
    row[ROW_TIME], row[ROW_TERMINALS], row[ROW_CONNECTOR], row[ROW_CURRENT] = t, source, y[connector], y[lead]
    for j in range(outputs):
        own = y[first + stride * j]
        who = system.settings[j, IN_CHARGE]
        mode = 0.0 if who == NOBODY else 2.0 if who == CURRENT else 3.0 if who == POWER_LIMIT else 1.0
        at = ROW_OUTPUTS + 3 * j
        row[at], row[at + 1] = own, output_current(j, y, system)
        row[at + 2] = 4.0 if system.settings[j, TRIPPED] != 0.0 else mode
    at = ROW_OUTPUTS + 3 * outputs
    if row.shape[0] > at:
        _record_all(row[at:], t, y, connector, system)


@compiled
def _record_all(row: Array, t: float, y: Array, connector: int, system: AnySystem) -> None:
    """Every state and the current into every load, for energies that are summed up outside the solver."""
    n = y.shape[0]
    for i in range(n):
        row[i] = y[i]
    for m in range(system.loads.shape[0] - 1):
        kind, p, q, start, end = load_parts(m, system)
        v = load_voltage(m, y, connector, system)
        row[n + m] = load_current(kind, v, t, p, y[start:end], q)


@compiled
def _parts(
    t: float, end: float, y: Array, system: AnySystem, work: AnySystem, row: Array, fine: float
) -> int:
    """Parts of a step so that straight lines between its rows err by less than `fine` of full scale."""
    outputs = system.fixed.shape[0]
    first, _, lead, connector = positions(outputs, system.branch)
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


@compiled_entry(
    FLOAT, VECTOR, VECTOR, SYSTEM, INTEGERS, MATRIX, MATRIX, MATRIX, INTEGERS, WORK, FLOAT, FLOAT, FLAG
)
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

    y (n,), clock (CLOCK,), charge (outputs + loads,) and the settings and flags of system carry the state
    from call to call. actions (a, ACTION): in order of time. rows (r, ROW_OUTPUTS + 3 · outputs) and events
    (e, EVENT) are filled; counts: rows, events and actions so far. Returns DONE, FAILURE (clock[WORST] names
    the state), FULL (call again with room), or STOPPED (an output has tripped and `stop_at_trip` is set).

    Raises TypeError and ValueError for arrays of other types, or whose sizes do not fit together.
    """
    check_system(system)
    check_space(y, system, charge, work)
    check_record(y, clock, system, actions, rows, events, counts)
    t = clock[TIME]
    settled = False
    while True:
        while counts[2] < actions.shape[0] and actions[counts[2], 0] <= t:
            action = actions[counts[2]]
            settled = False
            if action[2] >= SET_BRANCH:
                happened = act_on_branch(int(action[2]), int(action[1]), action[3], system)
                if happened:
                    counts[1] = log_event(events, counts[1], t, happened - 1, 0)
                counts[2] += 1
                clock[STEP] = JUMP_STEP
                continue
            for j in range(system.fixed.shape[0]):
                if action[1] < 0.0 or int(action[1]) == j:
                    happened = act(t, j, int(action[2]), action[3], action[4], y, system)
                    if happened:
                        counts[1] = log_event(events, counts[1], t, happened - 1, j)
            counts[2] += 1
            clock[STEP] = min(clock[STEP], STARTING_STEP)
        stop = target
        if counts[2] < actions.shape[0]:
            stop = min(stop, actions[counts[2], 0])
        tripped = False
        if not settled:
            counts[1], tripped, jumped = settle(t, y, system, work, charge, events, counts[1])
            if tripped or turns_corner(t, system):
                clock[STEP] = min(clock[STEP], STARTING_STEP)
            if jumped:
                clock[STEP] = JUMP_STEP
        _record(rows[counts[0]], t, y, system)
        counts[0] += 1
        if tripped and stop_at_trip:
            return STOPPED
        if t >= target:
            return DONE
        if counts[0] + MOST_PARTS + 2 > rows.shape[0] or counts[1] + 64 > events.shape[0]:
            return FULL
        stop = next_stop(t, stop, system)
        status, end, following, worst = solver_step(t, y, stop, clock[STEP], relative, system, work)
        # Within one region, and before the next corner or timer, nothing changes its condition.
        settled = status == REACHED and end < stop
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
        if rows.shape[1] > ROW_OUTPUTS + 3 * system.fixed.shape[0]:
            # Currents of loads may jump at an instant: also as they are just before it.
            _record(rows[counts[0]], t, y, system)
            counts[0] += 1
        clock[TIME] = t
        clock[STEP] = following
