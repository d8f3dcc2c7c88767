"""One value of a document changed in its text, with everything else as it stands."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from railwright.documents.edit import NotEdited, edited

TEXT = """# A bench.
bench: Quay   # its name
supplies:
  left:
    outputs:
      "1": {voltage: 0 V .. 36 V, current: 0 A .. 2 A}  # the first
      "2":
        voltage: 0 V .. 20 V
    # after the outputs
list: [1, 2, 3]
empty: {}
none: []
"""


def plain(text: str) -> object:
    return YAML(typ="safe", pure=True).load(text)


@pytest.mark.parametrize(
    ("path", "value", "before", "after"),
    [
        (("bench",), "Pier", "bench: Quay   # its name", "bench: Pier   # its name"),
        (("supplies", "left", "outputs", "1", "current"), "0 A .. 1 A", "0 A .. 2 A", "0 A .. 1 A"),
        (("list", 1), 7, "[1, 2, 3]", "[1, 7, 3]"),
        (("list",), "[4]", "[1, 2, 3]", "[4]"),
        (("bench",), "yes: no", "Quay", '"yes: no"'),
        (("bench",), True, "Quay", "yes"),
        (("empty", "new"), "1 V", "empty: {}", "empty: {new: 1 V}"),
        (
            ("supplies", "left", "outputs", "1", "slew"),
            "1 V/s",
            "current: 0 A .. 2 A}",
            "current: 0 A .. 2 A, slew: 1 V/s}",
        ),
        (
            ("supplies", "left", "outputs", "2", "current"),
            "0 A .. 1 A",
            "        voltage: 0 V .. 20 V\n",
            "        voltage: 0 V .. 20 V\n        current: 0 A .. 1 A\n",
        ),
    ],
)
def test_only_that_value_changes(path: tuple[str | int, ...], value: object, before: str, after: str) -> None:
    assert TEXT.count(before) == 1
    assert edited(TEXT, path, value) == TEXT.replace(before, after)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("path", "told"),
    [
        (("bnch", "x"), "bnch.x: expected one of bench, supplies, list, empty, none, got 'bnch'"),
        (("list", 9), "list.9: expected one of 0 to 2, got '9'"),
        (("bench", "x"), "bench.x: expected nothing below 'bench', which has no keys below it, got 'x'"),
        (("empty", "x", "y"), "empty.x.y: expected nothing below 'empty', which has no keys below it"),
        (("none", 0), "none.0: expected nothing below 'none', which has no keys below it, got '0'"),
        (("supplies",), "supplies: expected a single value there, got a block; name one of left"),
    ],
)
def test_what_cannot_be_changed_is_told(path: tuple[str | int, ...], told: str) -> None:
    with pytest.raises(NotEdited) as error:
        edited(TEXT, path, "x")
    assert str(error.value).startswith(told)


@settings(deadline=None)
@given(st.text(st.characters(blacklist_categories=("Cs", "Cc")), min_size=1))
def test_any_text_comes_back_as_it_was_given_or_as_its_own_yaml(value: str) -> None:
    changed = edited(TEXT, ("bench",), value)
    read = plain(changed)
    assert isinstance(read, dict)
    assert read["bench"] == value or read["bench"] == plain(f"a: {value}")["a"]  # type: ignore[index]
    assert {key: read[key] for key in ("supplies", "list", "empty")} == {
        key: plain(TEXT)[key]  # type: ignore[index]
        for key in ("supplies", "list", "empty")
    }
