"""Rigs as JSON: their plans, which `coilbook rig` reads too, and what each way of wiring takes."""

from typing import Annotated, Any
from uuid import UUID

from fastapi import Path
from pydantic import BaseModel, ConfigDict

from service.crew.context import LeadContext, ViewerContext, api_router
from service.kit.text import as_id
from service.rig import actions, queries
from service.rig.forms import RIG_NAME_MOST, read_name
from service.rig.plans import NEW, ComparedWay, compare
from service.web.forms import read_by
from service.web.schema import shown_as

router = api_router("/rigs", "rigs")
RigId = Annotated[str, Path(json_schema_extra={"format": "uuid"})]


class RigIn(BaseModel):
    """A rig to make, empty without a `plan`. Its `id` is made by the client: the same again gives the same answer."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    name: Annotated[str, read_by(read_name), shown_as({"minLength": 1, "maxLength": RIG_NAME_MOST})]
    plan: dict[str, Any] | None = None


class RigOut(BaseModel):
    """A rig by its name."""

    id: UUID
    name: str


@router.get("")
def list_rigs(context: ViewerContext) -> list[RigOut]:
    """The rigs that there are, by name."""
    with context.reading() as db:
        return [RigOut(id=rig.id, name=rig.name) for rig in queries.rigs(db)]


@router.post("", status_code=201)
def make_rig(context: LeadContext, body: RigIn) -> RigOut:
    """Make a rig with this plan."""
    plan = {**NEW, **(body.plan or {})}
    context.once(
        body.id,
        "rig.make",
        body.model_dump(mode="json", exclude={"id"}),
        lambda db: str(actions.make_rig(db, body.id, body.name, plan, context.actor).id),
    )
    return RigOut(id=body.id, name=body.name)


@router.get("/{rig_id}")
def show_rig(context: ViewerContext, rig_id: RigId) -> dict[str, Any]:
    """A rig's plan, and what each way of wiring it takes."""
    with context.reading() as db:
        rig = queries.get_rig(db, as_id(rig_id))
        plan = queries.get_version(db, rig).plan
    return {
        "id": str(rig.id),
        "name": rig.name,
        "plan": plan,
        "ways": {one.key: _as_json(one) for one in compare(plan)},
    }


def _as_json(one: ComparedWay) -> dict[str, Any]:
    if one.rig is None:
        return {"problem": one.problem}
    bill, chains = one.rig.bill, one.rig.chains
    return {
        "cables": {str(mm): count for mm, count in bill.cables.items()},
        "trunks": {str(mm): count for mm, count in bill.trunks.items()},
        "boxes": one.rig.boxes,
        "hubs": one.rig.hubs,
        "unmet": bill.unmet,
        "price": bill.price,
        "unpriced": bill.unpriced,
        "into": dict(chains.into),
        "plug_ins": dict(chains.leaving),
        "walkers": chains.walkers,
        "setup_s": one.rig.done.seconds,
        "last": one.rig.done.last,
    }
