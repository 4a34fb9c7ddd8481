"""One truck for all tests: its service and its line; and for each module a phone that joined."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.outbox.support import Truck, truck
from tests.support.chromium import phone_in


@pytest.fixture(scope="session")
def at_truck(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    """Three cables on one worklist."""
    path: Path = tmp_path_factory.mktemp("truck") / "coilbook.db"
    with truck(f"sqlite:///{path}", "xlr3", "xlr3", "xlr3") as made:
        yield made


@pytest.fixture
def bad_line(at_truck: Truck) -> Iterator[Truck]:
    """The same, with the line in order again afterwards."""
    yield at_truck
    at_truck.line.told.clear()
    at_truck.line.altered.clear()
    at_truck.line.stop()
    at_truck.line.start()


@pytest.fixture(scope="module")
def crew_phone(at_truck: Truck, browser: Browser) -> Iterator[Page]:
    """A phone of the crew, the same for the whole module."""
    with phone_in(browser) as context:
        yield at_truck.joined(context)


@pytest.fixture
def page(at_truck: Truck, crew_phone: Page) -> Iterator[Page]:
    """Its page, with nothing waiting from the test before."""
    yield crew_phone
    crew_phone.goto(f"{at_truck.base}/offline")
    crew_phone.evaluate(
        """async () => {
          const script = document.querySelector('script[src*="/offline/shell.js"]');
          const { outbox_store: store } = await import(new URL('../outbox/page.js', script.src));
          for (const { id } of await store.entries()) await store.change(id, () => null);
        }"""
    )
