"""Files are there whole or not at all, and what several write at once is not lost."""

from __future__ import annotations

import errno
import fcntl
import json
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Self

import pytest
from tests.evaluation.stored_runs import store

from railwright.archive.stored import StoredRun, evaluate_run, open_stored
from railwright.cli.csv import write_columns
from railwright.cli.truth import write_truth
from railwright.documents.templates import write_new
from railwright.job import Job, NotWritten
from railwright.records import manifest
from railwright.records.manifest import verify_manifest, write_manifest, write_together
from railwright.records.names import evaluation_files
from railwright.records.stored import open_run
from railwright.regular import json_of


class Disk:
    """Takes so many bytes through `open`, of all files together, and no more."""

    def __init__(self, room: int) -> None:
        self.room = room

    def open(self, path: Any, mode: str = "r", *args: Any, **more: Any) -> Any:
        file = open(path, mode, *args, **more)  # noqa: SIM115 - handed on
        return file if mode.startswith("r") else _Filling(file, self)


class _Filling:
    def __init__(self, file: IO[bytes], disk: Disk) -> None:
        self._file, self._disk = file, disk

    def write(self, data: bytes) -> int:
        taken = min(len(data), self._disk.room)
        self._file.write(data[:taken])
        self._disk.room -= taken
        if taken < len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return taken

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Callable[[int], None]:
    def full_after(room: int) -> None:
        monkeypatch.setattr(manifest, "open", Disk(room).open, raising=False)

    return full_after


def everything(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() if path.is_file() else b"/" for path in folder.rglob("*")}


class Twins:
    def truth_data(self) -> dict[str, list[float]]:
        return {"offset": [0.25] * 500}


WRITERS: dict[str, Callable[[Path], object]] = {
    "documents to start from": lambda place: write_new(place / "new" / "er"),
    "traces": lambda place: write_columns(
        place / "r.csv", {"time_s": _rising(), "a_V": _rising()}, ["%g", "%g"]
    ),
    "true figures": lambda place: write_truth(place / "t.json", Twins()),  # type: ignore[arg-type]
}


def _rising() -> Any:
    import numpy as np

    return np.arange(25_000.0)


@pytest.mark.parametrize("room", [0, 1000, 3000])
@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_leaves_nothing_half_written(
    tmp_path: Path, disk: Callable[[int], None], name: str, room: int
) -> None:
    (tmp_path / "mine").write_text("precious")
    before = everything(tmp_path)
    disk(room)
    with pytest.raises(OSError, match="No space left") as told:
        WRITERS[name](tmp_path)
    assert told.value.filename is not None
    assert str(tmp_path) in told.value.filename
    assert everything(tmp_path) == before
    disk(1 << 30)
    WRITERS[name](tmp_path)
    assert len(everything(tmp_path)) > len(before)


def test_traces_are_whole_beyond_a_piece(tmp_path: Path) -> None:
    write_columns(tmp_path / "r.csv", {"time_s": _rising(), "a_V": _rising() * 2.0}, ["%.0f", "%.1f"])
    lines = (tmp_path / "r.csv").read_text().split("\n")
    assert (lines[0], lines[-1], len(lines)) == ("time_s,a_V", "", 25_002)
    assert all(lines[n + 1] == f"{n},{2 * n}.0" for n in (0, 9_999, 10_000, 10_001, 24_999))


def test_documents_are_saved_all_or_none(tmp_path: Path, disk: Callable[[int], None]) -> None:
    job = Job.open(write_new(tmp_path / "own")[-1])
    sizes = [len(source.content) for source in job.documents.sources.values()]
    for room in (0, sizes[0] + 10, sum(sizes) - 1):
        disk(room)
        with pytest.raises(NotWritten, match="no space left"):
            job.save(tmp_path / "s")
        assert not (tmp_path / "s").exists()
    disk(1 << 30)
    assert job.save(tmp_path / "s").content == job.content
    with pytest.raises(FileExistsError, match="expected no file there"):
        job.save(tmp_path / "s")


