"""The offline tables over the API: the wirings in use, and what a phone needs to name faults without a signal."""

import gzip
import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache

from fastapi import APIRouter
from fastapi.responses import Response
from pydantic import BaseModel

from service.crew.desk import CrewDesk
from service.gear.wirings import find_wiring, wiring_name
from service.kit.problems import Invalid, NotFound
from service.testlog.bench.queries import wirings_in_use
from service.wiring.offline import offline
from service.wiring.wirings import Wiring

router = APIRouter(prefix="/api/v1/wirings", tags=["wirings"])


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


@dataclass(frozen=True)
class Table:
    """A table as it is sent, packed and plain, and the tag that changes when it does."""

    plain: bytes
    packed: bytes
    tag: str


@router.get("")
def wirings(desk: CrewDesk) -> WiringsOut:
    """Every wiring that gear here has, or by which several pieces of it are tested in one go."""
    with desk.reading() as db:
        return WiringsOut(
            items=[_listed(key, wiring_name(db, key), find_wiring(db, key)) for key in wirings_in_use(db)]
        )


@router.get("/{key}")
def table(desk: CrewDesk, key: str) -> Response:
    """The diagnosis of every reading that a phone can enter, with words; see `service.wiring.offline` for its form."""
    with desk.reading() as db:
        try:
            wiring = find_wiring(db, key)
        except Invalid as refusal:
            raise NotFound(refusal.detail) from refusal
    made = _table(key, wiring)
    headers = {"ETag": made.tag, "Cache-Control": "private, no-cache", "Vary": "Accept-Encoding"}
    if made.tag in desk.request.headers.get("if-none-match", ""):
        return Response(None, 304, headers)
    if "gzip" in desk.request.headers.get("accept-encoding", ""):
        return Response(made.packed, 200, headers | {"Content-Encoding": "gzip"}, "application/json")
    return Response(made.plain, 200, headers, "application/json")


def _listed(key: str, name: str, wiring: Wiring) -> WiringOut:
    return WiringOut(
        key=key, name=name, contacts=len(wiring.all_contacts), conductors=len(wiring.conductors),
        lanes=len(wiring.lanes), table=f"/api/v1/wirings/{key}",
    )  # fmt: skip


@lru_cache(maxsize=32)
def _table(key: str, wiring: Wiring) -> Table:
    # A wiring never changes and its table takes a second or so to work out, so it is kept ready.
    plain = json.dumps({"key": key} | offline(wiring), separators=(",", ":"), ensure_ascii=False).encode()
    return Table(plain, gzip.compress(plain, mtime=0), f'W/"{hashlib.sha256(plain).hexdigest()[:20]}"')
