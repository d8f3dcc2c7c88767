"""What a stop condition watches: the quantity, the side and the value as fields."""

import pytest

from railwright.documents.procedure import StopCondition
from railwright.documents.repeating import ReadingBound


@pytest.mark.parametrize(
    ("written", "bound"),
    [
        ({"current_above": "0.5 A"}, ReadingBound("current", "above", 0.5)),
        ({"current_below": "20 mA"}, ReadingBound("current", "below", 0.02)),
        ({"voltage_above": "13 V"}, ReadingBound("voltage", "above", 13.0)),
        ({"voltage_below": "9 V"}, ReadingBound("voltage", "below", 9.0)),
        ({"trips": "any"}, None),
    ],
)
def test_a_condition_says_what_it_watches(written, bound):
    assert StopCondition.model_validate({"input": "main", **written}).bound == bound
