"""A form with a photo: one file and a few fields, held in memory and never written to a disk."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from service.kit.problems import invalid
from service.web.guard import BODY_MOST

_FIELDS_MOST = 10


@dataclass(frozen=True)
class Upload:
    """What a form sent: its photo (empty where none was chosen), and its fields."""

    photo: bytes
    fields: dict[str, str]


async def _uploaded(request: Request) -> Upload:
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        raise invalid("photo", "Choose a photo to send.")
    parser = MultiPartParser(request.headers, request.stream(), max_files=1, max_fields=_FIELDS_MOST)
    parser.spool_max_size = BODY_MOST  # a body is no larger, so nothing is moved to a file
    try:
        form = await parser.parse()
    except MultiPartException as error:
        raise invalid(
            "photo", "What was sent is no form with one photo. Open the page and try again."
        ) from error
    photo, fields = b"", {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            photo = await value.read()
        else:
            fields[name] = value
    await form.close()
    return Upload(photo, fields)


Uploaded = Annotated[Upload, Depends(_uploaded)]
"""A form with a photo."""
