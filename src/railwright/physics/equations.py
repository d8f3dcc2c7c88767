"""Equations of one branch: output stages, lead, connector and loads, as one system of ordinary equations.

States: for each output the pass-element current i_p [A], the voltage loop's integrator x [A] and the current
loop's state z [A]; the terminal voltages v_o [V] (one for all where outputs are in parallel); the lead
current i_l [A]; the connector voltage v_c [V]; the loads' own states.

    e = v_ref(t) - v_sensed
    i_cv = K_p e + x            i_cc = i_limit + z            i_cp = P_limit / v_o
    i_cmd = min(i_cv, i_cc, i_cp), not below -i_sink; 0 while the output is off
    τ di_p/dt = i_cmd - i_p
    dx/dt = (K_i / K_p) (i_cmd - x)                    which is K_i e while i_cmd = i_cv, and follows
    otherwise dz/dt = K_c (i_limit - i_m) - K_a max(0, z - overshoot),   i_m = i_p - v_o / R_b
    C_o dv_o/dt = i_p - v_o / R_b + i_d - i_l          i_d: reverse diode, conducts below its forward drop
    L di_l/dt = v_t - v_c - R i_l
    C_n dv_c/dt = i_l - sum of the load currents
"""

from __future__ import annotations

from railwright.physics.compiled import compiled
from railwright.physics.dispatch import load_current, load_derivatives, load_region
from railwright.physics.layout import (
    BLEEDER,
    CAPACITANCE,
    CURRENT,
    DIODE_DROP,
    DIODE_RESISTANCE,
    INDUCTANCE,
    K_C,
    K_I,
    K_P,
    LAG,
    LIMIT,
    NOBODY,
    NODE,
    OF_LOAD,
    OF_TERMINALS,
    ON,
    OVERSHOOT,
    OVP,
    OVP_AT_SENSE,
    PARALLEL,
    POWER,
    POWER_LIMIT,
    REF_GOAL,
    REF_RATE,
    REF_START,
    REF_TIME,
    RESISTANCE,
    SINK,
    SINKING,
    VOLTAGE,
    AnySystem,
    Array,
)

TICK = 1e-6
"""Time difference for ∂/∂t of a load [s]; between two changes of region a load may depend on time
linearly.
"""

DESATURATION = 100.0
"""K_a in units of K_c: how sharply the current loop saturates at its overshoot."""


@compiled
def reference(t: float, settings: Array) -> float:
    """Reference voltage [V] of one output at the time t."""
    goal: float = settings[REF_GOAL]
    value: float = settings[REF_START] + settings[REF_RATE] * (t - settings[REF_TIME])
    if settings[REF_RATE] > 0.0:
        return min(value, goal)
    if settings[REF_RATE] < 0.0:
        return max(value, goal)
    return goal


@compiled
def command(
    t: float, own: float, at_load: float, x: float, z: float, fixed: Array, settings: Array
) -> tuple[float, int, float]:
    """Current asked of the pass element [A], who asks for it, and the sensed voltage [V].

    own: the output's terminal voltage [V]; at_load: its share of the voltage at the load [V].
    """
    sensed = settings[OF_TERMINALS] * own + settings[OF_LOAD] * at_load
    if settings[ON] == 0.0:
        return 0.0, NOBODY, sensed
    asked, who = fixed[K_P] * (reference(t, settings) - sensed) + x, VOLTAGE
    if settings[LIMIT] + z < asked:
        asked, who = settings[LIMIT] + z, CURRENT
    if own > 0.0 and settings[POWER] < asked * own:
        asked, who = settings[POWER] / own, POWER_LIMIT
    if asked < -fixed[SINK]:
        return -fixed[SINK], SINKING, sensed
    return asked, who, sensed


@compiled
def diode_current(own: float, fixed: Array) -> float:
    """Current of the reverse diode into the positive terminal [A]."""
    below = -own - fixed[DIODE_DROP]
    return below / fixed[DIODE_RESISTANCE] if below > 0.0 else 0.0


