"""The hook-up of a procedure: what feeds each input, through which lead, sensed where; or `auto`."""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator

from railwright.documents.model import Model, Text, exactly_one
from railwright.documents.output_name import OutputName
from railwright.documents.sources import hint
from railwright.quantities import quoted

AUTO = "auto"
"""The word for what the program works out."""


class Source(Model):
    """Outputs joined in series or in parallel, as 'supply.output'."""

    series: tuple[Text, ...] | None = Field(None, min_length=2, description="outputs whose voltages add")
    parallel: tuple[Text, ...] | None = Field(None, min_length=2, description="outputs whose currents add")

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, ("series", "parallel"))
        return self


def _no_list(given: object) -> object:
    """A list does not say how its outputs are joined."""
    if isinstance(given, list | tuple):
        listed = ", ".join(each if isinstance(each, str) else "..." for each in given)
        joined = [f"{{{way}: [{listed}]}}" for way in ("series", "parallel")]
        ways = " or ".join(map(quoted, joined if len(given) > 1 else [listed or "auto"]))
        raise ValueError(f"expected an output, or how several are joined, got a list; write {ways}")
    return given


def _single_or_joined(given: object) -> str:
    return "joined" if isinstance(given, dict | Source) else "single"


def _auto_hook_up(schema: dict[str, Any]) -> None:
    """In the schema for editors: 'auto' stands for the whole, and with 'from: auto' the others may be left
    out.
    """
    keys = {key: schema.pop(key) for key in ("type", "properties", "additionalProperties")}
    required = schema.pop("required")
    schema["anyOf"] = [
        {"const": AUTO},
        {
            **keys,
            "anyOf": [
                {"required": required},
                {"properties": {"from": {"const": AUTO}}, "required": ["from"]},
            ],
        },
    ]


class HookUp(Model):
    """What feeds one input, through which lead, sensed where. `auto` in the place of all or any of it: worked
    out from what the bench has, with its reason; with `from: auto`, what is left out is `auto` too.
    """

    model_config = ConfigDict(json_schema_extra=_auto_hook_up)

    source: Annotated[
        Annotated[Text, Tag("single")] | Annotated[Source, Tag("joined")],
        Discriminator(_single_or_joined),
        BeforeValidator(_no_list),
    ] = Field(
        alias="from", description="'supply.output', or `{series: [...]}`, or `{parallel: [...]}`, or `auto`"
    )
    lead: Text = Field(description="a lead of the bench, or `auto`")
    fixture: Text | None = Field(
        None, description="a fixture of the bench, between lead and input; left out: nothing is there"
    )
    sense: Literal["at load", "at terminals", "auto"] = Field(description="where the voltage is sensed")

    @model_validator(mode="before")
    @classmethod
    def _whole(cls, given: Any) -> Any:
        if given == AUTO:
            given = {"from": AUTO}
        elif isinstance(given, str):
            keys = "{from: ..., lead: ..., sense: ...}"
            raise ValueError(f"expected 'auto' or {keys}, got {quoted(given)}{hint(given, [AUTO])}")
        if isinstance(given, dict) and given.get("from", given.get("source")) == AUTO:
            return {"lead": AUTO, "sense": AUTO, **given}
        return given

    @property
    def auto(self) -> bool:
        """Whether any of it has still to be worked out."""
        return AUTO in (self.source, self.lead, self.sense)

    @property
    def sensed(self) -> Literal["at load", "at terminals"]:
        """Where the voltage is sensed; ValueError where that has still to be worked out."""
        if self.sense == "auto":
            raise ValueError("the hook-up is still 'auto': it has to be worked out first")
        return self.sense

    @property
    def outputs(self) -> tuple[OutputName, ...]:
        """The outputs that feed the input; none where they are still `auto`."""
        if self.source == AUTO:
            return ()
        if isinstance(self.source, str):
            return (OutputName(self.source),)
        return tuple(OutputName(each) for each in self.source.series or self.source.parallel or ())

    @property
    def arrangement(self) -> Literal["alone", "series", "parallel"]:
        """How they do it."""
        if isinstance(self.source, str):
            return "alone"
        return "series" if self.source.series else "parallel"


def auto_for_all(given: object) -> object:
    """`hook_up: auto` as an entry of its own, until the device says which inputs there are."""
    if isinstance(given, str):
        if given != AUTO:
            entry = "an entry for each input"
            raise ValueError(f"expected 'auto' or {entry}, got {quoted(given)}{hint(given, [AUTO])}")
        return {AUTO: AUTO}
    return given


def auto_or_entries(schema: dict[str, Any]) -> None:
    """In the schema for editors: 'auto', or an entry for each input."""
    keys = {key: schema.pop(key) for key in ("type", "additionalProperties", "minProperties")}
    schema.pop("propertyNames", None)
    schema["anyOf"] = [{"const": AUTO}, keys]
