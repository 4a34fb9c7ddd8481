"""The pages of testing: testers, lamps, phantom volts, the meter."""

from fastapi import APIRouter

from service.testers import lamp_pages, phantom_pages, tester_pages, where_pages

router = APIRouter()
for pages in (tester_pages, lamp_pages, phantom_pages, where_pages):
    router.include_router(pages.router)
