"""Equations of one branch: output stages, lead, connector and loads, as one system of ordinary equations.

States: for each output the pass-element current i_p [A], the voltage loop's integrator x [A] and the current
loop's state z [A]; the terminal voltages v_o [V] (one for all where outputs are in parallel); the lead
current i_l [A]; the connector voltage v_c [V]; where a fuse lies in the lead how far it has melted, h (1: it
opens); the loads' own states.

A supply that senses at the load still closes its fast path at its own terminals (capacitors to the sense
leads do it): the proportional part sees v_o, the integral part v_sensed.

    e = v_ref(t) - v_sensed     e_o = v_ref(t) - v_o          v_sensed: at the terminals or at the load
    i_cv = K_p e_o + x          i_cc = i_limit + z            i_cp = P_limit / v_o
    i_cmd = min(i_cv, i_cc, i_cp), not below -i_sink; 0 while the output is off; within a step of the solver
            the one that was the least at its beginning (see ALIKE)
    τ di_p/dt = i_cmd - i_p
    dx/dt = (K_i / K_p) (i_cmd - x) + K_i (e - e_o)    K_i e while i_cmd = i_cv; it follows otherwise
    e is never above v_ceiling - v_o: it does not rise beyond its ceiling, whatever it senses
    dz/dt = K_c (i_limit - i_m) - K_a max(0, z - i_b - overshoot)      i_m = i_p - i_b
    C_o dv_o/dt = i_p - i_b + i_d - i_l                i_d: reverse diode, conducts below its forward drop
    i_b = v_o / R_b                                    and through a crowbar, and into an output that is off
    L di_l/dt = v_t - v_c - R i_l - v_f                v_f: forward drop of a diode in the lead
    di_l/dt = -i_l / OPENING                           while the lead is open, or its fuse or diode is
    C_n dv_c/dt = i_l - G v_c - sum of the load currents          G: a short across the connector
    dh/dt = 1 / t(i_l)                                 t: the fuse's time-current curve
"""

from __future__ import annotations

import math

from railwright.compilation import compiled, inlined
from railwright.physics.conductors import NODE_CAPACITANCE
from railwright.physics.dispatch import load_current, load_derivatives, load_parts, load_region
from railwright.physics.layout import (
    BLEEDER,
    CAPACITANCE,
    CROWBAR,
    CURRENT,
    DIODE_DROP,
    DIODE_RESISTANCE,
    DROP,
    FUSE,
    IMAX,
    IN_CHARGE,
    INDUCTANCE,
    K_C,
    K_I,
    K_P,
    LAG,
    LIMIT,
    NOBODY,
    NODE,
    NODE_AT,
    OCP,
    OF_LOAD,
    OF_TERMINALS,
    OFF_SINK,
    ON,
    OPP,
    OVERSHOOT,
    OVP,
    OVP_AT_SENSE,
    PARALLEL,
    POLARITY,
    POWER,
    POWER_LIMIT,
    REF_GOAL,
    REF_RATE,
    REF_START,
    REF_TIME,
    RESISTANCE,
    SATURATED,
    SENSE_RATE,
    SENSE_START,
    SENSE_TIME,
    SHORT,
    SHORTED,
    SINK,
    SINKING,
    VMAX,
    VOLTAGE,
    AnySystem,
    Array,
)
from railwright.physics.lead import OPENING, interrupted, melting, path_region
from railwright.physics.output_stage import CEILING

TICK = 1e-6
"""Time difference for ∂/∂t of a load [s]; between two changes of region a load may depend on time
linearly.
"""

DESATURATION = 100.0
"""K_a in units of K_c: how sharply the current loop saturates at its overshoot."""

OFF_FADES = 0.05
"""An output that takes in current while it is off takes in half of it at this voltage, and less below [V]
(declared).
"""

ROUNDING = 1e-9
"""What rounding leaves of a voltage: in volts, or as a part of the rated one."""

ALIKE = 1e-7
"""Hysteresis of who is in charge, and of whether the current loop is saturated at its overshoot, as a part of
the rated current: another loop takes charge only if it asks for less by more than this. It is what the solver
leaves of an error in their states. Without it two loops would take turns in every step at a load that draws
just the limit (chosen).
"""


@inlined
def reference(t: float, settings: Array) -> float:
    """Reference voltage [V] of one output at the time t."""
    goal: float = settings[REF_GOAL]
    value: float = settings[REF_START] + settings[REF_RATE] * (t - settings[REF_TIME])
    if settings[REF_RATE] > 0.0:
        return min(value, goal)
    if settings[REF_RATE] < 0.0:
        return max(value, goal)
    return goal


