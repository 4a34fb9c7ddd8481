"""What the API is sent holds whole characters only.

JSON can write one half of a surrogate pair ("\\ud800"), which is no text: it cannot be stored, told again or logged.
"""

import json
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


def _is_text(value: Any) -> bool:
    try:
        json.dumps(value, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return False
    except RecursionError:  # nothing of ours nests like that, so the fields' own checks refuse it
        return True
    return True
