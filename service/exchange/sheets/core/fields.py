"""The fields of a sheet of gear and of a sheet of tests, with the names that their columns have."""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Field:
    """What a column may hold: its key, its name on pages, and the names that sheets use for it, in lower case.

    If a column's name also has one of the words `never`, a part of it does not match: a “test date” is not the date of
    a purchase. Names for the item itself are `weak`: a “cable cost” is a cost.
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


_OF_TESTS = (
    "test",
    "tests",
    "tested",
    "tester",
    "check",
    "checked",
    "checks",
    "inspected",
    "repair",
    "repaired",
    "fixed",
    "due",
    "last",
    "next",
    "returned",
    "issued",
)


GEAR = (
    Field("code", "Code of its tag", ("code", "tag", "tag code", "coilbook code")),
    Field(
        "label",
        "Label",
        (
            "label",
            "name",
            "item",
            "description",
            "desc",
            "id",
            "number",
            "no",
            "cable",
            "cables",
            "cable name",
            "cable id",
            "cable no",
            "item no",
            "asset",
            "asset id",
            "what",
            "gear",
            "serial",
            "serial no",
            "inventory no",
            "inv no",
        ),
        _ASIDE,
        weak=True,
    ),
    Field("kind", "Kind of gear", ("kind", "type", "category", "item type", "gear type", "cable type"), ("test",)),
    Field(
        "wiring",
        "Connectors or wiring",
        (
            "wiring",
            "connector",
            "connectors",
            "connector type",
            "connection",
            "plugs",
            "ends",
            "conn",
            "conns",
            "plug",
            "plug type",
        ),
    ),
    Field(
        "length",
        "Length",
        (
            "length",
            "cable length",
            "len",
            "size",
            "feet",
            "ft",
            "meters",
            "metres",
            "length ft",
            "length feet",
            "length m",
            "long",
        ),
        ("total",),
    ),
    Field("gauge_awg", "Wire gauge", ("gauge", "awg", "gauge_awg", "wire gauge", "wire size", "ga")),
    Field(
        "place",
        "Place",
        (
            "place",
            "location",
            "where",
            "place a",
            "frame",
            "case",
            "stored",
            "storage",
            "shelf",
            "instrument",
            "home",
            "position",
            "from",
            "lives",
            "lives in",
            "lives at",
            "loc",
            "kept",
            "bin",
            "rack",
            "cart",
            "drawer",
            "bag",
        ),
        ("bought", "purchased"),
    ),
    Field(
        "place_b",
        "Place of end B",
        ("place b", "place_b", "place of end b", "end b", "to", "location b", "goes to", "runs to"),
    ),
    Field(
        "batch",
        "Batch",
        (
            "batch",
            "lot",
            "order",
            "purchase order",
            "po",
            "brand",
            "make",
            "model",
            "vendor",
            "supplier",
            "mfr",
            "mfg",
            "manufacturer",
            "po no",
            "bought from",
            "purchased from",
            "invoice",
        ),
    ),
    Field(
        "bought_on",
        "Bought on",
        (
            "bought_on",
            "bought on",
            "bought",
            "purchased",
            "date",
            "purchase date",
            "date bought",
            "date purchased",
            "year",
            "acquired",
            "purchase year",
            "purchase yr",
            "yr",
            "date of purchase",
        ),
        (*_OF_TESTS, "by", "from"),
    ),
    Field("in_service_on", "In service since", ("in service since", "in_service_on", "in service on")),
    Field(
        "price",
        "Price of one",
        ("price", "cost", "paid", "value", "unit price", "price each", "unit cost", "amount"),
        ("total", "repair"),
    ),
    Field("state", "State", ("state", "status", "condition", "working", "ok", "cond", "works", "good"), _OF_TESTS),
    Field(
        "count",
        "How many",
        ("count", "qty", "quantity", "how many", "amount of", "pieces", "pcs", "number of", "total", "no of"),
        (
            *_OF_TESTS,
            "cost",
            "price",
            "value",
            "paid",
            "length",
            "channels",
            "ch",
            "lanes",
            "pins",
            "pairs",
            "contacts",
            "conductors",
            "shows",
        ),
    ),
    Field("lanes", "Channels (lanes)", ("lanes", "channels", "channel count", "no of channels", "number of channels")),
    # Its shorter names come last, so that a description becomes the label if no other column does.
    Field(
        "description",
        "Description",
        (
            "item description",
            "gear description",
            "cable description",
            "what it is",
            "particulars",
            "description",
            "desc",
        ),
    ),
    Field("note", "Note", _NOTES),
)


UNCODED = tuple(
    replace(field, names=(*field.names, "tag", "tag no")) if field.key == "label" else field
    for field in GEAR
    if field.key != "code"
)
"""The fields of gear for a column of the program's own numbers, which are not codes of this service."""


TESTS = (
    Field("id", "The test's id", ("test id", "test_id", "uuid")),
    Field(
        "code",
        "Code or label of the item",
        (
            "code",
            "tag",
            "item",
            "cable",
            "label",
            "name",
            "cable name",
            "id",
            "cable id",
            "item code",
            "number",
            "no",
            "asset",
            "asset id",
            "what",
            "cable no",
            "item no",
            "serial",
            "serial no",
            "gear",
            "inventory no",
            "inv no",
        ),
        (*_ASIDE, "many", "tests", "done"),
        weak=True,
    ),
    Field(
        "tested_at",
        "Date, or date and time",
        (
            "tested_at",
            "tested at",
            "date",
            "tested",
            "tested on",
            "when",
            "test date",
            "date tested",
            "day",
            "checked",
            "last tested",
            "date checked",
            "last test",
        ),
        ("by", "due", "next", "purchase", "purchased", "bought", "repair", "repaired", "fixed"),
    ),
    Field("time", "Time", ("time", "test time", "hour")),
    Field(
        "verdict",
        "Verdict",
        (
            "verdict",
            "result",
            "pass fail",
            "passed",
            "pass",
            "outcome",
            "ok",
            "status",
            "test result",
            "good",
            "works",
            "working",
            "state",
            "p f",
            "pf",
            "fail",
            "failed",
        ),
        ("by", "reason", "why", "date"),
    ),
    Field(
        "fault",
        "What was wrong",
        (
            "fault",
            "faults",
            "problem",
            "issue",
            "error",
            "failure",
            "what was wrong",
            "defect",
            "reason",
            "description",
            "whats wrong",
            "what is wrong",
            "wrong",
            "problems",
            "issues",
            "symptom",
            "symptoms",
        ),
    ),
    Field("end", "At which end", ("end", "fault end", "which end", "side", "bad end")),
    Field(
        "repair",
        "What was repaired",
        ("repair", "repaired", "fix", "fixed", "action", "action taken", "work done", "resolution", "what was done"),
        ("needs", "need", "needed", "by", "date", "cost", "due"),
    ),
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
)


KNOWN = frozenset(name for field in (*GEAR, *TESTS) for name in field.names)
"""Every name of a column that is recognized."""
