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

from railwright.assumptions import Assumption
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
        self.assumptions: list[Assumption] = []
        self._overrides = {name: _parse_override(name, text) for name, text in (overrides or {}).items()}
        self._used: set[str] = set()

    def uniform(self, name: str, low: float, high: float) -> float:
        """A figure between the bounds, drawn from the stream that belongs to its name."""
        import numpy as np

        stream = np.random.default_rng([self.seed, zlib.crc32(name.encode())])
        return low + (high - low) * float(stream.random())

    def choose(self, name: str, uncertain: Uncertain) -> float:
        """The true value of an uncertain parameter: overridden, or drawn uniformly within its bounds."""
        given = name in self._overrides
        if given:
            kind, number = self._overrides[name]
            value = uncertain.nominal * number if kind == "x" else number
            self._used.add(name)
        else:
            value = self.uniform(name, uncertain.low, uncertain.high)
        self.parameters[name] = TrueValue(value, uncertain.nominal, uncertain.low, uncertain.high, "", given)
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
        given = name in self._overrides
        if given:
            kind, number = self._overrides[name]
            value = bound * number if kind == "x" else number
            self._used.add(name)
        else:
            value = self.uniform(name, -bound, bound)
        self.errors[name] = TrueValue(value, 0.0, -bound, bound, unit, given)
        return value

    def _slow(self, name: str) -> float:
        """How many times its trip delay an output waits: once, where nothing else is given."""
        if name not in self._overrides:
            return 1.0
        self._used.add(name)
        return self._overrides[name][1]

    def assume(self, subject: str, text: str) -> None:
        """Declare what was taken where a document says nothing of an input or output."""
        self.take_over(Assumption(subject, text))

    def take_over(self, made: Assumption) -> None:
        """Declare what was assumed elsewhere, once."""
        if made not in self.assumptions:
            self.assumptions.append(made)

    def unused_overrides(self) -> list[str]:
        """Names of overrides that met no parameter."""
        return sorted(set(self._overrides) - self._used)

    def output(self, name: str, output: Output) -> OutputTruth:
        """The true errors of the output called 'supply.output'."""
        programming, reading = output.programming, output.reading
        ovp_accuracy = output.ovp.accuracy if output.ovp else None
        if output.ovp and ovp_accuracy is None:
            self.assume(name, "accuracy of the OVP is not given: it trips exactly at its level, assumed")
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
        accuracy, unit = document.measures, "V" if document.quantity == "voltage" else "A"
        resolution = accuracy.resolution or 0.0
        if accuracy.resolution is None:
            self.assume(name, "resolution of its readings is not given: no grid assumed")
        noise = accuracy.noise
        if noise is None:
            noise = ASSUMED_NOISE * resolution
            self.assume(
                name, "noise of its readings is not given: a third of the resolution (r.m.s.) assumed"
            )
        return SystematicError(
            self._off_by(f"{name}.reading.gain", accuracy.of_value, "1"),
            self._off_by(f"{name}.reading.offset", accuracy.offset, unit),
            resolution,
            noise,
        )

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
        name = f"{output_name}.{what}.{quantity}"
        its = f"of its {quantity} {what}{'s' if noisy else ''} is not given"
        accuracy: Accuracy | None = getattr(figures, quantity) if figures else None
        full_scale = output.current.high if of_current else output.voltage.high
        of_value, offset, resolution, noise = ASSUMED_OF_VALUE, ASSUMED_OFFSET * full_scale, 0.0, 0.0
        if accuracy is None:
            self.assume(output_name, f"accuracy {its}: 0.1 % + 0.1 % of full scale assumed")
        else:
            of_value, offset = accuracy.of_value, accuracy.offset
        if accuracy is not None and accuracy.resolution is not None:
            resolution = accuracy.resolution
        else:
            self.assume(output_name, f"resolution {its}: no grid assumed")
        if noisy and accuracy is not None and accuracy.noise is not None:
            noise = accuracy.noise
        elif noisy:
            noise = ASSUMED_NOISE * resolution
            self.assume(output_name, f"noise {its}: a third of the resolution (r.m.s.) assumed")
        return SystematicError(
            self._off_by(f"{name}.gain", of_value, "1"),
            self._off_by(f"{name}.offset", offset, unit),
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
