"""A model's validation errors as problems of a document, each at its place and in the trade's words."""

from __future__ import annotations

import re
import types
from collections.abc import Iterator, Mapping, Set
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from railwright.dialects.dialect import Dialect
from railwright.documents.bench import Output
from railwright.documents.files import DocumentSource
from railwright.documents.sources import Problem, either, hint, meant
from railwright.quantities import Dimension, quoted

Path = tuple[str | int, ...]
MOST = 50
"""Problems that are said of one document; the rest waits until these are repaired."""
M = TypeVar("M", bound=BaseModel)


def validated(model: type[M], data: object, context: object = None) -> M:
    """The model of plain data under documents' keys; context: what the files that it names hold."""
    return model.model_validate(data, by_alias=True, by_name=False, context=context)


def check(
    model: type[M], source: DocumentSource, incomplete: Set[Path] = frozenset(), context: object = None
) -> tuple[M | None, list[Problem]]:
    """The model of a document, or everything that is wrong with it.

    incomplete: parts of which it is not said again what is missing. context: see `validated`.
    """
    problems, empty = _missing_values(source)
    try:
        made = validated(model, source.root.plain(), context)
        return (None if problems else made), problems
    except ValidationError as error:
        errors = error.errors(include_url=False)[: MOST + 1]
    return None, [*problems, *problems_of(model, source, errors, empty, incomplete)]


def problems_of(
    model: type[BaseModel],
    source: DocumentSource,
    errors: list[ErrorDetails],
    empty: Set[Path] = frozenset(),
    incomplete: Set[Path] = frozenset(),
) -> list[Problem]:
    """A model's errors as problems of its document. empty: keys without a value, of which that is said
    already. incomplete: see `check`.
    """
    problems: list[Problem] = []
    misspelt = _misspelt(model, source, errors)
    beside = {details["loc"][: len(details["loc"]) - cut] for details in errors for cut in (1, 2, 3)}
    for details in errors:
        if details["type"] == "too_short" and details["loc"] in beside and _filled(source, details["loc"]):
            continue  # it has entries, which are wrong themselves
        path = _document_path(source, details["loc"])
        if path in empty or (details["type"] in ("missing", "fault") and path + details["loc"][-1:] in empty):
            continue
        if details["type"] == "fault" and any(place[:-1] == path for place in empty):
            continue
        if details["type"] == "missing" and (path in incomplete or (path, details["loc"][-1]) in misspelt):
            continue
        problems.append(_problem(model, source, path, details))
    return problems


def _filled(source: DocumentSource, loc: Path) -> bool:
    """Whether a list that counts as too short has entries all the same."""
    node = source.root.get(*_document_path(source, loc))
    return node is not None and bool(node.items or node.entries)


def _missing_values(source: DocumentSource) -> tuple[list[Problem], set[Path]]:
    """Keys and list items without a value: a figure that is unknown is left out, not left empty."""
    bare = [path for path, node in source.root.walk() if node.kind == "scalar" and node.text is None]
    told = [_missing_value(source, path) for path in bare]
    # Once: a range with decimal commas leaves two keys without a value.
    each_once = dict.fromkeys((place, message) for place, _, message in told)
    problems = [Problem(source.where(place), message) for place, message in each_once]
    return problems, {*bare, *(meant for _, meant, _ in told)}


def _missing_value(source: DocumentSource, path: Path) -> tuple[Path, Path, str]:
    """Of a key or list item without a value: where the mistake is, which path is meant, and what is said."""
    key = str(path[-1])
    if cut := _decimal_comma(source, path):
        before, comma, point = cut
        return before, before, f"expected a decimal point, got {quoted(comma)}; write {quoted(point)}"
    if not isinstance(path[-1], int) and (glued := re.fullmatch(r"([^\s:]+):(\S.*)", key)):
        written = quoted(f"{glued[1]}: {glued[2]}")
        message = f"expected a blank after {quoted(glued[1] + ':')}, got {quoted(key)}; write {written}"
        return path, (*path[:-1], glued[1]), message
    if not isinstance(path[-1], int) and _after_comma(source, path):
        got = f"expected a key with a value after the comma, got {quoted(key)}"
        return path, path, f"{got}; a comma ends a text inside {{ }}: put the whole text in quotes"
    what = "in the list" if isinstance(path[-1], int) else f"after '{key}:'"
    message = f"expected a value {what}, got nothing; write one, or leave it out where it is unknown"
    return path, path, message


def _decimal_comma(source: DocumentSource, path: Path) -> tuple[Path, str, str] | None:
    """Where a quantity with decimal commas stands, as written and meant: '{hold: 2,5 s}' has a key '5 s'."""
    word, parent = path[-1], source.root.get(*path[:-1])
    if isinstance(word, int) or parent is None:
        return None
    known = [(key, entry.value.text) for key, entry in parent.entries.items()]
    at = list(parent.entries).index(word)
    first = next((index for index in range(at, -1, -1) if known[index][1] is not None), -1)
    pieces = [known[first][1] or ""]
    for key, text in known[first + 1 :]:
        if text is not None or not (re.match(r"\d", key) and re.search(r"(?<![\w.])\d+\Z", pieces[-1])):
            break
        pieces.append(key)
    if first < 0 or len(pieces) <= at - first:
        return None
    return (*path[:-1], known[first][0]), ",".join(pieces), ".".join(pieces)


