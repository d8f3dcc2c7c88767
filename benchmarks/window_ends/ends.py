"""Each end of a window: sampled cases and faults at the end itself, and brute force one step beyond it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from benchmarks.window_ends.devices import CASES, Case, write
from benchmarks.window_ends.driven import HARDEST, driven, rise
from benchmarks.window_ends.transient import (
    CAPACITOR,
    CONVERTER,
    CURRENT,
    DT,
    RESISTOR,
    Bench,
    Course,
    Move,
    play,
    recovery_bandwidth,
)
from benchmarks.window_ends.translate import Corner, bench_of
from benchmarks.windows import changed, kinds_of_excess, nuisance, tightest
from benchmarks.windows_faults import FaultPlayer

from railwright.documents.loader import Documents, load_documents
from railwright.plan.set_points import Feed
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.ensemble import plan_ensemble
from railwright.rehearsal.fault_scene import Trial
from railwright.settings.check import settled
from railwright.settings.context import FedInput, sources_of
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import Settings
from railwright.settings.windows.window import End, Window

SEED = 20_261_129
"""Of the sampled cases; the windows know nothing of it."""

TODAY = dt.date(2026, 11, 29)

OTHERS: Mapping[str, Corner] = {
    "all high": {},
    "winding": {"dc_motor.torque_constant": -1, "dc_motor.resistance": -1, "limit": -1, "overshoot": -1},
    "light": {"resistor.resistance": 1, "constant_current.current": -1, "converter.output_power": -1},
    "soft loop": {"damping": -1, "lead": -1},
    "heavy": {"resistor.resistance": -1, "converter.efficiency": -1, "limit": -1, "overshoot": -1},
    "lamp": {"filament_lamp.cold_resistance": -1, "limit": -1, "overshoot": -1},
    "soft loop, light": {"damping": -1, "resistor.resistance": 1, "capacitor.esr": -1, "lead": -1},
    "winding, strong": {"dc_motor.torque_constant": -1, "limit": -1, "overshoot": 1, "dc_motor.inertia": 1},
}
"""Corners that are tried for what moves, each over `HIGH`."""

HIGH: Corner = {
    "voltage": 1, "limit": -1, "ovp": -1, "lead": 1, "damping": 1, "overshoot": 0,
    "resistor.resistance": -1, "capacitor.capacitance": 1, "capacitor.esr": 1, "constant_current.current": 1,
    "constant_current.compliance": -1, "converter.output_power": 1, "converter.efficiency": -1,
    "converter.starts_at": -1, "dc_motor.inertia": 1, "dc_motor.friction": 1, "dc_motor.load_torque": 1,
    "filament_lamp.rated_power": 1, "filament_lamp.warm_up": 1, "battery.series_resistance": -1,
    "battery.state_of_charge": -1, "coil.resistance": -1,
}  # fmt: skip
"""What draws most and charges longest, the limit at its lower bound."""

STAYS = 0.25
"""Part of the time that is played, at its end, for which an output that is still in the limit stays in it."""

FAST, AFTER = 5000.0, 3e-3
"""Of a rise: its duration by the recovery of an output that follows it closely, and for how long what is
asked of the limit is looked at after it [s].
"""
ASKS = 2e-5
"""What counts as asking for no more, as a part of the limit."""

AT_ONCE = 0.2e-6, 1e-9
"""Recovery time [s], and its band [V] and rise [s], of an output that regulates at once: a data sheet gives
bounds.
"""

KEYS = {"current_limit": "limit", "ovp": "ovp", "trip_delay": "delay", "opp": "opp"}


@dataclass(frozen=True)
class Found:
    """One device with every limit worked out."""

    name: str
    documents: Documents
    settings: Settings
    source: FedInput

    @property
    def windows(self) -> list[Window]:
        """Those that are used, in the order in which they were settled."""
        return [window for window in self.settings.windows if window.used or window.setting == "rise"]

    def window(self, setting: str) -> Window:
        return next(window for window in self.windows if window.setting == setting)

    def value(self, setting: str) -> float:
        """What is dialled in."""
        window = self.window(setting)
        value = window.recommended if window.asked is None else window.asked
        assert value is not None, (self.name, setting)
        return value

    def feeds(self, setting: str, value: float) -> dict[str, Feed]:
        """Set points with one setting at a value, the others as dialled in."""
        feed, window = self.settings.set_points["main"], self.window(setting)
        points = tuple(replace(each, **{setting: value * window.parts[each.output]}) for each in feed.outputs)  # type: ignore[arg-type]
        return {"main": replace(feed, outputs=points, trips_when=())}

    @cached_property
    def containable(self) -> dict[str, bool]:
        """Fault -> whether the tightest settings contain it nominally."""
        from railwright.rehearsal.faults import rehearse_faults

        study = rehearse_faults(self.documents, tightest(self.settings))
        return {result.fault: result.contained is True for result in study.results}


def find(case: Case, folder: Path) -> Found:
    """Settle one device."""
    hooked = hooked_up(load_documents(write(case, folder / case.name.replace(" ", "-"))))
    return Found(case.name, hooked.documents, settled(hooked, TODAY), sources_of(hooked.documents)[0]["main"])


def rewritten(found: Found, setting: str, value: float) -> Found:
    """The same device with its current limit [A] or its rise [V/s] written."""
    case = next(case for case in CASES if case.name == found.name)
    if setting == "rise":
        changed_case = replace(case, rise=f"{value!r} V/s")
    else:
        changed_case = replace(case, limits={**case.limits, setting: f"{value!r} A"})
    with TemporaryDirectory() as folder:
        return find(changed_case, Path(folder))


@dataclass(frozen=True)
class Held:
    """What came of an end: cases played, those that trip with nothing wrong or that could not be solved, and
    those in which too much reaches device or lead, with nothing wrong or by a fault that can be contained.
    cautioned: cases of the latter in which that is a current of which the check cautions, as more flows until
    the limit has responded, which no limit that carries the need prevents.
    """

    cases: int
    trips: int
    faults: int
    excess: dict[str, int]
    failures: int = 0
    cautioned: int = 0


def held(found: Found, window: Window, end: End, cases: int) -> Held:
    """Play so many cases, and every containable fault in as many, with a setting at an end."""
    if not 0.0 < end.value < math.inf:
        return Held(0, 0, 0, {})
    setting = window.setting
    # What is automatic beside them, such as the trip delay, follows the current limit and the rise.
    follows = setting in ("current_limit", "rise")
    found = rewritten(found, setting, end.value) if follows else found
    feeds = dict(found.settings.set_points) if setting == "rise" else found.feeds(setting, end.value)
    documents = found.documents
    trips, failures = nuisance_at(found, feeds, cases)
    player = FaultPlayer(documents, feeds, plan_ensemble(documents, feeds, cases, SEED).design)
    usual = player.play(None, "main")
    told = any(finding.rule == "limit-overshoot" for finding in found.settings.findings)
    beyond: dict[str, int] = {}
    cautioned = count = 0
    for trial in (None, *player.trials()):
        if trial is not None and not _counts(found, setting, trial):
            continue
        # With nothing wrong the current at which it is switched on counts, too.
        before = replace(usual, current=np.zeros(cases)) if trial is None else usual
        seen = player.play(trial, "main", whole=trial is None)
        kinds = kinds_of_excess(documents, "main", seen, before, player)
        count += trial is not None
        if told:
            cautioned += int((kinds["current"] & ~kinds["voltage"] & ~kinds["heat"]).sum())
            kinds["current"] = np.zeros_like(kinds["current"])
        more = int(np.logical_or.reduce(list(kinds.values())).sum())
        if more:
            beyond[seen.fault or "nothing wrong"] = more
    return Held(cases, trips, count, beyond, failures, cautioned)


def _counts(found: Found, setting: str, trial: Trial) -> bool:
    """Whether a fault is one that settings contain, and is not that of the setting that is looked at."""
    if trial.fault.endswith("_mistyped") and trial.fault.startswith(setting.split("_")[-1]):
        return False
    return "main" in trial.inputs and found.containable.get(trial.fault, False)


def nuisance_at(found: Found, feeds: dict[str, Feed], cases: int) -> tuple[int, int]:
    """Cases that trip with nothing wrong."""
    from railwright.rehearsal.ensemble import merged
    from railwright.spread import over_threads

    ensemble = merged(over_threads(plan_ensemble(found.documents, feeds, cases, SEED)))
    return max(seen.tripped for seen in ensemble.inputs.values()), ensemble.failures


@dataclass(frozen=True)
class Beyond:
    """Whether the reason of an end holds at it; how many steps of the grid further it breaks first, of those
    tried (0: in none), in which corner, by what.
    """

    at: bool
    steps: int
    corner: str
    by: str


STEPS = (1, 2, 4, 8, 16, 32, 64)
"""How far beyond an end is looked, in steps of its grid."""


def beyond(found: Found, window: Window, end: End, far: Sequence[int] = STEPS) -> Beyond | None:
    """By brute force, so far beyond. None: a document says it (what an output can be set to), which nothing
    moves.
    """
    if end.key == "range" or (window.setting == "rise" and end.key == "slew"):
        return None
    step = window.step if end.side == "high" else -window.step
    for name, broken, by in _broken(found, window, end, end.value):
        if broken:
            return Beyond(False, 1, name, by)
    words = ""
    for steps in far:
        for name, broken, words in _broken(found, window, end, end.value + steps * step):
            if broken:
                return Beyond(True, steps, name, words)
    return Beyond(True, 0, "none", words)


Tried = Iterator[tuple[str, bool, str]]
"""Corner, whether the reason is broken in it, and what came of it."""


def _broken(found: Found, window: Window, end: End, value: float) -> Tried:
    match window.setting, end.side:
        case "current_limit", "high":
            yield _overloaded(found, end, value)
        case "current_limit", "low":
            yield from _carried(found, end, value)
        case "ovp", "high":
            yield from _let_stand(found, end, value)
        case "rise", _:
            yield from _risen(found, end, value)
        case setting, _:
            yield from _played(found, setting, end, value)


def _corners(found: Found, end: End) -> Iterator[tuple[str, Corner, Each]]:
    """Those that are tried, by name: the one that the end names, and others."""
    if end.replay is not None and end.replay.corner is not None:
        yield f"corner {end.replay.corner:#x}", *_named(found, end.replay.corner)
    for name, corner in OTHERS.items():
        yield name, {**HIGH, **corner}, None


Each = Callable[[int], Corner] | None
"""Place of an output among those that are joined -> its own corner."""

OWN = {"limit_overshoot": "overshoot", "ovp_error": "ovp"}
"""Quantity of an output as the package calls it -> as it is called here."""


def _named(found: Found, number: int) -> tuple[Corner, Each]:
    """A corner by its number: what is common, and what each output has for itself."""
    names, outputs = uncertain_quantities(found.documents, found.settings.set_points), found.source.names
    common: dict[str, float] = {}
    each: list[dict[str, float]] = [{} for _ in outputs]
    for place, name in enumerate(names):
        where = 1.0 if number >> place & 1 else -1.0
        if name.of in outputs:
            each[outputs.index(name.of)][OWN.get(name.field, name.field)] = where
        else:
            common["lead" if ".lead." in name else name.removeprefix("main.")] = where
    return common, lambda place: each[place]


def _moves(found: Found) -> list[Move]:
    level = found.source.played.highest
    assert level is not None
    return [Move(0.0, level.voltage, rise(found.documents, found.source))]


def _played(found: Found, setting: str, end: End, value: float) -> Tried:
    """Does it trip while the power-up is played, with this protection alone?"""
    settings = {"limit": found.value("current_limit"), KEYS[setting]: value}
    for name, corner, each in _corners(found, end):
        bench = bench_of(found.documents, "main", settings, _moves(found), corner, each)
        # Where it begins to act it comes and goes from step to step: in short ones it counts as one stretch.
        finer = 4.0 if setting == "trip_delay" and name.startswith("corner") else 1.0
        course = play(bench, _settles(found), dt=DT / finer)
        yield (
            name,
            bool(course.trips),
            f"trips {course.trips[:1]}, in the limit for {max(course.in_limit):.5g} s",
        )


def _settles(found: Found) -> float:
    return found.documents.procedure.steps[0].power_up.settle + found.source.played.slopes[0][0].stop / max(
        rise(found.documents, found.source), 1.0
    ) if found.documents.procedure.steps[0].power_up else 0.5  # fmt: skip


def _overloaded(found: Found, end: End, value: float) -> tuple[str, bool, str]:
    """What a limit lets through for good, or until it has responded, into a load that asks for more."""
    corner = {"limit": 1.0, "overshoot": 1.0 if end.key == "responding" else -1.0}
    bench = bench_of(
        found.documents, "main", {"limit": value}, [Move(0.0, found.source.full_voltage)], corner
    )
    responding = end.key == "responding"
    ohms = 0.2 * found.source.full_voltage / (value + 1e-3)
    loads = [(RESISTOR, [ohms])]
    if responding:  # a capacitor asks for it at once, and no pass element's lag lets the limit act before
        loads = [(CAPACITOR, [1.0, 1e-3])]
        at_once = [
            replace(each, rise=AT_ONCE[1], recovery=(*AT_ONCE, each.recovery[2])) for each in bench.supplies
        ]
        bench = replace(bench, supplies=at_once)
    course = play(replace(bench, loads=loads), *((4e-7, math.inf, 0.5e-9) if responding else (60e-3,)))
    most = {"lead": found.source.lead.permitted_current}.get(end.key, found.source.input.current.at_most)
    assert most is not None
    let = (
        course.given / (1 if bench.parallel else len(bench.supplies))
        if responding
        else float(course.into[-1])
    )
    corner_name = "limit high, overshoot high" + (", no lag" if responding else "")
    return corner_name, let > most * (1.0 + 2e-5), f"{let:.6g} A of {most:.6g} A"


def _carried(found: Found, end: End, value: float) -> Tried:
    """Does a limit at its lowest carry what is drawn, or does the output stay in it?"""
    level = found.source.played.highest
    assert level is not None
    steady = end.key in ("declared", "draw", "start")
    corners: Iterable[tuple[str, Corner, Each]] = (
        [("need at its most", {**HIGH, "voltage": 0}, None)] if steady else _corners(found, end)
    )
    for name, corner, each in corners:
        bench = bench_of(found.documents, "main", {"limit": value}, _moves(found), corner, each)
        if steady:  # what is drawn at its most, for good, from just below the level on
            drawn = found.source.needs
            assert drawn is not None
            bench = replace(bench, loads=[(CURRENT, [drawn.current, 0.97 * level.voltage])])
        lasts = 2.0 if steady else _settles(found)
        course = play(bench, lasts)
        reached = float((course.at_load if bench.senses else course.at_terminals)[-1])
        broken = reached < 0.98 * level.voltage - 5e-3
        broken |= course.still > STAYS * lasts and (steady or _asks_for_more(bench, lasts))
        yield name, broken, f"{reached:.4f} V at the end, in the limit for {course.still:.3g} s"


def _asks_for_more(bench: Bench, lasts: float) -> bool:
    """Whether it would still draw more than the limit at the end, where none holds it."""
    told = [replace(each, limit=1e3 * each.limit) for each in bench.told]
    asked = float(play(replace(bench, told=told), lasts).asked[-1])
    carried = sum(each.limit for each in bench.told)  # in series each output asks for as much as the others
    return asked > carried * (1.0 + ASKS)


def _let_stand(found: Found, end: End, value: float) -> Tried:
    """What an OVP at its highest lets stand; and, whichever of the two decides, how high and for how long it
    lets the input get while it responds.
    """
    source, accuracy = found.source, found.source.ovp_error or 0.0
    always = source.input.withstands_always
    assert always is not None
    if end.key == "withstands":
        stands = value + accuracy - 0.5e-3  # just below where it acts
        bench = bench_of(
            found.documents,
            "main",
            {"limit": source.full_current, "ovp": value},
            [Move(0.0, stands, stands / 0.2)],  # so slowly that its loop overshoots by nothing
            {"ovp": 1},
        )
        bench = replace(
            bench, loads=[(RESISTOR, [1e5])], told=[replace(t, gain=1.0, offset=0.0) for t in bench.told]
        )
        course = play(bench, 0.4)
        peak = float(course.at_load[-1])
        yield "OVP late", not course.trips and peak > always - 1e-4, f"{peak:.4f} V stand"
    limit, most = (
        found.value("current_limit"),
        max(float(each.voltage or 0.0) for each in source.input.withstands),
    )
    for fault, course in driven(found.documents, source, limit, value, HARDEST, 0.3):
        yield fault, course.voltage > most + 3e-3, f"{course.voltage:.4f} V of {most:g} V"
    if most > always:
        # The more it holds, the longer it stays above what it withstands for any time.
        lasts = max(each.duration or 0.0 for each in source.input.withstands)
        slow = {**HARDEST, "capacitor.capacitance": 1}
        for corner in (HARDEST, slow):
            for fault, course in driven(found.documents, source, limit, value, corner, 0.3, always, lasts):
                long = course.above > lasts
                yield fault, long, f"{course.above:.4g} s above {always:g} V, of {lasts:g} s"


def _risen(found: Found, end: End, value: float) -> Tried:
    """What becomes of a rise at a rate."""
    level = found.source.played.highest
    assert level is not None
    limit = found.value("current_limit")
    if end.key == "limit":
        for name, corner in OTHERS.items():
            asked, least, swings = _asked(found, {**HIGH, **corner, "limit": -1}, limit, value)
            yield name, asked > least + ASKS * limit + swings, f"asks for {asked:.6g} A of {least:.6g} A"
        return
    wanted = found.documents.procedure.requires[0].limits[1]
    assert wanted is not None
    corner = {**HIGH, "limit": 1.0}
    bench = bench_of(
        found.documents,
        "main",
        {"limit": limit},
        [Move(0.0, level.voltage, value)],
        {**corner, "converter.starts_at": 1},
    )
    course = play(bench, 2.0 * wanted)
    takes = start_up(course)
    yield "heavy", takes > wanted, f"{takes * 1e3:.4f} ms of {wanted * 1e3:g} ms"


def _asked(found: Found, corner: Corner, limit: float, rate: float) -> tuple[float, float, float]:
    """The most that is asked of the limit while it rises, what the limit carries, and how far it may swing
    beyond [A]: of each output, where no limit holds it. An output that follows faster than its
    data sheet tells lags least behind the rise, and shows least of its own swings where the load changes; not
    one that senses at the load, which swings with lead and capacitor if it is much faster.
    """
    level = found.source.played.highest
    assert level is not None
    told = bench_of(found.documents, "main", {"limit": limit}, [Move(0.0, level.voltage, rate)], corner)
    free = bench_of(found.documents, "main", {"limit": 1e3 * limit}, told.moves, corner)
    over = level.voltage / rate
    recovers = min(each.recovery[0] for each in free.supplies)
    fast = min(recovers, max(over / FAST, (0.25 if free.senses else 0.1) * recovers))
    supplies = [
        replace(each, recovery=(fast, *each.recovery[1:]), rise=each.rise * 1e-2, power=math.inf)
        for each in free.supplies
    ]
    course = play(replace(free, supplies=supplies), 1.05 * over + AFTER, dt=min(0.5e-6, fast / 50.0))
    parts = len(free.supplies)
    asked = np.where(course.time > max(20.0 * fast, 0.01 * over), course.asked, 0.0) / parts
    most = int(asked.argmax())
    swings = sum(_swings(replace(free, supplies=supplies), rate, load) for load in free.loads)
    return float(asked[most]), sum(each.limit for each in told.told) / parts, swings / parts


def _swings(bench: Bench, rate: float, load: tuple[int, Sequence[float]]) -> float:
    """By how much lead and output swing beyond what is drawn [A] where it no longer grows by s [A/s]: as the
    soft start of a converter ends, or a constant current has got to its compliance. That of the lead goes on
    against the input's capacitance, and that of the output in its voltage loop.
    """
    kind, figures = load
    if kind == CONVERTER and figures[4] > 0.0:
        power, efficiency, starts, _, soft = figures
        grows = power / efficiency / starts / soft
    elif kind == CURRENT and figures[1] > 0.0:
        grows = figures[0] / figures[1] * rate
    else:
        return 0.0
    banks = [each for kind, each in bench.loads if kind == CAPACITOR]
    beyond = max(_goes_on(recovery_bandwidth(each), each.damping) for each in bench.supplies)
    if banks:
        held, ohms = sum(each[0] for each in banks), bench.ohms + min(each[1] for each in banks)
        omega = 1.0 / math.sqrt(bench.henries * held)
        beyond += _goes_on(omega, ohms / (2.0 * bench.henries * omega))
    return grows * beyond


def _goes_on(omega: float, damping: float) -> float:
    """How far a current goes on past a slope of 1 A/s that ends [A], in a loop of the second order: the
    greatest value of exp(-ζ ω t) sin(ω_d t) / ω_d (closed form).
    """
    if abs(damping - 1.0) < 1e-6:
        return math.exp(-1.0) / omega
    root = math.sqrt(abs(1.0 - damping**2))
    angle = math.acos(damping) if damping < 1.0 else math.acosh(damping)
    return math.exp(-damping / root * angle) / omega


def start_up(course: Course) -> float:
    """From the beginning to the last entry of the voltage into ±2 % of its last value, or of the current into
    ±10 % of its own, or ±2 % of its largest [s].
    """
    volts, amperes = course.at_load, course.into
    band = max(0.1 * abs(amperes[-1]), 0.02 * float(abs(amperes).max()))
    outside = (abs(volts - volts[-1]) > 0.02 * volts[-1]) | (abs(amperes - amperes[-1]) > band)
    return float(course.time[outside.nonzero()[0][-1] + 1])


def at_both_ends(found: Found) -> Iterator[tuple[Window, End]]:
    """The ends that decide, of every window."""
    for window in found.windows:
        for end in (window.low, window.high):
            if end is not None:
                yield window, end


__all__ = ["Beyond", "Found", "Held", "at_both_ends", "beyond", "changed", "find", "held", "nuisance"]
