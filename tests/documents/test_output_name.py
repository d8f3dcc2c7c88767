"""The name of an output is a text with its supply and its own name as fields."""

import copy
import json
import pickle

import pytest

from railwright.documents.output_name import OutputName


def test_it_is_the_text_and_its_two_parts():
    name = OutputName("bench supply.1")
    assert (name, name.supply, name.output) == ("bench supply.1", "bench supply", "1")
    assert name == OutputName.of("bench supply", "1")
    assert {name: 1}["bench supply.1"] == 1
    assert json.dumps({name: name}) == '{"bench supply.1": "bench supply.1"}'


@pytest.mark.parametrize("text", ["", "left", "left.", ".1", "."])
def test_a_text_without_both_parts_is_none(text):
    with pytest.raises(ValueError, match=r"expected an output as 'supply\.output', got '"):
        OutputName(text)


def test_the_parts_survive_copies_and_other_processes():
    name = OutputName("left.2")
    for again in (copy.copy(name), copy.deepcopy(name), pickle.loads(pickle.dumps(name))):
        assert (type(again), again.supply, again.output) == (OutputName, "left", "2")