@inlined
def command(
    t: float, own: float, at_load: float, x: float, z: float, fixed: Array, settings: Array
) -> tuple[float, float]:
    """i_cmd, the current that the loop in charge asks of the pass element [A]; and e_o - e, by how much the
    voltage that is sensed lies above the one at the terminals [V], or more where the ceiling holds e down.

    own: the output's terminal voltage [V]; at_load: its share of the voltage at the load [V].
    """
    asked, beyond = voltage_loop(t, own, at_load, x, fixed, settings)
    who = settings[IN_CHARGE]
    if who != VOLTAGE:
        if who == CURRENT:
            asked = settings[LIMIT] + z
        elif who == POWER_LIMIT:
            asked = settings[POWER] / max(own, ROUNDING * fixed[VMAX])
        elif who == SINKING:
            asked = -fixed[SINK]
        else:
            asked, beyond = 0.0, settings[OF_LOAD] * (at_load - own)
    return asked, beyond


@inlined
def voltage_loop(
    t: float, own: float, at_load: float, x: float, fixed: Array, settings: Array
) -> tuple[float, float]:
    """i_cv, the current that the voltage loop asks for [A]; and e_o - e, as `command` has it [V]."""
    error = settings[SENSE_START] + settings[SENSE_RATE] * (t - settings[SENSE_TIME])
    wanted = reference(t, settings) - (settings[OF_TERMINALS] + settings[OF_LOAD]) * own - error
    beyond = max(settings[OF_LOAD] * (at_load - own), wanted - (CEILING * fixed[VMAX] - own))
    return fixed[K_P] * wanted + x, beyond


@inlined
def taking_charge(asked: float, own: float, z: float, fixed: Array, settings: Array) -> int:
    """The loop that asks for the least current, and so takes charge. The one in charge stays until another
    asks for less by more than ALIKE. asked: what the voltage loop asks for [A].
    """
    if settings[ON] == 0.0:
        return NOBODY
    who, alike, held = VOLTAGE, ALIKE * fixed[IMAX], settings[IN_CHARGE]
    if settings[LIMIT] + z < asked + (alike if held == CURRENT else -alike):
        asked, who = settings[LIMIT] + z, CURRENT
    if own > 0.0 and settings[POWER] < (asked + (alike if held == POWER_LIMIT else -alike)) * own:
        asked, who = settings[POWER] / own, POWER_LIMIT
    return SINKING if asked < -fixed[SINK] + (alike if held == SINKING else -alike) else who


@inlined
def keep(bits: int, settings: Array) -> None:
    """Write into an output's settings which loop is in charge, and whether the current loop is saturated,
    from its `regions`: the equations go by that until it is written again.
    """
    settings[IN_CHARGE] = bits & 7
    settings[SATURATED] = 1.0 if bits & 16 else 0.0


@inlined
def at_ceiling(beyond: float, lost: float, settings: Array) -> bool:
    """Whether an output's voltage loop goes by the ceiling, and not by the voltage that it senses."""
    return bool(beyond > settings[OF_LOAD] * lost + ROUNDING)


@compiled
def sensed(t: float, own: float, beyond: float, settings: Array) -> float:
    """Voltage at an output's sense terminals [V]. beyond: e_o - e, see `command`."""
    seen: float = (
        (settings[OF_TERMINALS] + settings[OF_LOAD]) * own
        + beyond
        + settings[SENSE_START]
        + settings[SENSE_RATE] * (t - settings[SENSE_TIME])
    )
    return seen


@inlined
def diode_current(own: float, fixed: Array) -> float:
    """Current of the reverse diode into the positive terminal [A]."""
    below = -own - fixed[DIODE_DROP]
    return below / fixed[DIODE_RESISTANCE] if below > 0.0 else 0.0


@inlined
def leak(own: float, fixed: Array, settings: Array) -> float:
    """i_b, the current across the terminals of one output that does not go to the load: through its bleeder
    and crowbar, and what it takes in while it is off [A].
    """
    amperes: float = own / fixed[BLEEDER] + settings[SHORTED] * fixed[CROWBAR] * own
    if settings[ON] == 0.0:
        amperes += fixed[OFF_SINK] * own / (abs(own) + OFF_FADES)
    return amperes


@inlined
def leak_slope(own: float, fixed: Array, settings: Array) -> float:
    """∂leak/∂own [S]."""
    siemens: float = 1.0 / fixed[BLEEDER] + settings[SHORTED] * fixed[CROWBAR]
    if settings[ON] == 0.0:
        siemens += fixed[OFF_SINK] * OFF_FADES / (abs(own) + OFF_FADES) ** 2
    return siemens


