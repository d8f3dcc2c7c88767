"""The manifest of a run folder: a SHA-256 of each file, so that what was changed afterwards is seen."""

from __future__ import annotations

import errno
import fcntl
import hashlib
import json
import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from railwright.records.log import sync_folder
from railwright.records.names import DOCUMENTS, MANIFEST, RECORDINGS, UNFINISHED, decides
from railwright.regular import LARGEST_LOG, LARGEST_RECORDING, Unfit, json_of, size_of

ALGORITHM = "SHA-256"

HOLD_LIMIT = 10.0
"""How long a folder that another program holds is waited for [s]."""


class NoManifest(ValueError):
    """What a manifest should say, and what it says instead."""


@dataclass(frozen=True, slots=True)
class Differences:
    """What of a folder is not as its manifest says; paths relative to the folder.

    unlisted: files that bear a name of the run's own, and that the manifest does not list. added: other files
    that it does not list, which is no fault. record: what of the readings is not as the run
    counted them, one line each.
    """

    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    unlisted: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    manifest: str = ""
    record: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        return not self.lines()

    def of(self, concerned: Callable[[str], bool]) -> Differences:
        """Only what the files say of which this is so, and what the manifest and the counts say."""
        return replace(
            self,
            changed=tuple(filter(concerned, self.changed)),
            missing=tuple(filter(concerned, self.missing)),
            unlisted=tuple(filter(concerned, self.unlisted)),
            added=tuple(filter(concerned, self.added)),
        )

    def lines(self) -> tuple[str, ...]:
        """One line for each thing that is wrong."""
        return (
            *([self.manifest] if self.manifest else []),
            *(f"{name}: changed since the run" for name in self.changed),
            *(f"{name}: missing, the run had written it" for name in self.missing),
            *([f"{', '.join(self.unlisted)}: not listed in {MANIFEST}"] if self.unlisted else []),
            *self.record,
        )


Content = str | bytes | Iterable[bytes]
"""Of a file: text in UTF-8, or bytes, in pieces where there are many."""


def write_atomically(path: Path, content: Content) -> None:
    """A file is there whole or not at all, also after a crash in the middle. OSError names it."""
    write_together({path: content})


def write_together(files: Mapping[Path, Content], *, new: bool = False, folders: bool = False) -> None:
    """Files that belong together: where one cannot be written, for want of room or of leave, none is
    replaced, and nothing that was made for them stays. What is there and no file, such as a pipe, is written
    into; of a link, what it leads to.

    new: nothing that is there is replaced: FileExistsError, of two that write it at once for one of them.
    folders: those that are missing are made. OSError names the one.
    """
    if not new:
        # Before links are followed: one to a pipe that has no name leads nowhere.
        devices = {path: each for path, each in files.items() if _is_device(path)}
        files = {_behind(path): each for path, each in files.items() if path not in devices}
        for path, content in devices.items():
            with _named(path), open(path, "wb") as device:
                device.writelines(_pieces(content))
    # Names of its own: two that write the same file do not write into each other's.
    mark = f".{os.urandom(4).hex()}{UNFINISHED}"
    besides = {path: path.with_name(path.name + mark) for path in files}
    made: list[Path] = []
    try:
        for path, content in files.items():
            with _named(path):
                if folders:
                    _make(path.parent, made)
                made.append(besides[path])
                with open(besides[path], "xb") as file:
                    for piece in _pieces(content):
                        file.write(piece)
                    file.flush()
                    os.fsync(file.fileno())
        for path, beside in besides.items():
            with _named(path):
                if new:
                    _place_new(beside, path)
                    made.append(path)
                else:
                    os.replace(beside, path)
    except BaseException:
        # A piece of a file helps nobody, and takes room on a disk that is full.
        for each in reversed(made):
            with suppress(OSError):
                each.rmdir() if each.is_dir() else each.unlink()
        raise
    for folder in {path.parent for path in files}:
        sync_folder(folder)


def _is_device(path: Path) -> bool:
    return path.exists() and not path.is_file() and not path.is_dir()


def _behind(path: Path) -> Path:
    """What a link leads to, which need not be there. OSError where links lead round."""
    if not path.is_symlink():
        return path
    goal = Path(os.path.realpath(path))
    if goal.is_symlink():
        raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), str(path))
    return goal


def _pieces(content: Content) -> Iterable[bytes]:
    if isinstance(content, str):
        return (content.encode(),)
    return (content,) if isinstance(content, bytes) else content


def _make(folder: Path, made: list[Path]) -> None:
    """Make a folder with those above it; each that was made goes to the end of `made`."""
    if not folder.exists():
        _make(folder.parent, made)
        folder.mkdir(exist_ok=True)
        made.append(folder)


