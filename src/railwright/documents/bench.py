"""The bench document: the supplies, leads and recorders that are there, with data-sheet figures."""

from collections.abc import Collection, Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import (
    ConfigDict,
    Field,
    PlainValidator,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_names
from railwright.documents.address import is_of_this_computer
from railwright.documents.channel import Channel
from railwright.documents.channel_name import channel_named
from railwright.documents.conductor import Conductor
from railwright.documents.ending import Interlock, Watchdog
from railwright.documents.fixture import Fixture
from railwright.documents.model import Date, Model, Name, Text, exactly_one, fault
from railwright.documents.output_name import OutputName
from railwright.documents.relays import Contact, Relays
from railwright.documents.sources import none_of
from railwright.documents.wires import Wires
from railwright.guard.session_settings import SessionSettings
from railwright.quantities import (
    AmpereReach,
    Farads,
    HenriesPerMetre,
    Metres,
    NonNegativeAmperes,
    NonNegativeVolts,
    OhmsOrTrue,
    PositiveAmperes,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    RatioRange,
    ReadingSeconds,
    ResponseSeconds,
    SecondRange,
    SecondReach,
    Seconds,
    UncertainCelsius,
    UncertainOhms,
    VoltPerSecondRange,
    VoltReach,
    WattReach,
    Watts,
    quoted,
    show,
)


class Accuracy(Model):
    """Bounds of an error, and how well they are known themselves."""

    degrees_of_freedom: float | None = Field(
        None,
        ge=1,
        allow_inf_nan=False,
        description="of these bounds, where a certificate gives them (JCGM 100, G.4); left out: by `doubt`",
    )
    doubt: Ratio | None = Field(
        None,
        description="how far the bounds themselves may be wrong, in parts of them (JCGM 100, G.4.2); left "
        "out: not at all",
    )

    @model_validator(mode="after")
    def _degrees_once(self) -> Self:
        if self.degrees_of_freedom is not None and self.doubt is not None:
            raise fault("expected 'degrees_of_freedom' or 'doubt', got both; leave one out", "doubt")
        return self

    @property
    def is_given(self) -> bool:
        """Whether it says by how much a value may be off; 0 where it does not is no figure."""
        return not self.model_fields_set.isdisjoint(("of_value", "offset"))


class VoltageAccuracy(Accuracy):
    """Accuracy of a set or read voltage: bounds of ±(of_value · value + offset)."""

    of_value: Ratio = Field(0.0, description="part of the value")
    offset: NonNegativeVolts = Field(0.0, description="added to the part of the value")
    resolution: PositiveVolts | None = Field(None, description="smallest step; left out: unknown")
    noise: NonNegativeVolts | None = Field(None, description="r.m.s. noise of one reading; left out: unknown")


class CurrentAccuracy(Accuracy):
    """Accuracy of a set or read current: bounds of ±(of_value · value + offset)."""

    of_value: Ratio = Field(0.0, description="part of the value")
    offset: NonNegativeAmperes = Field(0.0, description="added to the part of the value")
    resolution: PositiveAmperes | None = Field(None, description="smallest step; left out: unknown")
    noise: NonNegativeAmperes | None = Field(
        None, description="r.m.s. noise of one reading; left out: unknown"
    )


class Programming(Model):
    """How exactly set points are kept."""

    voltage: VoltageAccuracy = Field(description="of the voltage")
    current: CurrentAccuracy = Field(description="of the current")


class Reading(Model):
    """How exactly, and how often, the output measures itself."""

    voltage: VoltageAccuracy = Field(description="of the voltage")
    current: CurrentAccuracy = Field(description="of the current")
    update: ReadingSeconds | None = Field(None, description="time between two new readings")
    aperture: PositiveSeconds | None = Field(None, description="time over which one reading is averaged")
    latency: Seconds | None = Field(None, description="age of a reading when it is handed over")

    @model_validator(mode="after")
    def _aperture_fits(self) -> Self:
        if self.aperture and self.update and self.aperture > MOST_UPDATES * self.update * (1.0 + 1e-9):
            most, got = show(MOST_UPDATES * self.update, "s"), show(self.aperture, "s")
            told = f"expected an 'aperture' of at most {MOST_UPDATES} times 'update', {most}, got {got}"
            raise fault(f"{told}; correct one of them", "aperture")
        return self


MOST_UPDATES = 100
"""Updates over which one reading is averaged at most; whatever is longer has the wrong unit."""


class Fall(Model):
    """Time for the voltage to fall from 90 % to 10 % of full scale."""

    loaded: PositiveSeconds | None = Field(None, description="at full load")
    unloaded: PositiveSeconds | None = Field(None, description="without a load")


class Recovery(Model):
    """Load-transient recovery: after a load step, back within the band in this time."""

    time: PositiveSeconds = Field(description="until it is back within the band")
    band: PositiveVolts = Field(description="half the width of the band around the set voltage")
    step: RatioRange = Field(description="the load step, in parts of full current")

    @model_validator(mode="after")
    def _is_a_step(self) -> Self:
        if self.step.low == self.step.high:
            both = f"got '{100.0 * self.step.low:g} %' for both"
            raise fault(
                f"expected a range of different ends, such as '50 % .. 100 %', {both}; correct one of them",
                "step",
            )
        return self


class OverVoltage(Model):
    """Over-voltage protection of an output."""

    level: VoltReach = Field(description="levels that can be set")
    accuracy: NonNegativeVolts | None = Field(None, description="bound of ± the level; left out: unknown")
    response: Seconds | None = Field(
        None, description="from exceeding the level to switching off; left out: unknown"
    )
    at: Literal["terminals", "sense"] = Field("terminals", description="which voltage it watches")
    crowbar: OhmsOrTrue | None = Field(
        None,
        description="resistance with which it shorts the output when it acts; true: it has a crowbar whose "
        "resistance is unknown, and assumed as the result says; left out: it switches off and no more",
    )


class OverPower(Model):
    """Over-power protection of an output: switches it off, other than its power limit."""

    level: WattReach = Field(description="levels that can be set")
    response: Seconds | None = Field(
        None, description="from exceeding the level to switching off; left out: unknown"
    )


class OverCurrent(Model):
    """Over-current protection of an output with a level of its own, apart from the current limit."""

    level: AmpereReach = Field(description="levels that can be set")
    delay: SecondRange | None = Field(
        None, description="delays that can be set; left out: it acts at once, and no delay can be set"
    )


class Sense(Model):
    """Remote sense of an output."""

    compensates: NonNegativeVolts | None = Field(
        None, description="largest lead drop that sensing can make up for, both leads"
    )
    open: Literal["falls back", "rises"] | None = Field(
        None,
        description="what the output does with a sense lead open: regulates at its terminals, or rises as "
        "far as it can; left out: unknown",
    )
    lead_resistance: PositiveOhms | None = Field(
        None,
        description="of one sense lead with what the output has in series with it; left out: unknown",
    )


class Points(Model):
    """What the output's own point list can do."""

    at_most: int = Field(ge=1, description="number of points")
    dwell: SecondReach = Field(description="time that can be spent on one point")
    dwell_resolution: PositiveSeconds | None = Field(
        None,
        description="smallest step of that time; left out: unknown, 1 ms is taken, or the shortest dwell "
        "where that is less; a run verifies each dwell",
    )
    between: tuple[Literal["step", "line"], ...] = Field(
        ("step",), description="how it goes from point to point"
    )


def _or_same_as(schema: dict[str, Any]) -> None:
    """In the schema for editors, an output either says all it needs or is the same as another."""
    schema["properties"]["same_as"] = {
        "type": ["string", "integer"],
        "description": "another output (or SUPPLY.OUTPUT); keys beside it replace its",
    }
    schema["anyOf"] = [{"required": schema.pop("required")}, {"required": ["same_as"]}]


class Output(Model):
    """One independent output of a supply. What is left out is unknown, never zero.

    `same_as: OUTPUT` (or SUPPLY.OUTPUT) takes every key but `channel` from another output; keys beside it
    replace its.
    """

    model_config = ConfigDict(json_schema_extra=_or_same_as)

    channel: Channel | None = Field(
        None,
        description="number by which the instrument knows it, in its commands; left out: its name, which has "
        "to be a number then",
    )
    voltage: VoltReach = Field(description="voltages that can be set")
    current: AmpereReach = Field(description="current limits that can be set")
    power: Watts | None = Field(None, description="largest power; left out: voltage times current")
    negative: Literal["floating", "earth"] = Field(
        "floating", description="where the negative terminal is tied"
    )
    programming: Programming | None = Field(None, description="how exactly set points are kept")
    reading: Reading | None = Field(None, description="how exactly, and how often, it measures itself")
    rise: PositiveSeconds | None = Field(None, description="10 to 90 %, full scale, full load")
    fall: Fall = Field(Fall(), description="90 to 10 %, full scale")
    slew: VoltPerSecondRange | None = Field(None, description="programmable rise and fall")
    recovery: Recovery | None = Field(None, description="load-transient recovery")
    limit_response: ResponseSeconds | None = Field(
        None,
        description="time in which the current limit takes charge of an overload, from a short down to a "
        "load that asks for some 25 % of the rated current more than the limit: nine tenths of what the "
        "output gives beyond its limit are gone by then; a slighter overload takes longer",
    )
    takes: Conductor | None = Field(
        None, description="thickest conductor that its terminals take; left out: unknown, 16 mm² is taken"
    )
    output_capacitance: Farads | None = Field(None, description="capacitor across the terminals")
    bleeder: PositiveOhms | None = Field(None, description="resistance across the terminals")
    sink: NonNegativeAmperes | None = Field(None, description="current that the output can take in")
    when_off: Literal["high impedance", "held at 0 V", "sinks"] | None = Field(
        None,
        description="what the output does while off. high impedance: only its capacitor and bleeder remain; "
        "held at 0 V: it pulls to 0 V, taking in up to `sink`; sinks: it takes in up to `sink` until the "
        "voltage is gone; left out: unknown",
    )
    ovp: OverVoltage | None = Field(None, description="over-voltage protection; left out: there is none")
    opp: OverPower | None = Field(None, description="over-power protection; left out: there is none")
    ocp: OverCurrent | None = Field(
        None, description="over-current protection apart from the current limit; left out: there is none"
    )
    trip_delay: SecondReach | None = Field(
        None, description="trip delays that can be set, or the one that it has; left out: none"
    )
    sense: Sense | None = Field(None, description="remote sense; left out: there is none")
    points: Points | None = Field(None, description="its own point list; left out: there is none")
    may_join: tuple[Literal["series", "parallel"], ...] = Field(
        (), description="how it may be joined with others"
    )

    @property
    def takes_in_off(self) -> bool:
        """Whether it is known to take in current while it is off, beside its bleeder; up to `sink`."""
        return self.when_off not in (None, "high impedance") and self.sink != 0.0

    @property
    def fixed_trip_delay(self) -> bool:
        """Whether it has one trip delay, which nothing sets."""
        return self.trip_delay is not None and self.trip_delay.low == self.trip_delay.high


class HoldsUntil(Model):
    """A finding with its day and the day until which it is valid."""

    on: Date = Field(description="day on which it was found")
    due: Date = Field(description="day until which it holds")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.due < self.on:
            raise fault(f"expected 'due' after 'on' ({self.on}), got {self.due}; correct one of them", "due")
        return self


class Calibration(HoldsUntil):
    """When an instrument was calibrated, and until when that holds."""

    on: Date = Field(description="day of the calibration")
    certificate: Text = Field(description="number of the certificate")


class Coupling(Model):
    """Outputs of one supply whose set points move together, whichever of them is set."""

    outputs: tuple[str, ...] = Field(min_length=2, description="the outputs")
    by: Literal["step", "ratio"] = Field(
        description="step: the others move by as many volts or amperes; ratio: in the same proportion"
    )
    of: Literal["voltage", "current_limit"] = Field(
        "voltage", description="which set point moves; an output may be in one group of each"
    )


ROUNDED = 1e-9
"""Part of a number by which a computed one may differ from what it should be."""

SHORTEST_EXCHANGE, LONGEST_EXCHANGE = 1e-3, 10.0
"""Between these lies the time of one command with its verification [s]."""


def _dialect(given: object, info: ValidationInfo) -> Dialect:
    """The dialect of a name, or of the path of a file that was read. ValueError where there is none."""
    if isinstance(given, Dialect):
        return given
    name = given.strip() if isinstance(given, str) else ""
    if not name:
        raise ValueError(f"expected the name of a dialect, got {quoted(given)}")
    if isinstance(info.context, Mapping) and name in info.context:
        own = info.context[name]
        assert isinstance(own, Dialect)
        return own
    if name not in dialect_names():
        raise ValueError(none_of("dialects", dialect_names(), name))
    return load_dialect(name)


class Supply(Wires):
    """One instrument with its outputs."""

    dialect: Annotated[
        Dialect, PlainValidator(_dialect), WithJsonSchema({"type": "string", "examples": [*dialect_names()]})
    ] = Field(
        description="how it is spoken to: a name "
        f"({', '.join(dialect_names())}, or one of your own) or the path of its file beside this document"
    )
    model: Text | None = Field(None, description="model as *IDN? gives it")
    serial: Text | None = Field(None, description="serial number as *IDN? gives it")
    calibrated: Calibration | None = Field(None, description="its calibration; left out: unknown")
    isolation: PositiveVolts | None = Field(None, description="largest voltage from any terminal to earth")
    exchange: PositiveSeconds | None = Field(
        None,
        description="time that one command with its verification takes: the shortest between two set points; "
        "left out: unknown, 20 ms is taken, over a serial line at least what its rate lets through",
    )
    watchdog: Watchdog | None = Field(
        None, description="its communication watchdog; left out: it has none, or none that is used"
    )
    after_mains: Literal["stays off", "comes on"] | None = Field(
        None,
        description="what it does when its mains return: stays off, or comes on as it was before; left out: "
        "unknown",
    )
    common_negative: tuple[str, ...] = Field(
        (), description="outputs whose negative terminals are joined inside"
    )
    coupled: tuple[Coupling, ...] = Field((), description="outputs whose set points move together")
    outputs: dict[Name, Output] = Field(min_length=1, description="its outputs, each under its name")

    @field_validator("outputs", mode="after")
    @classmethod
    def _as_commanded(cls, outputs: dict[str, Output], info: ValidationInfo) -> dict[str, Output]:
        """A slew that no command sets is none that can be chosen."""
        dialect = info.data.get("dialect")
        if dialect is None or dialect.can_set("slew_rising"):
            return outputs
        return {name: output.model_copy(update={"slew": None}) for name, output in outputs.items()}

    @model_validator(mode="after")
    def _dialect_fits(self) -> Self:
        """Each output is one that the dialect can name, and its levels are numbers that it takes."""
        for name, output in self.outputs.items():
            channel = channel_named(name) if output.channel is None else output.channel
            if channel is None:
                continue  # which the checks of the document tell
            try:
                self.dialect.check_channel(channel)
            except ValueError as error:
                raise fault(f"{error}; add it to dialect '{self.dialect.name}'", "outputs", name) from None
            settings = self.dialect.settings
            for operation, key, unit in (
                (settings["voltage"], "voltage", "V"),
                (settings["current_limit"], "current", "A"),
            ):
                most, highest = operation.most, getattr(output, key).high
                if highest > most * (1.0 + ROUNDED):
                    told = f"expected a {key} of at most {show(most, unit)}, which is the highest code that"
                    told += f" dialect '{self.dialect.name}' has for it, got {show(highest, unit)}"
                    raise fault(f"{told}; correct either", "outputs", name, key)
        return self

    @model_validator(mode="after")
    def _exchange_fits(self) -> Self:
        if self.exchange is not None and not SHORTEST_EXCHANGE <= self.exchange <= LONGEST_EXCHANGE:
            ends = f"{show(SHORTEST_EXCHANGE, 's')} to {show(LONGEST_EXCHANGE, 's')}"
            raise fault(f"expected an 'exchange' of {ends}, got {show(self.exchange, 's')}", "exchange")
        return self

    @property
    def session_settings(self) -> SessionSettings:
        """How it is spoken to: as its dialect says, over its line and by its VISA library."""
        return self.carried(self.dialect.session_settings)

    @property
    def channels(self) -> dict[str, int]:
        """Output -> the channel by which the instrument knows it. ValueError where an output has none, or two
        have the same; a bench that was loaded has neither.
        """
        found: dict[str, int] = {}
        for name, output in self.outputs.items():
            channel = channel_named(name) if output.channel is None else output.channel
            if channel is None:
                raise ValueError(f"output '{name}' has no channel, and its name is no number")
            if channel in found.values():
                raise ValueError(f"output '{name}' has channel {channel}, as another has")
            found[name] = channel
        return found


class Lead(Model):
    """The pair of conductors from an output to an input, with its contacts."""

    conductor: Conductor = Field(description="`AWG 18`, or `0.5 mm2 class 5` (IEC 60228)")
    one_way_length: Metres = Field(description="from output to input")
    contact_resistance_loop: UncertainOhms | None = Field(
        None, description="all contacts of the loop together"
    )
    inductance: HenriesPerMetre | None = Field(None, description="of the pair, per metre of its length")
    permitted_current: PositiveAmperes | None = Field(
        None, description="continuous current that the maker permits"
    )


class StockConductor(Model):
    """A conductor that is in stock, for leads that would have to be made."""

    conductor: Conductor = Field(description="`AWG 14`, or `2.5 mm2 class 5` (IEC 60228)")
    permitted_current: PositiveAmperes | None = Field(
        None, description="continuous current that the maker permits; left out: unknown, and not asked for"
    )


class Recorder(Model):
    """An external recorder whose recordings an evaluation may use."""

    serial: Text | None = Field(None, description="serial number")
    calibrated: Calibration | None = Field(None, description="its calibration; left out: unknown")
    interval: PositiveSeconds = Field(description="time between two samples")
    jitter: Seconds | None = Field(
        None, description="r.m.s. scatter of the instants of its samples; left out: none is declared"
    )
    time_base: Ratio | None = Field(
        None, description="how fast or slow its clock may run, in parts; left out: none is declared"
    )
    voltage: VoltageAccuracy | None = Field(
        None, description="how exactly it records voltages; left out: unknown"
    )
    current: CurrentAccuracy | None = Field(
        None, description="how exactly it records currents; left out: unknown"
    )


class MultimeterVoltage(VoltageAccuracy):
    """How exactly a multimeter measures a d.c. voltage, in one range."""

    range: PositiveVolts = Field(description="upper end of the range that is used")


class MultimeterCurrent(CurrentAccuracy):
    """How exactly a multimeter measures a d.c. current, in one range."""

    range: PositiveAmperes = Field(description="upper end of the range that is used")


class Multimeter(Wires):
    """A multimeter that the run reads: of one quantity, in one range. It is spoken to as SCPI-1999 has it."""

    model: Text | None = Field(None, description="model as it identifies itself; left out: not compared")
    serial: Text | None = Field(None, description="serial number, as it identifies itself")
    calibrated: Calibration | None = Field(None, description="its calibration; left out: unknown")
    voltage: MultimeterVoltage | None = Field(None, description="it measures a voltage, so exactly")
    current: MultimeterCurrent | None = Field(None, description="it measures a current, so exactly")
    aperture: PositiveSeconds = Field(description="time over which one reading is averaged, which it is told")
    interval: PositiveSeconds = Field(description="time from one reading to the next; more than `aperture`")

    @model_validator(mode="after")
    def _one_quantity(self) -> Self:
        exactly_one(self, ("voltage", "current"))
        if self.interval <= self.aperture:
            least, got = show(self.aperture, "s"), show(self.interval, "s")
            raise fault(
                f"expected an 'interval' longer than 'aperture', {least}, got {got}; correct one of them",
                "interval",
            )
        return self

    @property
    def quantity(self) -> Literal["voltage", "current"]:
        """What it measures."""
        return "current" if self.voltage is None else "voltage"

    @property
    def measures(self) -> MultimeterVoltage | MultimeterCurrent:
        """How exactly it measures that, and in which range."""
        found = self.voltage or self.current
        assert found is not None
        return found


class ElectronicLoad(Wires):
    """An electronic load that draws a constant current, spoken to in SCPI-1999's own tree. It proves outputs
    and leads; no run uses it.
    """

    model: Text | None = Field(None, description="model as *IDN? gives it")
    serial: Text | None = Field(None, description="serial number as *IDN? gives it")
    calibrated: Calibration | None = Field(None, description="its calibration; left out: unknown")
    voltage: VoltReach = Field(description="voltages that its input bears")
    current: AmpereReach = Field(description="currents that can be set")
    power: Watts | None = Field(None, description="largest power; left out: voltage times current")
    compliance: PositiveVolts | None = Field(
        None,
        description="voltage below which it cannot draw what is set; left out: unknown, 1 V is taken",
    )
    programming: CurrentAccuracy | None = Field(
        None, description="how exactly it draws what is set; left out: unknown"
    )
    reading: Reading | None = Field(None, description="how exactly, and how often, it measures itself")

    @property
    def as_output(self) -> Output:
        """Its input, as an output is described: what is set and read there."""
        given = self.programming
        programming = None if given is None else Programming(voltage=VoltageAccuracy(), current=given)
        made = Output(
            channel=1,
            voltage=self.voltage,
            current=self.current,
            programming=programming,
            reading=self.reading,
        )
        return made.model_copy(update={"power": self.power})


class BenchProof(HoldsUntil):
    """When outputs and leads were last proved into a load, and until when that holds."""

    on: Date = Field(description="day on which `railwright prove` passed")
    record: Text = Field(description="number of its page")


class Laboratory(Model):
    """Who stands behind a report."""

    name: Text = Field(description="as the report shows it")
    address: Text = Field(description="where it is")


class Bench(Model):
    """What is on the bench."""

    bench: Text = Field(description="what it is called")
    location: Literal["dry", "wet"] = Field(description="decides which touch-voltage limit applies")
    ambient: UncertainCelsius = Field(description="temperature around it")
    laboratory: Laboratory | None = Field(None, description="who stands behind a report")
    interlock: Interlock | None = Field(
        None, description="a hardware enable of the outputs; left out: there is none, or nobody saw it act"
    )
    supplies: dict[Name, Supply] = Field(min_length=1, description="the instruments, each under its name")
    electronic_loads: dict[Name, ElectronicLoad] = Field(
        {}, description="what outputs and leads are proved into, each under its name"
    )
    proved: BenchProof | None = Field(
        None, description="when its outputs and leads were last proved; left out: nothing is said of it"
    )
    leads: dict[Text, Lead] = Field(min_length=1, description="the leads, each under its name")
    fixtures: dict[Text, Fixture] = Field(
        {}, description="what may stand between a lead and an input, each under its name"
    )
    stock: tuple[StockConductor, ...] = Field(
        (), description="conductors to make other leads of; the check names one where a lead will not do"
    )
    recorders: dict[Text, Recorder] = Field({}, description="external recorders, each under its name")
    multimeters: dict[Name, Multimeter] = Field(
        {}, description="multimeters that a run reads, each under its name"
    )
    relays: dict[Name, Relays] = Field(
        {},
        description="instruments that move the switches of fixtures, or drive pins of the device, each under "
        "its name",
    )

    @property
    def output_names(self) -> tuple[OutputName, ...]:
        """Every output of every supply, in the order in which they are written."""
        return tuple(OutputName.of(name, own) for name, each in self.supplies.items() for own in each.outputs)

    @property
    def is_here(self) -> bool:
        """Whether every supply answers at this computer itself, as simulated ones do."""
        return all(is_of_this_computer(supply.address) for supply in self.supplies.values())

    def output(self, name: OutputName) -> Output:
        """The output of that name; KeyError where there is none."""
        return self.supplies[name.supply].outputs[name.output]

    def unused_outputs(self, supply: str, used: Collection[OutputName]) -> list[str]:
        """Outputs of a supply that are not among those in use, by their own names."""
        return [own for own in self.supplies[supply].outputs if OutputName.of(supply, own) not in used]

    def fixture(self, name: str | None) -> Fixture | None:
        """The fixture of that name; None: there is none in the lead."""
        return None if name is None else self.fixtures[name]

    @property
    def contacts(self) -> dict[str, tuple[str, Contact]]:
        """Contact -> the instrument that moves it, and what is known of it."""
        return {
            name: (instrument, contact)
            for instrument, each in self.relays.items()
            for name, contact in each.contacts.items()
        }

    def contact_in(self, fixture: str | None) -> str | None:
        """The contact that is the switch of a fixture; None: it has none, or nothing moves it."""
        if fixture is None:
            return None
        found = (name for name, (_, contact) in self.contacts.items() if contact.fixture == fixture)
        return next(found, None)

    def supply_of(self, name: OutputName) -> Supply:
        """The supply that has the output of that name."""
        return self.supplies[name.supply]
