"""What is sent holds characters that can be kept: whole ones, and no NUL.

JSON can write one half of a surrogate pair ("\\ud800"), which is no text: it cannot be stored, told again or logged.
PostgreSQL keeps no text with a NUL in it, and SQLite keeps it as if it were nothing special.
"""

import json
from collections.abc import Iterable
from typing import Any

from fastapi import Request

from service.kit.problems import invalid


async def whole_characters(request: Request) -> None:
    """Refuse a body with half a character in it.

    Raises:
        Invalid: naming the field that holds it.
    """
    if request.method == "GET":
        return
    try:
        sent = await request.json()  # kept by the request, so that it is read once
    except ValueError:
        return  # the framework says what is wrong with it
    fields = sent if isinstance(sent, dict) else {"body": sent}
    for name, value in fields.items():
        if not _is_text({name: value}):
            shown = name if _is_text(name) else "body"
            raise invalid(shown, f"{shown}: there is half a character in it. Type it again.")


def refuse_nul(fields: Iterable[tuple[str, object]]) -> None:
    """Refuse a form with a NUL in it, which no keyboard types.

    Raises:
        Invalid: naming the field that holds it.
    """
    for name, value in fields:
        if "\0" in name or (isinstance(value, str) and "\0" in value):
            shown = name.replace("\0", "")
            raise invalid(shown, f"{shown}: this text has characters that cannot be shown. Type it again.")


def _is_text(value: Any) -> bool:
    try:
        json.dumps(value, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return False
    except RecursionError:  # nothing of ours nests like that, so the fields' own checks refuse it
        return True
    return True
