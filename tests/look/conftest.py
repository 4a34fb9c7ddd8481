"""The gallery and the problem page as a browser gets them: own files only, under the service's headers."""

import re
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from jinja2 import ChoiceLoader, FileSystemLoader
from playwright.sync_api import Browser, Page, Route

from service.kit.problems import Invalid
from service.web.headers import headers_of_every_answer
from service.web.render import ENVIRONMENT, TEMPLATES
from service.web.static import sent_modules, static_file

HERE = Path(__file__).parent
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
BOOK = ENVIRONMENT.overlay(loader=ChoiceLoader([FileSystemLoader(TEMPLATES), FileSystemLoader(HERE)]))

Open = Callable[..., Page]


def written(template: str) -> str:
    """The template's HTML for an invented helper."""
    return BOOK.get_template(template).render(
        who=SimpleNamespace(id="3f0c", display_name="Mira", role="crew"),
        program=SimpleNamespace(name="Fernhollow Band Program"),
        path="/gear/K7M4QX",
        today=date(2026, 10, 3),
        writes=True,
        trouble="",
        behind=None,
        problem=Invalid(
            "A length needs a unit: 10 ft or 3 m.",
            {"length": "A length needs a unit.", "end": "Say which end."},
        ),
    )


def _answer(route: Route) -> None:
    path = urlsplit(route.request.url).path.removeprefix("/")
    headers = headers_of_every_answer(secure=False)
    if path.startswith("static/"):
        name = re.sub(r"^static/(m-[^/]+/)?", "", path)
        body = sent_modules()[name] if path.startswith("static/m-") else static_file(name).content
        route.fulfill(body=body, headers=headers | {"Content-Type": TYPES[Path(name).suffix]})
    else:
        route.fulfill(body=written(path), headers=headers | {"Content-Type": "text/html; charset=utf-8"})


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Opens a template at a size; further keywords go to the browser's context (color_scheme, forced_colors).

    Anything that a page logs, such as a breach of the content security policy, fails the test.
    """
    contexts = []
    logged: list[str] = []

    def open_page(template: str = "gallery.html", width: int = 390, height: int = 844, **how: object) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **how)  # type: ignore[arg-type]
        contexts.append(context)
        context.route("**/*", _answer)
        page = context.new_page()
        page.on("console", lambda message: logged.append(message.text))
        page.on("pageerror", lambda error: logged.append(str(error)))
        page.goto(f"http://coilbook.localhost/{template}")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert logged == []