@compiled
def positions(outputs: int, branch: Array) -> tuple[int, int, int, int]:
    """Indices of the first terminal voltage, the step to the next one, the lead current, and the connector
    voltage.
    """
    if branch[PARALLEL] == 1.0:
        return 3 * outputs, 0, 3 * outputs + 1, 3 * outputs + 2
    return 3 * outputs, 1, 4 * outputs, 4 * outputs + 1


@compiled
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


@compiled
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
        asked, _, _ = command(t, own, own + lost, x, z, fixed[j], settings[j])
        supplied = i_p - own / fixed[j, BLEEDER]
        dy[3 * j] = (asked - i_p) / fixed[j, LAG]
        dy[3 * j + 1] = fixed[j, K_I] / fixed[j, K_P] * (asked - x)
        above = max(0.0, z - fixed[j, OVERSHOOT])
        dy[3 * j + 2] = fixed[j, K_C] * (settings[j, LIMIT] - supplied - DESATURATION * above)
        net = supplied + diode_current(own, fixed[j])
        if stride:
            dy[first + j] = (net - i_l) / fixed[j, CAPACITANCE]
        else:
            joined += net
            capacitance += fixed[j, CAPACITANCE]
    if stride == 0:
        dy[first] = joined / capacitance
    dy[lead] = (source - v_c - branch[RESISTANCE] * i_l) / branch[INDUCTANCE]
    drawn = 0.0
    for m in range(system.kinds.shape[0]):
        kind = system.kinds[m]
        p = system.parameters[system.parameter_at[m] : system.parameter_at[m + 1]]
        q = system.flags[system.flag_at[m] : system.flag_at[m + 1]]
        own_states = y[system.state_at[m] : system.state_at[m + 1]]
        drawn += load_current(kind, v_c, t, p, own_states, q)
        if own_states.shape[0]:
            load_derivatives(kind, v_c, t, p, own_states, q, dy[system.state_at[m] : system.state_at[m + 1]])
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
        _, who, _ = command(t, own, own + lost, y[x_row], y[z_row], fixed[j], settings[j])
        lag, follow = 1.0 / fixed[j, LAG], fixed[j, K_I] / fixed[j, K_P]
        out[row, row] = -lag
        out[x_row, x_row] = -follow
        if who == VOLTAGE:
            k_p, remote = fixed[j, K_P], settings[j, OF_LOAD]
            out[row, x_row] = lag
            out[x_row, x_row] = 0.0
            slope[row] = lag * k_p * reference_rate(t, settings[j])
            slope[x_row] = follow * k_p * reference_rate(t, settings[j])
            out[row, at] -= lag * k_p * (settings[j, OF_TERMINALS] + remote)
            out[x_row, at] -= follow * k_p * (settings[j, OF_TERMINALS] + remote)
            for other in range(outputs if stride else 1):
                out[row, first + other] += lag * k_p * remote / parts
                out[x_row, first + other] += follow * k_p * remote / parts
            out[row, connector] = -lag * k_p * remote / parts
            out[x_row, connector] = -follow * k_p * remote / parts
        elif who == CURRENT:
            out[row, z_row] = lag
            out[x_row, z_row] = follow
        elif who == POWER_LIMIT:
            out[row, at] = -lag * settings[j, POWER] / own**2
            out[x_row, at] = -follow * settings[j, POWER] / own**2
        leak = 1.0 / fixed[j, BLEEDER]
        out[z_row, row] = -fixed[j, K_C]
        out[z_row, at] = fixed[j, K_C] * leak
        if y[z_row] > fixed[j, OVERSHOOT]:
            out[z_row, z_row] = -fixed[j, K_C] * DESATURATION
        if diode_current(own, fixed[j]) > 0.0:
            leak += 1.0 / fixed[j, DIODE_RESISTANCE]
        c = fixed[j, CAPACITANCE] if stride else capacitance
        out[at, row] = 1.0 / c
        out[at, at] -= leak / c
        out[at, lead] = -1.0 / c
    for j in range(outputs if stride else 1):
        out[lead, first + j] = 1.0 / branch[INDUCTANCE]
    out[lead, connector] = -1.0 / branch[INDUCTANCE]
    out[lead, lead] = -branch[RESISTANCE] / branch[INDUCTANCE]
    out[connector, lead] = 1.0 / branch[NODE]
    _loads_jacobian(t, y, out, slope, system, connector)


