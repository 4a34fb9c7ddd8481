"""What an address narrows a list of items down by, on the page and over the API."""

from typing import Annotated

from fastapi import Depends, Query

from service.gear.core import KINDS, FlagKind, ItemState
from service.home.items.core import SEARCH_MOST, Filters, read_filters
from service.season.core import DueState
from service.web import schema


async def item_filters(  # waits for nothing, so it needs no thread
    q: Annotated[str, Query(json_schema_extra={"maxLength": SEARCH_MOST, **schema.TEXT})] = "",
    state: Annotated[str, Query(json_schema_extra=schema.one_of(ItemState))] = "",
    flag: Annotated[str, Query(json_schema_extra=schema.one_of(FlagKind))] = "",
    kind: Annotated[str, Query(json_schema_extra=schema.one_of(KINDS))] = "",
    place: Annotated[str, Query(json_schema_extra=schema.TEXT)] = "",
    due: Annotated[str, Query(json_schema_extra=schema.one_of(DueState))] = "",
) -> Filters:
    """The filters in an address.

    Raises:
        Invalid: a word that is none of its field's, each with a sentence.
    """
    return read_filters(q, kind, state, flag, due, place)


ItemFilters = Annotated[Filters, Depends(item_filters)]
