"""Forms with a file: one file and a few fields, which stay in memory and are never written to a disk."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from service.kit.problems import invalid
from service.web.forms import refuse_unreadable
from service.web.middleware.security import BODY_MOST


@dataclass(frozen=True)
class Upload:
    """A posted form: its file (empty if none was chosen), and its fields."""

    file: bytes
    fields: dict[str, str]


class UploadReader:
    """The dependency that reads a form with one file; `what` is the name of the file in a refusal, and of its field."""

    def __init__(self, what: str, fields_most: int) -> None:
        self.what = what
        self.fields_most = fields_most

    async def __call__(self, request: Request) -> Upload:
        """Read the form.

        Raises:
            Invalid: the request is no such form.
        """
        if not request.headers.get("content-type", "").startswith("multipart/form-data"):
            raise invalid(self.what, f"Choose a {self.what} to send.")
        parser = MultiPartParser(
            request.headers,
            request.stream(),
            max_files=1,
            max_fields=self.fields_most,
            max_part_size=BODY_MOST,
        )
        parser.spool_max_size = BODY_MOST  # no body is larger, so nothing is written to a temporary file
        try:
            form = await parser.parse()
        except (MultiPartException, UnicodeError) as error:
            raise invalid(
                self.what, f"What was sent is no form with one {self.what}. Open the page and try again."
            ) from error
        file, fields = b"", {}
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                file = await value.read()
            else:
                fields[name] = value
        await form.close()
        refuse_unreadable(fields.items())
        return Upload(file, fields)


Uploaded = Annotated[Upload, Depends(UploadReader("photo", 10))]
"""A form with a photo."""
UploadedSheet = Annotated[Upload, Depends(UploadReader("file", 90))]
"""A form with a sheet, or with the choices for its columns."""
