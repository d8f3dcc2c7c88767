"""Messages cut out of a stream of bytes."""

from hypothesis import given
from hypothesis import strategies as st

from railwright.scpi.errors import ScpiError
from railwright.scpi.framing import MessageFramer


@given(
    st.lists(st.binary(max_size=30).filter(lambda piece: b"\n" not in piece), max_size=8), st.integers(1, 9)
)
def test_messages_come_out_however_the_bytes_arrive(messages: list[bytes], size: int) -> None:
    stream = b"".join(message + b"\n" for message in messages)
    framer = MessageFramer()
    out = [part for i in range(0, len(stream), size) for part in framer.feed(stream[i : i + size])]
    assert out == messages


def test_a_message_that_grows_too_long_is_reported_once_and_dropped() -> None:
    framer = MessageFramer(longest=10)
    out = [part for _ in range(5) for part in framer.feed(b"abcdefgh")]
    assert [part.number for part in out if isinstance(part, ScpiError)] == [-363]
    assert framer.feed(b"rest\n*IDN?\n") == [b"*IDN?"]


def test_memory_stays_bounded() -> None:
    framer = MessageFramer(longest=100)
    for _ in range(1000):
        framer.feed(b"x" * 1000)
    assert len(framer._held) <= 100
