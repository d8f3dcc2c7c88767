"""Many cases of one branch in one compiled loop: values in, measures out, nothing kept in between.

A case differs from the next in the values of some quantities: parameters of loads, resistance and inductance
of the lead, what a data sheet leaves open of an output stage, errors of set points and protections. The
template is a player that has been told what to do but has not begun.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import (
    FLAG,
    FLOAT,
    INTEGER_MATRIX,
    INTEGERS,
    MATRIX,
    VECTOR,
    compiled,
)
from railwright.physics import layout
from railwright.physics.arrays import SYSTEM, WORK, check_system
from railwright.physics.circuit import Branch
from railwright.physics.compiled import compiled_entry
from railwright.physics.kernel import FAILURE, STARTING_STEP, STOPPED, play
from railwright.physics.loads import kind_of
from railwright.physics.output_stage import POINTS, loop_bandwidth, step_modes, voltage_loop
from railwright.physics.player import MOST_STEPS, MOST_STEPS_A_SECOND, Player
from railwright.physics.simulation import small_simulation
from railwright.physics.solver import work_space

Array = NDArray[np.float64]

MEASURES = (
    "peak_current",
    "peak_at",
    "inrush_peak",
    "inrush_charge",
    "inrush_i2t",
    "time_in_limit",
    "first_time_in_limit",
    "peak_voltage",
    "settled_voltage",
    "tripped_at",
    "trip",
    "starts",
    "stops",
)
"""Measures of one input in one case, SI units. What did not happen is NaN (tripped_at, inrush_* and
settled_voltage of an input that is not powered up); trip: the number of the event, 0: none. settled_voltage:
at the connector, when the power-up ends.
"""

(PEAK, PEAK_AT, INRUSH, CHARGE, I2T, IN_LIMIT, FIRST_IN_LIMIT, HIGHEST, SETTLED, TRIPPED_AT, TRIP, STARTS,
 STOPS, COUNT) = range(14)  # fmt: skip

# What a quantity is a value of: (what, which output, place).
PARAMETER, NUMBER, DAMPING, LIMIT_OVERSHOOT = range(4)
VOLTAGE_GAIN, VOLTAGE_OFFSET, LIMIT_GAIN, LIMIT_OFFSET, OVP_ERROR = range(4, 9)
SLOT = 3

PLAYED, FAILED, TRIPPED = range(3)
"""What became of a case; TRIPPED: an output tripped whose trip others follow, the case must be played again
with all of them together.
"""

# What the measures keep from row to row.
LAST_TIME, LAST_CONNECTOR, LAST_CURRENT, LIMITED, STRETCH, BEGAN, KEPT = range(7)
NONE_YET, INSIDE, OVER = range(3)

_modes = compiled(step_modes)
_loop = compiled(voltage_loop)
_bandwidth = compiled(loop_bandwidth)


class Template(NamedTuple):
    """One branch before its first case, and room to play in.

    y, system, charge, actions: as they are at the start. stages (outputs, 3): time [s], band [V] and current
    [A] of the load step behind each output's gains. window: start and end of its power-up [s], NaN: it has
    none. starts, stops (loads,): number of the load's event, -1: it has none. end: until when it is played.
    rested: a load feeds back, and has charged the outputs' capacitors before the start.
    """

    y: Array
    system: layout.System
    charge: NDArray[np.int64]
    actions: Array
    stages: Array
    window: Array
    starts: NDArray[np.int64]
    stops: NDArray[np.int64]
    absolute: Array
    end: float
    relative: float
    fine: float
    follows: bool
    rested: bool


def copy_of(system: layout.System) -> layout.System:
    """The same numbers in arrays of their own."""
    copies: Any = [array.copy() for array in system]
    return layout.System(*copies)


def make_template(
    player: Player, stages: Array, window: tuple[float, float] | None, end: float, follows: bool
) -> Template:
    """The template of a player that has been told what to do. follows: its trips switch others off, or
    others' trips switch it off.
    """
    kinds = [kind_of(load.kind) for load in player.branch.loads]

    def number(what: str) -> NDArray[np.int64]:
        places = [kind.events.index(what) if what in kind.events else -1 for kind in kinds]
        return np.array(places, dtype=np.int64)

    rows = [(t, j, what, a, b) for t, _, j, what, a, b in player.pending]
    return Template(
        y=player.y.copy(),
        system=copy_of(player.system),
        charge=player.charge.copy(),
        actions=np.array(rows, dtype=np.float64).reshape(len(rows), layout.ACTION),
        stages=np.asarray(stages, dtype=np.float64),
        window=np.array(window or (np.nan, np.nan)),
        starts=number("starts"),
        stops=number("stops"),
        absolute=player.work.absolute.copy(),
        end=end,
        relative=player.relative,
        fine=player.fine,
        follows=follows,
        rested=player.rested,
    )


def play_cases(
    template: Template, branch: Branch, slots: NDArray[np.int64], values: Array
) -> tuple[Array, Any]:
    """Play every case of a branch: values (cases, quantities), slots (quantities, SLOT).

    Returns measures (cases, COUNT) and what became of each case (cases,). Releases the interpreter's lock.
    """
    outputs = template.system.fixed.shape[0]
    measures = np.empty((values.shape[0], COUNT))
    states = np.repeat(template.y[np.newaxis], values.shape[0], axis=0)
    _start_states(template, branch, slots, values, states)
    if template.rested:
        _rest(template, branch, slots, values, states)
    became = np.zeros(values.shape[0], dtype=np.int64)
    own = copy_of(template.system)
    rows = np.zeros((2048, layout.ROW_OUTPUTS + 3 * outputs))
    most = MOST_STEPS + MOST_STEPS_A_SECOND * template.end
    _play_cases(
        values, slots, states, template.system, own, template.charge, template.charge.copy(),
        template.actions, template.actions.copy(), template.stages, template.window, template.starts,
        template.stops, rows, np.zeros((256, layout.EVENT)),
        work_space(template.absolute, template.charge.size), template.end, template.relative, template.fine,
        template.follows, most, measures, became,
    )  # fmt: skip
    return measures, became


def _start_states(
    template: Template, branch: Branch, slots: NDArray[np.int64], values: Array, states: Array
) -> None:
    """States of loads that start at values which depend on their parameters."""
    for m, load in enumerate(branch.loads):
        kind = kind_of(load.kind)
        begin, end = template.system.loads[m : m + 2, layout.PARAMETER_AT]
        at = int(template.system.loads[m, layout.STATE_AT])
        p = template.system.parameters[begin:end].copy()
        if len(kind.equation("at_start")(p)) == 0:
            continue
        varied = [k for k, slot in enumerate(slots) if slot[0] == PARAMETER and begin <= slot[2] < end]
        for case in range(values.shape[0]):
            for k in varied:
                p[slots[k, 2] - begin] = values[case, k]
            cold = kind.equation("at_start")(p)
            states[case, at : at + len(cold)] = cold


def _rest(template: Template, branch: Branch, slots: NDArray[np.int64], values: Array, states: Array) -> None:
    """States at the start of cases whose loads have charged the outputs' capacitors by then."""
    for case in range(values.shape[0]):
        player = Player(branch, 0.0, template.relative, template.fine)
        player.system.parameters[:] = template.system.parameters
        for (what, _, place), value in zip(slots, values[case], strict=True):
            if what == PARAMETER:
                player.system.parameters[place] = value
            elif what == NUMBER:
                player.system.branch[place] = value
        first = int(player.system.loads[0, layout.STATE_AT])
        player.y[first:] = states[case, first:]
        player.rest()
        states[case] = player.y


