"""Rules about instruments: calibration, identity, the grid of settings; the range of a multimeter, and what
one in series adds.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import product

from railwright.dialects.operation import Setting
from railwright.documents.bench import Bench, Calibration, Multimeter, Output, Supply
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Limits
from railwright.documents.relays import Relays
from railwright.plan.set_points import Feed
from railwright.quantities import Statement, state
from railwright.settings.context import Context, FedInput
from railwright.settings.figures import on_grid
from railwright.settings.findings import Ranking, Severity
from railwright.settings.group import output_path
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import having, inputs, outputs


def _instruments(context: Context) -> Iterator[tuple[str, Path, Calibration | None]]:
    """Instruments that are used: name, where each is written, and its calibration."""
    for name, supply in context.used_supplies.items():
        yield name, ("bench", "supplies", name), supply.calibrated
    for name, recorder in context.bench.recorders.items():
        yield name, ("bench", "recorders", name), recorder.calibrated
    for name in context.procedure.multimeters:
        yield name, ("bench", "multimeters", name), context.bench.multimeters[name].calibrated


def _overdue(context: Context, due: dt.date, page: str, so: str) -> Statement:
    """That what a page shows held until a day that is past, and what comes of that."""
    days = (context.today - due).days
    return state(
        "due on {due}, {overdue_days} {day_or_days} before {today} ({page}): {so}",
        due=str(due),
        overdue_days=days,
        day_or_days="days" if days > 1 else "day",
        today=str(context.today),
        page=page,
        so=so,
    )


def _ahead(context: Context, name: str, path: Path, on: dt.date | None) -> Outcome:
    """Something, by the last key of its path, is said to have been done on a day to come."""
    if on is not None and on > context.today:
        today = str(context.today)
        yield Hit(
            name,
            path,
            state("{done} on {on}, which is after {today}", done=str(path[-1]), on=str(on), today=today),
            "correct the date, or the clock of this computer",
        )


@rule("calibration-overdue", Severity.CAUTION, worst=Ranking("overdue_days"))
@of_every(with_seen(_instruments))
def calibration_overdue(context: Context, name: str, path: Path, calibrated: Calibration | None) -> Outcome:
    """The calibration of an instrument that is used has run out."""
    if calibrated is not None and calibrated.due < context.today:
        page = state("certificate {certificate}", certificate=calibrated.certificate)
        yield Hit(
            name,
            (*path, "calibrated"),
            _overdue(context, calibrated.due, page, "its figures of accuracy do not hold"),
            "have it calibrated, or use another instrument; the report says that it is overdue",
        )


@rule("calibration-ahead", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_instruments))
def calibration_ahead(context: Context, name: str, path: Path, calibrated: Calibration | None) -> Outcome:
    """An instrument's calibration lies in the future."""
    yield from _ahead(context, name, (*path, "calibrated"), calibrated.on if calibrated else None)


@rule("calibration-unknown", Severity.NOTE)
@of_every(_instruments)
def calibration_unknown(name: str, path: Path, calibrated: Calibration | None) -> Outcome:
    """Nothing is said about the calibration of an instrument that is used."""
    if calibrated is None:
        yield Hit(
            name,
            path,
            "no calibration is given, so nothing vouches for its accuracy figures",
            "give 'calibrated' in the bench document",
        )


@rule("proof-overdue", Severity.CAUTION)
def proof_overdue(context: Context) -> Outcome:
    """The proof of the bench's outputs and leads has run out."""
    proved = context.bench.proved
    if proved is not None and proved.due < context.today:
        page = state("record {record}", record=proved.record)
        so = "nobody has seen since then that protections act and leads are what the bench says"
        yield Hit(
            "bench",
            ("bench", "proved"),
            _overdue(context, proved.due, page, so),
            "prove it with 'railwright prove', and put its dates into the bench document",
        )


