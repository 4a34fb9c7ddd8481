"""Input lists over the API: as they are or were, and what changes them."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, api_router
from service.kit.dates import midnight
from service.kit.problems import invalid
from service.lines.inputs import actions, queries
from service.lines.inputs.forms import ChannelBody, EndBody, NewListBody
from service.lines.inputs.shown import ChannelShown, LineStep, shown
from service.season.models import Event, SeasonRow
from service.season.queries import get_event, get_season

router = api_router(tag="input lists")


@router.get("/input-lists")
def all_lists(context: ViewerContext) -> dict[str, Any]:
    """Every input list, the newest first, with the season or the event whose list it is."""
    with context.reading() as db:
        items = [
            {"id": str(each.id), "season": _text(each.season_id), "event": _text(each.event_id)}
            for each in queries.every_input_list(db)
        ]
        return {"items": items, "next": None}


@router.post("/input-lists", status_code=201)
def make_list(context: LeadContext, body: NewListBody) -> Any:
    """Make the input list of a season or an event; the same id again gives the same answer."""
    content = body.model_dump(mode="json", exclude={"id"})
    return context.once(body.id, "input_list.make", content, lambda db: _make(context, db, body))


@router.get("/input-lists/{list_id}")
def show_list(context: ViewerContext, list_id: UUID, on: date | None = None) -> dict[str, Any]:
    """The channels of a list with their lines: as they are, or as they were at the end of a day."""
    with context.reading() as db:
        input_list = queries.get_input_list(db, list_id)
        rows = shown(db, queries.channels(db, input_list.id, _as_of(context, on)))
        return {
            "id": str(input_list.id),
            "season": _text(input_list.season_id),
            "event": _text(input_list.event_id),
            "channels": [_channel(row) for row in rows],
        }


@router.post("/input-lists/{list_id}/channels", status_code=201)
def add_channel(context: LeadContext, list_id: UUID, body: ChannelBody) -> Any:
    """Add a channel, and lay its line if its items are given; the same id again gives the same answer."""

    def add(db: Session) -> dict[str, Any]:
        actions.add_channel(db, body.id, list_id, body.entry(), context.actor)
        return _laid(db, body.id, body, context)

    return context.once(body.id, "channel.add", [str(list_id), _content(body)], add)


@router.post("/channels/{channel_id}")
def change_channel(context: LeadContext, channel_id: UUID, body: ChannelBody) -> Any:
    """Change a channel, and lay its line anew if its items are given; the same id again gives the same answer."""

    def change(db: Session) -> dict[str, Any]:
        actions.change_channel(db, channel_id, body.entry(), context.actor)
        return _laid(db, channel_id, body, context)

    return context.once(body.id, "channel.change", [str(channel_id), _content(body)], change)


@router.post("/channels/{channel_id}/end")
def end_channel(context: LeadContext, channel_id: UUID, body: EndBody) -> Any:
    """Take a channel off its list; the same id again gives the same answer."""

    def end(db: Session) -> dict[str, Any]:
        ended = actions.end_channel(db, channel_id, context.actor)
        return {"id": str(ended.id), "input_list": str(ended.input_list_id)}

    return context.once(body.id, "channel.end", str(channel_id), end)


def _make(context: RequestContext, db: Session, body: NewListBody) -> dict[str, Any]:
    if (body.season is None) == (body.event is None):
        raise invalid("season", "Name either the season or the event whose input list it is.")
    of: SeasonRow | Event = get_season(db, str(body.season)) if body.season else get_event(db, str(body.event))
    if body.copy_of is None:
        actions.make_list(db, body.id, of, context.actor)
        return {"id": str(body.id), "channels": 0}
    return {"id": str(body.id), "channels": actions.copy_list(db, body.id, of, body.copy_of, context.actor)}


def _laid(db: Session, channel_id: UUID, body: ChannelBody, context: RequestContext) -> dict[str, Any]:
    if body.items is not None:
        actions.set_line(db, channel_id, body.items, body.lane, context.actor)
    if body.stays is not None:
        actions.set_joints(db, channel_id, body.stays, context.actor)
    channel = queries.get_channel(db, channel_id)
    (row,) = shown(
        db, [each for each in queries.channels(db, channel.input_list_id, context.now) if each.id == channel_id]
    )
    return _channel(row)


def _content(body: ChannelBody) -> dict[str, Any]:
    return body.model_dump(mode="json", exclude={"id"})


def _as_of(context: RequestContext, on: date | None) -> datetime:
    return min(context.now, midnight(on + timedelta(days=1), context.zone)) if on else context.now


def _channel(row: ChannelShown) -> dict[str, Any]:
    channel = row.channel
    return {
        "id": str(channel.id),
        "number": channel.number,
        "source": channel.source,
        "microphone": channel.microphone,
        "phantom": channel.phantom,
        "place": channel.place,
        "items": [_step(step) for step in row.steps],
        "mixer_stays": channel.line.mixer_stays if channel.line else False,
        "broken": row.broken,
    }


def _step(step: LineStep) -> dict[str, Any]:
    return {
        "item": step.code,
        "lane": step.lane,
        "stays": step.stays,
        "source_end": step.entered,
        "state": step.item.state,
        "due": step.due,
        "suspect": step.suspect,
    }


def _text(key: UUID | None) -> str | None:
    return str(key) if key else None
