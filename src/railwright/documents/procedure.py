"""The procedure document: hook-up, limits, steps, what is recorded, and what is required."""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import (
    BeforeValidator,
    Field,
    PrivateAttr,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from railwright.documents.ending import AtEnd, YesNo
from railwright.documents.holding import HoldStep
from railwright.documents.hook_up import AUTO, HookUp, auto_for_all, auto_or_entries
from railwright.documents.model import File, Model, Text, exactly_one, fault
from railwright.documents.output_name import OutputName
from railwright.documents.relays import MoveContacts
from railwright.documents.repeating import READING_BOUNDS, ReadingBound
from railwright.documents.shape import InputWaveform
from railwright.documents.shape import Segment as Segment
from railwright.documents.shape import ShapeStep as ShapeStep
from railwright.frozen import FrozenDict
from railwright.measures import MEASURES, Measure
from railwright.quantities import (
    Amperes,
    AutoAmperes,
    AutoSeconds,
    AutoVolts,
    AutoVoltsPerSecond,
    AutoWatts,
    Coulombs,
    Interval,
    PositiveAmperes,
    PositiveSeconds,
    ReadingSeconds,
    Seconds,
    Volts,
    parse_interval,
    parse_value,
    quoted,
)
from railwright.waveforms.standards import StandardFigures


class Limits(Model):
    """What stops a fault on one input. `auto`: worked out, with its reason."""

    current_limit: AutoAmperes = Field(description="of each input; parallel outputs share it")
    at_limit: Literal["regulate", "trip"] = Field(description="what an output does at its limit (IVI-4.4)")
    purpose: Literal["voltage", "current"] = Field(
        "voltage",
        description="which of the two a person wants held. current: the current limit is what the input is "
        "fed with, as a cell is charged, LEDs are driven or a heater is run, and the voltage that is set is "
        "the limit; voltage: the current limit only holds a fault",
    )
    charge_at_most: Coulombs | None = Field(
        None,
        description="the most charge that may go into it since it was first switched on; beyond it the run "
        "ends. Needed where a cell is charged",
    )
    trip_delay: AutoSeconds | None = Field(None, description="how long the limit is exceeded before it trips")
    ovp: AutoVolts = Field(description="over-voltage protection: the level at which the output goes off")
    opp: AutoWatts | None = Field(
        None, description="over-power protection: the power at which the output goes off; left out: not used"
    )
    ocp: PositiveAmperes | None = Field(
        None,
        description="over-current protection apart from the limit: the current at which the output goes off; "
        "left out: not used",
    )
    ocp_delay: Seconds | None = Field(
        None,
        description="how long 'ocp' is exceeded before the output goes off; left out: the shortest it has",
    )
    trips_when: tuple[Text, ...] = Field(
        (), description="linked trip: goes off when one of these inputs does"
    )
    off_after: tuple[Text, ...] = Field(
        (),
        description="stays on until these inputs are confirmed off, such as a gate bias after its drain",
    )
    at_end: AtEnd = Field(
        AtEnd(),
        description="what it does at the end of a run: `off` (also where this is left out), "
        "`{ramp_down: 200 ms}` or `{stays_on: REASON}`",
    )

    @model_validator(mode="after")
    def _delay_with_trip(self) -> Self:
        if self.at_limit == "trip" and self.trip_delay is None:
            raise fault("expected a 'trip_delay' beside 'at_limit: trip', got none; add one", "at_limit")
        if self.at_limit == "regulate" and self.trip_delay is not None:
            raise fault(
                "expected no 'trip_delay' beside 'at_limit: regulate', got one; remove it", "trip_delay"
            )
        if self.feeds_current and self.at_limit != "regulate":
            raise fault(
                "expected 'at_limit: regulate' beside 'purpose: current', got 'trip'; an output that "
                "feeds a constant current must not trip at it",
                "at_limit",
            )
        if self.feeds_current and self.current_limit == "auto":
            raise fault(
                "expected the current to feed beside 'purpose: current', got 'auto'; write it, such as "
                "'350 mA'",
                "current_limit",
            )
        if self.ocp_delay is not None and self.ocp is None:
            raise fault("expected an 'ocp' beside 'ocp_delay', got none; add one", "ocp_delay")
        return self

    @property
    def feeds_current(self) -> bool:
        """Whether the current limit is what the input is fed with."""
        return self.purpose == "current"


class PowerUp(Model):
    """Outputs on, in order, each rising to its voltage."""

    order: tuple[Text, ...] = Field(min_length=1, description="the inputs")
    gap: Seconds = Field(0.0, description="from one input's switching on to the next one's")
    rise: AutoVoltsPerSecond | None = Field(None, description="left out: as fast as the output does it")
    voltages: dict[str, Volts] = Field({}, description="where an input does not go to its nominal voltage")
    settle: Seconds = Field(0.0, description="time given to the inputs to come up; part of the step")

    @property
    def rate(self) -> float | None:
        """The rise [V/s] once `auto` is written out (`settings.hookup.hooked_up` does it); None: as fast as
        the output does it.
        """
        assert self.rise != "auto", "a rise that is to be worked out has no rate yet"
        return self.rise


class PowerDown(Model):
    """Outputs off, in order."""

    order: tuple[Text, ...] = Field(min_length=1, description="the inputs")
    gap: Seconds = Field(0.0, description="from one input's switching off to the next one's")


class Sweep(Model):
    """An input's voltage from one value to another, held at equally spaced points."""

    input: Text = Field(description="the input")
    start: Volts = Field(alias="from", description="first point")
    stop: Volts = Field(alias="to", description="last point")
    points: int = Field(ge=2, le=100_000, description="number of points, both ends counted")
    dwell: PositiveSeconds = Field(description="time spent on each point")


class Step(Model):
    """One step of the procedure."""

    name: Text | None = Field(None, description="needed where a requirement refers to the step")
    power_up: PowerUp | None = Field(None, description="outputs on")
    hold: HoldStep | None = Field(
        None,
        description="everything stays as it is: for a time, such as `2 s`, or until something comes, such as "
        "`{until: {current_below: 100 mA, for: 1 s}, at_most: 4 h}`",
    )
    sweep: Sweep | None = Field(None, description="one input from voltage to voltage in steps")
    shape: ShapeStep | None = Field(None, description="a waveform on one input, or on several at once")
    power_down: PowerDown | None = Field(None, description="outputs off")
    relays: MoveContacts | None = Field(None, description="contacts of the bench's relays are moved")

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, STEP_KINDS, "; begin each step with '- '")
        return self

    @property
    def kind(self) -> str:
        """Which of the kinds of step it is."""
        return next(kind for kind in STEP_KINDS if getattr(self, kind) is not None)

    def called(self, index: int) -> str:
        """Its name; of the step at this position, from 0, that has none: its number."""
        return self.name or f"step {index + 1}"


