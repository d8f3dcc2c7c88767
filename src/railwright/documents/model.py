"""What every document model shares: frozen, no unknown keys, 'exactly one of' choices, kinds of text."""

import datetime as dt
import re
from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, WithJsonSchema

from railwright.documents.address import visa_address
from railwright.frozen import frozen_values
from railwright.physics.loads.law import fault as fault
from railwright.printable import printable
from railwright.quantities import quoted


class Model(BaseModel):
    """A frozen part of a document, with its mappings; unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, defer_build=True)

    def model_post_init(self, context: Any, /) -> None:
        """Keep the mappings from changes, of fields that are left out too."""
        self.__dict__.update(frozen_values(self.__dict__))

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """As pydantic's, which takes what it is given as it is; mappings are kept from changes here too."""
        given = {**(update or {})}
        return super().model_copy(update={**given, **frozen_values(given)}, deep=deep)


def exactly_one(model: BaseModel, names: tuple[str, ...], remedy: str = "") -> str:
    """Name of the one field that is set; raises the error that pydantic reports at the model's place.

    remedy: what to do where several are set, if there is more to say than that one is enough.
    """
    given = [name for name in names if getattr(model, name) is not None]
    if len(given) != 1:
        got = "none of them" if not given else " and ".join(given)
        raise fault(
            f"expected exactly one of {', '.join(names)}, got {got}{remedy if given else ''}", *given[1:2]
        )
    return given[0]


def _named(value: str) -> str:
    if not value.strip():
        raise ValueError("expected some text, got an empty one")
    return value


def _text(value: str) -> str:
    _named(value)
    if printable(value) != value:
        got = f"got {quoted(value)}, with a character that steers a terminal"
        raise ValueError(f"expected text, {got}; leave it out, or use single quotes")
    return value


def _word(value: str) -> str:
    if not re.fullmatch(r"[\w+\-](?:[\w +\-]{0,58}[\w+\-])?", value):
        raise ValueError(f"expected a name of letters, digits, spaces, '-', '+' or '_', got {quoted(value)}")
    return value


def _date(value: object) -> object:
    if isinstance(value, dt.date):
        return value
    try:
        if isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
            return dt.date.fromisoformat(value)
    except ValueError:
        got = f"got {quoted(value)}, which no calendar has; correct it"
        raise ValueError(f"expected a date such as '2026-03-02', {got}") from None
    raise ValueError(f"expected a date such as '2026-03-02', got {quoted(value)}")


Text = Annotated[str, AfterValidator(_text), WithJsonSchema({"type": ["string", "number"]})]
"""Some text, not empty, fit to print."""
Address = Annotated[Text, AfterValidator(visa_address)]
"""How an instrument is reached: a VISA resource name."""
File = Annotated[str, AfterValidator(_named), WithJsonSchema({"type": ["string", "number"]})]
"""Name of a file as it is: whoever reads the file says what is wrong with it."""
Name = Annotated[str, AfterValidator(_word)]
"""A name that others refer to, and that names files and columns: no dots, slashes or quotes."""
Date = Annotated[dt.date, BeforeValidator(_date)]
"""A day, as year-month-day."""