def test_of_files_that_must_be_new_none_is_written_beside_one_that_is_there(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("precious")
    before = everything(tmp_path)
    with pytest.raises(FileExistsError):
        write_together(
            {tmp_path / "a": "1", tmp_path / "b": "2", tmp_path / "c/d": "3"}, new=True, folders=True
        )
    assert everything(tmp_path) == before


def test_a_folder_that_is_gone_is_not_made_again(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        write_together({tmp_path / "run" / "run.json": "{}"})
    assert everything(tmp_path) == {}


def test_new_files_on_a_file_system_without_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr("railwright.records.manifest.os.link", none)
    write_together({tmp_path / "a": "1"}, new=True)
    with pytest.raises(FileExistsError):
        write_together({tmp_path / "a": "2"}, new=True)
    assert everything(tmp_path) == {str(tmp_path / "a"): b"1"}


def at_once(count: int, work: Callable[[int], object]) -> list[BaseException]:
    """The same in so many threads, which begin together; what they raised."""
    begin, raised = threading.Barrier(count), list[BaseException]()

    def go(number: int) -> None:
        begin.wait()
        try:
            work(number)
        except BaseException as error:  # noqa: BLE001 - asserted to be none
            raised.append(error)

    threads = [threading.Thread(target=go, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


@pytest.mark.parametrize("locks", [True, False])
def test_evaluations_at_the_same_time_are_all_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, locks: bool
) -> None:
    """Each under a number of its own; with locks, each in the manifest too."""
    if not locks:
        monkeypatch.setattr("railwright.records.manifest.fcntl.flock", lambda *_: None)
    folder = store(tmp_path / "run")
    runs = [open_stored(folder) for _ in range(6)]
    evaluate_run(runs[0], [])
    raised = at_once(6, lambda number: evaluate_run(runs[number], []))
    names = [path.name for path in evaluation_files(folder)]
    assert names == [f"{n:02d}.json" for n in range(1, 8 - len(raised))]
    assert all(json_of(path)["requirements"] for path in evaluation_files(folder))
    assert not list(folder.rglob("*.part"))
    if locks:
        assert raised == []
        assert verify_manifest(folder).sound
        assert verify_manifest(folder).added == ()


def test_files_that_several_list_at_once_are_all_listed(tmp_path: Path) -> None:
    write_manifest(tmp_path)
    for number in range(8):
        (tmp_path / f"{number}.txt").write_text(str(number))
    assert at_once(8, lambda number: write_manifest(tmp_path, [f"{number}.txt"])) == []
    listed = json.loads((tmp_path / "manifest.json").read_text())["files"]
    assert sorted(listed) == [f"{number}.txt" for number in range(8)]


@pytest.mark.parametrize(
    ("there", "expected"),
    [(["01"], "02"), (["02"], "03"), (["05"], "06"), (["98", "99"], "100"), (["99", "100"], "101")],
)
def test_a_new_evaluation_is_the_last(tmp_path: Path, there: list[str], expected: str) -> None:
    folder = store(tmp_path / "run")
    evaluate_run(open_stored(folder), [])
    first = folder / "evaluations" / "01.json"
    content = first.read_text()
    first.unlink()
    for name in there:
        first.with_name(f"{name}.json").write_text(content)
    evaluate_run(open_stored(folder), [])
    assert [path.stem for path in evaluation_files(folder)] == [*there, expected]


def test_a_link_and_a_pipe_stay_what_they_are(tmp_path: Path) -> None:
    target, link, pipe = tmp_path / "target", tmp_path / "link", tmp_path / "pipe"
    target.write_text("old", "utf-8")
    link.symlink_to(target)
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()), daemon=True)
    reader.start()
    write_together({link: "new", pipe: [b"pie", b"ces"]})
    reader.join(5.0)
    assert got == [b"pieces"]
    assert (link.is_symlink(), target.read_text("utf-8")) == (True, "new")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["link", "pipe", "target"]


@pytest.mark.parametrize("name", ["/dev/fd/{0}", "/proc/self/fd/{0}", "{1}/link"])
def test_a_pipe_that_a_link_leads_to_is_written_into(tmp_path: Path, name: str) -> None:
    """As `/dev/stdout` does before a `|`: its link names no path."""
    reading, writing = os.pipe()
    (tmp_path / "link").symlink_to(f"/dev/fd/{writing}")
    write_together({Path(name.format(writing, tmp_path)): "text", tmp_path / "beside": "1"})
    os.close(writing)
    with open(reading, "rb") as end:
        assert end.read() == b"text"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["beside", "link"]


def test_a_link_to_a_file_that_is_not_there_yet_makes_it(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("later")
    write_together({tmp_path / "link": "text"})
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "later").read_text("utf-8") == "text"


@pytest.mark.parametrize("links", [{"a": "a"}, {"a": "b", "b": "a"}, {"a": "b/c", "b": "b"}])
def test_links_that_lead_round_are_told(tmp_path: Path, links: dict[str, str]) -> None:
    for name, goal in links.items():
        (tmp_path / name).symlink_to(goal)
    with pytest.raises(OSError, match=os.strerror(errno.ELOOP)) as told:
        write_together({tmp_path / "first": "1", tmp_path / "a": "text"})
    assert str(tmp_path) in str(told.value.filename)
    assert {path.name: os.readlink(path) for path in tmp_path.iterdir()} == links


def test_a_name_that_was_taken_first_is_given_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a file system without links, where the file cannot be put in its place then."""

    def refused(*_: object) -> None:
        raise OSError(errno.EIO, "refused")

    monkeypatch.setattr(os, "link", refused)
    monkeypatch.setattr(os, "replace", refused)
    with pytest.raises(OSError, match="refused"):
        write_together({tmp_path / "one": "text"}, new=True)
    assert list(tmp_path.iterdir()) == []


def test_pieces_that_raise_leave_nothing(tmp_path: Path) -> None:
    def pieces() -> Iterator[bytes]:
        yield b"begun"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_together({tmp_path / "x" / "a": b"1", tmp_path / "x" / "b": pieces()}, folders=True)
    assert everything(tmp_path) == {}


@contextmanager
def held(folder: Path, how: int, at_most: float) -> Iterator[None]:
    """As another program does that writes into it or compares it."""
    descriptor = os.open(folder, os.O_RDONLY)
    fcntl.flock(descriptor, how)
    ends = threading.Timer(at_most, lambda: fcntl.flock(descriptor, fcntl.LOCK_UN))
    ends.start()
    try:
        yield
    finally:
        ends.cancel()
        ends.join()
        os.close(descriptor)


ASKERS: dict[str, Callable[[StoredRun], object]] = {
    "read": lambda stored: open_run(stored.folder),
    "list": lambda stored: write_manifest(stored.folder, ["run.json"]),
    "evaluate": lambda stored: evaluate_run(stored, []),
}


@pytest.mark.parametrize("name", ASKERS)
def test_a_folder_that_another_program_holds_is_not_waited_for_without_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr(manifest, "HOLD_LIMIT", 0.2, raising=False)
    stored = open_stored(store(tmp_path / "run"))
    before = everything(tmp_path)
    with held(stored.folder, fcntl.LOCK_EX, 2.0), pytest.raises(OSError, match="another program") as told:
        ASKERS[name](stored)
    assert told.value.filename == str(stored.folder)
    assert everything(tmp_path) == before
    monkeypatch.setattr(manifest, "HOLD_LIMIT", 10.0, raising=False)
    with held(stored.folder, fcntl.LOCK_EX, 0.3):
        ASKERS[name](stored)
    with held(stored.folder, fcntl.LOCK_SH, 0.3):
        ASKERS[name](stored)