MOST_STEPS = 10_000
"""Steps of a procedure at most; what goes on for longer is repeated in a shape."""

STEP_KINDS = ("power_up", "hold", "sweep", "shape", "power_down", "relays")


Protection = Literal["OVP", "OCP", "OPP", "OTP", "current limit"]
"""What switches an output off by itself, by the names that dialects use."""

PROTECTIONS: tuple[str, ...] = get_args(Protection)


class StopCondition(Model):
    """What ends a run early, outputs off."""

    input: Text = Field(description="the input")
    during: Text | None = Field(
        None, description="only during the step of this name; left out: whenever the input is on"
    )
    current_above: Amperes | None = Field(None, description="stop when its current lies above")
    current_below: Amperes | None = Field(None, description="stop when its current lies below")
    voltage_above: Volts | None = Field(None, description="stop when its voltage lies above")
    voltage_below: Volts | None = Field(None, description="stop when its voltage lies below")
    trips: Literal["any", Protection] | None = Field(
        None, description="a trip, which ends a run in any case: written to say what it likely comes from"
    )
    duration: Seconds = Field(0.0, alias="for", description="for longer than this time")
    likely: Text | None = Field(None, description="likely cause, told where the run ends by this condition")

    @model_validator(mode="after")
    def _one(self) -> Self:
        given = exactly_one(self, STOP_KINDS)
        if given == "trips" and self.duration:
            raise fault("expected no 'for' beside 'trips', got one; remove it", "for")
        return self

    @property
    def kind(self) -> str:
        """Which of the kinds of condition it is."""
        return next(kind for kind in STOP_KINDS if getattr(self, kind) is not None)

    @property
    def bound(self) -> ReadingBound | None:
        """The bound that it watches; None: it is about a trip."""
        if self.trips is not None:
            return None
        return ReadingBound(*READING_BOUNDS[self.kind], float(getattr(self, self.kind)))