@inlined
def excess(z: float, own: float, fixed: Array, settings: Array) -> float:
    """By how much the current loop's state is above its overshoot [A].

    The limit holds the current that leaves the terminals. So the pass element may give, beyond limit and
    overshoot, what bleeder and crowbar take across them.
    """
    above: float = z - leak(own, fixed, settings) - fixed[OVERSHOOT]
    return above


@inlined
def positions(outputs: int, branch: Array) -> tuple[int, int, int, int]:
    """Indices of the first terminal voltage, the step to the next one, the lead current, and the connector
    voltage.
    """
    if branch[PARALLEL] == 1.0:
        return 3 * outputs, 0, 3 * outputs + 1, 3 * outputs + 2
    return 3 * outputs, 1, 4 * outputs, 4 * outputs + 1


@inlined
def terminals(y: Array, system: AnySystem) -> float:
    """Voltage of the whole source at its terminals [V]."""
    outputs = system.fixed.shape[0]
    first, stride, _, _ = positions(outputs, system.branch)
    total: float = y[first]
    if stride == 0:
        return total
    for j in range(1, outputs):
        total += y[first + j]
    return total


@inlined
def load_voltage(m: int, y: Array, connector: int, system: AnySystem) -> float:
    """Voltage across the load m [V], with the sign that it has to the device: of the connector, which a lead
    may reverse, or behind what lies inside.
    """
    node = system.loads[m, NODE_AT]
    volts: float = y[node]
    return system.branch[POLARITY] * volts if node == connector else volts


@inlined
def rhs(t: float, y: Array, dy: Array, system: AnySystem) -> None:
    """Time derivatives of all states of a branch."""
    fixed, settings, branch = system.fixed, system.settings, system.branch
    outputs = fixed.shape[0]
    first, stride, lead, connector = positions(outputs, branch)
    source = terminals(y, system)
    i_l, v_c = y[lead], y[connector]
    lost = (v_c - source) / (outputs if stride else 1)
    joined, capacitance = -i_l, 0.0
    for j in range(outputs):
        own = y[first + stride * j]
        i_p, x, z = y[3 * j], y[3 * j + 1], y[3 * j + 2]
        asked, beyond = command(t, own, own + lost, x, z, fixed[j], settings[j])
        supplied = i_p - leak(own, fixed[j], settings[j])
        dy[3 * j] = (asked - i_p) / fixed[j, LAG]
        dy[3 * j + 1] = fixed[j, K_I] / fixed[j, K_P] * (asked - x) - fixed[j, K_I] * beyond
        above = settings[j, SATURATED] * excess(z, own, fixed[j], settings[j])
        dy[3 * j + 2] = fixed[j, K_C] * (settings[j, LIMIT] - supplied - DESATURATION * above)
        net = supplied + diode_current(own, fixed[j])
        if stride:
            dy[first + j] = (net - i_l) / fixed[j, CAPACITANCE]
        else:
            joined += net
            capacitance += fixed[j, CAPACITANCE]
    if stride == 0:
        dy[first] = joined / capacitance
    if interrupted(system):
        dy[lead] = -i_l / OPENING
    else:
        dy[lead] = (source - v_c - branch[RESISTANCE] * i_l - branch[DROP]) / branch[INDUCTANCE]
    if branch[FUSE] == 1.0:
        dy[connector + 1] = melting(i_l, y[connector + 1], system.fuse)
    drawn = branch[SHORT] * v_c
    for m in range(system.loads.shape[0] - 1):
        kind, p, q, start, end = load_parts(m, system)
        own_states = y[start:end]
        node = system.loads[m, NODE_AT]
        v = load_voltage(m, y, connector, system)
        amperes = load_current(kind, v, t, p, own_states, q)
        if node == connector:
            drawn += branch[POLARITY] * amperes
        else:
            dy[node] -= amperes / NODE_CAPACITANCE
        if end > start:
            load_derivatives(kind, v, t, p, own_states, q, dy[start:end])
    dy[connector] = (i_l - drawn) / branch[NODE]


@compiled
def reference_rate(t: float, settings: Array) -> float:
    """How fast the reference of one output moves at the time t [V/s]."""
    moved = settings[REF_RATE] * (t - settings[REF_TIME])
    return settings[REF_RATE] if abs(moved) < abs(settings[REF_GOAL] - settings[REF_START]) else 0.0


