"""The filters of a list of items in an address, for the page and the API."""

from typing import Annotated

from fastapi import Depends, Query

from service.gear.core import KINDS, FlagKind, ItemState
from service.home.items.core import SEARCH_MOST, Filters, read_filters
from service.season.core import DueState
from service.web import schema


async def item_filters(  # does no blocking work, so it needs no thread
    q: Annotated[str, Query(json_schema_extra={"maxLength": SEARCH_MOST, **schema.TEXT})] = "",
    state: Annotated[str, Query(json_schema_extra=schema.one_of(ItemState))] = "",
    flag: Annotated[str, Query(json_schema_extra=schema.one_of(FlagKind))] = "",
    kind: Annotated[str, Query(json_schema_extra=schema.one_of(KINDS))] = "",
    place: Annotated[str, Query(json_schema_extra=schema.TEXT)] = "",
    due: Annotated[str, Query(json_schema_extra=schema.one_of(DueState))] = "",
) -> Filters:
    """The filters in an address.

    Raises:
        Invalid: with a sentence for each field with an unknown word.
    """
    return read_filters(q, kind, state, flag, due, place)


ItemFilters = Annotated[Filters, Depends(item_filters)]
