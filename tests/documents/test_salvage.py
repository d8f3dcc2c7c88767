"""What is read of a broken document, and that a whole one is read as the library reads it."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from railwright.documents.salvage import salvage

ROOT = Path(__file__).parents[2]
BENCHES = sorted([*ROOT.glob("src/**/*.bench.yaml"), *ROOT.glob("tests/**/*bench*.yaml")])
DIALECTS = sorted(ROOT.glob("src/railwright/dialects/*.yaml"))


def told(tree: Any) -> Any:
    """What `railwright off` takes from a bench."""
    return {
        name: (
            supply.get("address"),
            supply.get("dialect"),
            {own: (output or {}).get("channel") for own, output in supply["outputs"].items()},
        )
        for name, supply in tree["supplies"].items()
    }


@pytest.mark.parametrize("path", BENCHES, ids=lambda path: path.parent.name + "/" + path.name)
def test_of_a_whole_bench_it_reads_what_the_library_reads(path: Path) -> None:
    text = path.read_text("utf-8")
    assert told(salvage(text)) == told(YAML(typ="base", pure=True).load(text))


@pytest.mark.parametrize("path", DIALECTS, ids=lambda path: path.stem)
def test_of_a_dialect_it_reads_what_the_library_reads(path: Path) -> None:
    text = path.read_text("utf-8")
    assert salvage(text) == YAML(typ="base", pure=True).load(text)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("a: 1 # one\n'b c': \"x # y\"\n", {"a": "1", "b c": "x # y"}),
        ("a:\n  b: TCPIP::10.0.0.1::5025::SOCKET\n", {"a": {"b": "TCPIP::10.0.0.1::5025::SOCKET"}}),
        ("a: {b: {c: 1, d: x::y},\n    e: 'f, g'}", {"a": {"b": {"c": "1", "d": "x::y"}, "e": "f, g"}}),
        ('{"a": {"b":"c"}}', {"a": {"b": "c"}}),
        ("a: {b: 1\nc: 2", {"a": {"b": "1"}, "c": "2"}),
        ("a: *b\nc: 2", {"a": "*b", "c": "2"}),
        ("x: &y {z: 1}\na: *y\n", {"x": {"z": "1"}, "a": {"z": "1"}}),
        ("a:\r\n\tb: 1\r\n}}\r\nc: 2", {"a": {"b": "1"}, "c": "2"}),
        ("a: |\n  b: 1\nc: 2", {"a": "b: 1\n", "c": "2"}),
        ("", None),
        ("just words", "just words"),
    ],
)
def test_what_it_makes_of_a_text(text: str, wanted: Any) -> None:
    assert salvage(text) == wanted


WORD = st.from_regex(r"[A-Z][A-Za-z0-9]{0,5}(:[A-Z][a-z]{0,4}){0,2}\??", fullmatch=True)
KEY = st.from_regex(r"[a-z][a-z0-9 ]{0,5}[a-z]", fullmatch=True)
TREE = st.recursive(
    WORD,
    lambda inner: (
        st.lists(inner, min_size=1, max_size=3) | st.dictionaries(KEY, inner, min_size=1, max_size=3)
    ),
    max_leaves=8,
)


@given(tree=st.dictionaries(KEY, TREE, min_size=1, max_size=3), flow=st.booleans(), offset=st.booleans())
@settings(max_examples=200, deadline=None)
def test_lists_and_mappings_are_read_as_the_library_reads_them(tree: Any, flow: bool, offset: bool) -> None:
    """In either style, and with the entries of a list as far in as its key, or further."""
    yaml = YAML(typ="safe", pure=True)
    yaml.default_flow_style = flow
    yaml.width = 200
    if offset:
        yaml.indent(mapping=2, sequence=4, offset=2)
    text = io.StringIO()
    yaml.dump(tree, text)
    assert salvage(text.getvalue()) == YAML(typ="base", pure=True).load(text.getvalue())


@given(st.text(alphabet=" \n\t:,{}[]'\"#&*!|>-?ab1", max_size=80))
@settings(max_examples=300, deadline=None)
def test_no_text_makes_it_raise(text: str) -> None:
    assert isinstance(salvage(text), dict | list | str | None)


@pytest.mark.parametrize("brackets", ["[", "{a: ", "[{a: "])
def test_brackets_without_end_end_nothing(brackets: str) -> None:
    tree = salvage(f"notes: {brackets * 3000}\nkey: 1")
    assert isinstance(tree, dict)
    assert "notes" in tree
