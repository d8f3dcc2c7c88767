"""Supply immunity tests of standards, one file a standard; their figures are data (figures.yaml)."""

from __future__ import annotations

from railwright.waveforms.standards import en_50155, iec_61000_4_29, iso_16750_2, mil_std_704, rtca_do_160
from railwright.waveforms.standards.figures import Figure, StandardFigures
from railwright.waveforms.standards.kinds import (
    Choice,
    NoSuchChoice,
    Permitted,
    Test,
    open_choices,
)

TESTS: dict[str, Test] = {
    test.name: test
    for module in (iec_61000_4_29, iso_16750_2, en_50155, mil_std_704, rtca_do_160)
    for test in module.TESTS
}
"""Every test under the name by which a procedure writes it."""

__all__ = [
    "TESTS",
    "Choice",
    "Figure",
    "NoSuchChoice",
    "Permitted",
    "StandardFigures",
    "Test",
    "open_choices",
]
