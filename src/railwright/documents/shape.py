"""The shape step of a procedure: segments, or a standard's test, on one input or several at once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Any, Literal, Self

from pydantic import Field, PrivateAttr, ValidatorFunctionWrapHandler, WrapValidator, model_validator

from railwright.documents.model import File, Model, Text, exactly_one, fault
from railwright.documents.recording_keys import RecordingParts
from railwright.documents.repeating import MOST_TURNS, AtMost, Until
from railwright.quantities import (
    Dimension,
    Hertz,
    PositiveAmperes,
    PositiveSeconds,
    PositiveVolts,
    Seconds,
    Volts,
)
from railwright.waveforms import shapes
from railwright.waveforms.shapes import MOST_MOVES, Path, Piece, Positions
from railwright.waveforms.standards import TESTS

SEGMENT_KINDS = ("hold", "step_to", "line_to", "exponential_to", "ripple", "off_for", "repeat")
_COMPANIONS = {
    "over": ("line_to",),
    "time_constant": ("exponential_to",),
    "duration": ("exponential_to", "ripple"),
    "peak_to_peak": ("ripple",),
    "frequency": ("ripple",),
    "edges": ("ripple",),
    "on": ("ripple",),
    "segments": ("repeat",),
    "pause_between": ("repeat",),
}
_NEEDED = {
    "line_to": ("over",),
    "exponential_to": ("time_constant", "duration"),
    "ripple": ("peak_to_peak", "frequency", "duration"),
    "repeat": ("segments",),
}
_ALIASES = {"duration": "for"}


class Segment(Model):
    """One piece of a shape: exactly one of `hold`, `step_to`, `line_to`, `exponential_to`, `ripple`,
    `off_for` and `repeat`. `wait_for` and `current_limit` may stand beside any of them, or a limit alone.
    """

    hold: Seconds | None = Field(None, description="stay for this time")
    step_to: Volts | None = Field(None, description="at once to this voltage")
    line_to: Volts | None = Field(None, description="in a straight line to this voltage")
    over: PositiveSeconds | None = Field(None, description="duration of the line")
    exponential_to: Volts | None = Field(
        None, description="towards this voltage with a time constant; it ends where it has got to"
    )
    time_constant: PositiveSeconds | None = Field(None, description="of the exponential")
    ripple: Literal["sine", "trapezoid"] | None = Field(
        None, description="about a level, beginning upwards; after it the voltage is at the level again"
    )
    peak_to_peak: PositiveVolts | None = Field(None, description="of the ripple")
    frequency: Hertz | None = Field(None, description="of the ripple")
    edges: Seconds | None = Field(
        None,
        description="of each edge of a trapezoid, at most half a period; left out: as fast as it goes",
    )
    on: Volts | None = Field(None, description="the ripple's level; left out: the present voltage")
    duration: PositiveSeconds | None = Field(
        None, alias="for", description="how long the exponential or the ripple lasts"
    )
    off_for: PositiveSeconds | None = Field(
        None, description="the output is switched off for this time, then on again to the voltage it had"
    )
    repeat: int | None = Field(None, ge=1, le=100_000, description="how often its own segments are played")
    segments: tuple[Segment, ...] | None = Field(
        None, min_length=1, description="the pieces that are repeated"
    )
    pause_between: Seconds | None = Field(
        None, description="from the end of one repetition to the start of the next"
    )
    wait_for: Literal["trigger", "key"] | None = Field(
        None, description="before it, everything stays until a trigger or a key comes"
    )
    current_limit: PositiveAmperes | None = Field(
        None,
        description="from here on, at most that of 'limits', which holds again after the step",
    )

    @model_validator(mode="after")
    def _fits(self) -> Self:
        given = self.model_fields_set
        if len(given) == 1 and not given.isdisjoint(_ALONE):
            return self
        if given == {"current_limit"} or given == {"current_limit", "wait_for"}:
            return self
        kind = exactly_one(self, SEGMENT_KINDS)
        for key in _NEEDED.get(kind, ()):
            if getattr(self, key) is None:
                word = _ALIASES.get(key, key)
                raise fault(f"expected '{word}' beside '{kind}', got none; add one", kind)
        for key in given:
            kinds = _COMPANIONS.get(key)
            if kinds and kind not in kinds and getattr(self, key) is not None:
                word, with_ = _ALIASES.get(key, key), " or ".join(f"'{each}'" for each in kinds)
                got = f"expected '{word}' beside {with_} only, got it beside '{kind}'; remove it"
                raise fault(got, word)
        if self.edges is not None and self.ripple == "sine":
            raise fault("expected 'edges' of a trapezoid only, got them of a sine; remove them", "edges")
        if self.edges and self.frequency and self.edges * self.frequency > 0.5 * (1 + 1e-9):
            raise fault(
                "expected 'edges' of at most half a period, got more; shorten them or lower 'frequency'",
                "edges",
            )
        return self

    @cached_property
    def piece(self) -> Piece:
        """What it plays; with what stands beside it, as one."""
        if not self.beside:
            return self._main or shapes.Hold(0.0)
        pieces: list[Piece] = []
        if self.wait_for is not None:
            pieces.append(shapes.Wait(self.wait_for, 0.0))
        if self.current_limit is not None:
            pieces.append(shapes.Limit(self.current_limit))
        if self._main is not None:
            pieces.append(self._main)
        return shapes.Repeat(tuple(pieces), 1)

    @property
    def beside(self) -> bool:
        """Whether something stands beside what it plays: a wait, a current limit."""
        return self.wait_for is not None or self.current_limit is not None

    @property
    def _main(self) -> Piece | None:
        if self.hold is not None:
            return shapes.Hold(self.hold)
        if self.step_to is not None:
            return shapes.Jump(self.step_to)
        if self.line_to is not None and self.over is not None:
            return shapes.Line(self.line_to, self.over)
        if self.exponential_to is not None and self.time_constant and self.duration:
            return shapes.Exponential(self.exponential_to, self.time_constant, self.duration)
        if self.ripple and self.peak_to_peak and self.frequency and self.duration:
            edge = self.edges or 0.0
            return shapes.Ripple(self.ripple, self.peak_to_peak, self.frequency, self.duration, edge, self.on)
        if self.off_for is not None:
            return shapes.Off(self.off_for)
        if self.repeat is not None and self.segments is not None:
            inner = tuple(segment.piece for segment in self.segments)
            return shapes.Repeat(inner, self.repeat, self.pause_between or 0.0)
        return None


_ALONE = frozenset(("hold", "step_to", "off_for"))
_KEYS: Mapping[type, str] = {
    shapes.Hold: "hold",
    shapes.Jump: "step_to",
    shapes.Line: "line_to",
    shapes.Exponential: "exponential_to",
    shapes.Ripple: "ripple",
    shapes.Off: "off_for",
    shapes.Wait: "wait_for",
    shapes.Limit: "current_limit",
}


GIVEN = ("segments", "standard", "recording", "table")
_OF_STANDARD = ("level", "duration", "impedance")
_OF_RECORDING = tuple(RecordingParts.model_fields)


def _given(waveform: InputWaveform) -> list[str]:
    """The keys that belong to a standard or a recording and are written."""
    return [key for key in (*_OF_STANDARD, *_OF_RECORDING) if key in waveform.model_fields_set]


def _quickly(given: object, handler: ValidatorFunctionWrapHandler) -> object:
    """Long lists: segments of the three common kinds are made here, at a fraction of the time; all others,
    and whatever is wrong with one, is left to pydantic.
    """
    if not isinstance(given, list) or len(given) < MANY:
        return handler(given)
    made = [_quick(row) or row for row in given]
    return tuple(made) if all(type(each) is Segment for each in made) else handler(made)


def _quick(row: object) -> Segment | None:
    """A segment that is nothing but a hold, a step or a line in the usual units; None: look more closely."""
    if not isinstance(row, dict):
        return None
    keys = _KINDS.get(tuple(row))
    if keys is None:
        return None
    values: dict[str, Any] = _NOTHING.copy()
    for key, text in row.items():
        value = _USUAL[key].usual(text)
        if value is None:
            return None
        values[key] = value
    # What it plays, as `piece` would find it.
    if len(row) == 2:
        values["piece"] = shapes.Line(values["line_to"], values["over"])
    else:
        hold, step = values["hold"], values["step_to"]
        values["piece"] = shapes.Jump(step) if hold is None else shapes.Hold(hold)
    made = Segment.__new__(Segment)
    _set(made, "__dict__", values)
    _set(made, "__pydantic_fields_set__", keys)
    _set(made, "__pydantic_extra__", None)
    _set(made, "__pydantic_private__", None)
    return made


_set = object.__setattr__
MANY = 1000
"""Segments from which on a list is long."""
_USUAL = {
    "hold": Dimension("s", nonnegative=True),
    "step_to": Dimension("V"),
    "line_to": Dimension("V"),
    "over": Dimension("s", positive=True),
}
_KINDS: dict[tuple[str, ...], set[str]] = {
    keys: set(keys) for keys in (("hold",), ("step_to",), ("line_to", "over"), ("over", "line_to"))
}
_NOTHING = dict.fromkeys(Segment.model_fields)


class InputWaveform(RecordingParts):
    """What one input is given: segments, a standard's test, a recording, or a table."""

    segments: Annotated[tuple[Segment, ...], WrapValidator(_quickly), Field(min_length=1)] | None = Field(
        None, description="its pieces, in order"
    )
    standard: Text | None = Field(
        None, description="a standard's test: " + ", ".join(f"`{name}`" for name in TESTS)
    )
    level: Text | None = Field(
        None, description="of the standard's levels, such as `70 %` or `II`; left out: it has none to choose"
    )
    duration: PositiveSeconds | None = Field(None, description="of the standard's durations")
    impedance: Literal["low", "high"] | None = Field(
        None, description="of an interruption: the output goes to 0 V (low), or is switched off (high)"
    )

    recording: Text | None = Field(
        None, description="a recording (CSV, Parquet, HDF5 or WAV), its path relative to this document"
    )
    table: File | None = Field(
        None,
        description="a sequence as a table (CSV), its path relative to this document: columns `dwell_s`, "
        "`voltage_V`, `limit_A` (empty: as before) and `way` (step or line)",
    )
    _recorded: tuple[Piece, ...] = PrivateAttr(())
    _recognised: tuple[str, ...] = PrivateAttr(())

    @property
    def recorded(self) -> tuple[Piece, ...]:
        """The recording or the table as it is played; none: there is none, or it was not read."""
        return self._recorded

    @property
    def recognised(self) -> tuple[str, ...]:
        """What was recognised in the recording, or taken for granted, for people."""
        return self._recognised

    def hold_recording(self, recorded: tuple[Piece, ...], recognised: tuple[str, ...]) -> None:
        """Take in the recording that was read for it; the loader does so, once."""
        self._recorded, self._recognised = recorded, recognised

    @model_validator(mode="after")
    def _choice(self) -> Self:
        self._fits()
        return self

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """What its segments play; none of a standard's."""
        return tuple([segment.piece for segment in self.segments or ()])

    @cached_property
    def places(self) -> tuple[Path, ...]:
        """Where each segment is written, with the key that says what it does."""
        return tuple(
            [
                ("segments", number, _KEYS.get(type(piece), "repeat"))
                for number, piece in enumerate(self.pieces)
            ]
        )

    def _fits(self) -> None:
        exactly_one(self, GIVEN)
        for key in _given(self):
            owner = "standard" if key in _OF_STANDARD else "recording"
            if getattr(self, owner) is None:
                raise fault(f"expected '{key}' beside '{owner}' only, got it without; remove it", key)


