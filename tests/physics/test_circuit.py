"""A circuit that makes no sense is refused with one clear sentence."""

import pytest
from tests.physics.bench import STAGE, capacitor, converter, single

from railwright.physics.circuit import Branch, Circuit, Lead, Load


def test_states_are_named_for_people():
    branch = single(capacitor(1e-3), converter())
    assert tuple(map(str, branch.states))[-3:] == (
        "main: lead current",
        "main: connector voltage",
        "main: load 1 (capacitor), capacitor voltage",
    )
    assert {state.element for state in branch.states[-3:]} == {"main"}
    assert len(branch.states) == 7


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Lead(-1.0, 1e-6), "resistance of 0 Ω or more"),
        (lambda: Lead(1.0, 0.0), "inductance above 0 H"),
        (lambda: Load("candle", {}), "unknown load 'candle'"),
        (lambda: Load("resistor", {"ohms": 1.0}), "needs values for resistance"),
        (lambda: Branch("main", ("a", "b"), (STAGE,), Lead(0.1, 1e-6)), "one output stage for each"),
        (
            lambda: Branch("main", ("a",), (STAGE,), Lead(0.1, 1e-6), arrangement="series"),
            "cannot be 'series'",
        ),
        (lambda: Circuit((single(), single())), "more than once"),
        (lambda: Circuit((single(),), {"main": ("moon",)}), "names 'moon'"),
    ],
)
def test_nonsense_is_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
