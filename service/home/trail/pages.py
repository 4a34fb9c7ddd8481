"""The page on which a lead reads who did what, and when."""

from collections.abc import Iterable
from datetime import timedelta
from functools import partial
from urllib.parse import urlencode
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi.responses import Response

from service.crew.context import LeadContext, page_router
from service.crew.models import AuditEntry
from service.crew.queries import names_of
from service.gear.core import item_title
from service.gear.queries import ItemFacts
from service.home.trail import queries
from service.home.trail.core import action_words, detail_words
from service.home.trail.queries import TrailFilter
from service.kit.dates import midnight, parse_date
from service.kit.problems import Invalid, invalid
from service.kit.quantities import Unit
from service.kit.text import as_id
from service.store.paging import PAGE
from service.web.forms import Form

router = page_router()


@router.get("/crew/trail")
def trail_page(
    context: LeadContext, person: str = "", action: str = "", day: str = "", after: str | None = None
) -> Response:
    """Show the filtered audit trail, the newest entry first."""
    values = {"person": person, "action": action, "day": day.strip()}
    form = Form(values=values)
    with context.reading() as db:
        try:
            trail_filter = _read_filter(values, context.zone)
        except Invalid as refusal:
            trail_filter, form = TrailFilter(), form.refused(refusal)
        entries, following = queries.entries(db, trail_filter, after, PAGE)
        names = names_of(db, _people(entries))
        kept = {name: value for name, value in values.items() if value}
        return context.page(
            "home/trail.html",
            form=form,
            entries=entries,
            names=names,
            action_words=action_words,
            detail_words=partial(detail_words, names={str(key): name for key, name in names.items()}),
            actors=[
                (str(each.id), each.display_name + (" (gone)" if each.ended_at else "")) for each in queries.actors(db)
            ],
            actions=[(each, action_words(each)) for each in queries.actions_there(db)],
            as_id=as_id,
            gear=queries.gear_of(db, {entry.subject for entry in entries}),
            called=partial(_called, Unit(context.program.unit)),
            more=f"/crew/trail?{urlencode(kept | {'after': following})}" if following else None,
        )


def _read_filter(values: dict[str, str], zone: ZoneInfo) -> TrailFilter:
    person = as_id(values["person"])
    if values["person"] and person is None:
        raise invalid("person", "Choose somebody from the list.")
    day = parse_date(values["day"], "day") if values["day"] else None
    return TrailFilter(
        person,
        values["action"] or None,
        midnight(day, zone) if day else None,
        midnight(day + timedelta(days=1), zone) if day else None,
    )


def _called(unit: Unit, item: ItemFacts) -> str:
    return item_title(item, unit)


def _people(entries: Iterable[AuditEntry]) -> set[UUID | None]:
    """The ids of everybody who acts in these entries, or whom they are about or mention."""
    subjects = [
        str(each) for entry in entries for each in (entry.person_id, entry.subject, *(entry.detail or {}).values())
    ]
    return {as_id(each) for each in subjects}
