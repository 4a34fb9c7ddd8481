"""Downloads of everything: the gear and the test log as CSV, the whole program as JSON."""

from fastapi.responses import Response

from service.crew.context import LeadContext, page_router
from service.exchange.downloads import download
from service.exchange.sheets.export import gear_csv, tests_csv
from service.exchange.whole.actions import export
from service.kit.quantities import Unit
from service.store.sessions import Store

router = page_router()


@router.get("/exchange/gear.csv")
def gear_out(context: LeadContext) -> Response:
    """All gear as CSV."""
    with context.reading() as db:
        return download(gear_csv(db, Unit(context.program.unit), context.zone), f"gear-{context.today}.csv", "text/csv")


@router.get("/exchange/tests.csv")
def tests_out(context: LeadContext) -> Response:
    """The whole test log as CSV."""
    with context.reading() as db:
        return download(tests_csv(db, context.zone), f"tests-{context.today}.csv", "text/csv")


@router.get("/exchange/program.json")
def program_out(context: LeadContext) -> Response:
    """The whole program as JSON."""
    with context.reading():
        name = f"coilbook-{context.today}.json"
    store: Store = context.request.app.state.store
    with store.reading() as db:  # in a session of its own, which sees all tables as of one moment
        return download(export(db, context.now), name, "application/json")
