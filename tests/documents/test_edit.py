"""One value of a document changed in its text, with everything else as it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, SequenceNode
from tests.said import says

from railwright.documents.edit import NotEdited, edited
from railwright.documents.nodes import Unreadable, compose

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


@pytest.mark.parametrize(
    "last",
    [
        "    note: |\n      cools the sink\n",
        "    note: |\n      cools the sink\n\n\n",
        "    note: |+\n      cools\n\n      the sink\n\n\n",
        "    note: >-\n      cools\n      the sink\n\n    # of the next one\n",
        "    note: |2  # why\n        cools\n",
        "    at_end:\n      note: |\n        cools the sink\n",
        "    list:\n      - 1\n      - - a\n        - |\n          cools the sink\n",
        "    note: cools\n      the sink   # why\n",
        "    note: 'cools\n\n      the sink'\n",
        "    note:\n",
        "    note: {a: [1,\n      2,], # c\n      }\n",
    ],
)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("follows", ["  other:\n    note: x\n", "", "# The end.\n", "...\n"])
def test_a_key_is_added_to_its_own_mapping_whatever_ends_that(last: str, line_end: str, follows: str) -> None:
    text = f"limits:\n  main:\n    ovp: 1 V\n{last}{follows}".replace("\n", line_end)
    wanted: Any = plain(text)
    wanted["limits"]["main"]["opp"] = "10 W"
    made = edited(text, ("limits", "main", "opp"), "10 W")
    assert plain(made) == wanted
    assert f"    opp: 10 W{line_end}" in made
    assert made.replace(f"    opp: 10 W{line_end}", "", 1) == text


@pytest.mark.parametrize(
    ("before", "path", "after"),
    [
        ("a: {b: 1, c: 2,}", ("a", "x"), "a: {b: 1, c: 2, x: 10 W,}"),
        ("a: {b: 1 # why\n  }", ("a", "x"), "a: {b: 1, x: 10 W # why\n  }"),
        ("a: { }", ("a", "x"), "a: {x: 10 W }"),
        ("a: {b: {c: 1}, d}", ("a", "b", "x"), "a: {b: {c: 1, x: 10 W}, d}"),
        ("a: &l 1 A # why", ("a",), "a: &l 10 W # why"),
        ("a: &l 1 A\nb: *l", ("b",), "a: &l 1 A\nb: 10 W"),
        ("a: &m {b: 1}\nc: {d: *m}", ("c", "x"), "a: &m {b: 1}\nc: {d: *m, x: 10 W}"),
        ("a: |  # why\n  one\n  two\n\nb: 1", ("a",), "a: 10 W  # why\n\nb: 1"),
        ("a:\n  - b: >+\n      one\n\n\n  - c", ("a", 0, "b"), "a:\n  - b: 10 W\n\n\n  - c"),
        ("a: one\n  two\nb: 1", ("a",), "a: 10 W\nb: 1"),
        ("a:\nb: 1", ("a",), "a: 10 W\nb: 1"),
        ("? a\n: 1", ("a",), "? a\n: 10 W"),
        ("a: 1\n# end", ("b",), "a: 1\nb: 10 W\n# end"),
        ("a: 1", ("b: c",), 'a: 1\n"b: c": 10 W'),
        ("a: 1", ("null",), 'a: 1\n"null": 10 W'),
    ],
)
def test_what_stands_around_the_value_stays(before: str, path: tuple[str | int, ...], after: str) -> None:
    assert edited(before, path, "10 W") == after


@pytest.mark.parametrize(
    ("text", "path", "named"),
    [
        ("a: &m\n  b: 1\nc: *m", ("a", "b"), "c.b"),
        ("a: &m\n  b: 1\nc: *m", ("a", "x"), "c.x"),
        ("a: &m {b: 1}\nc: [*m]", ("a", "x"), "c.0.x"),
        ("a: &m\n  b: 1\nc: *m", ("c", "b"), "*m"),
        ("a: &m {b: 1}\nc: *m", ("c", "x"), "*m"),
        ("a: &m 1\nb: [2, *m]", ("a",), "b.1"),
    ],
)
def test_what_would_change_something_else_is_refused(
    text: str, path: tuple[str | int, ...], named: str
) -> None:
    with pytest.raises(NotEdited, match=rf"^{'.'.join(map(str, path))}: expected .* {re.escape(named)}; "):
        edited(text, path, "10 W")


@pytest.mark.parametrize("mark", ["|", ">", "|+", ">2", "&m |  # a - b"])
@pytest.mark.parametrize(("head", "path"), [("", ("c",)), ("a:\n", ("a", "c"))])
def test_a_text_that_the_file_ends_in_wants_its_line_feed(
    mark: str, head: str, path: tuple[str, ...]
) -> None:
    """Behind another key it would have one more than it has."""
    text = f"{head}{' ' * 2 * bool(head)}b: {mark}\n      no line feed"
    with pytest.raises(NotEdited) as told:
        edited(text, path, "10 W")
    assert says(str(told.value), f"{'.'.join(path)}: expected", "add a line feed at the end of the file")
    assert "alias" not in str(told.value)
    assert plain(edited(f"{text}\n", path, "10 W"))


@pytest.mark.parametrize("mark", ["|-", ">-", "|2-", "|-2"])
def test_a_text_without_line_feeds_at_its_end_wants_none(mark: str) -> None:
    assert plain(edited(f"b: {mark}\n  no line feed", ("c",), "10 W")) == {"b": "no line feed", "c": "10 W"}
    assert plain(edited(f"b: {mark}", ("c",), "10 W")) == {"b": "", "c": "10 W"}


def test_an_alias_is_told_of_where_a_line_feed_would_not_do() -> None:
    with pytest.raises(NotEdited) as told:
        edited("a: &m\n  b: 1\nc: *m", ("a", "b"), "10 W")
    assert says(str(told.value), "c.b", "alias")


@pytest.mark.parametrize(
    "value", ["a\x85b", "a\u2028b", "a\u2029", "a\rb", "a\x7fb", "*a", "a\ufeffb", "a\n"]
)
def test_a_text_that_is_no_yaml_in_one_line_comes_back_as_it_was(value: str) -> None:
    made = edited("a: {b: 1}", ("a", "b"), value)
    assert plain(made) == {"a": {"b": value}}
    assert not set("\x85\u2028\u2029\r\n\x7f") & set(made)


KEYS = st.sampled_from(["a", "b", "c", "on", "1"])
WORDS = st.sampled_from(["1 V", "x", "'q # r'", '"a\\nb"', "", "~", "[1, 2]", "{a: 1,}", "{b: {c: [x]}} # c"])
LINES = st.lists(st.sampled_from(["text", "# no comment", "a: 1", "", "  more"]), min_size=1, max_size=4)


@st.composite
def blocks(draw: st.DrawFn, indent: int = 0, depth: int = 0) -> str:
    """A block mapping or list, line by line, with comments, anchors and aliases anywhere."""
    margin, lines = " " * indent, []
    listed = draw(st.booleans()) if depth else False
    for key in draw(st.lists(KEYS, min_size=1, max_size=4, unique=True)):
        head = f"{margin}- " if listed else f"{margin}{key}: "
        anchor = draw(st.sampled_from(["", "", "&l ", "&m "]))  # a text with one anchor twice is left out
        kind = draw(st.sampled_from(["word", "text", "block", "alias"]))
        if kind == "block" and depth < 3:
            lines.append(f"{head}{anchor}".rstrip())
            lines.append(draw(blocks(indent + 2, depth + 1)).rstrip("\n"))
        elif kind == "text":
            lines.append(f"{head}{anchor}{draw(st.sampled_from(['|', '>', '|-', '>+']))}")
            lines += [f"{margin}    {line}" if line else "" for line in ("first", *draw(LINES))]
        elif kind == "alias":
            lines.append(f"{head}{draw(st.sampled_from(['*l', '*m']))}")
        else:
            lines.append(f"{head}{anchor}{draw(WORDS)}")
        lines += draw(st.lists(st.sampled_from(["# c", "", f"{margin}  # d"]), max_size=2))
    return "\n".join(lines) + "\n"


def paths(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every path of what a text says, and one of a key that is not there, of every mapping."""
    if path:
        yield path
    if isinstance(data, dict):
        yield (*path, "new")
    for key, value in (
        data.items() if isinstance(data, dict) else enumerate(data if type(data) is list else ())
    ):
        yield from paths(value, (*path, key))