@compiled
def _apply(
    values: Array,
    slots: NDArray[np.int64],
    system: Any,
    actions: Array,
    stages: Array,
    errors: Array,
    above: Array,
) -> None:
    """Put one case's values where they belong; system and actions are fresh copies of the template's.

    errors (outputs, 5), above (POINTS,): room to work in.
    """
    outputs = system.fixed.shape[0]
    for j in range(outputs):
        for k in range(5):
            errors[j, k] = 0.0
    for k in range(values.shape[0]):
        what, j, place, value = slots[k, 0], slots[k, 1], slots[k, 2], values[k]
        if what == PARAMETER:
            system.parameters[place] = value
        elif what == NUMBER:
            system.branch[place] = value
        elif what == DAMPING:
            fixed = system.fixed[j]
            capacitance = fixed[layout.CAPACITANCE]
            omega = _bandwidth(_modes(value), capacitance, stages[j, 0], stages[j, 1], stages[j, 2], above)
            fixed[layout.K_P], fixed[layout.K_I], fixed[layout.LAG] = _loop(omega, value, capacitance)
        elif what == LIMIT_OVERSHOOT:
            system.fixed[j, layout.OVERSHOOT] = value * system.fixed[j, layout.IMAX]
        else:
            errors[j, what - VOLTAGE_GAIN] = value
    for a in range(actions.shape[0]):
        what = int(actions[a, 2])
        if what == layout.SET_LOAD and actions[a, 4] == layout.OWN:
            actions[a, 3] = system.parameters[int(actions[a, 1])]
        if what >= layout.SET_BRANCH:
            continue
        for j in range(outputs):
            if int(actions[a, 1]) != j:
                continue
            told = actions[a, 3]
            if what in (layout.SET_VOLTAGE, layout.SET_LINE) and told != 0.0:
                actions[a, 3] = told * (1.0 + errors[j, 0]) + errors[j, 1]
            elif what == layout.LIMIT:
                actions[a, 3] = max(0.0, told * (1.0 + errors[j, 2]) + errors[j, 3])
            elif what == layout.OVP:
                actions[a, 3] = told + errors[j, 4]


