"""A device that stops and starts again is said to, wherever it is said: rehearsed, read, recorded.

The truth is worked out here: the station's converter draws P from C = 1000 uF ± 20 %, so it lives on for
t = C (V0² - V_stop²) / 2 P after its supply is gone: 12 V, 7.6 V and 4.2 W give 10.3 ms, and the bounds 7 and
15 ms.
A dip is far shorter or longer than that, or stays above 7.8 V.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.truth.saying import HEAD, case_documents, said_of, station
from tests.truth.table import TruthTable

TAIL = """
  - power_down: {order: [transducer, main], gap: 20 ms}
    name: down
"""

DIP = "{step_to: 4.8 V}, {hold: 100 ms}, {step_to: 12 V}"


def shape(name: str, segments: str, more: str = "") -> str:
    return f"shape: {{input: main, segments: [{segments}]{more}}}, name: {name}"


UP_AGAIN = "power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 450 ms}, name: again"
BEFORE, AFTER = ("hold: 400 ms, name: " + name for name in ("before", "after"))
CASES: dict[str, tuple[list[str], dict[str, int], str]] = {
    # Steps after the power-up; each step's restarts; time between two readings.
    "one dip at the step's edge": (
        [BEFORE, shape("dip", f"{DIP}, {{hold: 900 ms}}"), AFTER],
        {"up": 0, "before": 0, "dip": 1, "after": 0},
        "10 ms",
    ),
    "two dips": (
        [shape("dip", f"{DIP}, {{hold: 500 ms}}, {DIP}, {{hold: 500 ms}}"), AFTER],
        {"dip": 2, "after": 0},
        "10 ms",
    ),
    "three dips, read slowly": (
        [shape("dip", f"{{hold: 300 ms}}, {DIP}, {{hold: 500 ms}}", ", repeat: 3")],
        {"dip": 3},
        "20 ms",
    ),
    "a dip that ends with its step": (
        [
            shape("dip", "{hold: 600 ms}, {step_to: 4.8 V}, {hold: 300 ms}"),
            shape("back", "{step_to: 12 V}, {hold: 500 ms}"),
            AFTER,
        ],
        {"dip": 1, "back": 1, "after": 0},
        "10 ms",
    ),
    "away for a whole step": (
        [
            shape("dip", "{hold: 600 ms}, {step_to: 4.8 V}, {hold: 200 ms}"),
            "hold: 300 ms, name: low",
            shape("back", "{step_to: 12 V}, {hold: 800 ms}"),
            AFTER,
        ],
        {"dip": 1, "low": 1, "back": 1, "after": 0},
        "10 ms",
    ),
    "a dip that is not deep enough": (
        [BEFORE, shape("dip", "{step_to: 9 V}, {hold: 100 ms}, {step_to: 12 V}, {hold: 500 ms}")],
        {"before": 0, "dip": 0},
        "10 ms",
    ),
    "an interruption": (
        [shape("dip", "{hold: 300 ms}, {off_for: 300 ms}, {hold: 1 s}"), AFTER],
        {"dip": 1, "after": 0},
        "10 ms",
    ),
    "three interruptions, the first at the edge": (
        [shape("dip", "{off_for: 300 ms}, {hold: 700 ms}", ", repeat: 3")],
        {"dip": 3},
        "10 ms",
    ),
    "taken down and up again": (
        ["power_down: {order: [transducer, main], gap: 20 ms}, name: rest", "hold: 500 ms", UP_AGAIN, AFTER],
        {"again": 0, "after": 0},
        "10 ms",
    ),
}


def procedure(steps: list[str], counts: dict[str, int], every: str) -> str:
    lines = [f"  - {{{step}}}" for step in steps]
    wanted = [
        f"  - {{name: {name}, measure: restarts, of: main, during: {name}, at_most: 0}}" for name in counts
    ]
    return (
        "procedure: Drop-outs\n"
        + HEAD
        + "\n".join(lines)
        + TAIL
        + f"record: {{every: {every}}}\nrequires:\n"
        + "\n".join(wanted)
        + "\n"
    )


@pytest.mark.case("dip-restart")
@pytest.mark.parametrize("name", CASES)
def test_restarts_are_what_the_device_did(name: str, tmp_path: Path, truth_table: TruthTable) -> None:
    steps, counts, every = CASES[name]
    said = said_of(station(tmp_path, procedure(steps, counts, every)), seed=3)
    for step, count in counts.items():
        told = {place: words(each[step]) for place, each in said.items()}
        truth_table.compare(f"restarts in '{step}'", words((count, "fail" if count else "pass")), told)


@pytest.mark.case("dip-restart")
@pytest.mark.parametrize("level", ["40 %", "10 %"])
def test_as_it_was_found(level: str, tmp_path: Path, truth_table: TruthTable) -> None:
    """40 % and 10 % of 12 V are below the 7.4 V at which the converter stops at the latest."""
    path = case_documents("dip-restart", tmp_path) / "dip.procedure.yaml"
    path.write_text(path.read_text("utf-8").replace("level: 40 %", f"level: {level}"), "utf-8")
    told = {place: words(each["rides through the dip"]) for place, each in said_of(path, seed=3).items()}
    truth_table.compare("restarts in 'dip'", "1, fail", told)


def words(said: tuple[float | None, str]) -> str:
    """A number of restarts, and what it comes out as."""
    count, outcome = said
    return f"{count}, {outcome}" if count is None else f"{count:g}, {outcome}"