@settings(deadline=None, max_examples=60)
@given(blocks(), st.data(), st.sampled_from(["10 W", "{x: 1}", "a: b", "[1]", "~"]), st.booleans())
def test_an_edit_changes_what_is_at_its_path_and_nothing_else(
    text: str, data: st.DataObject, value: str, windows: bool
) -> None:
    """Read by another parser than the one that the change is checked with."""
    text = text.replace("\n", "\r\n") if windows else text
    try:
        root, wrong = compose(text, "x")
    except Unreadable:
        assume(False)
    assume(root is not None and root.kind == "mapping" and not wrong)
    assume(max(text.count("&l"), text.count("&m")) < 2)
    assert root is not None
    wanted = root.plain()
    path = data.draw(st.sampled_from(list(paths(wanted))))
    try:
        made = edited(text, path, value)
    except NotEdited:
        return
    holder = wanted
    for part in path[:-1]:
        holder = holder[part]
    holder[path[-1]] = {"{x: 1}": {"x": "1"}, "[1]": ["1"], "~": None}.get(value, value)
    assert as_texts(made) == wanted
    removed = [line for line in text.splitlines() if line.lstrip().startswith("# c")]
    assert [line for line in made.splitlines() if line.lstrip().startswith("# c")] == removed


def as_texts(text: str) -> Any:
    """What a text says to the parser in Python, scalars as texts."""

    def plain_of(node: Any) -> Any:
        if isinstance(node, MappingNode):
            return {key.value: plain_of(value) for key, value in node.value}
        if isinstance(node, SequenceNode):
            return [plain_of(item) for item in node.value]
        bare = node.style in (None, "") and node.value in ("", "~")
        return None if bare else node.value

    return plain_of(YAML(typ="safe", pure=True).compose(text))
