"""Changes of the example's documents, each made so that one rule of the check has something to say.

What an edit is, `benchmarks.same_outcomes.edits` says.
"""
# ruff: noqa: E501 - an edit stands in one line

from __future__ import annotations

MAIN, OTHER = "procedure/limits/main", "procedure/limits/transducer"
LEFT, RIGHT = "bench/supplies/left", "bench/supplies/right"
ONE, SOLE = f"{LEFT}/outputs/1", f"{RIGHT}/outputs/1"
LEAD = "bench/leads/silicone pair"
UP, SWEEP, BROWN = "procedure/steps/0/power_up", "procedure/steps/2/sweep", "procedure/steps/3/shape/segments"
INPUT, SECOND = "device/inputs/main", "device/inputs/transducer"
BANK, CONVERTER = f"{INPUT}/load/0", f"{INPUT}/load/1/converter"
REQUIRES = "procedure/requires"

SERIES = "procedure/hook_up/main/from = {series: [left.1, left.2]}"
PARALLEL = "procedure/hook_up/main/from = {parallel: [left.1, left.2]}"
BOTH_LEFT = "procedure/hook_up/transducer/from = left.2"
UNSENSED = "procedure/hook_up/main/sense = at terminals"
UNPROTECTED = f"drop {INPUT}/withstands/2"
LEVELS = (
    f"{ONE}/opp = {{level: 1 W .. 66 W}}",
    f"{ONE}/ocp = {{level: 0.1 A .. 2.75 A, delay: 5 ms .. 1 s}}",
)
REGULATES = (f"{MAIN}/at_limit = regulate", f"drop {MAIN}/trip_delay")
STOCK = (
    "bench/stock = [{conductor: AWG 20, permitted_current: 0.5 A}, {conductor: AWG 10}, {conductor: AWG 14}]"
)
ALONE = "procedure/attended = no"
BATTERY = (
    f"{INPUT}/load/- + {{battery: {{series_resistance: 500 mohm, capacity: 8000 C, state_of_charge: 50 %, "
    "curve: [{charge: 0 %, voltage: 10 V}, {charge: 100 %, voltage: 13 V}]}}"
)
CHARGED = (BATTERY, *REGULATES, f"{MAIN}/purpose = current", f"{MAIN}/charge_at_most = 900 C")
NO_LIST = f"drop {ONE}/points"
SINKS = f"{ONE}/sink = 2 A"
WAITS_FOR_OTHER = f"{MAIN}/off_after = [transducer]"
TRANSDUCER_WAITS = f"{OTHER}/off_after = [main]"
STAYS_ON = "{stays_on: cooling fan}"
GUARD = "{fuse: {curve: [{current: <400..600 mA>, time: 10 ms}, {current: 2 A, time: 1 ms}]}}"


def fixture(text: str, name: str = "main") -> tuple[str, str]:
    """A fixture of these parts in an input's lead."""
    return f"bench/fixtures = {{box: {text}}}", f"procedure/hook_up/{name}/fixture = box"


def inside(text: str) -> str:
    """Parts between the connector of main and its load."""
    return f"{INPUT}/inside = {text}"


def fuse(*points: str) -> str:
    """A fixture of a fuse, by its curve: `100 ms at 2 A`."""
    pairs = [each.split(" at ") for each in points]
    curve = ", ".join(f"{{current: {current}, time: {time}}}" for time, current in pairs)
    return f"{{fuse: {{curve: [{curve}], resistance: 40 mohm}}}}"


def shape(text: str, after: str = "") -> tuple[str, ...]:
    """Another shape before the example's own, and what follows it."""
    more = (f"procedure/steps/3 + {after}",) if after else ()
    return (*more, f"procedure/steps/3 + {{shape: {{{text}}}, name: own shape}}")


def main_shape(segments: str, after: str = "") -> tuple[str, ...]:
    return shape(f"input: main, segments: [{segments}]", after)


def standard(text: str) -> tuple[str, ...]:
    return shape(f"input: main, standard: {text}", "{hold: 1 s}")


