"""Loading documents: from a path to frozen models, or to everything that is wrong with them at once."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from pydantic import BaseModel

from railwright.documents.bench import Bench
from railwright.documents.bench_checks import check_bench
from railwright.documents.device import Device, accept_announced_loads
from railwright.documents.device_checks import check_device
from railwright.documents.files import DocumentSource, Kind, beside, read_source
from railwright.documents.load_files import Held, read_load_files
from railwright.documents.nodes import Unreadable
from railwright.documents.own_dialects import OwnDialects, read_own_dialects
from railwright.documents.procedure import Procedure, accept_announced_measures
from railwright.documents.procedure_checks import check_procedure
from railwright.documents.same_as import resolve_same_as
from railwright.documents.shape_recordings import read_recordings
from railwright.documents.shape_tables import read_tables
from railwright.documents.sources import DocumentErrors, Location, Problem, meant
from railwright.documents.standard_figures import own_figures
from railwright.documents.standard_tests import check_standards, check_turns
from railwright.documents.translate import MOST, check
from railwright.frozen import FrozenDict, freeze

if TYPE_CHECKING:
    from railwright.recordings.file import RecordedFile

M = TypeVar("M", bound=BaseModel)
MODELS: Mapping[Kind, type[BaseModel]] = {"procedure": Procedure, "device": Device, "bench": Bench}


@dataclass(frozen=True)
class Loaded(Generic[M]):
    """One document: its model, and what it was read from."""

    model: M
    source: DocumentSource

    def where(self, path: tuple[str | int, ...] = ()) -> Location:
        """Where the value at a path such as ("supplies", "left", "address") stands, or its nearest parent."""
        return self.source.where(path)


@dataclass(frozen=True)
class Documents:
    """The three documents of a procedure.

    sources: kind -> what the document was read from; empty for models made in code.
    """

    device: Device
    bench: Bench
    procedure: Procedure
    sources: Mapping[Kind, DocumentSource] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "sources")

    @property
    def paths(self) -> dict[Kind, Path]:
        """Path of each document."""
        return {kind: source.path for kind, source in self.sources.items()}

    @property
    def files(self) -> dict[str, bytes | RecordedFile]:
        """Each file that was read, as messages call it: its bytes, or, of a recording, the file as it was."""
        found: dict[str, bytes | RecordedFile] = {}
        for source in self.sources.values():
            found[source.file] = source.content
            for name, held in source.beside.items():
                found[beside(source.file, name)] = held
        return found

    def check_recordings(self) -> None:
        """RecordingError where a recording is no longer the one that was read."""
        for held in self.files.values():
            if not isinstance(held, bytes):
                held.check_unchanged()

    def where(self, document: Kind, path: tuple[str | int, ...] = ()) -> Location:
        """Where the value at a path such as ("limits", "main", "ovp") stands, or its nearest parent.

        A mapping or a list stands where its key does. For a model made in code: the document's first line.
        """
        source = self.sources.get(document)
        return source.where(path) if source else Location(document, 1, 1)

    def with_procedure(self, **changed: Any) -> Documents:
        """The same documents with other values of these keys of the procedure."""
        return replace(self, procedure=self.procedure.model_copy(update=changed))


def load_device(path: str | os.PathLike[str]) -> Loaded[Device]:
    """A device document; `DocumentErrors` with everything that is wrong with it."""
    accept_announced_loads()
    return _loaded(path, "device", Device)


def load_bench(path: str | os.PathLike[str]) -> Loaded[Bench]:
    """A bench document; `DocumentErrors` with everything that is wrong with it."""
    return _loaded(path, "bench", Bench)


def _loaded(path: str | os.PathLike[str], kind: Kind, model: type[M]) -> Loaded[M]:
    source, made, problems = _load(os.fspath(path), kind, model, {})
    if source is None or made is None or problems:
        raise DocumentErrors(problems)
    return Loaded(made, source)


def load_documents(
    procedure_path: str | os.PathLike[str], held: Mapping[str, bytes] | None = None
) -> Documents:
    """A procedure with its device and bench; `DocumentErrors` with everything that is wrong with any of them.

    The paths of device and bench are relative to the procedure. Files are called in messages as the user
    wrote the procedure's path. held: content of files that are not read again, by what they are called so.
    """
    accept_announced_loads()
    accept_announced_measures()
    file = os.fspath(procedure_path)
    held = held or {}
    source, procedure, problems = _load(file, "procedure", Procedure, held)
    if source is None:
        raise DocumentErrors(problems)
    device_source, device, device_problems = _referred(source, "device", Device, held)
    bench_source, bench, bench_problems = _referred(source, "bench", Bench, held)
    problems += [*device_problems, *bench_problems]
    problems += check_procedure(source, device_source, bench_source)
    if procedure is not None:
        own, wrong = own_figures(source, held)
        problems += wrong
        procedure = procedure.with_figures(own) if own else procedure
        problems += read_recordings(procedure, source)
        problems += read_tables(procedure, source, held)
        if device is not None:
            problems += check_standards(procedure, source, device)
            problems += [] if problems else check_turns(procedure, source, device)
    if problems or device is None or bench is None or procedure is None:
        raise DocumentErrors(
            sorted(problems, key=lambda p: (p.location.file, p.location.line, p.location.column))
        )
    assert device_source is not None
    assert bench_source is not None
    sources: dict[Kind, DocumentSource] = {
        "procedure": source,
        "device": device_source,
        "bench": bench_source,
    }
    read = {kind: replace(each, beside=FrozenDict(each.beside)) for kind, each in sources.items()}
    return Documents(device, bench, procedure.for_inputs(device.inputs), read)


def _referred(
    procedure: DocumentSource, kind: Kind, model: type[M], held: Mapping[str, bytes]
) -> tuple[DocumentSource | None, M | None, list[Problem]]:
    """The document that a procedure names under `kind`; nothing where it names none."""
    node = procedure.root.get(kind)
    if node is None or node.kind != "scalar" or not node.text or not node.text.strip():
        return None, None, []
    return _load(beside(procedure.file, node.text), kind, model, held, procedure.where((kind,)))


def keys_of(kind: Kind) -> list[str]:
    """The outermost keys that a document may have."""
    return [field.alias or name for name, field in MODELS[kind].model_fields.items()]


def _foreign(source: DocumentSource, kind: Kind) -> Problem | None:
    """The problem of a file with keys none of which a document has: what it says is not repeated."""
    known = keys_of(kind)
    keys = list(source.root.entries)
    if not keys or any(key in source.root.entries for key in known):
        return None
    if any(meant(key, known) in known for key in keys[:MOST]):  # a key of it with a slip
        return None
    got = f"got a file that has none of its keys ({', '.join(known[:4])}, ...)"
    return Problem(source.where(), f"expected a {kind} document, {got}; name the {kind}'s file")


def _load(
    file: str,
    kind: Kind,
    model: type[M],
    held: Mapping[str, bytes],
    named_at: Location | None = None,
) -> tuple[DocumentSource | None, M | None, list[Problem]]:
    """A document's source and model as far as they could be made, and what is wrong with it."""
    try:
        source, problems = read_source(file, kind, named_at, held.get(file))
    except Unreadable as error:
        return None, None, [error.problem]
    if foreign := _foreign(source, kind):
        return None, None, [foreign]
    incomplete: set[tuple[str | int, ...]] = set()
    if kind == "bench":
        unresolved, incomplete = resolve_same_as(source)
        problems += unresolved
    of_loads: Held | OwnDialects = {}
    if kind == "bench":
        of_loads, wrong_files = read_own_dialects(source)
        problems += wrong_files
    if kind == "device":
        of_loads, missing = read_load_files(source)
        problems += missing
    made, wrong = check(model, source, incomplete, of_loads)
    problems += wrong
    if kind == "bench":
        problems += check_bench(source)
    elif kind == "device":
        problems += check_device(source)
    if len(problems) > MOST:
        more = f"expected a {kind} document, got more than {MOST} problems in it; these are the first"
        problems = [Problem(source.where(), more), *problems[:MOST]]
    return source, made, problems
