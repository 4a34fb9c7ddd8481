"""Files to download: written to a temporary file first, so that a download is complete and a slow phone does not hold
a connection to the database.
"""

from collections.abc import Iterable, Iterator
from tempfile import SpooledTemporaryFile

from fastapi.responses import StreamingResponse

_IN_MEMORY = 1_000_000
_PIECE = 65_536


def download(pieces: Iterable[str], name: str, media_type: str) -> StreamingResponse:
    """The text as a response that downloads a file of this name; all pieces are read before the response starts."""
    # Not closed here: the response reads the file, and closes it when it was sent or aborted.
    file = SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115
    for piece in pieces:
        file.write(piece.encode())
    size = file.tell()
    file.seek(0)

    def content() -> Iterator[bytes]:
        with file:
            while piece := file.read(_PIECE):
                yield piece

    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Content-Length": str(size),
        "Cache-Control": "no-store",
    }
    return StreamingResponse(content(), headers=headers, media_type=media_type)
