"""Long lists of like lines: the same nodes and the same errors as by the YAML parser, in a fraction of the
time.
"""

import random

import pytest
from tests.bench import PROCEDURE, copy_demo

from railwright.documents import nodes
from railwright.documents.loader import load_documents
from railwright.documents.nodes import compose
from railwright.documents.procedure import Segment
from railwright.documents.shape import MANY
from railwright.documents.sources import DocumentErrors
from railwright.documents.uniform import SHORTEST, Items, taken_out


def lines(count, indent="    ", seed=3):
    draw = random.Random(seed)
    kinds = (
        lambda: f"{{line_to: {draw.uniform(9, 15):.3f} V, over: {draw.uniform(5, 90):.2f} ms}}",
        lambda: f"{{hold: {draw.uniform(1, 9):.1f} ms}}",
        lambda: f"{{step_to: {draw.choice(['-5 V', '1.2e1 V', '12 V', '.5 V', '7 µV'])}}}",
        lambda: "{advance: on trigger, standard: EN 50155 a-b, rate: 12 %, x: 4 - 5}",
    )
    return [f"{indent}- {draw.choice(kinds)()}\n" for _ in range(count)]


TEXTS = {
    "one run": lambda: "a:\n  b:\n" + "".join(lines(SHORTEST)),
    "between others": lambda: (
        "a: 1 # note\nb:\n    - {x: 'q'}\n" + "".join(lines(SHORTEST)) + "    - c: 5\n      d: 6\ne: 7\n"
    ),
    "two in one list": lambda: (
        "b:\n" + "".join(lines(SHORTEST)) + "    - {c: [5]}\n" + "".join(lines(SHORTEST + 5)) + "z: 9\n"
    ),
    "at the end without a last line": lambda: "b:\n" + "".join(lines(SHORTEST + 1)).rstrip("\n"),
    "in two lists": lambda: "b:\n" + "".join(lines(SHORTEST)) + "c:\n" + "".join(lines(SHORTEST, "  ")),
    "in a block of text": lambda: "b: |\n" + "".join(lines(SHORTEST)) + "c: 3\n",
    "in a folded text": lambda: "b: >\n    x\n" + "".join(lines(SHORTEST)) + "c: 3\n",
    "with an anchor": lambda: "a: &x 3\nb:\n" + "".join(lines(SHORTEST)) + "c: *x\n",
    "with nothing": lambda: "b:\n" + "".join([*lines(SHORTEST), "    - {a: null}\n", *lines(SHORTEST)]),
    "with a mark": lambda: "a: '\ue000run 0'\nb:\n" + "".join(lines(SHORTEST)),
    "with comments": lambda: "b:\n" + "".join(f"{x.rstrip()} # {n}\n" for n, x in enumerate(lines(SHORTEST))),
}


def everything(node):
    """A node with all below it, as plain data with places."""
    entries = {k: (e.line, e.column, everything(e.value)) for k, e in node.entries.items()}
    items = [everything(item) for item in node.items]
    return node.kind, node.line, node.column, node.text, entries, items


@pytest.mark.parametrize("name", TEXTS)
def test_nodes_are_those_of_the_parser(name, monkeypatch):
    text = TEXTS[name]()
    quick, problems = compose(text, "f.yaml")
    monkeypatch.setattr(nodes, "taken_out", lambda given: (given, []))
    slow, others = compose(text, "f.yaml")
    assert quick is not None
    assert slow is not None
    assert everything(quick) == everything(slow)
    assert quick.plain() == slow.plain()
    assert problems == others == []


@pytest.mark.parametrize("name", ["one run", "between others", "two in one list", "in two lists"])
def test_runs_are_taken_out(name):
    short, runs = taken_out(TEXTS[name]())
    assert runs
    assert short.count("\n") == TEXTS[name]().count("\n")
    root, _ = compose(TEXTS[name](), "f.yaml")
    assert isinstance(root.get("b", *(["b"] if name == "one run" else [])) or root.get("a", "b"), nodes.Node)


def test_a_key_that_comes_twice_in_a_line_is_told_as_ever():
    text = "b:\n" + "".join([*lines(SHORTEST), "    - {hold: 1 s, hold: 2 s}\n", *lines(SHORTEST)])
    _, (problem,) = compose(text, "f.yaml")
    assert str(problem) == (
        f"f.yaml:{SHORTEST + 2}:19: expected each key once, got 'hold' again (first in line {SHORTEST + 2}); "
        "remove one of them"
    )


def test_items_are_a_sequence():
    root, _ = compose(TEXTS["two in one list"](), "f.yaml")
    items = root.get("b").items
    assert isinstance(items, Items)
    assert len(items) == len(list(items)) == 2 * SHORTEST + 6
    assert [node.line for node in items[SHORTEST - 1 : SHORTEST + 2]] == [
        SHORTEST + 1,
        SHORTEST + 2,
        SHORTEST + 3,
    ]
    assert items[-1].line == 2 * SHORTEST + 7
    with pytest.raises(IndexError):
        items[2 * SHORTEST + 6]


def with_segments(folder, segments):
    path = copy_demo(folder)
    text = path.read_text("utf-8")
    head, _, rest = text.partition("      segments:\n")
    tail = rest[rest.index("    name: brown-out") :]
    path.write_text(head + "      segments:\n" + "".join(segments) + tail, "utf-8")
    return path, head.count("\n") + 2


def test_an_error_in_a_long_list_is_told_at_its_place(tmp_path):
    segments = [f"        - {{hold: {n + 1} ms}}\n" for n in range(2 * MANY)]
    segments[MANY + 7] = "        - {line_to: 12 V, over: 3 V}\n"
    segments[MANY + 9] = "        - {hold: 2 s, over: 3 s}\n"
    path, first = with_segments(tmp_path, segments)
    with pytest.raises(DocumentErrors) as error:
        load_documents(path)
    assert [str(problem).removeprefix(f"{tmp_path}/") for problem in error.value.problems] == [
        f"{PROCEDURE}:{first + MANY + 7}:33: expected a time such as '40 ms', got '3 V': 'V' is a voltage",
        f"{PROCEDURE}:{first + MANY + 9}:29: expected 'over' beside 'line_to' only, got it beside 'hold'; "
        "remove it",
    ]


def test_long_lists_hold_the_segments_that_short_ones_hold(tmp_path):
    rows = [
        "{hold: 5 ms}",
        "{step_to: 12.5 V}",
        "{line_to: 9 V, over: 20 ms}",
        "{over: 1 s, line_to: 10 V}",
        "{step_to: 11 V, current_limit: 500 mA}",
        "{exponential_to: 10 V, time_constant: 1 ms, for: 5 ms}",
        "{step_to: 12}",
    ][:6]
    path, _ = with_segments(tmp_path, [f"        - {rows[n % 6]}\n" for n in range(2 * MANY)])
    found = load_documents(path).procedure.steps[3].shape.segments
    path, _ = with_segments(tmp_path, [f"        - {row}\n" for row in rows])
    few = load_documents(path).procedure.steps[3].shape.segments
    assert found == tuple(few[n % 6] for n in range(2 * MANY))
    assert all(type(each) is Segment for each in found)
    assert found[0].model_fields_set == few[0].model_fields_set
    assert found[2].model_dump() == few[2].model_dump()
