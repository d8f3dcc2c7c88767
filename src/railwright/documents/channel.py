"""The number by which an instrument knows an output (SCPI-1999: channel)."""

from typing import Annotated

from pydantic import BeforeValidator, WithJsonSchema

from railwright.documents.channel_name import channel_named
from railwright.quantities import quoted


def _channel(given: object) -> int:
    channel = channel_named(str(given))
    if channel is None:
        raise ValueError(f"expected the number of a channel, 1 to 99999, got {quoted(given)}")
    return channel


Channel = Annotated[
    int, BeforeValidator(_channel), WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 99_999})
]
"""The channel of an output, as a document writes it."""
