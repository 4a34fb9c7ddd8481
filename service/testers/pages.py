"""The pages of testing: testers, lamps, phantom volts, the meter."""

from service.crew.context import page_router
from service.testers import lamp_pages, phantom_pages, tester_pages, where_pages

router = page_router()
for pages in (tester_pages, lamp_pages, phantom_pages, where_pages):
    router.routes.extend(pages.router.routes)
