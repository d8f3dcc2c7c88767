"""What is true behind a twin: errors and parameters drawn once from a seed inside what the documents allow.

Every figure has a random stream of its own, keyed by its name, so that one more input or output changes no
other figure.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from railwright.assumptions import Assumption, Assumptions
from railwright.documents.bench import (
    CurrentAccuracy,
    Multimeter,
    Output,
    Programming,
    Reading,
    VoltageAccuracy,
)
from railwright.quantities import Dimension, Uncertain

Accuracy = VoltageAccuracy | CurrentAccuracy

ASSUMED_OF_VALUE = 1e-3
ASSUMED_OFFSET = 1e-3  # of full scale
ASSUMED_UPDATE = 50e-3
ASSUMED_NOISE = 1 / 3  # of the resolution, r.m.s.


@dataclass(frozen=True, slots=True)
class SystematicError:
    """What a set or read value is off by, the same every time: value · (1 + gain) + offset, on a grid, with
    noise.
    """

    gain: float
    offset: float
    resolution: float
    noise: float

    def on_grid(self, value: float) -> float:
        """The nearest value of the grid; a resolution of 0 is no grid."""
        return round(value / self.resolution) * self.resolution if self.resolution else value

    def apply(self, value: float) -> float:
        """The value with its systematic error, off the grid and without noise."""
        return value * (1 + self.gain) + self.offset


@dataclass(frozen=True, slots=True)
class OutputTruth:
    """The true errors of one output. phase: where in the update interval its readings fall, 0..1. slow: how
    many times its trip delay it waits.
    """

    set_voltage: SystematicError
    set_current: SystematicError
    read_voltage: SystematicError
    read_current: SystematicError
    ovp_offset: float
    phase: float
    slow: float = 1.0


@dataclass(frozen=True, slots=True)
class TrueValue:
    """A true figure in SI units, and where it came from: the nominal value and the bounds of the documents.

    given: it was overridden, not drawn.
    """

    value: float
    nominal: float
    low: float
    high: float
    unit: str
    given: bool = False


class Truth:
    """Draws, remembers and overrides true parameters; the same seed and name always give the same value.

    parameters: of the circuit, by name. errors: of the outputs, gain [1] and offset [V or A] of what they set
    and read, and of their OVP. overrides: name -> factor on the nominal value ("x1.3") or a value in SI units
    ("=0.0013"); names as in `parameters`, such as `main.capacitor.capacitance` or `main.lead.resistance`; or
    as in `errors`, such as `left.1.reading.voltage.gain`, whose factor is one on its bound; or the factor on
    an output's trip delay, such as `left.1.trip_delay`.
    """

    def __init__(self, seed: int, overrides: Mapping[str, str] | None = None) -> None:
        self.seed = seed
        self.parameters: dict[str, TrueValue] = {}
        self.errors: dict[str, TrueValue] = {}
        self.assumptions = Assumptions()
        self._overrides = {name: _parse_override(name, text) for name, text in (overrides or {}).items()}
        self._used: set[str] = set()

    def uniform(self, name: str, low: float, high: float) -> float:
        """A figure between the bounds, drawn from the stream that belongs to its name."""
        import numpy as np

        stream = np.random.default_rng([self.seed, zlib.crc32(name.encode())])
        return low + (high - low) * float(stream.random())

    def _drawn(self, name: str, low: float, high: float, whole: float) -> float:
        """As it is overridden, where by a factor then of `whole`; else drawn uniformly between the bounds."""
        if name not in self._overrides:
            return self.uniform(name, low, high)
        self._used.add(name)
        kind, number = self._overrides[name]
        return whole * number if kind == "x" else number

    def choose(self, name: str, uncertain: Uncertain) -> float:
        """The true value of an uncertain parameter: overridden, or drawn uniformly within its bounds."""
        nominal, low, high = uncertain.nominal, uncertain.low, uncertain.high
        value = self._drawn(name, low, high, nominal)
        self.parameters[name] = TrueValue(value, nominal, low, high, "", name in self._overrides)
        return value

    def know_units(self, units: Mapping[str, str]) -> None:
        """Name the SI units of parameters that were chosen without."""
        for name, unit in units.items():
            self.parameters[name] = replace(self.parameters[name], unit=unit)

    def check_given(self, name: str, dimension: Dimension) -> None:
        """ValueError where the value was given, and is none that a document could give for it."""
        true = self.parameters[name]
        if true.given:
            unit = "" if dimension.unit == "1" else f" {dimension.unit}"
            try:
                replace(dimension, shape="value").parse(f"{true.value!r}{unit}")
            except ValueError as error:
                raise ValueError(f"{name}: {error}") from None

    def _off_by(self, name: str, bound: float, unit: str) -> float:
        """An error within ± a bound, or as it is given."""
        value = self._drawn(name, -bound, bound, bound)
        self.errors[name] = TrueValue(value, 0.0, -bound, bound, unit, name in self._overrides)
        return value

    def _slow(self, name: str) -> float:
        """How many times its trip delay an output waits: once, where nothing else is given."""
        if name not in self._overrides:
            return 1.0
        self._used.add(name)
        return self._overrides[name][1]

    def unused_overrides(self) -> list[str]:
        """Names of overrides that met no parameter."""
        return sorted(set(self._overrides) - self._used)

    def output(self, name: str, output: Output) -> OutputTruth:
        """The true errors of the output called 'supply.output'."""
        programming, reading = output.programming, output.reading
        ovp_accuracy = output.ovp.accuracy if output.ovp else None
        if output.ovp and ovp_accuracy is None:
            self.assumptions.add(
                name, "accuracy of the OVP is not given: it trips exactly at its level, assumed"
            )
        spread = ovp_accuracy or 0.0
        return OutputTruth(
            self._error(name, "programming", programming, output),
            self._error(name, "programming", programming, output, of_current=True),
            self._error(name, "reading", reading, output, noisy=True),
            self._error(name, "reading", reading, output, of_current=True, noisy=True),
            self._off_by(f"{name}.ovp", spread, "V"),
            self.uniform(f"{name}.phase", 0.0, 1.0),
            self._slow(f"{name}.trip_delay"),
        )

    def multimeter(self, name: str, document: Multimeter) -> SystematicError:
        """The true errors of a multimeter's readings."""
        unit = "V" if document.quantity == "voltage" else "A"
        return self._within(document.measures, unit, name, f"{name}.reading", "its readings")

    def _error(
        self,
        output_name: str,
        what: str,
        figures: Programming | Reading | None,
        output: Output,
        *,
        of_current: bool = False,
        noisy: bool = False,
    ) -> SystematicError:
        quantity, unit = ("current", "A") if of_current else ("voltage", "V")
        which = f"its {quantity} {what}{'s' if noisy else ''}"
        accuracy: Accuracy | None = getattr(figures, quantity) if figures else None
        if accuracy is None:
            full_scale = output.current.high if of_current else output.voltage.high
            kind = CurrentAccuracy if of_current else VoltageAccuracy
            accuracy = kind.model_construct(of_value=ASSUMED_OF_VALUE, offset=ASSUMED_OFFSET * full_scale)
            told = f"accuracy of {which} is not given: 0.1 % + 0.1 % of full scale assumed"
            self.assumptions.add(output_name, told)
        return self._within(
            accuracy, unit, output_name, f"{output_name}.{what}.{quantity}", which, noisy=noisy
        )

    # Many: what a figure is called, and what its error is within.
    def _within(
        self, accuracy: Accuracy, unit: str, subject: str, name: str, which: str, *, noisy: bool = True
    ) -> SystematicError:
        """An error within an accuracy, whose resolution and noise are assumed where they are not given."""
        resolution, noise = accuracy.resolution, accuracy.noise if noisy else 0.0
        if resolution is None:
            resolution = 0.0
            self.assumptions.add(subject, f"resolution of {which} is not given: no grid assumed")
        if noise is None:
            noise = ASSUMED_NOISE * resolution
            told = f"noise of {which} is not given: a third of the resolution (r.m.s.) assumed"
            self.assumptions.add(subject, told)
        return SystematicError(
            self._off_by(f"{name}.gain", accuracy.of_value, "1"),
            self._off_by(f"{name}.offset", accuracy.offset, unit),
            resolution,
            noise,
        )


def truth_data(
    seed: int,
    parameters: Mapping[str, TrueValue],
    errors: Mapping[str, TrueValue],
    assumptions: Sequence[Assumption],
) -> dict[str, Any]:
    """What is true behind simulated supplies, as data for a JSON file."""
    return {
        "seed": seed,
        "parameters": {name: asdict(true) for name, true in parameters.items()},
        "errors": {name: asdict(true) for name, true in errors.items()},
        "assumptions": [str(each) for each in assumptions],
    }


def _parse_override(name: str, text: str) -> tuple[str, float]:
    kind, digits = text[:1], text[1:]
    try:
        number = float(digits)
    except ValueError:
        number = math.nan
    if kind not in ("x", "=") or not math.isfinite(number):
        raise ValueError(
            f"expected 'x1.3' (a factor) or '=0.0013' (a value in SI units) for {name}, got '{text}'"
        )
    return kind, number
