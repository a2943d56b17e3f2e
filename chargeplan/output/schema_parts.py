"""Pieces from which JSON Schemas of documents are made."""

from __future__ import annotations

from typing import Any, Final, TypeAlias

Schema: TypeAlias = dict[str, Any]

_DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
TEXT: Final[Schema] = {"type": "string"}
NUMBER: Final[Schema] = {"type": "number"}
COUNT: Final[Schema] = {"type": "integer", "minimum": 0}
TRUTH: Final[Schema] = {"type": "boolean"}
DAY: Final[Schema] = {"type": "string", "format": "date", "description": "ISO 8601"}


def maybe(schema: Schema, description: str = "") -> Schema:
    """Describe what may be null."""
    return {"anyOf": [schema, {"type": "null"}], **({"description": description} if description else {})}


def array(items: Schema) -> Schema:
    """Describe a list."""
    return {"type": "array", "items": items}


def said(schema: Schema, description: str) -> Schema:
    """Describe something in words as well."""
    return {**schema, "description": description}


def known(**properties: Schema) -> Schema:
    """Describe an object whose named keys are always there; a later version may add others."""
    return {"type": "object", "properties": properties, "required": list(properties)}


def document(name: str, **properties: Schema) -> Schema:
    """Describe a document that names its schema."""
    return {"$schema": _DRAFT, "title": name, **known(schema={"const": name}, **properties)}