@compiled
def jacobian(t: float, y: Array, out: Array, slope: Array, system: AnySystem) -> None:
    """∂f/∂y and ∂f/∂t of `rhs`: by hand for the source and the lead, by differences for the loads."""
    fixed, settings, branch = system.fixed, system.settings, system.branch
    outputs = fixed.shape[0]
    first, stride, lead, connector = positions(outputs, branch)
    out[:, :] = 0.0
    slope[:] = 0.0
    source = terminals(y, system)
    v_c = y[connector]
    parts = float(outputs) if stride else 1.0
    lost = (v_c - source) / parts
    capacitance = 0.0
    if stride == 0:
        for j in range(outputs):
            capacitance += fixed[j, CAPACITANCE]
    for j in range(outputs):
        at = first + stride * j
        own = y[at]
        row, x_row, z_row = 3 * j, 3 * j + 1, 3 * j + 2
        _, beyond = command(t, own, own + lost, y[x_row], y[z_row], fixed[j], settings[j])
        who = settings[j, IN_CHARGE]
        seen = settings[j, OF_TERMINALS] + settings[j, OF_LOAD]
        moving = reference_rate(t, settings[j]) - settings[j, SENSE_RATE]
        lag, follow = 1.0 / fixed[j, LAG], fixed[j, K_I] / fixed[j, K_P]
        out[row, row] = -lag
        out[x_row, x_row] = -follow
        if who == VOLTAGE:
            k_p = fixed[j, K_P]
            slope[row] = lag * k_p * moving
            slope[x_row] = follow * k_p * moving
            out[row, x_row] = lag
            out[x_row, x_row] = 0.0
            out[row, at] -= lag * k_p * seen
            out[x_row, at] -= follow * k_p * seen
        elif who == CURRENT:
            out[row, z_row] = lag
            out[x_row, z_row] = follow
        elif who == POWER_LIMIT:
            out[row, at] = -lag * settings[j, POWER] / own**2
            out[x_row, at] = -follow * settings[j, POWER] / own**2
        if at_ceiling(beyond, lost, settings[j]):
            out[x_row, at] -= fixed[j, K_I] * (1.0 - seen)
            slope[x_row] -= fixed[j, K_I] * moving
        else:
            # What is sensed at the load beyond the terminals: K_i · OF_LOAD · (v_c - source) / parts.
            remote = fixed[j, K_I] * settings[j, OF_LOAD] / parts
            for other in range(outputs if stride else 1):
                out[x_row, first + other] += remote
            out[x_row, connector] -= remote
        across = leak_slope(own, fixed[j], settings[j])
        out[z_row, row] = -fixed[j, K_C]
        out[z_row, at] = fixed[j, K_C] * across
        if settings[j, SATURATED] == 1.0:
            out[z_row, z_row] = -fixed[j, K_C] * DESATURATION
            out[z_row, at] += fixed[j, K_C] * DESATURATION * across
        if diode_current(own, fixed[j]) > 0.0:
            across += 1.0 / fixed[j, DIODE_RESISTANCE]
        c = fixed[j, CAPACITANCE] if stride else capacitance
        out[at, row] = 1.0 / c
        out[at, at] -= across / c
        out[at, lead] = -1.0 / c
    if interrupted(system):
        out[lead, lead] = -1.0 / OPENING
    else:
        for j in range(outputs if stride else 1):
            out[lead, first + j] = 1.0 / branch[INDUCTANCE]
        out[lead, connector] = -1.0 / branch[INDUCTANCE]
        out[lead, lead] = -branch[RESISTANCE] / branch[INDUCTANCE]
    if branch[FUSE] == 1.0:
        i_l, h = y[lead], y[connector + 1]
        change = 1e-7 * max(1e-3, abs(i_l))
        base = melting(i_l, h, system.fuse)
        out[connector + 1, lead] = (melting(i_l + change, h, system.fuse) - base) / change
        out[connector + 1, connector + 1] = (melting(i_l, h + 1e-7, system.fuse) - base) / 1e-7
    out[connector, lead] = 1.0 / branch[NODE]
    out[connector, connector] = -branch[SHORT] / branch[NODE]
    _loads_jacobian(t, y, out, slope, system, connector)


