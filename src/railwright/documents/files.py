"""Reading a document's file, with bounds: what is too large, no text, no YAML or another kind of document."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from railwright.documents.nodes import Node, Unreadable, compose
from railwright.documents.sources import Location, Problem
from railwright.quantities import quoted
from railwright.regular import Unfit, size_of

if TYPE_CHECKING:
    from railwright.recordings.file import RecordedFile

Kind = Literal["device", "bench", "procedure"]
LARGEST = 5_000_000
"""Bytes that a document may have."""

_TELLING_KEYS: dict[Kind, tuple[str, ...]] = {
    "procedure": ("procedure", "hook_up", "steps", "requires"),
    "bench": ("supplies", "leads", "location"),
    "device": ("inputs", "revision"),
}


@dataclass(frozen=True, slots=True)
class DocumentSource:
    """A document as it was read: `file` is how the user calls it, `content` its bytes, `root` its nodes.

    ambiguous: some key stands there twice, so that a name that is not found may yet be meant. beside: files
    that the document names, relative to it -> their bytes, or, of a recording, the file as it was read.
    """

    file: str
    path: Path
    content: bytes
    root: Node
    ambiguous: bool = False
    beside: dict[str, bytes | RecordedFile] = field(default_factory=dict)

    def where(self, path: tuple[str | int, ...] = (), *, key: bool = False) -> Location:
        """Where the value at `path` stands (a mapping or list: its key); key: where its key stands.

        Where the document has no such path, the nearest parent's place.
        """
        return Location(self.file, *self.root.place(path, key=key))


def beside(file: str, name: str) -> str:
    """What messages call a file that a document names, relative to it. file: what they call the document."""
    return os.path.join(os.path.dirname(file), name)


def named_beside(source: DocumentSource, name: str, place: Location) -> str:
    """What messages call a file that a document names at a place; `Unreadable` where that is no path relative
    to the document.
    """
    if os.path.isabs(name):
        message = f"expected a path relative to this document, got {quoted(name)}; put the file beside it"
        raise Unreadable(Problem(place, message))
    return beside(source.file, name)


def found_beside(source: DocumentSource, name: str, what: str, place: Location) -> Path:
    """A recording, or another file of samples, that a document names at a place; `Unreadable` where there is
    none that can be opened.
    """
    from railwright.recordings.errors import RecordingError
    from railwright.recordings.file import find_file

    file = Path(named_beside(source, name, place))
    try:
        find_file(file, called=f"{what} in {quoted(str(file))}")
    except RecordingError as error:
        raise Unreadable(Problem(place, error.told)) from None
    return file


def bytes_of(held: bytes | RecordedFile) -> Iterator[bytes]:
    """What a file beside a document holds, piece by piece. RecordingError where it has changed."""
    yield from (held,) if isinstance(held, bytes) else held.content()


def read_source(
    file: str, kind: Kind, named_at: Location | None = None, given: bytes | None = None
) -> tuple[DocumentSource, list[Problem]]:
    """A document's nodes and its duplicate keys and missing values.

    named_at: where another document names the file; a file that is not there is a problem of that place.
    given: what to read in place of the file's content.
    Raises `Unreadable` with one problem where nothing can be made of the file.
    """
    if given is None:
        given = content(file, f"{kind} document", named_at or Location(file, 1, 1))
    root, problems = compose(decoded(given, file), file)
    if root is None or (root.kind == "scalar" and root.text is None):
        raise Unreadable(
            Problem(Location(file, 1, 1), f"expected a {kind} document, got an empty file; fill it in")
        )
    if root.kind != "mapping":
        # What it says may be anything, a key or a password: it is no document, and not repeated.
        got = "a list" if root.kind == "list" else "a text"
        message = f"expected a {kind} document (keys with values), got {got}"
        raise Unreadable(Problem(Location(file, root.line, root.column), message))
    found = _kind(root)
    if found is not None and found != kind:
        message = f"expected a {kind} document, got a {found} document; name the {kind}'s file here instead"
        raise Unreadable(Problem(named_at or Location(file, root.line, root.column), message))
    return DocumentSource(file, Path(file), given, root, bool(problems)), problems


def _kind(root: Node) -> Kind | None:
    """Which document it is, as far as its keys tell: the kind that most of its keys belong to."""
    counts = {kind: sum(key in root.entries for key in keys) for kind, keys in _TELLING_KEYS.items()}
    best = max(counts, key=lambda kind: counts[kind])
    return best if counts[best] and list(counts.values()).count(counts[best]) == 1 else None


def content(file: str, what: str, place: Location) -> bytes:
    """Bytes of a file; `Unreadable` at a place where there is none, or one that is too large.

    what: what the file should be, such as 'device document'.
    """

    def unreadable(got: str) -> Unreadable:
        return Unreadable(Problem(place, f"expected a {what} in {quoted(file)}, got {got}"))

    try:
        size_of(file, LARGEST)
        with open(file, "rb") as stream:
            found = stream.read(LARGEST + 1)
    except FileNotFoundError:
        if not file.isprintable():
            remedy = "a backslash in double quotes begins an escape; use single quotes"
            raise unreadable(f"no such file; {remedy}") from None
        raise unreadable("no such file; correct the path") from None
    except PermissionError:
        raise unreadable("a file that may not be read; change its permissions") from None
    except OSError as error:
        raise unreadable(f"an error: {(error.strerror or 'cannot be read').casefold()}") from None
    except Unfit as error:
        raise unreadable(str(error)) from None
    except ValueError:  # a null character in the path
        raise unreadable("a path that no file can have; correct it") from None
    if len(found) > LARGEST:
        raise unreadable(f"more than {LARGEST / 1e6:.0f} MB; cut it down")
    return found


def decoded(content: bytes, file: str) -> str:
    """Text of a file in UTF-8; `Unreadable` at the byte that is none."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Unreadable(Problem(Location(file, 1, 1), "expected UTF-8 text, got UTF-16; save it as UTF-8"))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = content[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        raise Unreadable(
            Problem(
                Location(file, line, column),
                f"expected UTF-8 text, got the byte 0x{content[error.start]:02x}; save the file as UTF-8",
            )
        ) from None
