"""What compiled code gets from Python: types of the arrays, and whether their sizes fit together.

Compiled code looks at no bound of an array. Where sizes or places do not fit, it would read and write beside
them, so an entry checks them first: once a call, not once a step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.compilation import INTEGER_MATRIX, INTEGERS, MATRIX, VECTOR, compiled, fields
from railwright.physics.dispatch import COMPILED_KINDS
from railwright.physics.equations import positions
from railwright.physics.layout import (
    ACTION,
    BRANCH,
    CLOCK,
    EVENT,
    FIXED,
    FLAG_AT,
    FUSE,
    KIND,
    LOADS,
    NODE_AT,
    PARAMETER_AT,
    ROW_OUTPUTS,
    SET_BRANCH,
    SET_LOAD,
    SETTINGS,
    STATE_AT,
    AnySystem,
    Array,
    System,
)
from railwright.physics.loads import kind_of
from railwright.physics.rosenbrock import STAGES
from railwright.physics.solver import Work

SYSTEM = fields(System, MATRIX, MATRIX, VECTOR, MATRIX, INTEGER_MATRIX, VECTOR, VECTOR, MATRIX)
WORK = fields(
    Work, VECTOR, VECTOR, MATRIX, MATRIX, MATRIX, INTEGERS, VECTOR, VECTOR, MATRIX, VECTOR, INTEGERS, INTEGERS
)

_LEAST = np.array(
    [
        (len(kind.parameters), len(kind.states), len(kind.flags_at_start))
        for kind in (kind_of(name) for name in COMPILED_KINDS)
    ]
)
"""Of each kind of load: how many parameters, states and flags its equations look at, at least."""


@compiled
def check_system(system: AnySystem) -> None:
    """Raise ValueError where the arrays of a branch do not fit together."""
    outputs, loads = system.fixed.shape[0], system.loads.shape[0] - 1
    if outputs < 1 or system.fixed.shape[1] < FIXED or system.settings.shape[0] != outputs:
        raise ValueError("system: expected fixed (n, FIXED) of one output at least, settings of as many")
    if system.settings.shape[1] < SETTINGS or system.branch.shape[0] < BRANCH:
        raise ValueError("system: expected settings (n, SETTINGS) and branch (BRANCH,)")
    if system.branch[FUSE] == 1.0 and (system.fuse.shape[0] < 2 or system.fuse.shape[1] < 2):
        raise ValueError("system: expected a fuse of two points at least, (points, 2)")
    if loads < 0 or system.loads.shape[1] < LOADS or system.scratch.shape[0] < 2:
        raise ValueError("system: expected loads (loads + 1, LOADS) and scratch (2, states)")
    _, _, _, connector = positions(outputs, system.branch)
    at = system.loads
    if at[0, STATE_AT] <= connector + (1 if system.branch[FUSE] == 1.0 else 0):
        raise ValueError("system: states of loads must come after those of outputs and lead")
    if at[0, PARAMETER_AT] < 0 or at[0, FLAG_AT] < 0:
        raise ValueError("system: parameters and flags of loads must begin at 0 or after")
    for m in range(loads):
        kind, states = at[m, KIND], at[m + 1, STATE_AT] - at[m, STATE_AT]
        if kind < 0 or kind >= _LEAST.shape[0]:
            raise ValueError("system: there is no load of this number")
        few = at[m + 1, PARAMETER_AT] - at[m, PARAMETER_AT] < _LEAST[kind, 0]
        if few or states < _LEAST[kind, 1] or at[m + 1, FLAG_AT] - at[m, FLAG_AT] < _LEAST[kind, 2]:
            raise ValueError("system: a load has fewer parameters, states or flags than its equations need")
        node = at[m, NODE_AT]
        if node != connector and not at[0, STATE_AT] <= node < at[1, STATE_AT]:
            raise ValueError("system: a load must hang on the connector, or on a state of the first load")
        if states > system.scratch.shape[1]:
            raise ValueError("system: scratch must hold the derivatives of every load")
    if at[loads, PARAMETER_AT] > system.parameters.shape[0] or at[loads, FLAG_AT] > system.flags.shape[0]:
        raise ValueError("system: parameters and flags must hold those of every load")


@compiled
def check_space(y: Array, system: AnySystem, charge: NDArray[np.int64], work: AnySystem) -> None:
    """Raise ValueError where states, conditions or the solver's work space are not of a branch's size."""
    loads, n = system.loads.shape[0] - 1, y.shape[0]
    regions = system.fixed.shape[0] + loads + 1
    if n != system.loads[loads, STATE_AT]:
        raise ValueError("y: expected as many states as the system has")
    if charge.size != regions or work.before.size != regions or work.after.size != regions:
        raise ValueError("charge, work.before, work.after: expected one for each output, load and the lead")
    if work.f0.size != n or work.slope.size != n or work.pivots.size != n or work.absolute.size != n:
        raise ValueError("work: expected f0, slope, pivots and absolute as long as y")
    if (
        work.new.size != n
        or work.middle.size != n
        or work.dense.shape != (2, n)
        or work.k.shape != (STAGES, n)
    ):
        raise ValueError("work: expected new and middle as long as y, dense (2, states), k (6, states)")
    if work.jacobian.shape != (n, n) or work.lu.shape != (n, n):
        raise ValueError("work: expected jacobian and lu (states, states)")


@compiled
def check_record(
    y: Array,
    clock: Array,
    system: AnySystem,
    actions: Array,
    rows: Array,
    events: Array,
    counts: NDArray[np.int64],
) -> None:
    """Raise ValueError where clock, actions or the room for rows and events do not fit the branch."""
    narrow = ROW_OUTPUTS + 3 * system.fixed.shape[0]
    wide = narrow + y.shape[0] + system.loads.shape[0] - 1
    if clock.shape[0] < CLOCK or counts.shape[0] < 3:
        raise ValueError("clock, counts: expected (CLOCK,) and (3,)")
    if rows.shape[1] != narrow and rows.shape[1] != wide:
        raise ValueError("rows: expected columns for each output, and for every state and load or for none")
    if counts[0] < 0 or counts[0] >= rows.shape[0] or counts[1] < 0 or counts[2] < 0:
        raise ValueError("counts: expected rows, events and actions so far, with room for one row at least")
    if events.shape[1] < EVENT or actions.shape[1] < ACTION:
        raise ValueError("events, actions: expected (e, EVENT) and (a, ACTION)")
    for a in range(actions.shape[0]):
        what, place = actions[a, 2], actions[a, 1]
        if not 0.0 <= what <= SET_LOAD:
            raise ValueError("actions: there is nothing that does this")
        if what >= SET_BRANCH:
            most = system.parameters.shape[0] if what == SET_LOAD else system.branch.shape[0]
            if not 0.0 <= place < most:
                raise ValueError("actions: there is no such number of the branch, or parameter of a load")
