"""Files that are no documents: one clear line each, at once."""
# ruff: noqa: E501 - the lines stand here as they are printed

from __future__ import annotations

import time

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE, copy_demo, edit

from railwright.documents.loader import load_bench, load_documents
from railwright.documents.sources import DocumentErrors


def message(content: bytes | str, tmp_path, monkeypatch) -> list[str]:
    monkeypatch.chdir(tmp_path)
    data = content.encode() if isinstance(content, str) else content
    (tmp_path / "b.yaml").write_bytes(data)
    with pytest.raises(DocumentErrors) as caught:
        load_bench("b.yaml")
    return str(caught.value).splitlines()


BOMB = "a: &a [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{before}'] * 10)}]\n"
    for before, name in zip("abcdefg", "bcdefgh", strict=True)
)


@pytest.mark.parametrize(
    ("content", "line"),
    [
        ("", "b.yaml:1:1: expected a bench document, got an empty file; fill it in"),
        ("# only a comment\n", "b.yaml:1:1: expected a bench document, got an empty file; fill it in"),
        ("- a\n", "b.yaml:1:1: expected a bench document (keys with values), got a list"),
        ("hello", "b.yaml:1:1: expected a bench document (keys with values), got a text"),
        (b"bench: \xe9\n", "b.yaml:1:8: expected UTF-8 text, got the byte 0xe9; save the file as UTF-8"),
        (b"\xff\xfeb\x00", "b.yaml:1:1: expected UTF-8 text, got UTF-16; save it as UTF-8"),
        ("bench: a\0b\n", "b.yaml:1:9: expected text, got the control character U+0000"),
        *(
            (
                f"bench: a\n# b{end}location: dry\n",
                f"b.yaml:2:4: expected a line feed at the end of a line, got U+{ord(end):04X}, which not every "
                "program takes for one; replace it",
            )
            for end in "\r\x85\u2028\u2029"
        ),
        (
            'bench: "a\u2028b"\r\nlocation: dry',
            "b.yaml:1:10: expected a line feed at the end of a line, got U+2028, which not every program takes "
            "for one; replace it",
        ),
        ("bench: [a\n", "b.yaml:1:8: expected a ']' for the '[' here, got none up to line 2; close it"),
        ("bench: 'a\n", "b.yaml:1:8: expected another ' after the one here, got none; close the quoted text"),
        ("bench: [a, {b: c]\n", "b.yaml:1:17: expected ',' or '}' for the '{' in column 12, got ']'; add it before, or put a text in quotes"),
        ("bench a\nlocation: wet\n", "b.yaml:1:1: expected 'key: value', got a line without a colon; write 'key: value'"),
        ("bench: @a\n", "b.yaml:1:8: expected YAML, got a character '@' that cannot start any token; put such a text in quotes"),
        ("bench: a\nlocation\n", "b.yaml:2:1: expected 'key: value', got a line without a colon"),
        ("bench: a\n---\nbench: b\n", "b.yaml:2:1: expected one document in the file, got a second one; remove the '---'"),
        ("bench: *b\n", "b.yaml:1:8: expected an alias of something above, got '*b', which is not defined above"),
        ("bench: &b [*b]\n", "b.yaml:1:12: expected an alias of something above, got '*b', which stands inside its own value"),
        ("x: &x {a: b}\ny: {<<: *x}\n", "b.yaml:2:5: expected a word as a key, got the merge key '<<'; write the keys out"),
        ("? [a, b]\n: c\n", "b.yaml:1:3: expected a word as a key, got a list or mapping"),
        ("bench: !new x\n", "b.yaml:1:8: expected a plain value, got the tag '!new'; leave it out"),
        ("a: " + "[" * 500, "b.yaml:1:43: expected at most 40 levels of nesting, got more; make it flatter"),
        (BOMB, "b.yaml:4:36: expected aliases for at most 10000 values, got more with the one here; write the values out"),
    ],
    ids=lambda value: repr(value)[:30],
)  # fmt: skip
def test_what_is_no_document(content, line, tmp_path, monkeypatch):
    assert message(content, tmp_path, monkeypatch) == [line]


def test_a_byte_order_mark_is_no_mistake(tmp_path):
    path = copy_demo(tmp_path)
    bench = tmp_path / BENCH
    bench.write_bytes(b"\xef\xbb\xbf" + bench.read_bytes())
    assert load_documents(path).bench.bench == "Quay bench"


def test_line_ends_of_another_system_are_no_mistake(tmp_path):
    path = copy_demo(tmp_path)
    device = tmp_path / DEVICE
    device.write_bytes(device.read_bytes().replace(b"\n", b"\r\n"))
    edit_at = load_documents(path).where("device", ("inputs", "main", "nominal"))
    assert (edit_at.line, edit_at.column) == (7, 14)


def test_fifty_megabytes_are_refused_unread(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with open("b.yaml", "wb") as stream:
        stream.truncate(50_000_000)
    start = time.process_time()
    with pytest.raises(DocumentErrors) as caught:
        load_bench("b.yaml")
    assert time.process_time() - start < 0.5
    assert str(caught.value) == (
        "b.yaml:1:1: expected a bench document in 'b.yaml', got 50 MB, and at most 5 MB are read; cut it down"
    )


@pytest.mark.parametrize(
    ("name", "got"),
    [
        ("none.yaml", "no such file; correct the path"),
        (".", "a folder; name the file in it"),
        ("b.yaml/c", "an error: not a directory"),
        ("/dev/zero", "a device; name a file"),
    ],
)
def test_a_path_that_is_no_document(name, got, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "b.yaml").write_text("bench: x\n")
    with pytest.raises(DocumentErrors) as caught:
        load_bench(name)
    assert str(caught.value) == f"{name}:1:1: expected a bench document in '{name}', got {got}"


def test_another_kind_of_document(tmp_path, monkeypatch):
    copy_demo(tmp_path)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(BENCH)
    assert str(caught.value) == (
        f"{BENCH}:3:1: expected a procedure document, got a bench document; name the procedure's file here instead"
    )


def test_a_procedure_that_names_itself(tmp_path, monkeypatch):
    copy_demo(tmp_path)
    edit(tmp_path / PROCEDURE, f"device: {DEVICE}", f"device: {PROCEDURE}")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DocumentErrors) as caught:
        load_documents(PROCEDURE)
    assert str(caught.value).splitlines() == [
        f"{PROCEDURE}:3:9: expected a device document, got a procedure document; name the device's file here instead"
    ]


def test_a_thousand_mistakes_are_cut_short(tmp_path, monkeypatch):
    lines = message("bench: x\n" + "".join(f"key{n}: 1\n" for n in range(1000)), tmp_path, monkeypatch)
    assert len(lines) == 51
    assert lines[0].endswith("got more than 50 problems in it; these are the first")


def test_every_line_is_one_line(tmp_path, monkeypatch):
    text = (
        'bench: x\nlocation: "a\\nb\\tc\\x07"\nambient: "1\\n2"\n"un\\nknown": 1\nsupplies: {}\nleads: {}\n'
    )
    lines = message(text, tmp_path, monkeypatch)
    assert len(lines) == 5
    assert all(line.startswith("b.yaml:") and line.isprintable() for line in lines)
