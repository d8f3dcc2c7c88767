"""Every wire in words: which terminal goes to which, and which are kept apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.report.hook_ups import PARALLEL, SERIES, changed

from railwright.documents.loader import Documents
from railwright.report.sheet_wires import wires


def test_every_wire_of_the_demo_is_there_and_no_other(documents: Documents) -> None:
    assert list(wires(documents)) == [
        "Lead 'silicone pair' (AWG 18, 1.5 m for each conductor, up to 8 A): left.1 + to main +; left.1 − to "
        "main −.",
        "Sense leads, a twisted pair: left.1 s+ to main +, left.1 s− to main −, at the input's connector.",
        "Lead 'thin pair' (0.5 mm² class 5, 2 m for each conductor, up to 3 A): right.1 + to transducer +; "
        "right.1 − to transducer −.",
        "Sense of right.1: s+ to +, s− to −, at the output itself (links, or the output's setting).",
        "Inside the device the − of main and transducer are joined (0 V): join nothing outside.",
        "Nothing is tied to earth: outputs and device float.",
        "Every supply keeps the protective earth of its own mains plug.",
    ]


def test_a_series_pair_has_its_link_and_senses_at_the_ends_of_the_chain(tmp_path: Path) -> None:
    words = " ".join(wires(changed(tmp_path, SERIES)))
    assert "Link (0.5 mm² class 5 or thicker), at the output terminals: left.1 − to left.2 +." in words
    assert "left.1 + to transducer +; left.2 − to transducer −." in words
    assert "left.1 s+ to transducer +, left.2 s− to transducer −" in words
    assert "inside the chain to their own output's terminals: left.1 s−, left.2 s+." in words


def test_a_parallel_pair_has_its_links_and_all_of_it_senses_at_the_load(tmp_path: Path) -> None:
    words = " ".join(wires(changed(tmp_path, PARALLEL)))
    assert "at the output terminals: left.1 + and left.2 + joined." in words
    assert "at the output terminals: left.1 − and left.2 − joined." in words
    assert "the joined + to main +; the joined − to main −." in words
    assert "Sense: left.1 s+ and left.2 s+ joined, left.1 s− and left.2 s− joined, at the output" in words
    assert "one twisted pair: the joined s+ to main +, the joined s− to main −" in words


def test_a_negative_rail_is_wired_to_0_v_and_minus(documents: Documents) -> None:
    """Its 0 V is where the output's + goes; nothing on the sheet may send anybody to another terminal."""
    rail = documents.device.inputs["transducer"].model_copy(update={"rail": "negative"})
    device = documents.device.model_copy(update={"inputs": {**documents.device.inputs, "transducer": rail}})
    lines = list(wires(replace(documents, device=device)))
    (lead,) = [line for line in lines if line.startswith("Lead 'thin pair'")]
    assert "right.1 + to transducer 0 V; right.1 − to transducer −." in lead
    assert (
        "Inside the device the − of main and the 0 V of transducer are joined (0 V): join nothing outside."
        in lines
    )


@pytest.mark.parametrize(
    ("isolated", "said"),
    [
        (["main"], ["Do not join main − with transducer −: main is isolated."]),
        (["transducer"], ["Do not join transducer − with main −: transducer is isolated."]),
        (["main", "transducer"], ["Do not join main − with transducer −: main is isolated."]),
        ([], []),
    ],
)
def test_an_isolated_input_is_kept_apart(documents: Documents, isolated: list[str], said: list[str]) -> None:
    inputs = {
        name: given.model_copy(update={"returns": "isolated"}) if name in isolated else given
        for name, given in documents.device.inputs.items()
    }
    device = documents.device.model_copy(update={"inputs": inputs})
    lines = list(wires(replace(documents, device=device)))
    assert [line for line in lines if line.startswith("Do not join")] == said
    assert sum("join nothing outside" in line for line in lines) == (not isolated)