def _after_comma(source: DocumentSource, path: Path) -> bool:
    """Whether a key without a value is the rest of a text inside { } that has a comma in it."""
    word, parent = str(path[-1]), source.root.get(*path[:-1])
    assert parent is not None
    known = list(parent.entries)
    before = parent.entries[known[known.index(word) - 1]].value if known.index(word) else None
    if before is None or before.text is None:
        return False
    line, column = parent.entries[word].line - 1, parent.entries[word].column - 1
    lines = source.content.decode("utf-8-sig").split("\n")
    ahead = " ".join([*lines[:line], lines[line][:column]]).rstrip() if line < len(lines) else ""
    behind = lines[line][column + len(word) :].lstrip() if line < len(lines) else ""
    return ahead.endswith(",") and not behind.startswith(":")


def _document_path(source: DocumentSource, loc: Path) -> Path:
    """The part of an error's location that stands in the document (not names of union members)."""
    node, path = source.root, []
    for part in loc:
        child = node.child(part)
        if child is not None:
            path.append(part)
            node = child
    return tuple(path)


def _misspelt(
    model: type[BaseModel], source: DocumentSource, errors: list[ErrorDetails]
) -> set[tuple[Path, str | int]]:
    """Missing keys for which a misspelt one stands beside: (path of the mapping, the key that is meant)."""
    found: set[tuple[Path, str | int]] = set()
    for details in errors:
        if details["type"] == "extra_forbidden":
            *parent, word = details["loc"]
            near = meant(str(word), _keys(model, tuple(parent)))
            if near != word:
                found.add((_document_path(source, tuple(parent)), near))
    return found


def _problem(model: type[BaseModel], source: DocumentSource, path: Path, details: ErrorDetails) -> Problem:
    kind, loc = details["type"], details["loc"]
    if kind == "extra_forbidden":
        known = _keys(model, loc[:-1])
        return Problem(
            source.where(path, key=True),
            f"unknown key {quoted(str(loc[-1]))}"
            + (hint(str(loc[-1]), known) or f"; expected one of {', '.join(known)}"),
        )
    if loc[-1:] == ("[key]",):
        return Problem(source.where(path, key=True), _message(model, details))
    if kind == "fault_at":
        return Problem(source.where((*path, *details["ctx"]["path"])), details["msg"])
    if kind == "fault":
        at = tuple(details["ctx"]["at"])
        place = next(((*path, key) for key in at if source.root.get(*path, key) is not None), path)
        return Problem(source.where(place), details["msg"])
    place = next(((*path, key) for key in _about(details) if source.root.get(*path, key) is not None), path)
    return Problem(source.where(place), _message(model, details))


def _about(details: ErrorDetails) -> list[str]:
    """The keys that a validator's own error may be about: its type, or the words it quotes."""
    return [details["type"], *re.findall(r"'(\w+)'", details["msg"])]


_BOUNDS = {
    "greater_than": "above",
    "less_than": "below",
    "greater_than_equal": "of at least",
    "less_than_equal": "of at most",
}


def _message(model: type[BaseModel], details: ErrorDetails) -> str:
    kind, given, context = details["type"], details["input"], details.get("ctx", {})
    if kind == "value_error":
        return str(context["error"])
    if kind == "missing":
        return _missing(model, details["loc"])
    if kind == "literal_error":
        words = choices_of(_at(model, details["loc"])) or re.findall(r"'([^']*)'", context["expected"])
        if details["loc"][-1:] == ("[key]",) and len(details["loc"]) > 2:
            mapping, told = details["loc"][-3], hint(str(given), words) or f"; expected {either(words)}"
            return f"unknown key {quoted(str(given))} in '{mapping}'{told}"
        near = hint(given, words) if isinstance(given, str) else ""
        if near and len(words) > 5:
            return f"expected a known '{details['loc'][-1]}', got {quoted(given)}{near}"
        return f"expected {either(words) if words else context['expected']}, got {quoted(given)}{near}"
    if kind.startswith("bool_"):
        return f"expected true or false, got {quoted(str(given))}"
    if kind.startswith(("float_", "finite_")):
        return f"expected a number, got {quoted(str(given))}; write one without a unit"
    if kind in ("greater_than", "less_than") or (
        kind in _BOUNDS and any(isinstance(bound, float) for bound in (given, *context.values()))
    ):
        return f"expected a number {_BOUNDS[kind]} {next(iter(context.values())):g}, got {given}"
    if kind in ("greater_than_equal", "less_than_equal"):
        bound = f"at least {context['ge']}" if kind == "greater_than_equal" else f"at most {context['le']}"
        return f"expected a whole number of {bound}, got {quoted(given)}"
    if kind.startswith("int_"):
        return f"expected a whole number, got {quoted(given)}; write one without a point or unit"
    if kind == "string_type":
        return f"expected some text, got {_shown(given)}"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return _mapping_expected(model, details["loc"], given)
    if kind in ("tuple_type", "list_type"):
        at = f" after '{details['loc'][-1]}:'" if isinstance((details["loc"] or (0,))[-1], str) else ""
        return f"expected a list{at}, got {quoted(given)}; write [..., ...], or lines that begin with '-'"
    if kind == "string_too_short":
        least = context["min_length"]
        few = "character" if least == 1 else "characters"
        return f"expected a text of at least {least} {few}, got {quoted(str(given))}"
    if kind == "too_short":
        got, least = context["actual_length"] or "none", context["min_length"]
        return f"expected at least {least} {'entry' if least == 1 else 'entries'}, got {got}"
    if kind == "too_long":
        got = len(given) if isinstance(given, list | tuple) else context["actual_length"]
        return (
            f"expected at most {context['max_length']:,} entries, got {got:,}; write fewer, or repeat a shape"
        )
    if details["msg"].startswith("expected"):
        return details["msg"]
    return f"{details['msg'][:1].casefold()}{details['msg'][1:]}, got {quoted(given)}"


