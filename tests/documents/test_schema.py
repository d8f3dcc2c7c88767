"""The JSON Schema of the documents, and the reference page."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML
from tests.bench import BENCH, DEVICE, EXAMPLE, PROCEDURE

from railwright.documents.reference import below, models_below, reference
from railwright.documents.schema import MODELS, json_schema

NAMES = {"device": DEVICE, "bench": BENCH, "procedure": PROCEDURE}
TEMPLATES = Path(__file__).parents[2] / "src/railwright/documents/templates"


def as_an_editor_sees_it(path: Path) -> Any:
    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {str(key): plain(item) for key, item in value.items()}
        if isinstance(value, list):
            return [plain(item) for item in value]
        return value.isoformat() if isinstance(value, dt.date) else value

    return plain(YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("kind", MODELS)
def test_the_demo_and_the_templates_keep_the_schema(kind):
    schema = json_schema(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    editor = jsonschema.Draft202012Validator(schema)
    for path in (EXAMPLE / NAMES[kind], TEMPLATES / f"my.{kind}.yaml"):
        assert list(editor.iter_errors(as_an_editor_sees_it(path))) == []


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("device", lambda data: data["inputs"]["main"].pop("nominal")),
        ("device", lambda data: data["inputs"]["main"].update(nominal=12)),
        ("device", lambda data: data["inputs"]["main"].update({"return": "somewhere"})),
        ("bench", lambda data: data.update(location="damp")),
        ("bench", lambda data: data["supplies"]["left"]["outputs"]["2"].clear()),
        ("bench", lambda data: data["supplies"]["left"]["outputs"]["1"].update(colour="red")),
        ("procedure", lambda data: data["steps"][2]["sweep"].update(points="8 V")),
        ("procedure", lambda data: data["hook_up"]["main"].update({"from": ["left.1"]})),
        ("procedure", lambda data: data["requires"][0].update(measure="weight")),
    ],
)
def test_what_an_editor_underlines(kind, change):
    data = as_an_editor_sees_it(EXAMPLE / NAMES[kind])
    change(data)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, json_schema(kind), jsonschema.Draft202012Validator)


def test_the_reference_page_is_that_of_the_models():
    page = Path(__file__).parents[2] / "docs" / "documents.md"
    assert page.read_text(encoding="utf-8") == reference(), (
        "python -m railwright.documents.reference docs/documents.md"
    )


@pytest.mark.parametrize("kind", MODELS)
def test_every_key_has_a_meaning(kind):
    for model in models_below(MODELS[kind]):
        assert model.__doc__, model
        for name, field in model.model_fields.items():
            assert field.description, f"{model.__name__}.{name}"


def test_the_reference_names_every_model_once():
    page = reference()
    for model in MODELS.values():
        for each in models_below(model):
            for field in each.model_fields.values():
                for other in below(field.annotation):
                    assert other in models_below(model)
    assert "Pydantic" not in page, "a default that is made for each is named as it is written"
    headings = [line for line in page.splitlines() if line.startswith("#")]
    assert len(headings) == len(set(headings))
