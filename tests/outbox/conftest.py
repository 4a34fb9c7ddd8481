"""One truck for all tests of a module: its service, its line, a phone that joined."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.outbox.support import Truck, truck
from tests.support.chromium import phone_in


@pytest.fixture(scope="module")
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
def page(crew_phone: Page) -> Iterator[Page]:
    """Its page, with nothing waiting from the test before."""
    yield crew_phone
    crew_phone.evaluate(
        """async () => {
          const mirrored = Object.keys(localStorage).filter((key) => key.startsWith("coilbook.entry."));
          for (const key of mirrored) localStorage.removeItem(key);
          const asked = indexedDB.open("coilbook", 1);
          const db = await new Promise((done) => { asked.onsuccess = () => done(asked.result); });
          db.transaction("entries", "readwrite").objectStore("entries").clear();
          db.close();
        }"""
    )
