"""A conductor as it is bought: a wire gauge, or a section with its class."""

import re
from dataclasses import dataclass
from typing import Any, Self

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import core_schema

from railwright.physics.conductors import IEC_60228_MAXIMUM, awg_area, maximum_resistance_per_metre
from railwright.quantities import parse_value, quoted


@dataclass(frozen=True, slots=True)
class Conductor:
    """`AWG 18`, or `0.5 mm2 class 5` (IEC 60228).

    gauge: AWG number (ASTM B258), negative for 2/0 (-1) to 4/0 (-3), None for a metric conductor.
    area [m²] and iec_class: of a metric conductor, else None.
    """

    text: str
    gauge: int | None
    area: float | None
    iec_class: int | None

    @property
    def section(self) -> float:
        """Cross-section of one conductor [m²], a gauge's by ASTM B258."""
        if self.gauge is not None:
            return awg_area(self.gauge)
        assert self.area is not None, "a conductor has a gauge or a section"
        return self.area

    @classmethod
    def parse(cls, text: object) -> Self:
        """The conductor that a document names; ValueError where it is none."""
        if isinstance(text, cls):
            return text
        expected = f"expected a conductor such as 'AWG 18' or '0.5 mm2 class 5', got {quoted(text)}"
        if not isinstance(text, str) or len(text) > 60:
            raise ValueError(expected)
        if match := re.fullmatch(r"\s*AWG\s*(?:(\d{1,2})|([1-4])/0)\s*", text, re.IGNORECASE | re.ASCII):
            gauge = int(match[1]) if match[1] else 1 - int(match[2])
            if gauge > 40:
                raise ValueError(f"{expected}; gauges go from AWG 4/0 to AWG 40")
            return cls(text.strip(), gauge, None, None)
        if match := re.fullmatch(r"\s*(\S.*?)\s+class\s+(\d)\s*", text, re.ASCII):
            if match[2] not in "1256":
                raise ValueError(f"{expected}; classes are 1, 2, 5 and 6")
            area = parse_value(match[1], "m**2")
            if remedy := _not_made(area, int(match[2])):
                raise ValueError(f"{expected}; {remedy}")
            return cls(text.strip(), None, area, int(match[2]))
        if re.fullmatch(r"\s*\d+(\.\d+)?\s*mm(2|²)\s*", text, re.ASCII):
            raise ValueError(f"{expected}; add its class, such as '{text.strip()} class 5'")
        raise ValueError(expected)

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(cls.parse)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {"type": "string", "description": "a conductor", "examples": ["AWG 18", "0.5 mm2 class 5"]}


def _not_made(area: float, iec_class: int) -> str:
    """What to write instead of a section [m²] that IEC 60228 does not have in a class; '' where it has it."""
    try:
        maximum_resistance_per_metre(area, iec_class)
    except ValueError as error:
        sections = sorted(IEC_60228_MAXIMUM[iec_class])
        near = [s for s in sections if s < area * 1e6][-1:] + [s for s in sections if s > area * 1e6][:1]
        others = [f"{section:g} mm2 class {iec_class}" for section in near]
        if area > 0.0 and (gauge := min(range(-3, 41), key=lambda n: abs(awg_area(n) / area - 1.0))) > 0:
            others.append(f"AWG {gauge}")
        return f"{error}: write what it is nearest to, {' or '.join(others)}"
    return ""
