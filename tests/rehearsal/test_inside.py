"""A device with a fuse, a diode, a choke and a capacitor inside: from its document to what is predicted."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from tests.bench import DEVICE, PROCEDURE, demo_with
from tests.said import says
from tests.settings.station import TODAY

from railwright.documents.sources import DocumentErrors
from railwright.evaluation.evaluate import evaluate
from railwright.rehearsal.faults import rehearse_faults
from railwright.rehearsal.rehearse import rehearse
from railwright.rehearsal.starts import starts
from railwright.settings.settle import settle

LOAD = "    load:                                # parts in parallel\n"
FUSE = "fuse: {curve: [{current: 2 A, time: 1 h}, {current: 5 A, time: 1 s}], resistance: 20 mohm}"
DIODE = "diode: {drop: 400 mV, resistance: 40 mohm}"
ALL = f"{FUSE}, {DIODE}, choke: {{inductance: 10 uH, resistance: 30 mohm}}, capacitor: 22 uF"
REQUIRES = """requires:
  - {name: Q, measure: inrush_charge, of: main, during: first power, within: 40 ms, at_most: 30 mC}
  - {name: heat, measure: inrush_i2t, of: main, during: first power, within: 40 ms, at_most: 20e-3 A²s}
"""


def inside(text: str) -> tuple[str, str, str]:
    return (DEVICE, LOAD, f"    inside: {{{text}}}\n{LOAD}")


def test_what_is_required_is_seen_through_it(tmp_path: Path) -> None:
    """Stops at 7.6 V behind 0.4 V and 90 mΩ at 3.6 W / 86 % / 7.6 V: 8.05 V at the connector. At 12 V the
    1.022 mF behind the diode take 11.6 V.
    """
    text = ALL.replace("capacitor: 22 uF", "capacitor: {capacitance: 22 uF, esr: 5 mohm}")
    plain = demo_with(tmp_path / "plain", (PROCEDURE, "requires:\n", REQUIRES))
    with_it = demo_with(tmp_path / "inside", inside(text), (PROCEDURE, "requires:\n", REQUIRES))
    found = {}
    for name, documents in (("plain", plain), ("inside", with_it)):
        settings = settle(documents, TODAY)
        record = rehearse(documents, settings.set_points).record
        results = evaluate(documents, settings.set_points, record).results
        found[name] = {each.requirement: each.measured for each in results}
        ends = starts(documents, settings.set_points).values()
        assert {each.outcome for each in ends} == {"reaches its point"}
    stops = {name: each["stops at"].value for name, each in found.items()}
    assert stops["inside"] - stops["plain"] == pytest.approx(0.4 + 0.09 * 3.6 / 0.86 / 7.6, abs=0.02)
    # 8.8 V come after 9 ms at the limit of 1 A, and half of the soft start draws nothing.
    drawn = 3.6 / 0.86 / 11.55 * (40e-3 - 9e-3 - 4e-3)
    charge = found["inside"]["Q"].value
    assert charge == pytest.approx(1.022e-3 * 11.56 + drawn, rel=0.05)
    assert found["inside"]["heat"].value >= charge**2 / 40e-3


def test_a_reversed_lead_is_told_by_what_the_diode_is_known_to_block(tmp_path: Path) -> None:
    bare = (DEVICE, "      - {reverse: 16 V}                  # protected; leave out when it is not\n", "")
    for diode, borne in ((DIODE, None), (DIODE.replace("}", ", blocks: 40 V}"), True)):
        documents = demo_with(tmp_path / f"{borne}", bare, inside(diode))
        settings = settle(documents, TODAY)
        report = rehearse_faults(documents, settings.set_points)
        (result,) = [each for each in report.results if (each.fault, each.input) == ("reversed", "main")]
        permitted = [each.permitted for each in result.stresses if each.reverse]
        assert permitted == ([None] if borne is None else [math.inf, 0.0])
        assert abs(result.peak_current) < 0.2
        assert says(result.note, "diode inside blocks")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{}", ("expected at least one of fuse, diode, choke, capacitor",)),
        ("{choke: {inductance: 0 H}}", ("inductance", "above zero", "0 H")),
        ("{diode: {drop: 0.4 V, blocks: 0 V}}", ("above zero", "0 V")),
        ("{switch: {starts: closed}}", ("switch",)),
    ],
)
def test_what_is_said_of_a_wrong_inside(text: str, words: tuple[str, ...], tmp_path: Path) -> None:
    with pytest.raises(DocumentErrors) as refused:
        demo_with(tmp_path / "demo", (DEVICE, LOAD, f"    inside: {text}\n{LOAD}"))
    assert says(str(refused.value), DEVICE, *words)