@rule("proof-ahead", Severity.CAUTION, on_sheet=False)
def proof_ahead(context: Context) -> Outcome:
    """The proof of the bench's outputs and leads lies in the future."""
    proved = context.bench.proved
    yield from _ahead(context, "bench", ("bench", "proved"), proved.on if proved else None)


@rule("identity-unknown", Severity.NOTE)
def identity_unknown(context: Context) -> Outcome:
    """Model or serial number of a supply, or of an instrument that moves contacts, is not given: a run cannot
    tell that it speaks to the right one.
    """
    moving = {lies.instrument for lies in context.contacts.values()}
    used: list[tuple[str, str, Supply | Relays]] = [
        *(("supplies", name, supply) for name, supply in context.used_supplies.items()),
        *(("relays", name, relays) for name, relays in context.bench.relays.items() if name in moving),
    ]
    for section, name, instrument in used:
        missing = [key for key in ("model", "serial") if getattr(instrument, key) is None]
        if missing:
            yield Hit(
                name,
                ("bench", section, name),
                state(
                    "{missing} not given: a run cannot tell that it speaks to the right instrument",
                    missing=" and ".join(missing),
                ),
                "give both as the instrument's *IDN? answers them",
            )


@rule("accuracy-unknown", Severity.NOTE)
@of_every(outputs)
def accuracy_unknown(source: FedInput, name: OutputName, output: Output) -> Outcome:
    """How exactly a used output keeps its set points, or reads, is not given, or given without its bounds."""
    for key, what, check in (
        ("programming", "set points", "every margin with it"),
        ("reading", "readings", "every uncertainty"),
    ):
        path, given = (*output_path(name), key), getattr(output, key)
        if given is None:
            yield Unknown(name, path, f"accuracy of the {what}", check)
            continue
        lacks = [each for each in ("voltage", "current") if not getattr(given, each).is_given]
        if lacks:
            figure = f"accuracy of the {what} ('of_value', 'offset' of {' and '.join(lacks)})"
            yield Unknown(name, (*path, lacks[0]), figure, f"{check}, in which no error of it is counted")


COMPUTED = ("exponential_to", "ripple", "standard", "recording")
"""Keys of shapes whose voltages are worked out rather than written: they lie where they lie."""


@rule("off-grid", Severity.NOTE)
@of_every(having("current_limit"))
def off_grid(source: FedInput, feed: Feed) -> Outcome:
    """A set point is no whole number of the output's steps: the instrument will round it."""
    limit_at = (*source.at_limits, "current_limit")
    written = [each for each in source.played.levels if each.voltage and each.path[-1] not in COMPUTED]
    for (name, output), points in zip(source.outputs.items(), feed.outputs, strict=True):
        for key, unit, what, values in (
            ("voltage", "V", "set voltage", {each.voltage * points.share: each.path for each in written}),
            ("current", "A", "current limit", {points.current_limit: limit_at}),
        ):
            if output.programming is None:
                continue
            step = getattr(output.programming, key).resolution
            if step is None:
                yield Unknown(
                    name,
                    (*output_path(name), "programming", key),
                    f"smallest step of the {what}",
                    f"the {key}s of {source.name}",
                )
                continue
            for value in (each for each in values if not on_grid(each, step)):
                yield Hit(
                    source.name,
                    values[value],
                    state(
                        "{set_point} on {output}, which sets in steps of {resolution}",
                        set_point=(value, unit, 8),
                        output=name,
                        resolution=(step, unit),
                    ),
                    "write a value that the output can set, or accept the rounding",
                )


