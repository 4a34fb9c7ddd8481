"""Throws what no form would ever send at every route: `.venv/bin/python -m tests.web.abuse [--examples 200]`.

The API is fuzzed by its own description (Schemathesis, all its checks), half of the time with codes and ids that
exist, so that it gets past the look-ups; the pages by the fields of the forms that they show, with text, bytes, too
many fields and bodies that are no form. What must never happen is an answer of 5xx: `hit_api` and `hit_forms` raise.
The suite runs a few examples of each (`test_abuse.py`), always the same ones in CI.
"""

import argparse
import logging
import re
import tempfile
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.config import SchemathesisConfig
from schemathesis.core.result import Ok
from schemathesis.generation import GenerationMode

from tests.support.program import op
from tests.web.roles import NEEDED
from tests.web.world import World, takes_file, world

BEYOND_A_SCHEMA = {
    "id": "was already used for another entry",
    "item": "is no code: a character is wrong|is not a tag of this program|is the tag of a place",
    "bad": "is no code: a character is wrong|is not a tag of this program",
    "spare": "is no code: a character is wrong|is not a tag of this program|is the bad one itself",
    "through": "is no code: a character is wrong|is not a tag of this program|is named twice",
    "code": "is no code: a character is wrong",
    "session": "There is no session",
    "at": "in the future",
    "bought_on": "in the future",
    "tested_at": "in the future",
    "after": "is not a cursor of this list|belongs to one state",
    "length": "needs its length",
    "place_b": "Enter where end A lives too|Both ends are at the same place",
    "joined": "has no contact",
    "probed": "has no contact",
    "lane": "lane",
    "place": "There is no place called",
    "wiring": "is no wiring here",
    "source": "Say what stands there",
    "number": "Take another number",
    "name": "Give the rig a name of 60 characters",
    "plan": "is no part of a plan|must be|lacks|is empty|give|is neither",
    "items": "is no code: a character is wrong|is not a tag of this program|Name at least one item|has no line yet",
}
"""What may be said of a field although it is as the description asks: what it names, and what stands beside it."""
_CONFIG = SchemathesisConfig.from_dict(
    {
        # A code that belongs to no item, a date beyond the calendar: the schema allows it, the program refuses it.
        "checks": {"positive_data_acceptance": {"expected-statuses": ["2xx", 401, 403, 404, 409, 410, 422]}}
    }
)


def _often(examples: int) -> settings:
    return settings(
        max_examples=examples,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
        database=None,
    )


def hit_api(at: World, examples: int) -> Counter[str]:
    """Every operation of the API; how often each answered what. Raises what Schemathesis finds."""
    headers = {"Authorization": at.clients["lead"].headers["authorization"], "Host": "localhost"}
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", at.app, config=_CONFIG, headers=headers)
    told: Counter[str] = Counter()
    for found in schema.get_all_operations():
        assert isinstance(found, Ok)
        operation = found.ok()

        @_often(examples)
        @given(case=operation.as_strategy(), real=st.booleans())
        def hit(case: Any, real: bool) -> None:
            if real:
                _make_real(at, case)
            answer = case.call(headers=headers)
            told[f"{case.method} {case.path} {answer.status_code}"] += 1
            if answer.status_code == 422 and case.meta.generation.mode is GenerationMode.POSITIVE:
                _is_beyond_the_schema(answer.json())
            case.validate_response(answer, headers=headers)

        hit()
    return told


def _is_beyond_the_schema(refusal: dict[str, Any]) -> None:
    """Nothing that obeys the description is refused but for what no schema can say."""
    for each in refusal.get("errors", [{"field": "", "detail": refusal["detail"]}]):
        assert re.search(BEYOND_A_SCHEMA.get(each["field"], "(?!)"), each["detail"]), each


def _make_real(at: World, case: Any) -> None:
    """Put what exists where the description only says "a text"."""
    code = at.params["code"]
    known = {
        "item": code,
        "code": code,
        "bad": code,
        "spare": code,
        "kind": "cable",
        "wiring": "xlr3",
        "length": "10 ft",
        "place": "Frame 1",
        "session": None,
        "through": None,
        "key": "xlr3",
        "session_id": at.params["session_id"],
        "event": at.params["event_id"],
    }
    for part in (case.path_parameters, case.body, case.query):
        if isinstance(part, dict):
            texts = {name for name, value in part.items() if isinstance(value, str)}
            part.update({name: known[name] for name in texts & known.keys() if known[name]})


