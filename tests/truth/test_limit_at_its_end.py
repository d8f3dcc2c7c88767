"""A written current limit is said to let more through than the input bears, where its load asks for that
before the limit has responded.

The truth by hand: a capacitor that is charged at a rate asks for C dV/dt beside what its load draws, at once,
and the limit has its response time to come down to it. The documents are those with which it was found, with
other figures, and a power-up alone.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.truth.table import CASES, TruthTable

from railwright.job import Job

LOAD = 0.275 + 15.0 / 209.0
"""Most that the constant current and the resistor draw [A]."""


def documents(folder: Path, farads: str, rate: str, limit: str, at_most: str) -> Path:
    for name in ("b", "d", "p"):
        text = (CASES / "limit-at-its-end" / f"{name}.yaml").read_text("utf-8")
        text = text.replace("2200 uF", farads).replace("at_most: 3 A", f"at_most: {at_most}")
        text = text.replace("rise: 3 V/ms", f"rise: {rate}").replace(
            "current_limit: 2.988 A", f"current_limit: {limit}"
        )
        if "  - shape:" in text:
            text = text[: text.index("  - shape:")] + text[text.index("record:") :]
        (folder / f"{name}.yaml").write_text(text, "utf-8")
    return folder / "p.yaml"


@pytest.mark.case("limit-at-its-end")
@pytest.mark.parametrize(
    ("farads", "rate", "limit", "at_most"),
    [
        (2200, 3.0, 2.988, 3.0),
        (2200, 2.0, 2.4, 2.5),
        (1000, 3.5, 1.98, 2.0),
        (4700, 1.0, 3.48, 3.5),
        # It asks for less than the input bears, whatever the limit would let through.
        (2200, 0.5, 2.988, 3.0),
        (470, 2.0, 1.98, 2.0),
    ],
)
def test_a_written_limit_at_its_window_s_end(
    farads: float, rate: float, limit: float, at_most: float, tmp_path: Path, truth_table: TruthTable
) -> None:
    asks = 1.2 * farads * 1e-6 * rate * 1e3 + LOAD
    assert not at_most < asks < 1.1 * at_most, "too near to tell by hand"
    path = documents(tmp_path, f"{farads} uF", f"{rate} V/ms", f"{limit} A", f"{at_most} A")
    settings = Job.open(path).check().settings
    said = "limit-overshoot" in {each.rule for each in settings.findings}
    (window,) = [each for each in settings.windows if each.setting == "current_limit"]
    ends = {end.key for end in window.ends}
    assert ("responding" in ends) == said, "the window is narrower than what a finding tells"
    truth_table.compare(
        f"more than {at_most:g} A may flow before the limit has responded", asks > at_most, said
    )
