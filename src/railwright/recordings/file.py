"""The file of a recording: looked at before it is opened, and known again after it was read."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from railwright.recordings.errors import RecordingError
from railwright.regular import LARGEST_RECORDING, Unfit, size_of

PIECE = 1 << 20
"""Bytes that are held of a file that is gone through."""

BEGINNING = 4
"""Bytes at the beginning that tell the kinds of files apart."""


@dataclass(frozen=True, slots=True)
class RecordedFile:
    """A file as it was found: its bytes are not held, but a change of them does not go unseen.

    identity: device, inode, bytes and time of the last change [ns].
    """

    path: Path
    identity: tuple[int, int, int, int]

    @property
    def size(self) -> int:
        return self.identity[2]

    def check_unchanged(self) -> None:
        """RecordingError where the file is no longer the one that was found."""
        try:
            now = _identity(self.path)
        except OSError:
            now = None
        if now != self.identity:
            told = (
                "expected a recording that stays as it is, got one that changed meanwhile; read a copy of it"
            )
            raise RecordingError(self.path, 1, told)

    def content(self) -> Iterator[bytes]:
        """All of its bytes, piece by piece. RecordingError where it has changed since it was found."""
        self.check_unchanged()
        with self.path.open("rb") as stream:
            while piece := stream.read(PIECE):
                yield piece
        self.check_unchanged()


def find_file(
    path: Path, largest: int = LARGEST_RECORDING, called: str = "recording"
) -> tuple[RecordedFile, bytes]:
    """A file and its first bytes. RecordingError where it is none, or one of more than `largest` bytes.

    called: what it should be, for the message.
    """
    try:
        size_of(path, largest)
        identity = _identity(path)
        with path.open("rb") as stream:
            return RecordedFile(path, identity), stream.read(BEGINNING)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RecordingError(path, 1, f"expected a {called}, got none: {reason}; correct the path") from None
    except Unfit as error:
        raise RecordingError(path, 1, f"expected a {called}, got {error}") from None
    except ValueError:  # a null character in the path
        raise RecordingError(path, 1, f"expected a {called}, got a path that no file can have") from None


def _identity(path: Path) -> tuple[int, int, int, int]:
    status = os.stat(path)
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns
