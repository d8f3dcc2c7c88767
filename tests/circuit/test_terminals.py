"""Wiring: shorts found by union-find agree with a plain search, and the chain that is named really shorts."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from railwright.circuit.terminals import Link, joined, minus, path, plus, shorted, spoken

TERMINALS = [f"t{index}" for index in range(6)]
OUTPUTS = ["a.1", "a.2", "b.1"]
NODES = [*TERMINALS, *(plus(each) for each in OUTPUTS), *(minus(each) for each in OUTPUTS)]
LINKS = st.lists(
    st.builds(Link, st.sampled_from(NODES), st.sampled_from(NODES), st.sampled_from(["lead", "earth"])),
    max_size=14,
)


def reachable(links: list[Link]) -> set[tuple[str, str]]:
    """Every pair of terminals that is joined, by closing the relation step by step."""
    pairs = {(node, node) for node in NODES} | {(link.one, link.other) for link in links}
    pairs |= {(other, one) for one, other in pairs}
    for middle in NODES:
        pairs |= {(a, b) for a in NODES for b in NODES if (a, middle) in pairs and (middle, b) in pairs}
    return pairs


@given(LINKS)
def test_joined_terminals_are_those_that_can_be_reached(links: list[Link]) -> None:
    sets, pairs = joined(links), reachable(links)
    for one in NODES:
        for other in NODES:
            assert sets.together(one, other) == ((one, other) in pairs)


@given(LINKS)
def test_shorted_outputs_and_their_chains(links: list[Link]) -> None:
    pairs = reachable(links)
    found = shorted(links, OUTPUTS)
    assert set(found) == {output for output in OUTPUTS if (plus(output), minus(output)) in pairs}
    for output, chain in found.items():
        at = plus(output)
        for link in chain:
            assert link in links
            assert at in (link.one, link.other)
            at = link.other if link.one == at else link.one
        assert at == minus(output)


def test_no_path_is_empty() -> None:
    assert path([Link("t0", "t1", "lead")], "t0", "t2") == []


def test_a_chain_in_words() -> None:
    links = [Link("a.1 +", "t0", "lead 'x'"), Link("a.1 −", "t0", "common return")]
    chain = shorted(links, ["a.1"])["a.1"]
    assert spoken(chain, "a.1 +") == "a.1 + → t0 (lead 'x') → a.1 − (common return)"
