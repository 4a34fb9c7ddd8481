"""The log as a page, the newest test first."""

from urllib.parse import urlencode

from fastapi.responses import Response

from service.crew.context import ViewerContext, page_router
from service.gear.core import item_name
from service.gear.queries import item_facts
from service.kit.problems import Invalid
from service.kit.quantities import Unit
from service.store.paging import PAGE
from service.tags.queries import codes_of
from service.testlog import log_lists
from service.testlog.log_lists import LogFilter, read_log_filter
from service.web.forms import Form
from service.wiring.faults import FAULTS

router = page_router()


@router.get("/tests")
def log_page(
    context: ViewerContext,
    item: str = "",
    since: str = "",
    fault: str = "",
    conductor: str = "",
    after: str | None = None,
) -> Response:
    """The log, the newest first, as far as the filter lets it through."""
    values = {"item": item.strip(), "since": since.strip(), "fault": fault, "conductor": conductor.strip()}
    form = Form(values=values)
    with context.reading() as db:
        try:
            log_filter = read_log_filter(db, **values, zone=context.zone)
        except Invalid as refusal:
            log_filter, form = LogFilter(), form.refused(refusal)
        rows, following = log_lists.log_page(db, PAGE, after, log_filter)
        lines = log_lists.listed_tests(db, rows)
        ids = {item_id for line in lines for item_id in line.items}
        codes, items = codes_of(db, ids), item_facts(db, ids)
        more = urlencode({name: value for name, value in values.items() if value} | {"after": following or ""})
        return context.page(
            "testlog/log.html",
            form=form,
            lines=lines,
            codes=codes,
            items=items,
            more=f"/tests?{more}" if following else None,
            name=item_name,
            unit=Unit(context.program.unit),
            fault_words=[(each.value, each.value.replace("_", " ").capitalize()) for each in FAULTS],
        )
