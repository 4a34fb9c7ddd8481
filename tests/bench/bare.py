"""The yardstick: a bare `async def` FastAPI route that answers 2 kB of HTML and does nothing else."""

from fastapi import FastAPI
from fastapi.responses import HTMLResponse

app = FastAPI(openapi_url=None)
PAGE = "<!doctype html><title>Bare</title>" + "x" * 2_000


@app.get("/", response_class=HTMLResponse)
async def bare() -> str:
    """Two kilobytes."""
    return PAGE
