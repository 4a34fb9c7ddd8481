"""Swaps over the API, as a phone sends them."""

from typing import Any

from service.crew.context import CrewContext, api_router
from service.swaps.actions import swap
from service.swaps.forms import SwapIn, SwapOut

router = api_router("/swaps", "swaps")


@router.post("", status_code=201, response_model=SwapOut)
def swap_now(context: CrewContext, body: SwapIn) -> Any:
    """Let a spare take the place of what went bad; the same id again gives the same answer."""
    return context.once(body.id, "swap", body.content(), lambda db: swap(db, body.entry(), context.actor))
