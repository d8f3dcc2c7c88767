"""Where each number of a branch lies in the arrays that the compiled equations see."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Columns of an output's fixed data: the fields of OutputStage, in their order.
VMAX, IMAX, RATED_POWER, CAPACITANCE, BLEEDER, LAG, K_P, K_I, K_C, OVERSHOOT, SINK, RISE, FALL = range(13)
OVP_RESPONSE, OVP_AT_SENSE, DIODE_DROP, DIODE_RESISTANCE, OPP_RESPONSE, CROWBAR, OFF_SINK, FIXED = range(
    13, 21
)

# Columns of what is set on an output, and of its discrete condition.
# REF_*: the reference moves from REF_START at REF_TIME with REF_RATE [V/s] to REF_GOAL.
# OF_TERMINALS, OF_LOAD: weights of what the voltage loop senses; SENSE_*: a voltage added to it, which moves
# from SENSE_START at SENSE_TIME with SENSE_RATE [V/s]. *_SINCE: when a timer started, inf: it does not run.
# TRIPPED: 0, or the number of the event that tripped the output. SHORTED: 1 while a crowbar is on. As it was
# when it was last looked at: who is IN_CHARGE, and whether the current loop is SATURATED.
ON, LIMIT, POWER, SLEW_UP, SLEW_DOWN, OVP, TRIPS, TRIP_DELAY = range(8)
REF_START, REF_TIME, REF_RATE, REF_GOAL, OF_TERMINALS, OF_LOAD = range(8, 14)
LIMIT_SINCE, OVP_SINCE, TRIPPED, OPP, OPP_SINCE, OCP, OCP_SINCE, OCP_DELAY = range(14, 22)
SENSE_START, SENSE_TIME, SENSE_RATE, SHORTED, IN_CHARGE, SATURATED, SETTINGS = range(22, 29)

# Numbers of a branch. POLARITY: -1 where the lead is reversed. SHORT: conductance of a fault across the
# connector [S]. DIODE, DROP: whether a diode lies in the lead, and its forward drop [V]. FUSE: whether a fuse
# does, whose melting is then the state after the connector's voltage.
# Condition of the lead: OPENED by a switch or a fault; its diode is BLOCKED; its fuse has BLOWN; a source
# behind it HELD the outputs' capacitors up before anything was on.
PARALLEL, RESISTANCE, INDUCTANCE, NODE, POLARITY, SHORT, DIODE, DROP, FUSE = range(9)
OPENED, BLOCKED, BLOWN, HELD, BRANCH = range(9, 14)

# Columns of a load: its number among the kinds, where its parameters, states and flags begin, and the state
# that is the voltage it hangs on: the connector's, or that behind what lies inside the device, which then is
# the first load. One row more than there are loads says where the last one's end.
KIND, PARAMETER_AT, STATE_AT, FLAG_AT, NODE_AT, LOADS = range(6)

# Columns of an action: time, output (-1: all), what, value, second value.
ACTION = 5
# What: a column of what is set on an output, which takes the value, or one of these. SWITCH_ON: value 1: its
# set point is first set to the voltage that stands at its terminals, whatever it was.
SET_VOLTAGE, SET_LINE, SET_TRIPS, SET_SENSE, SET_SENSE_ERROR = range(SETTINGS, SETTINGS + 5)
SWITCH_ON, SWITCH_OFF, CLEAR, TRIP_LINKED = range(SETTINGS + 5, SETTINGS + 9)
# Actions on the branch itself: a number of it, a parameter of a load.
SET_BRANCH, SET_LOAD = range(SETTINGS + 9, SETTINGS + 11)
OWN = 1.0
"""Second value of a SET_LOAD that gives a parameter its own value back, whatever that is in a case."""

# Who is in charge of an output.
NOBODY, VOLTAGE, CURRENT, POWER_LIMIT, SINKING = range(5)

# Events: columns time, what, output or load, the limit or level that it is about; and what they are.
EVENT = 4
EV_ON, EV_OFF, EV_CV, EV_CC, EV_CP, EV_TRIP_OVP, EV_TRIP_LIMIT, EV_TRIP_LINKED, EV_TRIP_OPP = range(9)
EV_TRIP_OCP, EV_BLOCKS, EV_CONDUCTS, EV_BLOWS, EV_OPENS, EV_CLOSES, EV_LOAD = range(9, 16)
TRIP_CAUSES = {
    EV_TRIP_OVP: "OVP",
    EV_TRIP_LIMIT: "current limit",
    EV_TRIP_LINKED: "linked",
    EV_TRIP_OPP: "OPP",
    EV_TRIP_OCP: "OCP",
}

# Numbers that the kernel keeps from call to call.
TIME, STEP, STEPS, WORST, CLOCK = range(5)

# First columns of a recorded row; then come voltage, current and mode of each output.
ROW_TIME, ROW_TERMINALS, ROW_CONNECTOR, ROW_CURRENT, ROW_OUTPUTS = range(5)


class System(NamedTuple):
    """Everything about one branch but its continuous state.

    fixed (n, FIXED), settings (n, SETTINGS), branch (BRANCH,); fuse (points, 2): ln of current [A] and of the
    time to open [s]; loads (m + 1, LOADS); parameters and flags, flat; scratch: derivatives of loads (2, s).
    Few arrays: each one is handed from function to function with its whole description.
    """

    fixed: Array
    settings: Array
    branch: Array
    fuse: Array
    loads: NDArray[np.int64]
    parameters: Array
    flags: Array
    scratch: Array


AnySystem = Any