def _shown(given: object) -> str:
    """A value of another kind than is expected, for a message."""
    if isinstance(given, Mapping):
        return "keys with values"
    return "a list" if isinstance(given, list | tuple) else quoted(str(given))


def _mapping_expected(model: type[BaseModel], loc: Path, given: object) -> str:
    """What is said where a value stands in the place of keys: what belongs there, needed keys first."""
    at = _at(model, loc)
    known = sorted(
        (not field.is_required(), position, field.alias or name)
        for arm in arms_of(at)
        if is_model(arm)
        for position, (name, field) in enumerate(arm.model_fields.items())
    )
    if not known or not loc or not isinstance(loc[-1], str):
        return f"expected keys with values, got {quoted(given)}; write 'key: value' lines or {{key: value}}"
    some = ", ".join(f"{key}: {_example(*_field(at, key)) or '...'}" for *_, key in known[:2])
    return f"expected keys with values after '{loc[-1]}:', got {quoted(given)}; write {{{some}}}"


def _missing(model: type[BaseModel], loc: Path) -> str:
    """What is missing, with an example of how to write it."""
    key = str(loc[-1])
    annotation, metadata = _field(_at(model, loc[:-1]), key)
    example = _example(annotation, metadata)
    if example:
        example = f", such as '{key}: {example}'"
    elif words := choices_of(annotation):
        example = f": {either(words)}"
    return f"expected a key '{key}' here, got none; add it{example}"


def _example(annotation: Any, metadata: list[Any]) -> str:
    """An example of a quantity of this type; empty where it is none."""
    for dimension in (*metadata, *annotations_of(annotation)):
        if isinstance(dimension, Dimension):
            return dimension.examples[0]
    return ""


def _keys(model: type[BaseModel], loc: Path) -> list[str]:
    """The keys that a mapping at this place may have."""
    at = _at(model, loc)
    names = [field.alias or name for name, field in _fields_of(at)]
    return [*names, "same_as"] if at is Output else names


def choices_of(annotation: Any) -> list[str]:
    """The words that a type admits; none where it admits others."""
    for arm in arms_of(annotation):
        if get_origin(arm) is not None and str(get_origin(arm)) == "typing.Literal":
            return [str(word) for word in get_args(arm)]
    return []


def _at(annotation: Any, loc: Path) -> Any:
    """The type of what stands at a location below a type."""
    for part in loc:
        below = (_below(arm, part) for arm in arms_of(annotation))
        annotation = next((each for each in below if each is not None), annotation)
    return annotation


def _below(arm: Any, part: str | int) -> Any:
    """The type of what stands under a key, or at a position, of a type; None: nothing can stand there."""
    if get_origin(arm) in (dict, tuple):
        return get_args(arm)[1 if get_origin(arm) is dict else 0]
    annotation, _ = _field(arm, str(part))
    return annotation


def _field(annotation: Any, key: str) -> tuple[Any, list[Any]]:
    """Type and annotations of a model's field; of nothing where there is no such field."""
    for name, field in _fields_of(annotation):
        if key in (name, field.alias):
            return field.annotation, field.metadata
    return None, []


def _fields_of(annotation: Any) -> Iterator[tuple[str, FieldInfo]]:
    """The fields of the models that a type admits."""
    for arm in arms_of(annotation):
        if is_model(arm):
            yield from arm.model_fields.items()


def arms_of(annotation: Any) -> list[Any]:
    """The members of a union, without annotations."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return arms_of(get_args(annotation)[0])
    if origin is Union or origin is types.UnionType:
        return [arm for member in get_args(annotation) for arm in arms_of(member)]
    return [annotation]


def annotations_of(annotation: Any) -> list[Any]:
    """The annotations of a type and of its members."""
    if get_origin(annotation) is Annotated:
        return list(get_args(annotation)[1:])
    return [data for member in get_args(annotation) for data in annotations_of(member)]


def is_model(annotation: Any) -> bool:
    """Whether a type is a pydantic model."""
    return isinstance(annotation, type) and issubclass(annotation, BaseModel) and annotation is not Dialect