def up(text: str) -> str:
    return f"{UP} = {{order: [main, transducer], {text}}}"


def required(measure: str, limits: str, during: str, of: str = "main") -> str:
    """One more requirement."""
    what = f"measure: {measure}, of: {of}, during: {during}, {limits}"
    return f"{REQUIRES}/- + {{name: {measure.replace('_', ' ')} of {of}, {what}}}"


def at_end(what: str, limits: str = MAIN) -> str:
    return f"{limits}/at_end = {what}"


def coupled(by: str) -> tuple[str, str]:
    return BOTH_LEFT, f"{LEFT}/coupled = [{{outputs: [1, 2], by: {by}}}]"


def watchdog(supply: str) -> str:
    return f"{supply}/watchdog = {{times: 1 s .. 3600 s, does: off}}"


DIODE = "{diode: {drop: 0.7 V ± 0.1 V, resistance: 60 mohm}}"
BLOCKING = "diode: {drop: <0.9..0.98 V>, resistance: 80 mohm}"
DIP = "{step_to: <8..10 V>}, {hold: 5 ms}, {step_to: 12 V}, {hold: 1 s}"
SLOW_DIP = "{step_to: <8.8..10 V>}, {hold: 50 ms}, {step_to: 12 V}"
RIPPLE = "{ripple: sine, peak_to_peak: <1.5..2.5 V>, frequency: 50 Hz, for: 500 ms, on: 12 V}"
FALLING = (
    "{iv_table: {points: [{voltage: 0 V, current: 0 A}, {voltage: 9 V, current: 60 mA}, "
    "{voltage: 19 V, current: 40 mA}, {voltage: 40 V, current: 40 mA}]}}"
)
POWER = "{profile: {compliance: 5 V, points: [{time: 0 s, power: <0.3..0.5 W>}, {time: 1 s, power: 1.2 W}]}}"
SMALL = f"{SECOND}/load/1 = {{capacitor: 2 nF}}"
DUE_LONG_AGO = "{on: 2001-03-02, due: 2002-03-02, certificate: X-1}"
NOT_YET = "{on: 2198-03-02, due: 2199-03-02, certificate: X-2}"