def _place_new(beside: Path, path: Path) -> None:
    """Give a file that is complete its name, which nothing may have. FileExistsError where something has."""
    try:
        os.link(beside, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: the name is taken first
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        try:
            os.replace(beside, path)
        except BaseException:
            path.unlink()
            raise
    else:
        beside.unlink()


@contextmanager
def _named(path: Path) -> Iterator[None]:
    """An OSError that names this file; one of writing itself names none."""
    try:
        yield
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error


def write_json(path: Path, data: Any) -> None:
    """`as_json` in a file."""
    write_atomically(path, as_json(data))


def as_json(data: Any) -> str:
    """Readable JSON, numbers in SI units; ValueError of NaN, which is no JSON."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def hash_file(path: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def hash_bytes(pieces: Iterable[bytes]) -> str:
    """The same of content that comes in pieces."""
    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    return digest.hexdigest()


def write_manifest(folder: Path, names: Iterable[str] | None = None) -> None:
    """Hash the files of a folder. names: only these are (re)hashed, the other entries stay, as of files that
    were added.
    """
    if names is None:
        _write(folder, files_of(folder), {})
        return
    with changing(folder) as listed:
        listed(names)


@contextmanager
def changing(folder: Path) -> Iterator[Callable[[Iterable[str]], None]]:
    """Hold a folder while files of it are added or replaced: others that do so, or read its manifest to
    compare, wait for `HOLD_LIMIT`, then OSError. Gives what lists them in the manifest, in which what others
    listed stays.
    """
    with _held(folder, fcntl.LOCK_EX):
        yield lambda names: _write(folder, names, _read(folder))


@contextmanager
def _held(folder: Path, how: int) -> Iterator[None]:
    """Hold a folder by a lock, where its file system has any. OSError where another program does not let it
    go.
    """
    descriptor, end = -1, time.monotonic() + HOLD_LIMIT
    try:
        with suppress(OSError):
            descriptor = os.open(folder, os.O_RDONLY)
        while descriptor >= 0 and _is_taken(descriptor, how):
            if time.monotonic() > end:
                told = (
                    f"another program has held the folder for {HOLD_LIMIT:g} s; try again once it has ended"
                )
                raise BlockingIOError(errno.EWOULDBLOCK, told, str(folder))
            time.sleep(0.02)
        yield
    finally:
        if descriptor >= 0:
            os.close(descriptor)


def _is_taken(descriptor: int, how: int) -> bool:
    """Whether another holds a lock that stands against this one, which is taken otherwise."""
    try:
        fcntl.flock(descriptor, how | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:  # a file system without locks
        return False
    return False


def _write(folder: Path, names: Iterable[str], known: Mapping[str, str]) -> None:
    entries = {**known, **{name: hash_file(folder / name) for name in names}}
    write_json(folder / MANIFEST, {"algorithm": ALGORITHM, "files": dict(sorted(entries.items()))})


def verify_manifest(folder: Path) -> Differences:
    """Compare a folder with its manifest."""
    try:
        with _held(folder, fcntl.LOCK_SH):
            known, here = _read(folder), set(files_of(folder))
    except FileNotFoundError:
        return Differences(
            manifest=f"{MANIFEST}: missing; the run was never finished, or somebody took it away"
        )
    except (ValueError, RecursionError) as error:
        told = str(error) if isinstance(error, NoManifest) else f"expected hashes of files, got {error!r}"
        return Differences(manifest=f"{MANIFEST}: {told}")
    more = sorted(here - set(known))
    return Differences(
        changed=tuple(n for n in known if n in here and _is_other(folder, n, known[n])),
        missing=tuple(n for n in known if n not in here),
        unlisted=tuple(filter(decides, more)),
        added=tuple(name for name in more if not decides(name)),
    )


def _is_other(folder: Path, name: str, digest: str) -> bool:
    """Whether a file's content is not what was hashed; one that is larger than its kind may be is not read.

    Copies of recordings lie in two folders: what a procedure plays, and what an evaluation used.
    """
    recorded = Path(name).parts[0] in (DOCUMENTS, RECORDINGS)
    try:
        size_of(folder / name, LARGEST_RECORDING if recorded else LARGEST_LOG)
    except Unfit:
        return True
    return hash_file(folder / name) != digest


def _read(folder: Path) -> dict[str, str]:
    """Each file's hash. NoManifest or ValueError where it is none, or not made by this algorithm."""
    data = json_of(folder / MANIFEST)
    if not isinstance(data, dict):
        raise NoManifest(f"expected an object with 'algorithm' and 'files', got {_kind(data)}")
    if data.get("algorithm") != ALGORITHM:
        got = repr(data["algorithm"])[:40] if "algorithm" in data else "none"
        raise NoManifest(f"expected the algorithm '{ALGORITHM}', got {got}")
    files = data.get("files")
    if not isinstance(files, dict):
        raise NoManifest(f"expected 'files' to be an object of names and hashes, got {_kind(files)}")
    return {str(name): str(digest) for name, digest in files.items()}


def _kind(value: object) -> str:
    """What a value of JSON is, for people."""
    if isinstance(value, list):
        return "a list"
    return "an object" if isinstance(value, dict) else "none" if value is None else f"{value!r:.40}"


def files_of(folder: Path) -> list[str]:
    """The files in a folder and below, relative to it, in order; neither the manifest nor what is still being
    written.
    """
    return sorted(
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and path.name != MANIFEST and not path.name.endswith(UNFINISHED)
    )
