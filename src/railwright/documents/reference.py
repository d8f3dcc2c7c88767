"""The reference of the documents (docs/documents.md), written from the models.

`python -m railwright.documents.reference docs/documents.md` writes it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, WithJsonSchema
from pydantic.fields import FieldInfo

from railwright.documents.bench import Output
from railwright.documents.conductor import Conductor
from railwright.documents.device import accept_announced_loads
from railwright.documents.evaluated_keys import EvaluatedKeys
from railwright.documents.procedure import accept_announced_measures
from railwright.documents.schema import MODELS
from railwright.documents.translate import annotations_of, arms_of, choices_of, is_model
from railwright.quantities import Dimension

_OPENING = """# The documents

Written from the models by `python -m railwright.documents.reference docs/documents.md`; do not edit.

A document is YAML. Every quantity carries its unit: `12 V`, `250 mA`, `40 ms`, `60 mohm`, `1000 uF`,
`1 V/ms`; decimals have a point. A range is written `9 V .. 16 V`. Where bounds are admitted, so are
`1000 uF ± 20 %` (relative to the value), `3.6 W ± 0.2 W` and `8.2 V .. 8.6 V`; ± is a bound. A
figure in percent has both ends: `82 % .. 88 %`. `85 % ± 3 %` is refused, as ± 3 % may be points or parts
of it. A distribution may follow bounds (`1000 uF ± 20 % normal k=2`, `triangular`, `arcsine`). Nothing
else is guessed from the look of a value: `on` is a word, `00117` a serial number.

A key that is left out where it may be is *unknown*, never zero; a key without a value is an error.
A path in a document is relative to it. A document has at most 5 MB, a recording that it names 100 GB, of
which the part that is used has at most 50 million samples. The amount of a quantity lies between 1e-18 and
1e15 of its SI unit, or is zero.

What each measure computes is in [measures.md](measures.md).

What is wrong with documents is said in one line each, everything at once:
`file:line:column: what was expected, what came, what to do`.
"""


def reference() -> str:
    """The whole reference as Markdown."""
    accept_announced_loads()
    accept_announced_measures()
    parts = [_OPENING]
    titles: dict[str, type[BaseModel]] = {f"The {kind} document": each for kind, each in MODELS.items()}
    titles["Keys of a recording beside a run"] = EvaluatedKeys
    told: set[type[BaseModel]] = set()  # what two documents share stands where it is met first
    for title, model in titles.items():
        parts.append(f"\n## {title}\n\n{_summary(model)}\n")
        for each in models_below(model):
            if each in told:
                continue
            told.add(each)
            if each is not model:
                parts.append(f"\n### {_title(each)}\n\n{_summary(each)}\n")
            parts.append("\n| key | value | needed | meaning |\n| --- | --- | --- | --- |\n")
            parts += [_row(name, field) for name, field in each.model_fields.items()]
            if each is Output:
                parts.append(
                    "| `same_as` | name of an output | no | "
                    "takes every key but `channel` from that output; keys beside it replace its |\n"
                )
    return "".join(parts)


def models_below(model: type[BaseModel]) -> list[type[BaseModel]]:
    """A model and those below it, in the order in which they are met."""
    found: list[type[BaseModel]] = []

    def visit(each: type[BaseModel]) -> None:
        if each in found:
            return
        found.append(each)
        for field in each.model_fields.values():
            for other in below(field.annotation):
                visit(other)

    visit(model)
    return found


def below(annotation: Any) -> list[type[BaseModel]]:
    """The models that a type mentions."""
    found = []
    for arm in arms_of(annotation):
        if is_model(arm):
            found.append(arm)
        elif get_origin(arm) in (dict, tuple):
            found += [model for part in get_args(arm) for model in below(part)]
    return found


def _title(model: type[BaseModel]) -> str:
    """'OverVoltage' as 'Over voltage'."""
    words = "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in model.__name__).strip()
    return words[:1].upper() + words[1:]


def _summary(model: type[BaseModel]) -> str:
    return " ".join((model.__doc__ or "").split())


def _row(name: str, field: FieldInfo) -> str:
    meaning = (field.description or "").replace("|", "\\|")
    value = _value(field.annotation, field.metadata)
    return f"| `{field.alias or name}` | {value} | {_left_out(field)} | {meaning} |\n"


def _left_out(field: FieldInfo) -> str:
    """Whether the key is needed, and what holds where it is left out."""
    if field.is_required():
        return "yes"
    default = field.get_default(call_default_factory=True)
    if default is None or isinstance(default, BaseModel) or default in ((), {}):
        return "no"
    if isinstance(default, bool):
        return f"no; then `{'yes' if default else 'no'}`"
    if isinstance(default, tuple):
        return f"no; then `{', '.join(default)}`"
    return f"no; then `{default:g}`" if isinstance(default, float) else f"no; then `{default}`"


def _value(annotation: Any, metadata: list[Any]) -> str:
    """What can be written there."""
    for data in (*metadata, *annotations_of(annotation)):
        if isinstance(data, Dimension) and get_origin(annotation) not in (tuple, dict):
            return f"{data.kind}: " + ", ".join(f"`{example}`" for example in data.examples)
        if float in arms_of(annotation) and isinstance(data, WithJsonSchema) and data.json_schema is not None:
            return _number(data.json_schema)
    if words := choices_of(annotation):
        return " or ".join(f"`{word}`" for word in words)
    texts = [_one(arm) for arm in arms_of(annotation) if arm is not type(None)]
    return " or ".join(dict.fromkeys(texts))


def _number(schema: dict[str, Any]) -> str:
    """What can be written for a number that is read in a way of its own: a limit, or a text alone."""
    if schema["type"] == "string":
        return "text: " + ", ".join(f"`{example}`" for example in schema["examples"])
    return "quantity in the measure's unit"


def _one(arm: Any) -> str:
    origin = get_origin(arm)
    if origin is Annotated:
        return _value(get_args(arm)[0], list(get_args(arm)[1:]))
    if origin is tuple:
        return f"list of {_value(get_args(arm)[0], [])}"
    if origin is dict:
        return f"name: {_value(get_args(arm)[1], [])}"
    if is_model(arm):
        return f"[{_title(arm)}](#{_title(arm).lower().replace(' ', '-')})"
    if arm is Conductor:
        return "a conductor: `AWG 18`, `0.5 mm2 class 5`"
    return {
        "str": "text",
        "int": "whole number",
        "bool": "`yes` or `no`",
        "float": "number",
        "Interval": "range in the measure's unit",
        "date": "date: `2026-03-02`",
        "Dialect": "name of a dialect",
    }[arm.__name__]


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(reference(), encoding="utf-8")
