"""Arbitrary blocks of IEEE 488.2: `#<n><length><data>` of definite length, and `#0<data>` that ends with the
message.

Source: IEEE 488.2-1992, 7.7.6 (arbitrary block program data) and 8.7.9, 8.7.10 (response data).
"""

from __future__ import annotations

from railwright.scpi.errors import ScpiError


def decode_block(message: bytes, start: int = 0) -> tuple[bytes, int]:
    """Data of the block that begins at `message[start]`, and the index just after it.

    An indefinite block takes all that is left of the message. Raises -161 when the header or the length does
    not fit.
    """
    if message[start : start + 1] != b"#" or not message[start + 1 : start + 2].isdigit():
        raise ScpiError(-161, "a block begins with # and a digit")
    digits = message[start + 1] - ord("0")
    if digits == 0:
        return message[start + 2 :], len(message)
    length_text = message[start + 2 : start + 2 + digits]
    if len(length_text) < digits or not length_text.isdigit():
        raise ScpiError(-161, f"expected {digits} digits of length")
    begin = start + 2 + digits
    end = begin + int(length_text)
    if end > len(message):
        raise ScpiError(-161, f"{int(length_text)} bytes announced, {len(message) - begin} came")
    return message[begin:end], end


def encode_block(data: bytes) -> bytes:
    """The data as a block of definite length. ValueError for more than its length can tell."""
    length = str(len(data))
    if len(length) > 9:
        raise ValueError(f"expected fewer than 10**9 bytes, got {length}")
    return f"#{len(length)}{length}".encode("ascii") + data