@rule("dialect-cannot-set", Severity.STOP)
@of_every(with_seen(inputs))
def dialect_cannot_set(context: Context, source: FedInput) -> Outcome:
    """The procedure asks for a protection that the supply's dialect has no command for. A trip delay that the
    output has anyway, which the bench gives as a range of one value, needs none.
    """
    for name, setting in product(source.outputs, asked_of_dialects(source.limits)):
        dialect, key = context.bench.supply_of(name).dialect, KEYS.get(setting, setting)
        if lacks_command(context.bench, name, setting):
            yield Hit(
                source.name,
                (*source.at_limits, key),
                state(
                    "dialect '{dialect}' cannot set {setting} on {output}: it has no command for it",
                    dialect=dialect.name,
                    setting=setting.replace("_", " "),
                    output=name,
                ),
                REMEDIES.get(setting, f"leave '{key}' out")
                + ", or add its command to the dialect's settings",
            )


PROTECTIONS: tuple[Setting, ...] = ("ovp", "opp", "ocp", "ocp_delay")
"""Settings that a procedure may ask for and a dialect need not have."""

KEYS: dict[Setting, str] = {"trip_at_limit": "at_limit"}
"""Where the procedure asks for them, where that is called otherwise."""

REMEDIES: dict[Setting, str] = {
    "trip_delay": "where it is fixed, write it into the bench as a range of one value ('100 ms .. 100 ms')",
    "trip_at_limit": "have it regulate",
    "ovp": "use another output",
}


def lacks_command(bench: Bench, name: OutputName, setting: Setting) -> bool:
    """Whether a setting would have to be made on an output, and its dialect has none for it."""
    fixed = setting == "trip_delay" and bench.output(name).fixed_trip_delay
    return setting not in bench.supply_of(name).dialect.settings and not fixed


def asked_of_dialects(limits: Limits) -> list[Setting]:
    """Those that a procedure asks for of an input."""
    trips: tuple[Setting, ...] = ("trip_at_limit", "trip_delay") if limits.at_limit == "trip" else ()
    return [*(key for key in PROTECTIONS if getattr(limits, key) is not None), *trips]


def _connected(context: Context) -> Iterator[tuple[str, Multimeter, FedInput]]:
    """Those that the procedure connects to an input that is fed."""
    return (
        (name, context.bench.multimeters[name], context.sources[probe.of])
        for name, probe in context.procedure.multimeters.items()
        if probe.of in context.sources
    )


@rule("multimeter-range", Severity.CAUTION, worst=Ranking("highest", over="range"))
@of_every(with_seen(_connected))
def multimeter_range(context: Context, name: str, meter: Multimeter, source: FedInput) -> Outcome:
    """A multimeter's range ends below what is played, or below what a fault brings before it is stopped."""
    held, feed = meter.measures.range, context.drafts[source.name]
    if meter.quantity == "voltage":
        played = source.played.highest
        highest, unit, what = (played.voltage if played else 0.0), "V", "the highest voltage played"
        stops, acts = feed.ovp, "the level at which the OVP acts"
    else:
        need = source.needs
        highest, unit, what = (need[0] if need else 0.0), "A", "what the input needs"
        stops, acts = feed.limit, "the current limit"
    if highest <= held < stops:  # nan where none could be settled
        highest, what = stops, acts
    if highest > held:
        yield Hit(
            source.name,
            ("bench", "multimeters", name),
            state(
                "{what} is {highest}, the range of {multimeter} ends at {range}",
                what=what,
                highest=(highest, unit),
                multimeter=name,
                range=(held, unit),
            ),
            "use a larger range, and look up what the multimeter's input withstands",
        )


@rule("multimeter-in-series", Severity.CAUTION)
@of_every(_connected)
def multimeter_in_series(name: str, meter: Multimeter, source: FedInput) -> Outcome:
    """A multimeter measures a current: it adds a resistance to the lead that no fixture states."""
    if meter.quantity == "current" and source.fixture is None:
        yield Hit(
            source.name,
            ("bench", "multimeters", name),
            state(
                "{multimeter} is in series with {input}, and no fixture says what resistance it adds: "
                "settings and rehearsal leave it out",
                multimeter=name,
                input=source.name,
            ),
            "describe it as a fixture of the hook-up, with the resistance of its shunt and its fuse",
        )
