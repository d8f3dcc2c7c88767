"""How things look on every plot and page: one colour an input, patterns for modes, shapes for outcomes.

Colours tell inputs apart and nothing else. Modes are told by pattern and word, outcomes by shape and word,
and where a trace comes from (rehearsed, read, recorded) by the form of its line.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from railwright.evaluation.outcome import Outcome
from railwright.traces import Mode

INK = "#1c1c1c"
FAINT = "#767676"
SMALL = "#505050"
"""Grey of small print that is read at the bench."""
HAIR = "#d4d4d4"

INPUT_COLOURS = ("#0072b2", "#d55e00", "#8f3f97", "#00795b", "#7a5c00", "#4d4d4d")
"""After the palette of Okabe and Ito (2008), darkened where a thin line on white paper needs it."""


PALE = 0.45
"""What is left of an input's colour in the broad line of the rehearsal: seen on paper, and beside the full
colour, also where both are printed in grey."""


def colours(inputs: Iterable[str]) -> dict[str, str]:
    """Colour of each input, by its place in the device document; the palette starts again after six."""
    return {name: INPUT_COLOURS[place % len(INPUT_COLOURS)] for place, name in enumerate(inputs)}


def tint(colour: str, part: float) -> str:
    """The colour mixed with white: part 1 is the colour itself, 0 is white."""
    channels = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(255 - (255 - channel) * part):02x}" for channel in channels)


@dataclass(frozen=True, slots=True)
class ModeLook:
    """Word and pattern of a mode; the pattern is a matplotlib hatch, grey on white."""

    word: str
    short: str
    hatch: str
    ground: str


MODES: Mapping[Mode, ModeLook] = {
    Mode.OFF: ModeLook("off", "off", "", "#ffffff"),
    Mode.CV: ModeLook("constant voltage", "CV", "", "#ececec"),
    Mode.CC: ModeLook("current limit", "CC", "//////", "#ffffff"),
    Mode.CP: ModeLook("power limit", "CP", "......", "#ffffff"),
    Mode.TRIPPED: ModeLook("tripped", "tripped", "xxxxxx", "#ffffff"),
}

OUTCOME_SHAPES: Mapping[Outcome, str] = {
    Outcome.PASS: "disc",
    Outcome.FAIL: "cross",
    Outcome.INCONCLUSIVE: "triangle",
    Outcome.NOT_JUDGED: "dash",
}

RC: Mapping[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 7.0,
    "axes.linewidth": 0.5,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.labelsize": 7.0,
    "axes.titlesize": 7.5,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 6.5,
    "ytick.labelsize": 6.5,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "grid.color": HAIR,
    "grid.linewidth": 0.4,
    "hatch.linewidth": 0.45,
    "legend.fontsize": 6.5,
    "legend.frameon": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "railwright",
    "text.parse_math": False,
    "path.simplify": False,
    "savefig.facecolor": "white",
}
"""matplotlib settings of every figure; user text is never parsed as mathematics, and SVG ids do not vary."""
