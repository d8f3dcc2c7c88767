/* One step of the solver for one input fed by one output, written by hand in C: right-hand side, Jacobian, LU
 * decomposition and the six stages of Rodas4, as in src/railwright/physics/{equations,rosenbrock}.py. The data
 * lie in the same arrays; loads are called by their number, as there. Sensed at the terminals or at the load;
 * no diode, fuse or short in the lead. */
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { VMAX, IMAX, RATED_POWER, CAPACITANCE, BLEEDER, LAG, K_P, K_I, K_C, OVERSHOOT, SINK };
enum { DIODE_DROP = 15, DIODE_RESISTANCE = 16 };
enum { ON, LIMIT, POWER, SLEW_UP, SLEW_DOWN, OVP, TRIPS, TRIP_DELAY, REF_START, REF_TIME, REF_RATE, REF_GOAL,
       OF_TERMINALS, OF_LOAD, IN_CHARGE = 26, SATURATED };
enum { NOBODY, VOLTAGE, CURRENT, POWER_LIMIT, SINKING };
enum { PARALLEL, RESISTANCE, INDUCTANCE, NODE };
enum { CAPACITOR, CONVERTER };
enum { KIND, PARAMETER_AT, STATE_AT, FLAG_AT, LOADS };
#define AT(m, k, what) (m)->at[(k) * LOADS + (what)]

#define MOST 16
#define GAMMA 0.25
#define TICK 1e-6
#define DESATURATION 100.0

typedef struct {
    const double *fixed, *settings, *branch;
    int64_t loads;
    const int64_t *at; /* (loads + 1, 4): kind, and where parameters, states and flags begin */
    const double *parameters, *flags;
} System;

static double reference(double t, const double *s) {
    double value = s[REF_START] + s[REF_RATE] * (t - s[REF_TIME]);
    if (s[REF_RATE] > 0.0) return value < s[REF_GOAL] ? value : s[REF_GOAL];
    if (s[REF_RATE] < 0.0) return value > s[REF_GOAL] ? value : s[REF_GOAL];
    return s[REF_GOAL];
}

static double command(double t, double own, double at_load, double x, double z, const double *f, const double *s,
                      double *beyond) {
    double fast = (s[OF_TERMINALS] + s[OF_LOAD]) * own;
    *beyond = s[OF_LOAD] * (at_load - own);
    if (s[IN_CHARGE] == NOBODY) return 0.0;
    if (s[IN_CHARGE] == CURRENT) return s[LIMIT] + z;
    if (s[IN_CHARGE] == POWER_LIMIT) return s[POWER] / own;
    if (s[IN_CHARGE] == SINKING) return -f[SINK];
    return f[K_P] * (reference(t, s) - fast) + x;
}

static double load_current(int64_t kind, double v, double t, const double *p, const double *y, const double *q) {
    if (kind == CAPACITOR) return (v - y[0]) / p[1];
    if (q[0] == 0.0) return 0.0;
    double power = p[0] / p[1];
    if (q[2] == 1.0) power *= (t - q[1]) / p[4];
    return power / (v > 0.5 * p[3] ? v : 0.5 * p[3]);
}

static void load_derivatives(int64_t kind, double v, const double *p, const double *y, double *dy) {
    if (kind == CAPACITOR) dy[0] = (v - y[0]) / (p[1] * p[0]);
}

static double diode_current(double own, const double *f) {
    double below = -own - f[DIODE_DROP];
    return below > 0.0 ? below / f[DIODE_RESISTANCE] : 0.0;
}

