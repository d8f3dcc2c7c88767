"""Whatever stands in a document, loading ends in documents or in one printable line a problem."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from tests.bench import BENCH, DEVICE, PROCEDURE, copy_demo

from railwright.documents.loader import load_bench, load_device, load_documents
from railwright.documents.sources import DocumentErrors

NAMES = {"device": DEVICE, "bench": BENCH, "procedure": PROCEDURE}


@pytest.fixture(scope="module")
def folder():
    with tempfile.TemporaryDirectory() as name:
        copy_demo(Path(name))
        yield Path(name)


def survives(load, path: Path) -> None:
    try:
        load(path)
    except DocumentErrors as errors:
        problems = errors.problems
    else:
        return
    assert problems
    for problem in problems:
        assert str(problem).isprintable()
        assert ".yaml:" in str(problem)


SNIPPETS = [
    *(
        "&a",
        "*a",
        "<<:",
        "!!int",
        "|",
        ">",
        "? ",
        "- ",
        "- - ",
        ": ",
        "{",
        "}",
        "[",
        "]",
        ", ",
        "'",
        '"',
        "#",
    ),
    *("%", "---", "...", "@", "`", "\t", "\n", "\n  ", "~", "null", "yes", "..", "\\U00110000", "auto"),
    *(
        "\x00",
        "\x85",
        "\ufeff",
        "\u2028",
        "1e400 V",
        "12 V ** 1e9",
        "same_as: 1",
        "series: [left.1]",
        "9 V .. 16 V",
    ),
]


@given(st.integers(0, 2**32), st.sampled_from(sorted(NAMES)), st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_the_demo_with_random_damage(folder, seed, kind, times):
    dice = random.Random(seed)
    path = folder / NAMES[kind]
    original = path.read_text(encoding="utf-8")
    text = original
    for _ in range(times):
        at = dice.randrange(len(text) + 1)
        cut = dice.choice([0, 0, 1, 1, 5, 40])
        text = text[:at] + dice.choice([*SNIPPETS, ""]) + text[at + cut :]
    try:
        path.write_text(text, encoding="utf-8", newline="")
        survives(load_documents, folder / PROCEDURE)
    finally:
        path.write_text(original, encoding="utf-8")


WORDS = "device bench inputs main nominal operating load capacitor converter supplies left outputs 1 voltage"
WORDS += " current leads same_as order never after withstands reading address steps hook_up power_up requires"
KEYS = st.sampled_from(WORDS.split())
SCALARS = st.one_of(
    st.sampled_from(["12 V", "9 V .. 16 V", "1 A", "auto", "1", "main", "left.1", "AWG 18", "2026-03-02"]),
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
)


def _larger(inner: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    return st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=5)


TREES = st.recursive(SCALARS, _larger, max_leaves=25)


@given(st.dictionaries(KEYS, TREES, min_size=1, max_size=6))
@settings(max_examples=40, deadline=None)
def test_random_yaml(folder, tree):
    path = folder / "random.yaml"
    yaml = YAML(typ="safe", pure=True)
    with path.open("w", encoding="utf-8") as stream:
        yaml.dump(tree, stream)
    survives(load_bench, path)
    survives(load_device, path)
    survives(load_documents, path)


@given(st.binary(max_size=300))
@settings(max_examples=100, deadline=None)
def test_random_bytes(folder, content):
    path = folder / "random.yaml"
    path.write_bytes(content)
    survives(load_bench, path)


@given(st.text(alphabet=":-{}[]&*!|>'\"%@`#,? \n\tab1~<.\\U", max_size=60))
@settings(max_examples=150, deadline=None)
def test_random_punctuation(folder, text):
    path = folder / "random.yaml"
    path.write_text(text, encoding="utf-8")
    survives(load_device, path)
