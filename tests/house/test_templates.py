"""Templates compile, refer to what exists, and carry no script or style of their own."""

import re
from pathlib import Path

import pytest
from jinja2 import meta

from service.web.render import ENVIRONMENT

ROOT = Path(__file__).parents[2]
TEMPLATES = ENVIRONMENT.list_templates()
JINJA = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
INLINE = {
    "a script without src": re.compile(r"<script(?![^>]*\ssrc=)", re.IGNORECASE),
    "a style element": re.compile(r"<style\b", re.IGNORECASE),
    "a style attribute": re.compile(r"<[^>]*\sstyle\s*=", re.IGNORECASE),
    "a script in an attribute": re.compile(r"<[^>]*\son[a-z]+\s*=", re.IGNORECASE),
    "a request to somebody else": re.compile(r"<[^>]*\s(?:src|srcset|action)\s*=\s*[\"']?(?:https?:)?//", re.I),
}


def inline_parts(source: str) -> list[str]:
    """What the content security policy would refuse in a template, in words."""
    html = JINJA.sub(lambda found: "x" if found[0].startswith("{{") else " ", source)
    return [name for name, pattern in INLINE.items() if pattern.search(html)]


@pytest.mark.parametrize("name", TEMPLATES)
def test_template_compiles_and_what_it_includes_exists(name: str) -> None:
    ENVIRONMENT.get_template(name)
    source = (ROOT / "templates" / name).read_text()
    named = {other for other in meta.find_referenced_templates(ENVIRONMENT.parse(source)) if other}
    assert named <= set(TEMPLATES)


@pytest.mark.parametrize("name", TEMPLATES)
def test_template_has_no_script_or_style_of_its_own(name: str) -> None:
    assert inline_parts((ROOT / "templates" / name).read_text()) == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('<script src="{{ asset("scan.js") }}" defer></script><p class="style">on="1"</p>', []),
        ("<script>go()</script>", ["a script without src"]),
        ('<script type="module">go()</script>', ["a script without src"]),
        ("<style>p { color: red }</style>", ["a style element"]),
        ('<p\n  style="{{ shade }}">', ["a style attribute"]),
        ('<button {% if ready %}onclick="go()"{% endif %}>', ["a script in an attribute"]),
        ('<img src="//elsewhere.example/a.png">', ["a request to somebody else"]),
    ],
)
def test_the_check_sees_what_it_should(source: str, found: list[str]) -> None:
    assert inline_parts(source) == found


def test_templates_named_in_code_exist() -> None:
    named = {
        name for path in (ROOT / "service").rglob("*.py") for name in re.findall(r'"([\w/-]+\.html)"', path.read_text())
    }
    assert named <= set(TEMPLATES)
