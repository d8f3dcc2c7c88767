"""Messages out of a stream of bytes: cut at newlines, bounded in length.

A raw socket has no END signal, so a newline ends every message (IEEE 488.2-1992, 7.5: NL is a message
terminator) and a carriage return before it is white space. A message longer than the bound is thrown away
whole, -363 in its place.
"""

from __future__ import annotations

from railwright.scpi.errors import ScpiError


class MessageFramer:
    """Collects bytes and gives out whole messages; holds at most `longest` bytes of an unfinished one."""

    def __init__(self, longest: int = 65536) -> None:
        self.longest = longest
        self._held = bytearray()
        self._overrun = False

    def feed(self, received: bytes) -> list[bytes | ScpiError]:
        """Messages that these bytes complete, newline taken off; an error stands where a message was too
        long.
        """
        done: list[bytes | ScpiError] = []
        *ended, rest = received.split(b"\n")
        for piece in ended:
            done.extend(self._take(piece))
            if not self._overrun:
                done.append(bytes(self._held))
            self._held.clear()
            self._overrun = False
        done.extend(self._take(rest))
        return done

    def _take(self, piece: bytes) -> list[bytes | ScpiError]:
        """Hold a piece of a message, or report once that the message has grown too long."""
        if self._overrun:
            return []
        if len(self._held) + len(piece) <= self.longest:
            self._held += piece
            return []
        self._overrun = True
        self._held.clear()
        return [ScpiError(-363, f"a message of more than {self.longest} bytes")]