@compiled
def _limited(row: Array, outputs: int, parallel: bool) -> bool:
    """Whether the input is in CC or CP and none of its outputs has tripped: as `MODE_PRECEDENCE` has it."""
    found = held = False
    for j in range(outputs):
        mode = row[layout.ROW_OUTPUTS + 3 * j + 2]
        if mode == 4.0:
            return False
        found = found or mode == 2.0 or mode == 3.0
        held = held or mode == 1.0
    return found and not (parallel and held)


@compiled
def _measure(
    rows: Array, count: int, outputs: int, parallel: bool, window: Array, kept: Array, out: Array
) -> None:
    """Take `count` more rows into the measures; straight lines between them."""
    for r in range(count):
        row = rows[r]
        t, v, i = row[layout.ROW_TIME], row[layout.ROW_CONNECTOR], row[layout.ROW_CURRENT]
        if i > out[PEAK]:
            out[PEAK], out[PEAK_AT] = i, t
        out[HIGHEST] = max(out[HIGHEST], v)
        t0, v0, i0 = kept[LAST_TIME], kept[LAST_CONNECTOR], kept[LAST_CURRENT]
        if t > t0:
            if kept[LIMITED] == 1.0:
                out[IN_LIMIT] += t - t0
                if kept[STRETCH] == INSIDE:
                    out[FIRST_IN_LIMIT] = t - kept[BEGAN]
            begin, end = max(t0, window[0]), min(t, window[1])
            if end > begin or (t0 <= window[1] <= t):
                slope = (i - i0) / (t - t0)
                first, last = i0 + slope * (begin - t0), i0 + slope * (end - t0)
                out[INRUSH] = max(out[INRUSH], max(first, last))
                out[CHARGE] += 0.5 * (first + last) * (end - begin)
                out[I2T] += (first * first + first * last + last * last) / 3.0 * (end - begin)
            if t0 <= window[1] <= t:
                out[SETTLED] = v0 + (v - v0) / (t - t0) * (window[1] - t0)
        limited = _limited(row, outputs, parallel)
        if limited and kept[STRETCH] == NONE_YET:
            kept[STRETCH], kept[BEGAN] = INSIDE, t
        elif not limited and kept[STRETCH] == INSIDE and t > kept[BEGAN]:
            kept[STRETCH] = OVER
        elif not limited and kept[STRETCH] == INSIDE:
            kept[STRETCH] = NONE_YET
        kept[LIMITED] = 1.0 if limited else 0.0
        kept[LAST_TIME], kept[LAST_CONNECTOR], kept[LAST_CURRENT] = t, v, i


@compiled
def _count_events(
    events: Array, count: int, starts: NDArray[np.int64], stops: NDArray[np.int64], out: Array
) -> None:
    for e in range(count):
        what, about = int(events[e, 1]), int(events[e, 2])
        if what >= layout.EV_LOAD:
            number = what - layout.EV_LOAD
            out[STARTS] += 1.0 if number == starts[about] else 0.0
            out[STOPS] += 1.0 if number == stops[about] else 0.0
        elif layout.EV_TRIP_OVP <= what <= layout.EV_TRIP_OCP and out[TRIP] == 0.0:
            out[TRIP], out[TRIPPED_AT] = what, events[e, 0]


