"""What the description of the API says of a field beyond its type: limits, patterns, allowed words.

The parsers of the fields check the values, each with its sentence; this describes the same for programs. If a parser
also accepts other notations that people type (7'6", 24 Oct), the description has only the plain one.
"""

from typing import Annotated, Any

from fastapi import Query
from pydantic import Field

from service.kit.codes import ALPHABET, LENGTH
from service.kit.text import SHOWN
from service.store.paging import MOST

_SIX = f"[{ALPHABET}]{{{LENGTH}}}"
CODE = {"pattern": f"^{_SIX}$", "examples": ["7K3M9U"]}
"""An item's or a place's code; its last character is a check character (ISO/IEC 7064 MOD 37-2)."""
CODE_OR_EMPTY = {"pattern": f"^({_SIX})?$"}
TEXT = {"pattern": f"^{SHOWN}$"}
MOMENT = {"pattern": "^(19|20|21)[0-9]{2}-", "examples": ["2026-10-06T19:30:00-04:00"]}
DAY: dict[str, Any] = {"format": "date", "pattern": "^(19|20|21)[0-9]{2}-", "examples": ["2026-10-06"]}
SINCE: dict[str, Any] = {"anyOf": [{"const": ""}, DAY, {"format": "date-time", **MOMENT}]}


def shown_as(schema: dict[str, Any]) -> Any:
    """The annotation of a field that adds these entries to its description."""
    return Field(json_schema_extra=schema)


def one_of(words: Any) -> dict[str, Any]:
    """The entries for a field that is one of these words, or empty."""
    return {"enum": ["", *map(str, words)]}


Limit = Annotated[int | None, Query(json_schema_extra={"minimum": 1, "maximum": MOST})]
"""How many rows a page should have; `store.paging.page_size` reads it."""
Cursor = Annotated[str | None, Query(json_schema_extra={"pattern": "^[A-Za-z0-9_-]+$"})]
"""Where a page begins: the `next` of the page before it."""