_ADVANCES: dict[str, set[Literal["trigger", "key"]]] = {"on trigger": {"trigger"}, "on key": {"key"}}


class ShapeStep(InputWaveform):
    """A waveform on one input, or on several at once, played `repeat` times, or until something happens, with
    a pause between.
    """

    input: Text | None = Field(None, description="the input; or, for several at once, `inputs`")
    inputs: dict[Text, InputWaveform] | None = Field(
        None, min_length=1, description="input: what it is given, all on one time base"
    )
    repeat: int = Field(1, ge=1, le=MOST_TURNS, description="how often it is played")
    repeat_until: Until | None = Field(
        None,
        description="played again and again until this: `key`, `trigger`, a time such as `10 min`, or what "
        "is read, such as `{current_below: 50 mA, for: 2 s}`; the turn that goes on is played to its end",
    )
    at_most: AtMost | None = Field(
        None,
        description="beside `repeat_until`: so many turns in any case, or as many as end within a time",
    )
    pause_between: Seconds = Field(
        0.0,
        description="from the end of one to the start of the next; a standard's test stays at its last level "
        "so long after the last one too, or 1 s where this is left out",
    )
    advance: Literal["by time", "on trigger", "on key"] = Field(
        "by time", description="on trigger, on key: each segment waits for one"
    )
    wait_for: Literal["trigger", "key"] | None = Field(
        None, description="before it begins, everything stays until a trigger or a key comes"
    )
    time_out: PositiveSeconds = Field(
        60.0, description="a run that has waited so long for a trigger or a key ends, outputs off"
    )
    at_end: Literal["stay", "zero", "off"] = Field(
        "stay", description="what the outputs do after it: stay where they are, go to 0 V, or go off"
    )

    @model_validator(mode="before")
    @classmethod
    def _not_both(cls, given: object) -> object:
        """Told before anything below them is looked at, which may be meant for the other."""
        if isinstance(given, dict) and "input" in given and "inputs" in given:
            raise fault("expected exactly one of input, inputs, got input and inputs", "inputs")
        return given

    @model_validator(mode="after")
    def _choice(self) -> Self:
        if exactly_one(self, ("input", "inputs")) == "input":
            self._fits()
        for key in (*GIVEN, *_given(self)):
            if self.inputs is not None and key in self.model_fields_set:
                raise fault(f"expected '{key}' under each input of 'inputs', got it here; move it", key)
        self._bounded()
        if self.advance != "by time" and self.segments is None:
            raise fault("expected 'advance' beside 'segments' only, got it without; remove it", "advance")
        if self.inputs is not None and (self.advance != "by time" or self._waiting):
            key = "advance" if self.advance != "by time" else "inputs"
            raise fault(
                "expected no segment that waits where several inputs share a time base, got one; "
                "put 'wait_for' beside 'inputs', or make it several steps",
                key,
            )
        count = sum(shapes.count_of(self.own_pieces(each)) for each in self.waveforms.values())
        if count * self.counted > MOST_MOVES:
            key = "repeat" if self.repeat > 1 else "at_most" if self.counted > 1 else "segments"
            raise fault(
                f"expected at most {MOST_MOVES:,} changes of the set point in a shape, got "
                f"{count * self.counted:,.0f}; repeat less, or play a lower frequency or a shorter time",
                key,
            )
        return self

    def _bounded(self) -> None:
        """What is repeated until something has a bound, and is nothing that cannot be ended between turns."""
        until = self.repeat_until
        if until is None:
            if self.at_most is not None:
                raise fault("expected 'at_most' beside 'repeat_until' only, got it without", "at_most")
            return
        if self.at_most is None:
            told = "expected 'at_most' beside 'repeat_until', got none; add a count or a time"
            raise fault(told, "repeat_until")
        if isinstance(self.at_most, int) and not 1 <= self.at_most <= MOST_TURNS:
            raise fault(f"expected a count of 1 to {MOST_TURNS:,}, got {self.at_most:,}", "at_most")
        if "repeat" in self.model_fields_set:
            raise fault("expected 'repeat' or 'repeat_until', got both; remove one", "repeat")
        if any(each.recording is not None for each in self.waveforms.values()):
            told = "expected 'repeat_until' beside segments, a table or a standard's test, got a recording"
            raise fault(f"{told}; give 'repeat'", "repeat_until")
        pressed = {piece.source for piece in self._waiting} | _ADVANCES.get(self.advance, set())
        if until.press in pressed:
            raise fault(
                f"expected no segment that waits for the {until.press} that ends the repeating, got one; "
                f"end it by {'a trigger' if until.press == 'key' else 'a key'}",
                "repeat_until",
            )
        if until.bound is not None and until.input is None and len(self.waveforms) > 1:
            raise fault("expected an 'input' in the condition of several inputs, got none", "repeat_until")

    @property
    def counted(self) -> int:
        """How often it is played in any case, as far as a count says so; 1 where a time does."""
        return self.at_most if isinstance(self.at_most, int) else self.repeat

    @property
    def _waiting(self) -> list[shapes.Wait]:
        flat = (piece for each in self.waveforms.values() for piece in shapes.flat(self.own_pieces(each)))
        return [piece for piece in flat if isinstance(piece, shapes.Wait)]

    @property
    def waveforms(self) -> dict[str, InputWaveform]:
        """Input -> what it is given."""
        if self.inputs is not None:
            return self.inputs
        return {} if self.input is None else {self.input: self}

    def own_pieces(self, waveform: InputWaveform) -> tuple[Piece, ...]:
        """The pieces of a waveform's segments, with what 'advance' puts before each; a standard's: none."""
        pieces = waveform.pieces
        if self.advance == "by time":
            return pieces
        wait = shapes.Wait("trigger" if self.advance == "on trigger" else "key", self.time_out)
        return tuple(shapes.Repeat((wait, piece), 1) for piece in pieces)

    def at(self, name: str) -> Path:
        """Where the waveform of one input is written, from the shape on."""
        return ("inputs", name) if self.inputs is not None else ()

    def place(self, name: str, path: Positions, piece: Piece | None) -> Path:
        """Where a move (its path and piece) of one input is written, from the shape on."""
        base = self.at(name)
        waveform = self.waveforms[name]
        if waveform.segments is None or not path:
            return (*base, next(key for key in GIVEN if getattr(waveform, key) is not None))
        if self.advance != "by time":
            if len(path) == 2 and path[1] == 0:
                return ("advance",)
            path = (path[0], *path[2:])
        if len(path) == 1:
            return (*base, *waveform.places[path[0]]) if base else waveform.places[path[0]]
        return (*base, *_place(waveform.segments, path, piece))


def _place(segments: tuple[Segment, ...], path: Positions, piece: Piece | None) -> Path:
    number = path[0]
    segment, rest = segments[number], path[1:]
    if rest and segment.beside:
        rest = rest[1:]
    if rest and segment.segments is not None:
        return ("segments", number, *_place(segment.segments, rest, piece))
    return ("segments", number, _KEYS.get(type(piece), "repeat"))