@compiled
def _loads_jacobian(t: float, y: Array, out: Array, slope: Array, system: AnySystem, connector: int) -> None:
    """Rows and columns of the loads, by forward differences in connector voltage, own states and time."""
    v_c, node = y[connector], system.branch[NODE]
    delta = 1e-7 * max(1.0, abs(v_c))
    for m in range(system.kinds.shape[0]):
        kind = system.kinds[m]
        p = system.parameters[system.parameter_at[m] : system.parameter_at[m + 1]]
        q = system.flags[system.flag_at[m] : system.flag_at[m + 1]]
        start, end = system.state_at[m], system.state_at[m + 1]
        states = y[start:end]
        base = load_current(kind, v_c, t, p, states, q)
        moved = load_current(kind, v_c + delta, t, p, states, q)
        out[connector, connector] -= (moved - base) / delta / node
        later = load_current(kind, v_c, t + TICK, p, states, q)
        slope[connector] -= (later - base) / TICK / node
        if end == start:
            continue
        f0, f1 = system.scratch[0, : end - start], system.scratch[1, : end - start]
        load_derivatives(kind, v_c, t, p, states, q, f0)
        load_derivatives(kind, v_c + delta, t, p, states, q, f1)
        for i in range(end - start):
            out[start + i, connector] = (f1[i] - f0[i]) / delta
        load_derivatives(kind, v_c, t + TICK, p, states, q, f1)
        for i in range(end - start):
            slope[start + i] = (f1[i] - f0[i]) / TICK
        for j in range(end - start):
            held = states[j]
            step = 1e-7 * max(1.0, abs(held))
            states[j] = held + step
            moved = load_current(kind, v_c, t, p, states, q)
            load_derivatives(kind, v_c, t, p, states, q, f1)
            states[j] = held
            out[connector, start + j] = -(moved - base) / step / node
            for i in range(end - start):
                out[start + i, start + j] = (f1[i] - f0[i]) / step


@compiled
def regions(t: float, y: Array, out: Array, system: AnySystem) -> None:
    """For each output who is in charge and which side of each kink it is on; for each load its region."""
    fixed, settings = system.fixed, system.settings
    outputs = fixed.shape[0]
    first, stride, _, connector = positions(outputs, system.branch)
    v_c = y[connector]
    lost = (v_c - terminals(y, system)) / (outputs if stride else 1)
    for j in range(outputs):
        own = y[first + stride * j]
        _, who, sensed = command(t, own, own + lost, y[3 * j + 1], y[3 * j + 2], fixed[j], settings[j])
        watched = sensed if fixed[j, OVP_AT_SENSE] == 1.0 else own
        out[j] = who
        if settings[j, ON] == 1.0 and watched > settings[j, OVP]:
            out[j] += 8
        if y[3 * j + 2] > fixed[j, OVERSHOOT]:
            out[j] += 16
        if diode_current(own, fixed[j]) > 0.0:
            out[j] += 32
    for m in range(system.kinds.shape[0]):
        out[outputs + m] = load_region(
            system.kinds[m],
            v_c,
            t,
            system.parameters[system.parameter_at[m] : system.parameter_at[m + 1]],
            y[system.state_at[m] : system.state_at[m + 1]],
            system.flags[system.flag_at[m] : system.flag_at[m + 1]],
        )


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
        net = y[3 * k] - own / fixed[k, BLEEDER] + diode_current(own, fixed[k])
        joined += net
        capacitance += fixed[k, CAPACITANCE]
        if k == j:
            mine = net
    into_capacitor: float = fixed[j, CAPACITANCE] * joined / capacitance
    return mine - into_capacitor
