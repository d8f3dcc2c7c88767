"""Arbitrary blocks."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from railwright.scpi.blocks import decode_block
from railwright.scpi.errors import ScpiError


@given(st.binary(max_size=300), st.binary(max_size=20))
def test_a_block_comes_back_and_leaves_the_rest(data: bytes, rest: bytes) -> None:
    length = str(len(data)).encode("ascii")
    block = b"#%d%b%b" % (len(length), length, data)
    assert decode_block(block + rest) == (data, len(block))


@pytest.mark.parametrize("message", [b"", b"#", b"5", b"#x", b"#3", b"#3ab", b"#15abc", b"#2-1abc"])
def test_faulty_blocks(message: bytes) -> None:
    with pytest.raises(ScpiError) as caught:
        decode_block(message)
    assert caught.value.number == -161
