"""What every document model shares: frozen, no unknown keys, and 'exactly one of' choices."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict
from pydantic_core import PydanticCustomError


class Model(BaseModel):
    """A frozen part of a document; unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def exactly_one(model: BaseModel, names: tuple[str, ...]) -> str:
    """Name of the one field that is set; raises the error that pydantic reports at the model's place."""
    given = [name for name in names if getattr(model, name) is not None]
    if len(given) != 1:
        got = "none of them" if not given else " and ".join(given)
        raise PydanticCustomError("exactly_one", f"expected exactly one of {', '.join(names)}, got {got}")
    return given[0]


def _named(value: str) -> str:
    if not value.strip():
        raise ValueError("expected some text, got an empty one")
    return value


Text = Annotated[str, AfterValidator(_named)]
AnyMapping = dict[str, Any]
