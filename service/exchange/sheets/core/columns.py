"""Which column of somebody's sheet is what: guessed from its name, for a person to set right. Pure.

>>> guess(GEAR, ("Cable length (ft)", "Where", "Bought", "Colour"))
('length', 'place', 'bought_on', '')
>>> unit_in("Cable length (ft)")
<Unit.FEET: 'feet'>
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.kit.lengths import Unit
from service.kit.problems import Invalid
from service.kit.typed import plain


@dataclass(frozen=True)
class Field:
    """What a column may hold: its key, how pages call it, and the names by which sheets call it, in lower case.

    Beside one of the words of `never`, a part of a column's name means something else: a “test date” is none of
    purchase. What names the item itself is `weak`: a “cable cost” is a cost.
    """

    key: str
    words: str
    names: tuple[str, ...]
    never: tuple[str, ...] = ()
    weak: bool = False


_NOTES = (
    "note",
    "notes",
    "comment",
    "comments",
    "remark",
    "remarks",
    "details",
    "info",
    "misc",
    "memo",
    "observations",
)
_ASIDE = ("color", "colour", "type", "length", "kind", "by")
_OF_TESTS = ("test", "tests", "tested", "tester", "check", "checked", "checks", "inspected", "repair", "repaired",
             "fixed", "due", "last", "next", "returned", "issued")  # fmt: skip

GEAR = (
    Field("code", "Code of its tag", ("code", "tag", "tag code", "coilbook code")),
    Field("label", "Label", ("label", "name", "item", "description", "desc", "id", "number", "no", "cable", "cables",
                             "cable name", "cable id", "cable no", "item no", "asset", "asset id", "what", "gear",
                             "serial", "serial no", "inventory no", "inv no"), _ASIDE, weak=True),
    Field("kind", "Kind of gear", ("kind", "type", "category", "item type", "gear type", "cable type"), ("test",)),
    Field("wiring", "Connectors or wiring", ("wiring", "connector", "connectors", "connector type", "connection",
                                             "plugs", "ends", "conn", "conns", "plug", "plug type")),
    Field("length", "Length", ("length", "cable length", "len", "size", "feet", "ft", "meters", "metres",
                               "length ft", "length feet", "length m", "long"), ("total",)),
    Field("gauge_awg", "Wire gauge", ("gauge", "awg", "gauge_awg", "wire gauge", "wire size", "ga")),
    Field("place", "Place", ("place", "location", "where", "place a", "frame", "case", "stored", "storage", "shelf",
                             "instrument", "home", "position", "from", "lives", "lives in", "lives at", "loc", "kept",
                             "bin", "rack", "cart", "drawer", "bag"), ("bought", "purchased")),
    Field("place_b", "Place of end B", ("place b", "place_b", "place of end b", "end b", "to", "location b", "goes to",
                                        "runs to")),
    Field("batch", "Batch", ("batch", "lot", "order", "purchase order", "po", "brand", "make", "model", "vendor",
                             "supplier", "mfr", "mfg", "manufacturer", "po no", "bought from", "purchased from",
                             "invoice")),
    Field("bought_on", "Bought on", ("bought_on", "bought on", "bought", "purchased", "date", "purchase date",
                                     "date bought", "date purchased", "year", "acquired", "purchase year",
                                     "purchase yr", "yr", "date of purchase"), (*_OF_TESTS, "by", "from")),
    Field("in_service_on", "In service since", ("in service since", "in_service_on", "in service on")),
    Field("price", "Price of one", ("price", "cost", "paid", "value", "unit price", "price each", "unit cost",
                                    "amount"), ("total", "repair")),
    Field("state", "State", ("state", "status", "condition", "working", "ok", "cond", "works", "good"), _OF_TESTS),
    Field("count", "How many", ("count", "qty", "quantity", "how many", "amount of", "pieces", "pcs", "number of",
                                "total", "no of"),
          (*_OF_TESTS, "cost", "price", "value", "paid", "length", "channels", "ch", "lanes", "pins", "pairs",
           "contacts", "conductors", "shows")),
    Field("lanes", "Channels (lanes)", ("lanes", "channels", "channel count", "no of channels", "number of channels")),
    # Its shorter names come late, so that a description is the label where nothing else is.
    Field("description", "Description", ("item description", "gear description", "cable description", "what it is",
                                         "particulars", "description", "desc")),
    Field("note", "Note", _NOTES),
)  # fmt: skip

UNCODED = tuple(
    replace(field, names=(*field.names, "tag", "tag no")) if field.key == "label" else field
    for field in GEAR
    if field.key != "code"
)
"""What a column of gear may be where the tags are the program's own, with numbers that are no codes of here."""