@compiled
def _loads_jacobian(t: float, y: Array, out: Array, slope: Array, system: AnySystem, connector: int) -> None:
    """Rows and columns of the loads, by forward differences in connector voltage, own states and time."""
    for m in range(system.loads.shape[0] - 1):
        kind, p, q, start, end = load_parts(m, system)
        at = system.loads[m, NODE_AT]
        node, sign = NODE_CAPACITANCE, 1.0
        if at == connector:
            node, sign = system.branch[NODE], system.branch[POLARITY]
        v = load_voltage(m, y, connector, system)
        delta = 1e-7 * max(1.0, abs(v))
        states = y[start:end]
        base = load_current(kind, v, t, p, states, q)
        moved = load_current(kind, v + delta, t, p, states, q)
        out[at, at] -= (moved - base) / delta / node
        later = load_current(kind, v, t + TICK, p, states, q)
        slope[at] -= sign * (later - base) / TICK / node
        if end == start:
            continue
        f0, f1 = system.scratch[0, : end - start], system.scratch[1, : end - start]
        load_derivatives(kind, v, t, p, states, q, f0)
        load_derivatives(kind, v + delta, t, p, states, q, f1)
        for i in range(end - start):
            out[start + i, at] = sign * (f1[i] - f0[i]) / delta
        load_derivatives(kind, v, t + TICK, p, states, q, f1)
        for i in range(end - start):
            slope[start + i] = (f1[i] - f0[i]) / TICK
        for j in range(end - start):
            held = states[j]
            step = 1e-7 * max(1.0, abs(held))
            states[j] = held + step
            moved = load_current(kind, v, t, p, states, q)
            load_derivatives(kind, v, t, p, states, q, f1)
            states[j] = held
            out[at, start + j] = -sign * (moved - base) / step / node
            for i in range(end - start):
                out[start + i, start + j] = (f1[i] - f0[i]) / step


@compiled
def output_current(j: int, y: Array, system: AnySystem) -> float:
    """Current out of the terminals of one output [A]."""
    fixed = system.fixed
    outputs = fixed.shape[0]
    first, stride, lead, _ = positions(outputs, system.branch)
    through: float = y[lead]
    if stride or outputs == 1:
        return through
    own = y[first]
    joined, capacitance, mine = -through, 0.0, 0.0
    for k in range(outputs):
        net = y[3 * k] - leak(own, fixed[k], system.settings[k]) + diode_current(own, fixed[k])
        joined += net
        capacitance += fixed[k, CAPACITANCE]
        if k == j:
            mine = net
    into_capacitor: float = fixed[j, CAPACITANCE] * joined / capacitance
    return mine - into_capacitor


@compiled
def regions(t: float, y: Array, out: Array, system: AnySystem) -> None:
    """The region of each output, load and the lead: within one, the equations have no kink. Of an output: the
    loop in charge (bits 0 to 2), and one bit for each condition that changes its equations or trips it.
    """
    fixed, settings = system.fixed, system.settings
    outputs = fixed.shape[0]
    first, stride, lead, connector = positions(outputs, system.branch)
    v_c, source = y[connector], terminals(y, system)
    lost = (v_c - source) / (outputs if stride else 1)
    for j in range(outputs):
        own = y[first + stride * j]
        z = y[3 * j + 2]
        asked, beyond = voltage_loop(t, own, own + lost, y[3 * j + 1], fixed[j], settings[j])
        who = taking_charge(asked, own, z, fixed[j], settings[j])
        if who == NOBODY:
            beyond = settings[j, OF_LOAD] * lost
        watched = own
        if fixed[j, OVP_AT_SENSE] == 1.0:
            watched = sensed(t, own, settings[j, OF_LOAD] * lost, settings[j])
        out[j] = who
        if at_ceiling(beyond, lost, settings[j]):
            out[j] += 256
        if settings[j, ON] == 1.0 and watched > settings[j, OVP]:
            out[j] += 8
        band = ALIKE * fixed[j, IMAX]
        if excess(z, own, fixed[j], settings[j]) > (-band if settings[j, SATURATED] == 1.0 else band):
            out[j] += 16
        if diode_current(own, fixed[j]) > 0.0:
            out[j] += 32
        if settings[j, ON] == 1.0 and (settings[j, OPP] < math.inf or settings[j, OCP] < math.inf):
            through = output_current(j, y, system)
            if own * through > settings[j, OPP]:
                out[j] += 64
            if through > settings[j, OCP]:
                out[j] += 128
    for m in range(system.loads.shape[0] - 1):
        kind, p, q, start, end = load_parts(m, system)
        v = load_voltage(m, y, connector, system)
        out[outputs + m] = load_region(kind, v, t, p, y[start:end], q)
    out[outputs + (system.loads.shape[0] - 1)] = path_region(y, source, lead, connector, system)
