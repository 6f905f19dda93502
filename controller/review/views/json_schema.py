"""The layout of `lungwort review --json`, as JSON Schema (draft 2020-12).

Print it with ``python -m controller.review.views.json_schema``.
"""

from __future__ import annotations

import json

from controller.review.views.json_fields import Json, object_schema
from controller.review.views.json_layout import DOCUMENT


def schema() -> Json:
    """The JSON Schema."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A review of a tent's record",
        **object_schema(DOCUMENT),
    }


if __name__ == "__main__":
    print(json.dumps(schema(), indent=2, ensure_ascii=False))