TESTS = (
    Field("id", "The test's id", ("test id", "test_id", "uuid")),
    Field("code", "Code or label of the item", ("code", "tag", "item", "cable", "label", "name", "cable name", "id",
                                                "cable id", "item code", "number", "no", "asset", "asset id", "what",
                                                "cable no", "item no", "serial", "serial no", "gear",
                                                "inventory no", "inv no"),
          (*_ASIDE, "many", "tests", "done"), weak=True),
    Field("tested_at", "Date, or date and time", ("tested_at", "tested at", "date", "tested", "tested on", "when",
                                                  "test date", "date tested", "day", "checked", "last tested",
                                                  "date checked", "last test"),
          ("by", "due", "next", "purchase", "purchased", "bought", "repair", "repaired", "fixed")),
    Field("time", "Time", ("time", "test time", "hour")),
    Field("verdict", "Verdict", ("verdict", "result", "pass fail", "passed", "pass", "outcome", "ok", "status",
                                 "test result", "good", "works", "working", "state", "p f", "pf", "fail", "failed"),
          ("by", "reason", "why", "date")),
    Field("fault", "What was wrong", ("fault", "faults", "problem", "issue", "error", "failure", "what was wrong",
                                      "defect", "reason", "description", "whats wrong", "what is wrong", "wrong",
                                      "problems", "issues", "symptom", "symptoms")),
    Field("end", "At which end", ("end", "fault end", "which end", "side", "bad end")),
    Field("repair", "What was repaired", ("repair", "repaired", "fix", "fixed", "action", "action taken", "work done",
                                          "resolution", "what was done"),
          ("needs", "need", "needed", "by", "date", "cost", "due")),
    Field("note", "Note", _NOTES),
    Field("method", "Method", ("method", "how", "test type"), ("many", "often", "long", "bad")),
    Field("through", "Other items that it went through", ("through",)),
    Field("lane", "Lane that it took through them", ("lane",)),
    Field("voided", "Voided", ("voided at", "voided", "void")),
    Field("marked", "Marked as wrong by its tester", ("marked wrong",)),
    Field("marked_why", "Why it was marked", ("marked because",)),
    Field("wiring", "Wiring by which it was tested", ("wiring",)),
    Field("entered", "Readings and evidence, as exported", ("as entered",)),
    Field("cost", "Cost of the repair", ("repair cost", "cost of repair")),
    Field("cut_to", "Length that it was cut to", ("cut to",)),
)  # fmt: skip

KNOWN = frozenset(name for field in (*GEAR, *TESTS) for name in field.names)
"""Every name by which sheets call a column."""

_IN_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")
_UNITS = {
    **dict.fromkeys(("ft", "feet", "foot", "'"), Unit.FEET),
    **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), Unit.METERS),
}

_MEASURES = {
    **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
    **dict.fromkeys(("cm", "centimeters", "centimetres"), "cm"),
    **dict.fromkeys(("mm", "millimeters", "millimetres"), "mm"),
}


def bare(name: str) -> str:
    """A column's name without brackets, apostrophes, signs and capitals."""
    kept = _IN_BRACKETS.sub(" ", plain(name).lower()).replace("#", " no ").replace("'", "")
    return " ".join(re.sub(r"[^\w]+", " ", kept).split())


def guess(fields: Sequence[Field], header: Sequence[str]) -> tuple[str, ...]:
    """The field's key for each column, empty where the name tells nothing; each field at most once.

    A column's whole name goes before a part of it, and among parts the longer one, those of the item's own name last.
    """
    names = [bare(name) for name in header]
    ranked = sorted(
        ((rank, at, field.key) for at, name in enumerate(names) for field in fields
         if (rank := _rank(field, name)) is not None),
    )  # fmt: skip
    found: dict[int, str] = {}
    for _, at, key in ranked:
        if at not in found and key not in found.values():
            found[at] = key
    return tuple(found.get(at, "") for at in range(len(names)))


def _rank(field: Field, name: str) -> tuple[int, int] | None:
    """How well a name fits a field, the least the best: the whole name, by its turn in the list, then parts."""
    if not name:
        return None
    spoken, said = [one.replace("_", " ") for one in field.names], name.replace("_", " ")
    if said in spoken:
        return 0, spoken.index(said)
    if not set(field.never).isdisjoint(said.split()):
        return None
    parts = [one for one in spoken if len(one) > 2 and f" {one} " in f" {said} "]
    return (2 if field.weak else 1, -max(map(len, parts))) if parts else None


def is_tests(header: Sequence[str]) -> bool:
    """Whether a sheet is of tests rather than of gear: it says how each came out, and when."""
    as_tests, as_gear = guess(TESTS, header), guess(GEAR, header)
    says = {"code", "tested_at", "verdict"} <= set(as_tests)
    return says and not {"length", "count", "price"} & set(as_gear)


def unit_in(name: str) -> Unit | None:
    """The unit that a column's name says, as in “Length (ft)” or “Meters”; None where it says none, or several."""
    found = {_UNITS[word] for word in _words(name) if word in _UNITS}
    return found.pop() if len(found) == 1 else None


def measure_in(name: str) -> str:
    """A smaller measure that a column's name says, as `parse_length` reads it; empty where it says none.

    >>> measure_in("Length (inches)"), measure_in("Length in feet"), measure_in("cm")
    ('in', '', 'cm')
    """
    if unit_in(name):
        return ""
    found = {_MEASURES[word] for word in _words(name) if word in _MEASURES}
    return found.pop() if len(found) == 1 else ""


def _words(name: str) -> list[str]:
    inside = [part.strip(" .") for part in _IN_BRACKETS.findall(plain(name).lower())]
    return [*bare(name).split(), *(word for part in inside for word in re.split(r"[\s/,]+|\bor\b", part))]


def check(fields: Sequence[Field], chosen: Sequence[str], needed: Sequence[str]) -> tuple[str, ...]:
    """The fields chosen for the columns, if they can be.

    Raises:
        Invalid: a field is chosen twice, or one that is needed is missing.
    """
    words = {field.key: field.words for field in fields}
    errors = {}
    for at, key in enumerate(chosen):
        if key and key not in words:
            errors[f"column{at}"] = "This is none of the choices. Choose again."
        elif key and key in chosen[:at]:
            errors[f"column{at}"] = (
                f"“{words[key]}” is chosen for two columns. Choose another, or leave one out."
            )
    for key in needed:
        if key not in chosen:
            errors[key] = f"No column is “{words[key]}”. Choose the one that is."
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return tuple(chosen)