class _Forms(HTMLParser):
    """The forms of a page: for each address that one posts to, the names of its fields with values they come with."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, dict[str, set[str]]] = {}
        self._fields: dict[str, set[str]] = {}
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        name = given.get("name") or ""
        if tag == "form" and given.get("method") == "post":
            self._fields = self.found.setdefault(given.get("action") or "", {})
        elif tag in ("input", "textarea", "button", "select") and name:
            self._fields.setdefault(name, set()).add(given.get("value") or "")
            self._select = name
        elif tag == "option":
            self._fields.setdefault(self._select, set()).add(given.get("value") or "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._fields = {}


def forms(at: World) -> dict[str, dict[str, set[str]]]:
    """Every form that a lead is shown anywhere: the row that it posts to, its fields, and values that they offer."""
    seen = _Forms()
    for row in NEEDED:
        method, template = row.split(" ")
        if method == "GET":
            page = at.clients["lead"].get(at.path(template))
            if page.headers.get("content-type", "").startswith("text/html"):
                seen.feed(page.text)
    found: dict[str, dict[str, set[str]]] = {}
    for row in NEEDED:
        address = re.compile(re.sub(r"\{\w+\}", "[^/]+", row.split(" ")[1]))
        for action, fields in seen.found.items():
            if row.startswith("POST") and address.fullmatch(action.split("?")[0]):
                found.setdefault(row, {}).update(fields)
    return found


_TEXTS = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        [
            "",
            "0",
            "-1",
            "1e9",
            "99999999999999999999",
            "NaN",
            "2026-02-30",
            "0001-01-01",
            "9999-12-31",
            "10 ft",
            "A1",
            "<script>alert(1)</script>",
            "' OR 1=1 --",
            "=cmd()",
            "\x00",
            "𝟙",
            "٣",
            "a" * 5000,
        ]
    ),
)
_NO_FORMS = st.tuples(
    st.sampled_from(
        [
            "application/x-www-form-urlencoded",
            "multipart/form-data; boundary=x",
            "multipart/form-data",
            "text/plain",
            "",
            "application/json",
        ]
    ),
    st.one_of(st.binary(max_size=200), st.just(b"&" * 3000), st.just(b"--x\r\n" * 50), st.just(b"a=%ff&b=%00&=")),
)


def hit_forms(at: World, examples: int) -> Counter[str]:
    """Every address that takes a form; how often each answered what. An answer of 5xx is raised where it comes from."""
    known = forms(at)
    everything = {name: values for fields in known.values() for name, values in fields.items()}
    told: Counter[str] = Counter()
    posts = sorted(row for row in NEEDED if row.startswith("POST") and "/api/" not in row)
    assert len(known) > len(posts) / 3, "the pages show fewer forms than they did"
    for row in posts:
        who = at.clients["stranger" if row in ("POST /sign-out", "POST /join") else "lead"]
        fields = known.get(row) or everything
        filled = st.fixed_dictionaries(
            {}, optional={name: _TEXTS | st.sampled_from(sorted(fields[name])) for name in sorted(fields)}
        )

        @_often(examples)
        @given(sent=filled, repeated=st.booleans(), raw=st.none() | _NO_FORMS)
        def hit(sent: dict[str, str], repeated: bool, raw: tuple[str, bytes] | None) -> None:
            answer = _post(at, who, row, sent, repeated, raw)  # noqa: B023  (called before the loop goes on)
            told[f"{row} {answer.status_code}"] += 1  # noqa: B023
            assert answer.status_code < 500, (row, sent, raw)  # noqa: B023

        hit()
    return told


def _post(
    at: World,
    client: TestClient,
    row: str,
    sent: dict[str, str],
    repeated: bool,
    raw: tuple[str, bytes] | None,
) -> Any:
    address = at.path(row.split(" ")[1])
    if raw is not None:
        return client.post(address, content=raw[1], headers={"Content-Type": raw[0]})
    data = {"op": op()} | {name: [value] * 2 if repeated else value for name, value in sent.items()}
    files = {"file": ("x", repr(sent).encode())} if takes_file(at.app, row) else None
    return client.post(address, data=data, files=files)


def main() -> None:
    """The long run."""
    parser = argparse.ArgumentParser(description="Fuzz every route of the service.")
    parser.add_argument("--examples", type=int, default=200, help="how many for each operation and each form")
    examples = parser.parse_args().examples
    logging.disable()  # what is no form is told in the log, tens of thousands of times
    with tempfile.TemporaryDirectory() as folder, world(Path(folder), limits=False) as at:
        told = hit_api(at, examples) + hit_forms(at, examples)
    for line, count in sorted(told.items()):
        print(f"{count:6}  {line}")
    print(f"{sum(told.values())} requests, no answer of 5xx.")


if __name__ == "__main__":
    main()
