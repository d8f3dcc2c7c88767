"""The name of an output on the bench: the supply, and the output's own name there."""

from __future__ import annotations


class OutputName(str):
    """'supply.output', as documents, messages and files write it, with its two parts as fields.

    It is a text, so that it stands in messages, files and columns as it is. ValueError where the text is no
    such name.
    """

    __slots__ = ("output", "supply")

    supply: str
    output: str

    def __new__(cls, text: str) -> OutputName:
        name = super().__new__(cls, text)
        name.supply, _, name.output = text.partition(".")
        if not name.supply or not name.output:
            raise ValueError(f"expected an output as 'supply.output', got '{text}'")
        return name

    @classmethod
    def of(cls, supply: str, output: str) -> OutputName:
        """The output of that name at that supply."""
        return cls(f"{supply}.{output}")
