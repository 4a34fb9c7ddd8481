"""The yardsticks: a bare `async def` FastAPI route that answers 2 kB of HTML and does nothing else; and one that reads
a test as the API does, and keeps nothing.
"""

from typing import Any

from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from service.testlog.forms import TestIn

app = FastAPI(openapi_url=None)
PAGE = "<!doctype html><title>Bare</title>" + "x" * 2_000


@app.get("/", response_class=HTMLResponse)
async def bare() -> str:
    """Two kilobytes."""
    return PAGE


@app.post("/api/v1/tests", status_code=201)
def only_read(body: TestIn) -> dict[str, Any]:
    """A test, validated in a worker thread as the API does it, and forgotten."""
    return {"id": str(body.id), "item": body.item, "verdict": "pass", "faults": []}
