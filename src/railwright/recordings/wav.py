"""WAV recordings, read a block at a time: RIFF, RF64 and RIFX; whole numbers of 8 to 64 bits, or fractions.

References
----------
.. [1] Multimedia Programming Interface and Data Specifications 1.0 (1991): RIFF, and the WAVE form.
.. [2] EBU Tech 3306: RF64, sizes beyond 4 GB in a `ds64` chunk.

Both from memory. scipy, with which a test compares it, reads 24 bits only as a whole and maps all others into
memory, and a mapped file that is cut off while it is read ends the process; `wave` reads no fractions.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from railwright.recordings.columns import Column
from railwright.recordings.file import RecordedFile
from railwright.recordings.table import BLOCK, Table, readable

if TYPE_CHECKING:
    from numpy.typing import NDArray

WHAT = "a WAV file"
PCM, FRACTIONS, EXTENSIBLE = 1, 3, 0xFFFE
LEAST_FORM, WHOLE_FORM = 16, 40
"""Bytes of a format, and of one that is extensible."""

MOST_CHUNKS = 1000
"""Chunks that may stand before the samples."""

MOST_CHANNELS = 1000
"""Channels that a file may have."""


@dataclass(frozen=True, slots=True)
class _Form:
    """How samples lie in the file: rate [1/s], channels, bytes of one sample of one channel."""

    rate: int
    channels: int
    width: int
    whole: bool
    order: str

    @property
    def frame(self) -> int:
        """Bytes of one sample of all channels."""
        return self.channels * self.width


class WavTable(Table):
    """A WAV file: its channels, numbered from 1, and the time between its samples.

    Whole numbers are given as parts of full scale, from -1 up to 1: nothing in the file says what that is.
    """

    ending = ".wav"

    def __init__(self, file: RecordedFile) -> None:
        with readable(file, WHAT):
            self._stream = os.open(file.path, os.O_RDONLY | os.O_NONBLOCK)
            try:
                self._form, self._begin, size = _read_head(self._stream, file.size)
            except BaseException:
                os.close(self._stream)
                raise
        self._count = size // self._form.frame
        form = self._form
        columns = [
            Column(
                f"channel {number}", kind="fraction" if form.whole else "number", header=f"channel {number}"
            )
            for number in range(1, form.channels + 1)
        ]
        recognised = (f"{WHAT} of {form.rate} samples a second",)
        super().__init__(file, columns, recognised, interval=1.0 / form.rate)

    def count(self, places: Sequence[int]) -> int:
        return self._count

    def starts(self, places: Sequence[int]) -> Sequence[int]:
        return range(max(1, self._count))

    def blocks(self, places: Sequence[int], start: int = 0) -> Iterator[list[NDArray[Any]]]:
        form = self._form
        step = max(1, BLOCK // form.channels)
        for begin in range(start, self._count, step):
            wanted = min(step, self._count - begin) * form.frame
            with readable(self.file, WHAT):
                raw = _read(self._stream, wanted, self._begin + begin * form.frame)
                samples = _samples(raw, form)
            yield [samples[:, place] for place in places]

    def close(self) -> None:
        if self._stream >= 0:
            os.close(self._stream)
            self._stream = -1


def _read(stream: int, size: int, at: int) -> bytes:
    """So many bytes from a place; ValueError where the file has fewer."""
    parts, got = [], 0
    while got < size:
        part = os.pread(stream, size - got, at + got)
        if not part:
            raise ValueError(f"{got} bytes of {size} at byte {at}; the file is cut off")
        parts.append(part)
        got += len(part)
    return b"".join(parts)


def _read_head(stream: int, file_size: int) -> tuple[_Form, int, int]:
    """How the samples lie, where they begin, and how many bytes they have [1]_ [2]_. ValueError."""
    kind = _read(stream, 12, 0)
    order = {b"RIFF": "<", b"RF64": "<", b"RIFX": ">"}.get(kind[:4])
    if order is None or kind[8:] != b"WAVE":
        raise ValueError(f"it begins with {kind[:4]!r}")
    at, form, large = 12, None, None
    for _ in range(MOST_CHUNKS):
        name, size = struct.unpack(f"{order}4sI", _read(stream, 8, at))
        if name == b"ds64":
            large = struct.unpack("<Q", _read(stream, 8, at + 16))[0]
        elif name == b"fmt ":
            form = _form(_read(stream, min(size, WHOLE_FORM), at + 8), order)
        elif name == b"data":
            if form is None:
                raise ValueError("its samples stand before their format")
            if size == 0xFFFFFFFF and large is not None:
                size = large
            if at + 8 + size > file_size:
                raise ValueError(f"{size:,} bytes of samples by its head, {file_size - at - 8:,} in the file")
            if size % form.frame:
                raise ValueError(f"{size:,} bytes of samples, {form.frame} each")
            return form, at + 8, size
        at += 8 + size + size % 2
    raise ValueError(f"no samples behind {MOST_CHUNKS} chunks")


def _form(raw: bytes, order: str) -> _Form:
    if len(raw) < LEAST_FORM:
        raise ValueError(f"{len(raw)} bytes of format, at least {LEAST_FORM} are needed")
    tag, channels, rate, _, frame, bits = struct.unpack(f"{order}HHIIHH", raw[:16])
    if tag == EXTENSIBLE:
        if len(raw) < WHOLE_FORM:
            raise ValueError(f"an extensible format of {len(raw)} bytes, {WHOLE_FORM} are needed")
        (tag,) = struct.unpack(f"{order}H", raw[24:26])
    if rate == 0:
        raise ValueError("0 samples a second")
    if not 1 <= channels <= MOST_CHANNELS or frame % channels:
        raise ValueError(f"{channels} channels in {frame} bytes")
    width = frame // channels
    widths = {PCM: (1, 2, 3, 4, 8), FRACTIONS: (4, 8)}
    if width not in widths.get(tag, ()) or not 8 * (width - 1) < bits <= 8 * width:
        raise ValueError(f"format {tag} with {bits} bits in {width} bytes a sample")
    return _Form(rate, channels, width, tag == PCM, order)


def _samples(raw: bytes, form: _Form) -> NDArray[np.float64]:
    """Samples (n, channels); whole numbers as parts of full scale."""
    if not form.whole:
        with np.errstate(invalid="ignore"):  # a NaN is told with its row, when the samples are looked at
            values = np.frombuffer(raw, f"{form.order}f{form.width}").astype(np.float64)
    elif form.width == 1:  # without a sign, the middle at 128
        values = (np.frombuffer(raw, "u1").astype(np.float64) - 128.0) / 128.0
    elif form.width == 3:  # as the upper bytes of four
        wide = np.zeros((len(raw) // 3, 4), "u1")
        place = slice(1, 4) if form.order == "<" else slice(0, 3)
        wide[:, place] = np.frombuffer(raw, "u1").reshape(-1, 3)
        values = wide.view(f"{form.order}i4")[:, 0] / 2.0**31
    else:
        values = np.frombuffer(raw, f"{form.order}i{form.width}") / 2.0 ** (8 * form.width - 1)
    return values.reshape(-1, form.channels)