static void rhs(double t, const double *y, double *dy, const System *m) {
    const double *f = m->fixed, *s = m->settings, *b = m->branch;
    double own = y[3], i_l = y[4], v_c = y[5], beyond;
    double asked = command(t, own, v_c, y[1], y[2], f, s, &beyond);
    double supplied = y[0] - own / f[BLEEDER];
    double above = s[SATURATED] == 1.0 ? y[2] - own / f[BLEEDER] - f[OVERSHOOT] : 0.0;
    dy[0] = (asked - y[0]) / f[LAG];
    dy[1] = f[K_I] / f[K_P] * (asked - y[1]) - f[K_I] * beyond;
    dy[2] = f[K_C] * (s[LIMIT] - supplied - DESATURATION * above);
    dy[3] = (supplied + diode_current(own, f) - i_l) / f[CAPACITANCE];
    dy[4] = (own - v_c - b[RESISTANCE] * i_l) / b[INDUCTANCE];
    double drawn = 0.0;
    for (int64_t k = 0; k < m->loads; k++) {
        const double *p = m->parameters + AT(m, k, PARAMETER_AT), *q = m->flags + AT(m, k, FLAG_AT);
        const double *states = y + AT(m, k, STATE_AT);
        drawn += load_current(AT(m, k, KIND), v_c, t, p, states, q);
        if (AT(m, k + 1, STATE_AT) > AT(m, k, STATE_AT))
            load_derivatives(AT(m, k, KIND), v_c, p, states, dy + AT(m, k, STATE_AT));
    }
    dy[5] = (i_l - drawn) / b[NODE];
}

static void jacobian(double t, double *y, double *out, double *slope, const System *m, int64_t n) {
    const double *f = m->fixed, *s = m->settings, *b = m->branch;
    double own = y[3], v_c = y[5];
    memset(out, 0, n * n * sizeof(double));
    memset(slope, 0, n * sizeof(double));
#define J(i, j) out[(i) * n + (j)]
    int who = (int)s[IN_CHARGE];
    double lag = 1.0 / f[LAG], follow = f[K_I] / f[K_P];
    J(0, 0) = -lag;
    J(1, 1) = -follow;
    if (who == VOLTAGE) {
        double moved = s[REF_RATE] * (t - s[REF_TIME]);
        double moving = fabs(moved) < fabs(s[REF_GOAL] - s[REF_START]) ? s[REF_RATE] : 0.0;
        double seen = s[OF_TERMINALS] + s[OF_LOAD];
        slope[0] = lag * f[K_P] * moving;
        slope[1] = follow * f[K_P] * moving;
        J(0, 1) = lag;
        J(1, 1) = 0.0;
        J(0, 3) -= lag * f[K_P] * seen;
        J(1, 3) -= follow * f[K_P] * seen;
    } else if (who == CURRENT) {
        J(0, 2) = lag;
        J(1, 2) = follow;
    } else if (who == POWER_LIMIT) {
        J(0, 3) = -lag * s[POWER] / (own * own);
        J(1, 3) = -follow * s[POWER] / (own * own);
    }
    double remote = f[K_I] * s[OF_LOAD], across = 1.0 / f[BLEEDER];
    J(1, 3) += remote;
    J(1, 5) -= remote;
    J(2, 0) = -f[K_C];
    J(2, 3) = f[K_C] * across;
    if (s[SATURATED] == 1.0) J(2, 2) = -f[K_C] * DESATURATION;
    if (diode_current(own, f) > 0.0) across += 1.0 / f[DIODE_RESISTANCE];
    J(3, 0) = 1.0 / f[CAPACITANCE];
    J(3, 3) -= across / f[CAPACITANCE];
    J(3, 4) = -1.0 / f[CAPACITANCE];
    J(4, 3) = 1.0 / b[INDUCTANCE];
    J(4, 5) = -1.0 / b[INDUCTANCE];
    J(4, 4) = -b[RESISTANCE] / b[INDUCTANCE];
    J(5, 4) = 1.0 / b[NODE];
    double delta = 1e-7 * (fabs(v_c) > 1.0 ? fabs(v_c) : 1.0);
    for (int64_t k = 0; k < m->loads; k++) {
        const double *p = m->parameters + AT(m, k, PARAMETER_AT), *q = m->flags + AT(m, k, FLAG_AT);
        int64_t kind = AT(m, k, KIND), start = AT(m, k, STATE_AT), count = AT(m, k + 1, STATE_AT) - start;
        double *states = y + start, f0[MOST], f1[MOST];
        double base = load_current(kind, v_c, t, p, states, q);
        J(5, 5) -= (load_current(kind, v_c + delta, t, p, states, q) - base) / delta / b[NODE];
        slope[5] -= (load_current(kind, v_c, t + TICK, p, states, q) - base) / TICK / b[NODE];
        if (!count) continue;
        load_derivatives(kind, v_c, p, states, f0);
        load_derivatives(kind, v_c + delta, p, states, f1);
        for (int64_t i = 0; i < count; i++) J(start + i, 5) = (f1[i] - f0[i]) / delta;
        load_derivatives(kind, v_c, p, states, f1);
        for (int64_t i = 0; i < count; i++) slope[start + i] = (f1[i] - f0[i]) / TICK;
        for (int64_t j = 0; j < count; j++) {
            double held = states[j], step = 1e-7 * (fabs(held) > 1.0 ? fabs(held) : 1.0);
            states[j] = held + step;
            double moved = load_current(kind, v_c, t, p, states, q);
            load_derivatives(kind, v_c, p, states, f1);
            states[j] = held;
            J(5, start + j) = -(moved - base) / step / b[NODE];
            for (int64_t i = 0; i < count; i++) J(start + i, start + j) = (f1[i] - f0[i]) / step;
        }
    }
#undef J
}

static void factorise(double *a, int64_t *pivots, int64_t n) {
    for (int64_t k = 0; k < n; k++) {
        int64_t best = k;
        for (int64_t i = k + 1; i < n; i++)
            if (fabs(a[i * n + k]) > fabs(a[best * n + k])) best = i;
        pivots[k] = best;
        if (best != k)
            for (int64_t j = 0; j < n; j++) {
                double held = a[k * n + j];
                a[k * n + j] = a[best * n + j];
                a[best * n + j] = held;
            }
        double inverse = 1.0 / a[k * n + k];
        a[k * n + k] = inverse;
        for (int64_t i = k + 1; i < n; i++)
            if (a[i * n + k] != 0.0) {
                double factor = a[i * n + k] * inverse;
                a[i * n + k] = factor;
                for (int64_t j = k + 1; j < n; j++) a[i * n + j] -= factor * a[k * n + j];
            }
    }
}

static void substitute(const double *a, const int64_t *pivots, double *b, int64_t n) {
    for (int64_t k = 0; k < n; k++)
        if (pivots[k] != k) {
            double held = b[k];
            b[k] = b[pivots[k]];
            b[pivots[k]] = held;
        }
    for (int64_t i = 1; i < n; i++) {
        double total = b[i];
        for (int64_t j = 0; j < i; j++) total -= a[i * n + j] * b[j];
        b[i] = total;
    }
    for (int64_t i = n - 1; i >= 0; i--) {
        double total = b[i];
        for (int64_t j = i + 1; j < n; j++) total -= a[i * n + j] * b[j];
        b[i] = total * a[i * n + i];
    }
}

/* A (6, 5), C (6, 5), T (6,), D (6,): the method's coefficients, handed over so that both use the same. */
static void step(double t, double *y, double h, const System *m, int64_t n, const double *A, const double *C,
          const double *T, const double *D, double *new) {
    double f0[MOST], slope[MOST], jac[MOST * MOST], lu[MOST * MOST], k[6][MOST];
    int64_t pivots[MOST];
    rhs(t, y, f0, m);
    jacobian(t, y, jac, slope, m, n);
    double diagonal = 1.0 / (h * GAMMA), reciprocal = 1.0 / h;
    for (int64_t i = 0; i < n * n; i++) lu[i] = -jac[i];
    for (int64_t i = 0; i < n; i++) lu[i * n + i] += diagonal;
    factorise(lu, pivots, n);
    for (int s = 0; s < 6; s++) {
        double *stage = k[s];
        if (s == 0)
            memcpy(stage, f0, n * sizeof(double));
        else {
            for (int64_t i = 0; i < n; i++) {
                double total = y[i];
                for (int j = 0; j < s; j++) total += A[s * 5 + j] * k[j][i];
                new[i] = total;
            }
            rhs(t + T[s] * h, new, stage, m);
            for (int64_t i = 0; i < n; i++) {
                double total = 0.0;
                for (int j = 0; j < s; j++) total += C[s * 5 + j] * k[j][i];
                stage[i] += reciprocal * total;
            }
        }
        double along = h * D[s];
        if (along != 0.0)
            for (int64_t i = 0; i < n; i++) stage[i] += along * slope[i];
        substitute(lu, pivots, stage, n);
    }
    for (int64_t i = 0; i < n; i++) new[i] += k[5][i];
}

void many_steps(int64_t count, double t, double *y, double h, const System *m, int64_t n, const double *A,
                const double *C, const double *T, const double *D, double *new) {
    for (int64_t i = 0; i < count; i++) step(t, y, h, m, n, A, C, T, D, new);
}
