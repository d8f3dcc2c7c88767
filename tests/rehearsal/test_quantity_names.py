"""Names of uncertain quantities: a text with what it is of and which field, in every circuit."""

import copy
import pickle

from railwright.circuit.case import QuantityName
from railwright.quantities import Uncertain
from railwright.rehearsal.corners import quantities_of

SPREAD = Uncertain(1.0, 0.9, 1.1)


def test_a_name_is_the_text_and_its_parts():
    name = QuantityName("left.1", "voltage_gain")
    assert (name, name.of, name.field) == ("left.1.voltage_gain", "left.1", "voltage_gain")
    deep = QuantityName("main", "capacitor_2", "capacitance")
    assert (deep, deep.of, deep.field) == ("main.capacitor_2.capacitance", "main", "capacitance")
    for each in (name, deep):
        for again in (copy.deepcopy(each), pickle.loads(pickle.dumps(each))):
            assert (again, again.of, again.field) == (each, each.of, each.field)


def test_quantities_of_an_input_are_its_own_and_those_of_its_outputs():
    names = [
        QuantityName("main", "lead", "resistance"),
        QuantityName("main 2", "lead", "resistance"),
        QuantityName("left.1", "limit_gain"),
        QuantityName("left.10", "limit_gain"),
        QuantityName("main", "converter", "efficiency"),
    ]
    assert quantities_of("main", ("left.1",), dict.fromkeys(names, SPREAD)) == [0, 2, 4]