TWISTS: tuple[tuple[str, ...], ...] = (
    # Hook-up, returns, isolation
    ("return-short", SERIES, f"{LEFT}/common_negative = [1, 2]"),
    ("return-short", SERIES, f"{INPUT}/return = earth", f"{ONE}/negative = earth"),
    ("may-not-join", SERIES, f"{ONE}/may_join = [parallel]"),
    ("unequal-group", SERIES, f"{LEFT}/outputs/2/voltage = 0 V .. <20..30 V>"),
    ("isolation-lost", f"{SECOND}/return = isolated", f"{SOLE}/negative = earth"),
    ("floating", f"{INPUT}/nominal = <11..13 V>"),
    ("isolation", SERIES, f"{LEFT}/isolation = <40..70 V>"),
    ("touch-voltage", SERIES),
    ("hook-up-impossible", "procedure/hook_up = auto", f"{SECOND}/nominal = 200 V", f"{SECOND}/operating = 180 V .. 230 V"),
    ("hook-up-impossible", "procedure/hook_up/main/from = auto", f"{ONE}/current = 0 A .. <0.1..0.3 A>", f"drop {ONE}/may_join"),
    ("hook-up", "procedure/hook_up = auto"),
    ("hook-up", "procedure/hook_up/main = {from: auto, lead: auto, sense: auto}"),
    ("dialects", f"{LEFT}/dialect = selected-output", f"{RIGHT}/dialect = channel-list"),
    # Voltages
    ("voltage-range", f"{SWEEP}/to = <37..45 V>"),
    ("voltage-range", up("gap: 50 ms, settle: 150 ms, voltages: {transducer: <32.5..34 V>}")),
    ("withstand-played", f"{SWEEP}/to = <26.5..30 V>"),
    ("withstand-played", f"{SWEEP} = {{input: main, from: 9 V, to: <21.5..23 V>, points: 3, dwell: 1500 ms}}"),
    ("reversed", f"{SWEEP}/to = -<17..20 V>"),
    ("reversed", UNPROTECTED, f"{SWEEP}/from = -<0.5..2 V>"),
    ("outside-operating", f"{BROWN}/2/line_to = <5..7 V>"),
    ("coupled-withstand", *coupled("step")),
    ("coupled-moves", *coupled("ratio")),
    # Leads and fixtures
    ("lead-drop", *fixture(DIODE), UNSENSED),
    ("lead-drop", UNSENSED, f"{LEAD}/one_way_length = <2..3 m>"),
    ("lead-drop-unsensed", UNSENSED, f"{LEAD}/one_way_length = <5..9 m>"),
    ("sense-unavailable", "procedure/hook_up/transducer/sense = at load", f"drop {SOLE}/sense"),
    ("sense-compensation", f"{LEAD}/one_way_length = <50..80 m>"),
    ("sense-compensation", *fixture(f"{{{BLOCKING}}}")),
    ("sense-compensation-peak", f"{LEAD}/one_way_length = <28..31 m>"),
    ("sense-used-up", f"{LEAD}/one_way_length = <30..32 m>"),
    ("sense-faults", f"{ONE}/sense = {{compensates: 1 V, open: falls back}}"),
    ("sense-faults", f"{ONE}/sense = {{compensates: 1 V, open: rises, lead_resistance: 10 ohm}}"),
    ("lead-current", f"{LEAD}/permitted_current = <0.8..1 A>"),
    ("lead-contacts", f"drop {LEAD}/contact_resistance_loop"),
    ("lead-from-stock", f"{LEAD}/one_way_length = <50..70 m>", STOCK),
    ("lead-from-stock", f"{LEAD}/permitted_current = <0.7..0.95 A>", STOCK),
    ("lead-from-stock", f"{LEAD}/one_way_length = <500..700 m>", STOCK),
    ("lead-hot", f"{LEAD}/conductor = AWG 36", f"{MAIN}/current_limit = 2.4 A", *REGULATES),
    ("fuse-below-need", *fixture(fuse("100 s at 0.5 A", "100 ms at 2 A"))),
    ("fuse-before-trip", *fixture(fuse("1 s at 0.9 A", "1 ms at 1.1 A"))),
    ("fuse-before-trip", *REGULATES, *fixture(fuse("1 s at 0.9 A", "100 ms at 1.1 A"))),
    ("fuse-rehearsed", *fixture(GUARD)),
    ("switch-open", *fixture("{switch: {starts: open}}")),
    ("fixture-resistance", *fixture("{switch: {}, diode: {drop: 0.7 V, resistance: 0}}")),
    # What lies inside a device
    ("fuse-inside-stays", inside(fuse("1 h at 2 A", "1 s at 5 A"))),
    ("fuse-pulse", inside(fuse("1 h at 0.65 A", "<19..22 ms> at 0.8 A", "8 ms at 2 A"))),
    # Its choke's resistance is not given: inside-resistance as well.
    ("filter-rings", inside("{choke: {inductance: <8..12 mH>}}")),
    # Currents and powers
    ("current-range", f"{MAIN}/current_limit = <2.6..4 A>"),
    ("power-range", f"{ONE}/power = <3.5..4.2 W>"),
    ("power-headroom", f"{ONE}/power = <4.9..5.2 W>"),
    ("power-before-limit", f"{ONE}/power = <11..13 W>"),
    ("limit-below-need", f"{MAIN}/current_limit = <400..500 mA>"),
    ("limit-headroom", f"{MAIN}/current_limit = <615..630 mA>"),
    ("parallel-in-limit", PARALLEL, *REGULATES, f"{MAIN}/current_limit = <700..1100 mA>"),
    ("limit-at-low-voltage", f"{MAIN}/current_limit = <620..640 mA>"),
    ("limit-above-device", f"{MAIN}/current_limit = <2.497..2.5 A>"),
    ("limit-overshoot", f"{MAIN}/current_limit = <1.26..1.5 A>"),
    ("declared-current", f"{INPUT}/current/steady = 180 mA .. <450..520 mA>"),
    ("ramp-in-limit", up("gap: 50 ms, rise: <1..2 V/ms>, settle: 150 ms")),
    # Protections
    ("ovp-range", f"{MAIN}/ovp = <38.5..45 V>"),
    ("ovp-above-withstand", f"{MAIN}/ovp = <20..22 V>"),
    ("ovp-above-withstand", f"{MAIN}/ovp = <19.7..19.89 V>", f"drop {INPUT}/withstands/1"),
    ("ovp-below-played", f"{MAIN}/ovp = <15..16.1 V>"),
    ("ovp-close", f"{MAIN}/ovp = <16.3..16.5 V>"),
    ("ovp-at-sense", f"{ONE}/ovp/at = sense"),
    ("opp-range", f"{MAIN}/opp = <25..35 W>"),
    ("opp-range", *LEVELS, f"{MAIN}/opp = <67..90 W>"),
    ("opp-below-need", *LEVELS, f"{MAIN}/opp = <3..4 W>"),
    ("ocp-range", f"{MAIN}/ocp = 800 mA"),
    ("ocp-range", *LEVELS, f"{MAIN}/ocp = 800 mA", f"{MAIN}/ocp_delay = <1..4 ms>"),
    ("ocp-below-need", *LEVELS, f"{MAIN}/ocp = <500..600 mA>"),
    ("ocp-above-limit", *LEVELS, f"{MAIN}/ocp = <1.2..2 A>", f"{MAIN}/ocp_delay = 50 ms"),
    ("trip-delay-range", f"{MAIN}/trip_delay = <0.5..1.9 ms>"),
    ("trip-before-charged", f"{OTHER}/trip_delay = <10..25 ms>"),
    ("trip-before-charged", *fixture("{capacitor: {capacitance: <1800..2600 uF>, esr: 30 mohm}}")),
    ("never-after-trip", "device/never/0/outside = -<11..14 V> .. 25 V"),
    ("linked-trip-by-program", f"{OTHER}/ovp = <29..33 V>"),
    # Order, ramps, sweeps
    ("order-broken", f"{UP}/order = [transducer, main]"),
    ("order-broken", f"{UP}/gap = <250..400 ms>"),
    ("order-down", "procedure/steps/4/power_down/order = [main, transducer]"),
    ("never-played", "device/never/0/outside = -17 V .. <14..17 V>"),
    ("slew-too-fast", f"{UP}/rise = <2.2..2.39 V/ms>"),
    ("slew-out-of-range", f"{UP}/rise = <0.3..0.7 V/s>"),
    ("ramp-in-stairs", f"drop {SOLE}/slew"),
    ("fall-too-fast", f"{BROWN}/2/over = <15..60 ms>"),
    ("dwell-too-short", f"{SWEEP}/dwell = <20..25 ms>"),
    # Shapes
    ("shape-not-served", *main_shape(DIP)),
    ("host-cannot-keep", NO_LIST, *main_shape(RIPPLE)),
    ("host-cannot-keep", NO_LIST, f"{LEFT}/exchange = 6 ms", *main_shape(DIP)),
    ("host-cannot-keep", *main_shape("{off_for: <8..15 ms>}")),
    ("readings-between-set-points", f"{LEFT}/exchange = <4..9 ms>", f"{SWEEP} = {{input: main, from: 9 V, to: 16 V, points: 71, dwell: 12 ms}}"),
    ("host-cannot-keep", f"{SWEEP} = {{input: main, from: 9 V, to: 16 V, points: 71, dwell: <7..9 ms>}}"),
    ("shape-by-list", f"{ONE}/points/dwell = 1 ms .. 300 s", *main_shape(DIP)),
    ("shape-by-list", f"{ONE}/points/dwell = 1 ms .. 300 s", *main_shape("{line_to: 8 V, over: 80 ms}, {exponential_to: 12 V, time_constant: <30..60 ms>, for: 200 ms}, {hold: 500 ms}")),
    ("shape-limit-above", *main_shape("{step_to: 12 V, current_limit: <1.1..1.9 A>}")),
    ("interruption-low-impedance", f"{ONE}/sink = 0 A", *standard("IEC 61000-4-29 interruption, impedance: low, duration: 10 ms")),
    ("interruption-high-impedance", *standard("IEC 61000-4-29 interruption, impedance: high, duration: 30 ms")),
    ("edge-at-end", *main_shape(SLOW_DIP), required("restarts", "at_most: 0", "own shape")),
    ("trigger-assumed", *shape("input: main, segments: [{hold: 10 ms}], advance: on trigger")),
    ("trigger-assumed", *shape("input: main, segments: [{hold: 10 ms}, {step_to: 11 V}, {hold: 50 ms}], wait_for: key, time_out: 5 s")),
    ("recording-recognised", *shape("input: main, recording: recorded.csv", "{hold: 200 ms}")),
    ("recording-recognised", *shape("input: main, recording: comma.csv, begin: 20 ms", "{hold: 200 ms}")),
    ("recording-recognised", *shape("input: main, recording: bare.csv, interval: 20 ms, end: 300 ms", "{hold: 200 ms}")),
    ("recording-recognised", *shape("input: main, recording: whole.wav, full_scale: 20 V", "{hold: 200 ms}")),
    ("standard-from-memory", *standard("IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 2")),
    ("standard", *standard("IEC 61000-4-29 variation, level: 80 %, duration: 300 ms")),
    ("standard-missed", *standard("IEC 61000-4-29 interruption, impedance: low, duration: 10 ms")),
    ("standard-leaves-open", *standard("IEC 61000-4-29 dip, level: 75 %, duration: <200..280 ms>")),
    ("standard-repeated-less", *standard("IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 3, pause_between: <1..12 s>")),
    ("standard-start", *standard("IEC 61000-4-29 dip, level: 40 %, duration: 100 ms, repeat: 2, pause_between: <0..20 ms>")),
    ("standard-other-system", *standard("MIL-STD-704F normal transient, level: under")),
    ("standard-not-played", *standard("ISO 16750-2 load dump, level: B")),
    ("lead-shared", "procedure/hook_up/transducer/lead = silicone pair"),
    ("lead-too-thick", f"{LEAD}/conductor = 25 mm2 class 5"),
    ("standard", *standard("ISO 16750-2 momentary drop")),
    ("standard", *standard("ISO 16750-2 starting, level: I")),
    ("standard", *standard("EN 50155 variation, level: 70 %, duration: 200 ms")),
    ("standard", *standard("EN 50155 temporary dip")),
    ("standard", *standard("EN 50155 interruption, level: S2, impedance: high")),
    ("standard", *standard("EN 50155 change-over, level: C1")),
    ("several at once", *shape("inputs: {main: {segments: [{step_to: 11 V}, {hold: 100 ms}, {step_to: 12 V}]}, transducer: {segments: [{line_to: 26 V, over: 50 ms}, {hold: 100 ms}, {line_to: 24 V, over: 50 ms}]}}, repeat: 2, pause_between: 100 ms", "{hold: 200 ms}")),
    ("ripple", *main_shape("{ripple: trapezoid, peak_to_peak: <0.5..1 V>, frequency: 2 Hz, edges: 40 ms, for: 1 s, on: 12 V}, {repeat: 2, segments: [{step_to: 11 V}, {hold: 60 ms}, {step_to: 12 V}, {hold: 60 ms}], pause_between: 50 ms}")),
    # Requirements
    ("requirement-masked", f"{REQUIRES}/2/at_most = <110..150 mA>"),
    ("requirement-masked", f"{REQUIRES}/2/at_most = 1 kA"),
    ("requirement-masked", f"{REQUIRES}/4/at_most = <300..500 mA>"),
    ("requirement-masked", f"{REQUIRES}/3/between = 11.9 V .. <18.5..20 V>"),
    ("requirement-masked", required("peak_voltage", "at_most: <18.5..20 V>", "steady")),
    ("requirement-out-of-reach", f"{REQUIRES}/2 = {{name: inrush, measure: peak_current, of: transducer, during: first power, at_least: <130..200 mA>}}"),
    ("reading-too-slow", f"{REQUIRES}/0/at_most = <35..45 ms>"),
    ("reading-too-coarse", f"{REQUIRES}/3/between = 11.98 V .. 12.02 V"),
    ("step-too-short", f"{REQUIRES}/0/at_most = <300..500 ms>"),
    ("threshold-not-crossed", f"{BROWN}/2/line_to = <7.45..7.7 V>"),
    ("recorded-too-fast", "procedure/record/every = <4..6 ms>"),
    ("trip-not-armed", required("trip_time", "at_most: <0.5..2 s>, by: OCP", "brown-out")),
    ("trip-status-slow", required("trip_time", "at_most: <20..60 ms>", "steady")),
    ("trip-step-short", required("trip_time", "at_most: <3..5 s>", "steady")),
    ("trip-ends-run", required("trip_time", "at_most: <0.5..1 s>", "line sweep")),
    ("trip-leaves-out", required("trips", "at_least: 1", "steady")),
    ("constant voltage", required("time_out_of_cv", "at_most: <10..80 ms>", "first power"), required("trips", "at_most: 0", "steady")),
    ("requirement-predicted", f"{REQUIRES}/5/at_most = <3..4 W>"),
    ("requirement-predicted", f"{REQUIRES}/0/at_most = <12..16 ms>"),
    ("requirement-close", f"{REQUIRES}/0/at_most = <17.3..17.6 ms>"),
    ("requirement-close", f"{REQUIRES}/4/at_most = <20.05..20.4 mA>"),
    ("peak-brief", required("peak_current", "at_most: <2..3 A>", "first power")),
    ("measures", required("mean_voltage", "between: 11.9 V .. 12.1 V", "steady"), required("energy", "at_most: <8..20 J>", "steady"), required("low_state_level", "at_least: 5 V", "brown-out"), required("peak_voltage", "at_most: <12.2..17 V>", "line sweep")),
    ("decision", "procedure/decision = {rule: simple}", required("charge", "at_most: <5..12 mC>", "first power", "transducer")),
    ("decision", "procedure/decision = {rule: guarded, guard_band: 0.5 × U}"),
    # Stop conditions
    ("stop-out-of-reach", "procedure/stop_when/0 = {input: main, current_above: <1.1..2 A>, for: 100 ms}"),
    ("stop-out-of-reach", "procedure/stop_when/0 = {input: main, voltage_above: <18.5..20 V>, for: 100 ms}"),
    ("stop-in-normal", "procedure/stop_when/0 = {input: main, current_above: <250..500 mA>, for: 100 ms}"),
    ("stop-in-normal", "procedure/stop_when/0 = {input: main, voltage_above: <13..15 V>, for: 100 ms}"),
    ("stop-unseen", "procedure/stop_when/0/for = <3..8 ms>"),
    ("stop-rehearsed", "procedure/stop_when/0 = {input: main, current_above: <280..320 mA>, for: 150 ms}"),
    ("stop-rehearsed", "procedure/stop_when/0 = {input: main, voltage_below: <6.5..8 V>, for: 100 ms, during: brown-out}"),
    # Instruments
    ("calibration-overdue", f"{LEFT}/calibrated = {DUE_LONG_AGO}"),
    ("calibration-ahead", f"{LEFT}/calibrated = {NOT_YET}"),
    ("proof-overdue", "bench/proved = {on: 2020-03-02, due: 2021-03-02, record: P-1}"),
    ("proof-ahead", "bench/proved = {on: 2099-03-02, due: 2100-03-02, record: P-1}"),
    ("calibration-unknown", f"drop {LEFT}/calibrated"),
    ("identity-unknown", f"drop {LEFT}/serial"),
    ("shared-bus", f"{LEFT}/address = GPIB0::5::INSTR", f"{RIGHT}/address = GPIB0::6::INSTR"),
    ("line-slow", f"{LEFT}/address = ASRL/dev/ttyUSB0::INSTR", f"{LEFT}/line = {{baud: 9600}}"),
    ("master-switch", f"{LEFT}/dialect = prefixed"),
    ("comes-on-by-itself, comes-on-unattended", f"{LEFT}/after_mains = comes on", ALONE),
    ("off-takes-in", BATTERY, f"{ONE}/when_off = held at 0 V", SINKS),
    ("source-crowbar, source-charge-limit, source-rise, source-under, source-unwatched, hold-at-once", *CHARGED[:-1], ALONE, f"{ONE}/ovp/crowbar = 50 mohm", f"{INPUT}/never_under = 11.6 V", "procedure/steps/1/hold = {until: {voltage_above: 1 V, input: main}, at_most: 1 s}"),
    ("source-full, source-hidden", *CHARGED, f"{UP}/voltages = {{main: 11.5 V}}", "bench/fixtures = {box: {diode: {drop: 0.4 V, resistance: 20 mohm}}}", "procedure/hook_up/main/fixture = box"),
    ("charge-rehearsed, held-at-most, hold-never", *CHARGED, f"{MAIN}/charge_at_most = 1 mC", "procedure/steps/1/hold = {until: {current_above: 50 A, input: main}, at_most: 1 s}"),
    ("transport-untried", f"{LEFT}/address = USB0::0x1234::0x5678::Q-0117::INSTR"),
    ("accuracy-unknown", f"drop {ONE}/programming"),
    ("accuracy-unknown", f"drop {ONE}/reading"),
    ("off-grid", f"{MAIN}/current_limit = 999.95 mA"),
    ("off-grid", f"{SWEEP}/to = 15.0005 V"),
    *(("unknown-figure", f"drop {ONE}/{key}") for key in ("bleeder", "output_capacitance", "rise", "fall", "power", "limit_response", "trip_delay", "reading/update", "programming/current/resolution", "ovp/accuracy", "ovp/response")),
    ("unknown-figure", f"drop {INPUT}/current", f"drop {SECOND}/withstands"),
    ("unknown-figure", f"drop {LEAD}/permitted_current", f"{ONE}/sense = {{}}"),
    # Stability, energy
    ("input-oscillates", f"drop {BANK}"),
    ("input-oscillates", f"{BANK}/capacitor = {{capacitance: <1.1..1.45 uF> ± 20 %}}"),
    ("input-oscillates", f"{SECOND}/load/0 = {FALLING}", SMALL),
    ("input-oscillates", f"{SECOND}/load/0 = {POWER}", SMALL),
    ("stored-energy", f"{BANK}/capacitor/capacitance = <150..250 mF> ± 20 %"),
    ("slow-discharge", *fixture(DIODE)),
    ("off-late", f"{BANK}/capacitor/capacitance = <150..250 mF> ± 20 %"),
    # Endings
    ("off-after-order", TRANSDUCER_WAITS),
    ("off-after-order", WAITS_FOR_OTHER, *main_shape("{off_for: <40..60 ms>}", "{hold: 200 ms}")),
    ("off-after-up", TRANSDUCER_WAITS),
    ("off-after-waits", WAITS_FOR_OTHER),
    ("off-after-unlinked", TRANSDUCER_WAITS, f"drop {OTHER}/trips_when"),
    ("off-after-stays-on", WAITS_FOR_OTHER, at_end(STAYS_ON, OTHER)),
    ("stays-on", at_end(STAYS_ON, OTHER)),
    ("stays-on-high", SERIES, at_end(STAYS_ON)),
    ("ramp-down-too-fast", at_end("{ramp_down: <100..300 ms>}")),
    ("ramp-down-too-fast", at_end("{ramp_down: <4..8 ms>}"), SINKS, f"{ONE}/fall/unloaded = 30 ms"),
    ("unattended", ALONE),
    ("unattended", ALONE, watchdog(LEFT)),
    ("unattended", ALONE, "bench/interlock = {opened_by: cage door, seen_to_act: 2199-11-02}"),
    ("attended by an interlock", ALONE, "bench/interlock = {opened_by: cage door, seen_to_act: 2001-11-02}"),
    ("unattended-high", SERIES, ALONE),
    # Windows
    ("auto-impossible", f"{MAIN}/current_limit = auto", f"drop {INPUT}/current/at_most"),
    ("auto-impossible", f"{MAIN}/ovp = auto", f"drop {ONE}/ovp"),
    ("not-rehearsed", f"{MAIN}/current_limit = auto", f"drop {INPUT}/current/at_most"),
    ("empty-window", f"{MAIN}/current_limit = auto", f"{INPUT}/current/at_most = <603..615 mA>"),
    ("empty-window", f"{UP}/rise = auto", f"{REQUIRES}/0/at_most = <3..8 ms>"),
    ("windows", f"{UP}/rise = <150..190 V/s>"),
    ("windows", f"{MAIN}/trip_delay = <3..4.5 s>"),
    ("autos", f"{MAIN}/current_limit = auto", f"{MAIN}/ovp = auto", f"{MAIN}/trip_delay = auto", f"{UP}/rise = auto"),
    ("autos", *LEVELS, f"{MAIN}/opp = auto", f"{MAIN}/trip_delay = auto", PARALLEL),
    ("autos", f"{OTHER} = {{current_limit: auto, at_limit: regulate, ovp: auto}}", SERIES),
    # What a rehearsal finds
    ("trips-rehearsed", f"{OTHER}/trip_delay = <15..25 ms>"),
    ("trip-delay-margin", f"{MAIN}/trip_delay = <15.5..19 ms>"),
    ("trip-delay-margin", f"{OTHER}/trip_delay = <32..38 ms>"),
    ("restarts-for-ever", *REGULATES, f"{MAIN}/current_limit = <300..370 mA>"),
    ("hangs-low", *REGULATES, f"{MAIN}/current_limit = <330..360 mA>", f"{CONVERTER}/input_current_limit = 0.5 A", f"{CONVERTER}/stops_at = 3.0 V .. 3.4 V"),
    ("not-settled", *REGULATES, f"{BANK}/capacitor/capacitance = <30..50 mF>", f"{UP}/settle = 80 ms"),
    ("not-reached", f"{CONVERTER}/output_power = 10 mW ± 10 %", f"{BROWN}/2/over = 50 ms", f"{BROWN}/3/hold = 100 ms"),
    ("steady-current-rehearsed", f"{SECOND}/current/steady = 4 mA .. <15..19 mA>"),
    ("order-rehearsed", up("gap: 20 ms, rise: <80..200 V/s>, settle: 250 ms")),
    ("withstand-rehearsed", f"{SECOND}/withstands = [{{voltage: 24.003 V}}]", f"{OTHER}/ovp = 26 V"),
    ("never-rehearsed", "device/never/0/outside = -<9..11 V> .. 25 V", "procedure/steps/4/power_down = {order: [transducer, main], gap: 100 ms}"),
    ("never-rehearsed", "device/never/0/outside = -17 V .. <12.4..13 V>"),
    # Overrides
    ("override", f"{MAIN}/current_limit = 490 mA", "procedure/overrides = [{finding: limit-below-need, because: it is tried on purpose}]"),
    ("override-no-effect", "procedure/overrides = [{finding: ovp-range, about: main, because: none is there}]"),
    ("override-no-effect", "procedure/overrides = [{finding: touch-voltage, because: it only cautions}, {finding: trips-rehearsed, because: it may}]"),
    ("override", f"{OTHER}/trip_delay = <15..20 ms>", "procedure/overrides = [{finding: trips-rehearsed, because: it is tried on purpose}]"),
)  # fmt: skip
"""What each is for (a rule's id, or words), and its edits."""
