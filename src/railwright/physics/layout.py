"""Where each number of a branch lies in the arrays that the compiled equations see."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Columns of an output's fixed data: the fields of OutputStage, in their order.
VMAX, IMAX, RATED_POWER, CAPACITANCE, BLEEDER, LAG, K_P, K_I, K_C, OVERSHOOT, SINK, RISE, FALL = range(13)
OVP_RESPONSE, OVP_AT_SENSE, DIODE_DROP, DIODE_RESISTANCE, FIXED = range(13, 18)

# Columns of what is set on an output, and of its discrete condition.
# REF_*: the reference moves from REF_START at REF_TIME with REF_RATE [V/s] to REF_GOAL.
# OF_TERMINALS, OF_LOAD: weights of what the voltage loop senses. *_SINCE: when a timer started, inf: it
# does not run. TRIPPED: 0, or the number of the event that tripped the output.
ON, LIMIT, POWER, SLEW_UP, SLEW_DOWN, OVP, TRIPS, TRIP_DELAY = range(8)
REF_START, REF_TIME, REF_RATE, REF_GOAL, OF_TERMINALS, OF_LOAD = range(8, 14)
LIMIT_SINCE, OVP_SINCE, TRIPPED, CHARGE, SETTINGS = range(14, 19)

# Numbers of a branch.
PARALLEL, RESISTANCE, INDUCTANCE, NODE, BRANCH = range(5)

# Columns of an action: time, output (-1: all), what, value, second value.
ACTION = 5
SET_VOLTAGE, SET_LINE, SET_UP, SET_DOWN, SET_LIMIT, SET_OVP, SET_TRIPS, SET_DELAY, SET_POWER, SET_SENSE = (
    range(10)
)
SWITCH_ON, SWITCH_OFF, CLEAR, TRIP_LINKED = range(10, 14)

# Who is in charge of an output.
NOBODY, VOLTAGE, CURRENT, POWER_LIMIT, SINKING = range(5)

# Events: columns time, what, output or load, and what they are.
EVENT = 3
EV_ON, EV_OFF, EV_CV, EV_CC, EV_CP, EV_TRIP_OVP, EV_TRIP_LIMIT, EV_TRIP_LINKED, EV_LOAD = range(9)

# Numbers that the kernel keeps from call to call.
TIME, STEP, STEPS, WORST, CLOCK = range(5)

# First columns of a recorded row; then come voltage, current and mode of each output.
ROW_TIME, ROW_TERMINALS, ROW_CONNECTOR, ROW_CURRENT, ROW_OUTPUTS = range(5)


class System(NamedTuple):
    """Everything about one branch but its continuous state.

    fixed (n, FIXED), settings (n, SETTINGS), branch (BRANCH,); kinds, and the offsets of each load's
    parameters, states and flags (m + 1,); parameters and flags, flat; scratch: derivatives of loads (2, s).
    """

    fixed: Array
    settings: Array
    branch: Array
    kinds: NDArray[np.int64]
    parameter_at: NDArray[np.int64]
    state_at: NDArray[np.int64]
    flag_at: NDArray[np.int64]
    parameters: Array
    flags: Array
    scratch: Array


AnySystem = Any
