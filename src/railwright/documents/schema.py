"""JSON Schema of the documents, for editors that check and complete while one writes."""

from __future__ import annotations

from typing import Any

from railwright.documents.bench import Bench
from railwright.documents.device import Device, accept_announced_loads
from railwright.documents.files import Kind
from railwright.documents.model import Model
from railwright.documents.procedure import Procedure, accept_announced_measures

MODELS: dict[Kind, type[Model]] = {"device": Device, "bench": Bench, "procedure": Procedure}


def json_schema(kind: Kind) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a kind of document."""
    accept_announced_loads()
    accept_announced_measures()
    schema = MODELS[kind].model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