STOP_KINDS = (*READING_BOUNDS, "trips")


class Recording(Model):
    """What the run writes down."""

    every: ReadingSeconds = Field(description="time between two readings")


def _guard_band(text: object) -> object:
    if isinstance(text, str) and (match := re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[×x*]\s*U\s*", text)):
        return float(match[1])
    raise ValueError(f"expected a guard band such as '1 × U', got {quoted(text)}")


class Decision(Model):
    """How a measured value with its uncertainty becomes an outcome (JCGM 106)."""

    rule: Literal["guarded", "simple"] = Field(
        "guarded", description="guarded: limits less a guard band; simple: the limits themselves"
    )
    guard_band: Annotated[
        float, BeforeValidator(_guard_band), WithJsonSchema({"type": "string", "examples": ["1 × U"]})
    ] = Field(1.0, validate_default=False, description="in units of the expanded uncertainty U (95 %)")


_LIMIT = WithJsonSchema({"type": ["string", "number"], "examples": ["1.5 A", "60 ms", 0]})
_LIMIT_KEYS = ("at_most", "at_least", "between")
_LIMITS = WithJsonSchema({"type": "string", "examples": ["7.0 V .. 8.2 V"]})


def _count(given: object) -> float:
    """A number of times, such as restarts."""
    if isinstance(given, int) or (isinstance(given, str) and re.fullmatch(r"\s*\d{1,9}\s*", given, re.ASCII)):
        return float(given)
    raise ValueError(f"expected a number of times such as '0', got {quoted(given)}")


class Requirement(Model):
    """What must come out. Limits are in the measure's own unit."""

    name: Text = Field(description="what the report calls it")
    measure: Literal[tuple(MEASURES)] = Field(  # type: ignore[valid-type]
        description="what is worked out from the record"
    )
    of: Text = Field(description="the input")
    during: Text = Field(description="the step's name")
    at: Literal["connector", "terminals"] = Field("connector", description="where a voltage is meant")
    each_point: Literal["worst"] | None = Field(
        None, description="of a sweep: the worst of its points decides"
    )
    by: Protection | None = Field(
        None, description="of a trip: the protection that is meant; left out: any of them"
    )
    within: PositiveSeconds | None = Field(
        None,
        description="of an inrush: the time from the switching-on in which it is looked at; in a step that "
        "does not switch the input on, from the step's beginning",
    )
    at_most: Annotated[float, _LIMIT] | None = Field(None, description="upper limit")
    at_least: Annotated[float, _LIMIT] | None = Field(None, description="lower limit")
    between: Annotated[Interval, _LIMITS] | None = Field(None, description="lower and upper limit")

    @field_validator(*_LIMIT_KEYS, mode="before")
    @classmethod
    def _in_unit(cls, given: Any, info: ValidationInfo) -> Any:
        measure = info.data.get("measure")
        if given is None or measure is None:
            return None
        unit = MEASURES[measure].unit
        if info.field_name != "between":
            return _count(given) if unit == "1" else parse_value("0" if given == 0 else given, unit)
        if unit == "1":
            raise ValueError(
                f"expected 'at_most' or 'at_least' for a number of times, got {quoted(given)} here"
            )
        return parse_interval(given, unit)

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, _LIMIT_KEYS)
        if self.by is not None and self.known.trip is None:
            raise fault(
                f"expected 'by' beside a measure of a trip, got it beside '{self.measure}'; remove it", "by"
            )
        if self.each_point is not None and self.known.trip is not None:
            raise fault(
                f"expected no 'each_point' beside '{self.measure}', which is about the whole step; remove it",
                "each_point",
            )
        if self.known.inrush:
            self._states_window()
        elif self.within is not None:
            raise fault(
                f"expected 'within' beside a measure of an inrush, got it beside '{self.measure}'; remove it",
                "within",
            )
        return self

    def _states_window(self) -> None:
        if self.within is None:
            raise fault(
                f"expected 'within' beside '{self.measure}', got none; add for how long from the "
                "switching-on the inrush is looked at, such as 'within: 50 ms'",
                "measure",
            )
        if self.each_point is not None:
            raise fault(
                f"expected no 'each_point' beside '{self.measure}', which is about one inrush; remove it",
                "each_point",
            )

    @property
    def known(self) -> Measure:
        """The measure, with all that is known of it."""
        return MEASURES[self.measure]

    @property
    def expects_trip(self) -> bool:
        """Whether a trip has to come for it to be met: it limits its time, or asks for at least one."""
        lowest, _ = self.limits
        return self.known.trip == "time" or (self.known.trip == "count" and (lowest or 0.0) > 0.0)

    @property
    def unit(self) -> str:
        """SI unit of the measure's result."""
        return self.known.unit

    @property
    def limit_key(self) -> str:
        """Key under which its limit, or both, are written."""
        return next(key for key in _LIMIT_KEYS if getattr(self, key) is not None)

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Lower and upper limit of the tolerance interval; None: open."""
        if self.between is not None:
            return self.between.low, self.between.high
        return self.at_least, self.at_most


class Override(Model):
    """A stop finding that is accepted, with the reason that the report shows."""

    finding: Text = Field(description="the finding's rule id")
    about: Text | None = Field(None, description="the input, output or instrument it is about; left out: all")
    because: Text = Field(description="the reason, which the report shows")


class Probe(Model):
    """Where a multimeter of the bench is connected."""

    of: Text = Field(description="the input")
    at: Literal["connector", "terminals"] = Field(
        "connector",
        description="where it measures a voltage: at the connector of the input, or at the terminals of the "
        "outputs that feed it; a current is the same anywhere",
    )


class DrivenPin(Model):
    """What drives a pin of the device."""

    source: Text = Field(alias="from", description="contact or digital output of the bench's relays")
    starts: Literal["active", "inactive"] = Field(
        description="how it stands as the procedure begins, before any output is on"
    )


class Procedure(Model):
    """What is to be done, and what is required."""

    procedure: Text = Field(description="what it is called")
    device: File = Field(description="path of the device document, relative to this one")
    bench: File = Field(description="path of the bench document, relative to this one")
    hook_up: Annotated[dict[Text, HookUp], BeforeValidator(auto_for_all)] = Field(
        min_length=1,
        description="input: what feeds it; or `auto`: worked out for every input",
        json_schema_extra=auto_or_entries,
    )
    multimeters: dict[Text, Probe] = Field(
        {}, description="multimeter of the bench: where it is connected; those that are left out are not read"
    )
    pins: dict[Text, DrivenPin] = Field(
        {},
        description="pin of the device: what drives it; one that is left out takes its own level, `undriven`",
    )
    limits: dict[Text, Limits] = Field(min_length=1, description="input: what stops a fault on it")
    steps: tuple[Step, ...] = Field(min_length=1, max_length=MOST_STEPS, description="what is done, in order")
    stop_when: tuple[StopCondition, ...] = Field((), description="what ends a run early, outputs off")
    attended: YesNo = Field(
        True,
        description="whether a person is beside the bench, who can switch it off; no: a watchdog of each "
        "supply or an interlock has to",
    )
    record: Recording = Field(description="what the run writes down")
    decision: Decision = Field(Decision(), description="how a measured value becomes an outcome")
    requires: tuple[Requirement, ...] = Field((), description="what must come out")
    overrides: tuple[Override, ...] = Field((), description="stop findings that are accepted")
    standards: Text | None = Field(
        None,
        description="path of a file with standards' figures, corrected against an own copy; left out: those "
        "that come with the program",
    )
    _own_figures: dict[str, StandardFigures] = PrivateAttr(default_factory=dict)

    @property
    def own_figures(self) -> Mapping[str, StandardFigures]:
        """Figures of the file under 'standards', by standard; none: the program's own hold."""
        return self._own_figures

    def with_figures(self, figures: Mapping[str, StandardFigures]) -> Self:
        """The same with figures read from the file under 'standards'."""
        made = self.model_copy()
        made._own_figures = FrozenDict(figures)
        return made

    def expects_trip(self, name: str, step: str, protection: str) -> bool:
        """Whether a requirement asks for this trip of an input in this step. Such a trip ends the procedure
        as the document wants it, whether it comes in time or not.
        """
        return any(
            (required.of, required.during) == (name, step) and required.by in (None, protection)
            for required in self.requires
            if required.expects_trip
        )

    @property
    def outputs(self) -> tuple[OutputName, ...]:
        """The outputs that feed its inputs."""
        return tuple(output for hook_up in self.hook_up.values() for output in hook_up.outputs)

    @property
    def waveforms(self) -> Iterator[tuple[tuple[str | int, ...], ShapeStep, str, InputWaveform]]:
        """Each waveform of its shapes: where it is written, the shape, the input, and itself."""
        for number, step in enumerate(self.steps):
            if (shape := step.shape) is not None:
                for name, waveform in shape.waveforms.items():
                    yield ("steps", number, "shape", *shape.at(name)), shape, name, waveform

    @property
    def auto_rises(self) -> tuple[int, ...]:
        """Positions of the power-ups whose rise is `auto`."""
        steps = enumerate(self.steps)
        return tuple(index for index, step in steps if step.power_up and step.power_up.rise == "auto")

    def position(self, name: str) -> int:
        """Position of the step of that name."""
        return next(index for index, step in enumerate(self.steps) if step.called(index) == name)

    def operates_until(self, name: str) -> int:
        """Position of the first step in which an input is required to trip: before it, none of its
        protections may act. Their number, where it is not required to trip.
        """
        tripping = {each.during for each in self.requires if each.of == name and each.expects_trip}
        steps = (index for index, step in enumerate(self.steps) if step.called(index) in tripping)
        return next(steps, len(self.steps))

    def for_inputs(self, inputs: Iterable[str]) -> Self:
        """The procedure with an entry in `hook_up` for each of the device's inputs, where it says `auto` for
        all of them.
        """
        if set(self.hook_up) != {AUTO} or not self.hook_up[AUTO].auto or AUTO in inputs:
            return self
        return self.model_copy(update={"hook_up": dict.fromkeys(inputs, self.hook_up[AUTO])})


def accept_announced_measures() -> None:
    """Let procedures name measures that were announced (`measures.register`) since this was imported."""
    field = Requirement.model_fields["measure"]
    if get_args(field.annotation) == tuple(MEASURES):
        return
    field.annotation = Literal[tuple(MEASURES)]  # type: ignore[assignment]
    Requirement.model_rebuild(force=True)
    Procedure.model_rebuild(force=True)
