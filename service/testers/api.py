"""The offline tables over the API: the wirings in use, and what a phone needs to name faults without a signal."""

import gzip
from typing import Annotated

from fastapi import Path
from fastapi.responses import Response
from pydantic import BaseModel

from service.crew.context import CrewContext, api_router
from service.gear.wirings import find_wiring, wiring_name
from service.kit.problems import Invalid, NotFound
from service.testers.queries import wirings_in_use
from service.testers.tables import Tables, version
from service.wiring.wirings import Wiring

router = api_router("/wirings", "wirings")


class WiringOut(BaseModel):
    """A wiring in use: its key, its name, how much it holds, and where its table is."""

    key: str
    name: str
    contacts: int
    conductors: int
    lanes: int
    table: str


class WiringsOut(BaseModel):
    """The wirings in use."""

    items: list[WiringOut]


@router.get("")
def wirings(context: CrewContext) -> WiringsOut:
    """Every wiring that gear here has, or by which several pieces of it are tested in one go."""
    with context.reading() as db:
        return WiringsOut(
            items=[_listed(key, wiring_name(db, key), find_wiring(db, key)) for key in wirings_in_use(db)]
        )


@router.get("/{key}")
def table(context: CrewContext, key: Annotated[str, Path(json_schema_extra={"pattern": "^[a-z0-9-]+$"})]) -> Response:
    """The diagnosis of every reading that a phone can enter, with words and drawings: `testlog.phone_tables`."""
    with context.reading() as db:
        try:
            wiring = find_wiring(db, key)
        except Invalid as refusal:
            raise NotFound(refusal.detail) from refusal
    tag = f'W/"{version(key, wiring)}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Accept-Encoding"}
    if tag in context.request.headers.get("if-none-match", ""):
        return Response(None, 304, headers)
    tables: Tables = context.request.app.state.tables
    packed = tables.packed(key, wiring)
    if "gzip" in context.request.headers.get("accept-encoding", ""):
        return Response(packed, 200, headers | {"Content-Encoding": "gzip"}, "application/json")
    return Response(gzip.decompress(packed), 200, headers, "application/json")


def _listed(key: str, name: str, wiring: Wiring) -> WiringOut:
    return WiringOut(
        key=key,
        name=name,
        contacts=len(wiring.all_contacts),
        conductors=len(wiring.conductors),
        lanes=len(wiring.lanes),
        table=f"/api/v1/wirings/{key}",
    )
