"""Swaps over the API, as a phone sends them."""

from typing import Any

from fastapi import APIRouter

from service.crew.context import CrewContext
from service.swaps.actions import swap
from service.swaps.forms import SwapIn, SwapOut

router = APIRouter(prefix="/api/v1/swaps", tags=["swaps"])


@router.post("", status_code=201, response_model=SwapOut)
def swap_now(context: CrewContext, body: SwapIn) -> Any:
    """Let a spare take the place of what went bad; the same id again gives the same answer."""
    return context.once(body.id, "swap", body.content(), lambda db: swap(db, body.entry(), context.actor))
