"""The JSON Schema of a configuration, for editors; made from the models that validate.

One file of a venue may hold only some of the sections, so none is required here.
"""

from __future__ import annotations

from typing import Any

from roomlink.venue.models import Configuration


def schema() -> dict[str, Any]:
    """JSON Schema 2020-12 of one YAML file of a venue; ``config/schema.json`` is this, written out."""
    made = Configuration.model_json_schema(by_alias=True, mode="validation")
    made.pop("required", None)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **made,
        "title": "A roomlink venue",
    }
