"""The modules that are sent as one file do what they do apart, and a page has one of each."""

import re
from base64 import b64encode

import pytest

from service.web.modules import ENTRY, imports, joined
from service.web.static import sent_modules
from tests.support.script import run

PAGE = """
import "../look/first.js";
import { Wrong, add as plus } from "./sums.js";
import * as sums from "./sums.js";
const own = "page";
export const found = [own, plus(1), sums.seen, new Wrong("none").message];
"""
SUMS = """
import { log } from "../look/first.js";
const own = 10;
/* Ten more. */
export function add(number) { log.push(number); return own + number; }
export class Wrong extends Error {}
export const seen = log;
"""
FIRST = "export const log = [];\nlog.push('first');\n"
VIEW = 'import { add } from "../outbox/sums.js";\nimport "./other.js";\nexport const shown = add(2);\n'
SOURCES = {"outbox/page.js": PAGE, "outbox/sums.js": SUMS, "look/first.js": FIRST, "offline/view.js": VIEW}
LOOK = "async (url) => { const all = await import(url); return [Object.keys(all), all.outbox_page.found]; }"
DYNAMIC = re.compile(r'import\("(\.[^"]+)"\)')


def test_joined_modules_keep_their_names_apart_and_share_what_they_change() -> None:
    text = joined(SOURCES)[ENTRY]
    url = f"data:text/javascript;base64,{b64encode(text.encode()).decode()}"
    assert run(LOOK, url) == [["look_first", "outbox_page", "outbox_sums"], ["page", 11, ["first", 1], "none"]]


def test_others_take_from_the_joined_file_what_is_in_it() -> None:
    sent = joined(SOURCES)
    assert list(sent) == [ENTRY, "offline/view.js"]
    taken = 'import { outbox_sums } from "../outbox/page.js"; const { add } = outbox_sums;'
    assert sent["offline/view.js"] == VIEW.replace('import { add } from "../outbox/sums.js";', taken)


@pytest.mark.parametrize(
    ("path", "text", "told"),
    [
        ("look/first.js", "export let log = [];\n", "look/first.js is joined"),
        ("outbox/sums.js", 'export { log } from "../look/first.js";\n', "outbox/sums.js is joined"),
        ("outbox/sums.js", "const add = 1;\nexport { add };\n", "outbox/sums.js is joined"),
        ("look/first.js", 'import "../outbox/page.js";\n', "imports itself"),
    ],
)
def test_what_cannot_be_joined_is_refused_by_its_name(path: str, text: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        joined(SOURCES | {path: text})


def test_every_script_imports_what_is_sent() -> None:
    """Thus no page has two outboxes, one of them joined."""
    sent = sent_modules()
    for path, text in sent.items():
        later = [f'import "{name}";' for name in DYNAMIC.findall(text)]
        assert set(imports(path, "\n".join([text, *later]))) <= set(sent), path
    assert {path for path in sent if path.startswith("outbox/")} == {
        f"outbox/{name}.js" for name in ("page", "cause", "lanes", "leave", "left", "swap")
    }