@compiled
def _check_cases(
    values: Array,
    slots: NDArray[np.int64],
    states: Array,
    system: Any,
    actions: Array,
    stages: Array,
    window: Array,
    starts: NDArray[np.int64],
    stops: NDArray[np.int64],
    measures: Array,
    became: NDArray[np.int64],
) -> None:
    """Raise ValueError where sizes do not fit together, or a quantity has no place."""
    cases, outputs, loads = values.shape[0], system.fixed.shape[0], system.loads.shape[0] - 1
    if values.shape[1] != slots.shape[0] or slots.shape[1] != SLOT:
        raise ValueError("slots: expected (quantities, SLOT) of as many quantities as there are values")
    if states.shape[0] != cases or measures.shape != (cases, COUNT) or became.size != cases:
        raise ValueError("states, measures, became: expected a row for each case")
    if states.shape[1] != system.loads[loads, layout.STATE_AT]:
        raise ValueError("states: expected as many as the system has")
    if stages.shape != (outputs, 3) or window.size != 2 or starts.size != loads or stops.size != loads:
        raise ValueError("stages, window, starts, stops: expected (outputs, 3), (2,), (loads,) and (loads,)")
    if actions.shape[1] < layout.ACTION:
        raise ValueError("actions: expected (actions, ACTION)")
    for a in range(actions.shape[0]):
        if actions[a, 2] == layout.SET_LOAD and not 0.0 <= actions[a, 1] < system.parameters.size:
            raise ValueError("actions: there is no such parameter of a load")
    for k in range(slots.shape[0]):
        what, j, place = slots[k, 0], slots[k, 1], slots[k, 2]
        if what < PARAMETER or what > OVP_ERROR:
            raise ValueError("slots: there is no such quantity")
        if what in (PARAMETER, NUMBER):
            most = system.parameters.size if what == PARAMETER else layout.BRANCH
            if place < 0 or place >= most:
                raise ValueError("slots: there is no such parameter of a load, or number of the branch")
        elif j < 0 or j >= outputs:
            raise ValueError("slots: there is no such output")


@compiled_entry(
    MATRIX, INTEGER_MATRIX, MATRIX, SYSTEM, SYSTEM, INTEGERS, INTEGERS, MATRIX, MATRIX, MATRIX, VECTOR,
    INTEGERS, INTEGERS, MATRIX, MATRIX, WORK, FLOAT, FLOAT, FLOAT, FLAG, FLOAT, MATRIX, INTEGERS,
)  # fmt: skip
def _play_cases(
    values: Array,
    slots: NDArray[np.int64],
    states: Array,
    template: Any,
    system: Any,
    charge_at_start: NDArray[np.int64],
    charge: NDArray[np.int64],
    told: Array,
    actions: Array,
    stages: Array,
    window: Array,
    starts: NDArray[np.int64],
    stops: NDArray[np.int64],
    rows: Array,
    events: Array,
    work: Any,
    end: float,
    relative: float,
    fine: float,
    follows: bool,
    most: float,
    measures: Array,
    became: NDArray[np.int64],
) -> None:
    check_system(template)
    check_system(system)
    _check_cases(values, slots, states, template, actions, stages, window, starts, stops, measures, became)
    outputs, parallel = system.fixed.shape[0], template.branch[layout.PARALLEL] == 1.0
    clock, counts, kept = np.zeros(layout.CLOCK), np.zeros(3, dtype=np.int64), np.zeros(KEPT)
    errors, above = np.zeros((outputs, 5)), np.zeros(POINTS)
    for case in range(values.shape[0]):
        system.fixed[:] = template.fixed
        system.settings[:] = template.settings
        system.branch[:] = template.branch
        system.parameters[:] = template.parameters
        system.flags[:] = template.flags
        charge[:] = charge_at_start
        actions[:] = told
        _apply(values[case], slots, system, actions, stages, errors, above)
        y = states[case]
        for j in range(outputs):
            y[3 * j + 2] = system.fixed[j, layout.OVERSHOOT]
        clock[:] = 0.0
        clock[layout.STEP] = STARTING_STEP
        kept[:] = 0.0
        kept[LAST_TIME] = np.inf
        out = measures[case]
        out[:] = 0.0
        out[PEAK], out[HIGHEST] = -np.inf, -np.inf
        out[TRIPPED_AT] = np.nan
        powered = window[0] == window[0]
        out[INRUSH] = -np.inf if powered else np.nan
        if not powered:
            out[CHARGE], out[I2T], out[SETTLED] = np.nan, np.nan, np.nan
        done = 0
        while True:
            counts[:] = 0
            status = play(
                end, y, clock, system, charge, actions[done:], rows, events, counts, work, relative,
                fine, follows,
            )  # fmt: skip
            _measure(rows, counts[0], outputs, parallel, window, kept, out)
            _count_events(events, counts[1], starts, stops, out)
            done += counts[2]
            if status == FAILURE or clock[layout.STEPS] > most:
                became[case] = FAILED
                out[:] = np.nan
                break
            if status == STOPPED:
                became[case] = TRIPPED
                break
            if status == 0:
                break


def warm_up() -> None:
    """Compile the loop over cases, or load it from the cache, by playing one of a small circuit."""
    player, follows = small_simulation().player("small")
    template = make_template(player, np.zeros((1, 3)), None, 1e-3, follows)
    play_cases(template, player.branch, np.zeros((0, SLOT), dtype=np.int64), np.zeros((1, 0)))
