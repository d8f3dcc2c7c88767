"""Mappings that cannot be changed are dicts otherwise; results that are kept belong to one object."""

from __future__ import annotations

import copy
import json
import pickle
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any

import pytest
from pydantic import Field

from railwright.documents.model import Model
from railwright.frozen import FrozenDict, freeze, kept

CHANGES: list[Callable[[Any], Any]] = [
    lambda it: it.__setitem__("a", 2),
    lambda it: it.__delitem__("a"),
    lambda it: it.__ior__({"b": 2}),
    lambda it: it.clear(),
    lambda it: it.pop("a"),
    lambda it: it.popitem(),
    lambda it: it.setdefault("b", 2),
    lambda it: it.update(b=2),
]


@pytest.mark.parametrize("change", CHANGES)
def test_no_way_leads_to_a_change(change: Callable[[Any], Any]) -> None:
    kept = FrozenDict({"a": 1})
    with pytest.raises(TypeError, match="stays as it is"):
        change(kept)
    assert kept == {"a": 1}


@pytest.mark.parametrize(
    "made",
    [copy.copy, copy.deepcopy, lambda it: pickle.loads(pickle.dumps(it))],
    ids=["copy", "deepcopy", "pickle"],
)
def test_a_copy_stays_as_it_is_too(made: Callable[[Any], Any]) -> None:
    again = made(FrozenDict({"a": [1]}))
    assert again == {"a": [1]}
    assert type(again) is FrozenDict


def test_it_is_a_dict_to_others() -> None:
    @dataclass(frozen=True)
    class Holder:
        held: dict[str, int]

        def __post_init__(self) -> None:
            freeze(self, "held")

    given = {"a": 1}
    holder = Holder(given)
    given["a"] = 2
    assert holder.held == {"a": 1}
    assert json.dumps(asdict(holder)) == '{"held": {"a": 1}}'
    assert {**holder.held, "b": 2} == holder.held | {"b": 2}


def test_a_model_keeps_its_mappings_given_left_out_or_copied_in() -> None:
    class Part(Model):
        given: dict[str, int]
        left_out: dict[str, int] = Field({})

    part = Part(given={"a": 1})
    for each in (part, part.model_copy(update={"given": {"b": 2}}), part.model_copy(deep=True)):
        assert type(each.given) is type(each.left_out) is FrozenDict
    assert part.model_dump() == {"given": {"a": 1}, "left_out": {}}
    assert Part.model_json_schema()["properties"]["left_out"]["default"] == {}


@dataclass(frozen=True)
class Asked:
    """Counts how often it has to work something out."""

    factor: int
    worked_out: list[tuple[int, int]]

    @kept
    def times(self, number: int, plus: int = 0) -> int | None:
        """None for zero, as an unknown figure is."""
        self.worked_out.append((number, plus))
        return self.factor * number + plus if number else None


def test_what_is_kept_is_worked_out_once_for_the_same_arguments():
    asked = Asked(3, [])
    assert [asked.times(2), asked.times(2), asked.times(0), asked.times(0)] == [6, 6, None, None]
    assert [asked.times(2, plus=1), asked.times(2, plus=1), asked.times(2)] == [7, 7, 6]
    assert asked.worked_out == [(2, 0), (0, 0), (2, 1)]


def test_what_is_kept_belongs_to_its_object_and_not_to_a_changed_copy():
    asked = Asked(3, [])
    assert asked.times(2) == 6
    changed = replace(asked, factor=4, worked_out=[])
    assert (changed.times(2), asked.times(2)) == (8, 6)
    assert (len(changed.worked_out), len(asked.worked_out)) == (1, 1)
