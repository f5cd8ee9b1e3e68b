"""JSON files of a published schema: the schema itself, and reading one into its model or saying why not."""

from __future__ import annotations

import json
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from netplan.core.errors import BadInputError, quoted, shown

__all__ = ["model_from_json", "published_schema"]

Model = TypeVar("Model", bound=BaseModel)


def published_schema(model: type[BaseModel], name: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a file; ``digits`` says how floats are rounded."""
    schema = model.model_json_schema(by_alias=True, mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:gas-netplan:{name}",
        **schema,
    }


def model_from_json(
    text: str, model: type[Model], name: str, where: str, *, no_json: str, other: str
) -> Model:
    """Read a file of one schema.

    Parameters
    ----------
    text : str
    model : type
        Model of the file; its field ``schema`` names the schema.
    name : str
        The schema that is read.
    where : str
        The file, for what is said.
    no_json, other : str
        What to do where the text is no JSON, and where it is of another schema.

    Raises
    ------
    BadInputError
        When the text is no JSON, or is not of this schema.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadInputError(f"{where}: is not JSON ({type(error).__name__}); {no_json}") from None
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != name:
        raise BadInputError(f"{where}: schema is {quoted(schema)}, this version reads {name!r}; {other}")
    try:
        return model.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        place = shown(".".join(str(part) for part in first["loc"]))
        raise BadInputError(f"{where}: {place}: {first['msg']}; {other}") from None
