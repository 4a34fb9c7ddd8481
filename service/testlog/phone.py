"""The data a phone needs to read the test form itself, so that a test is saved at once, with or without a signal.

The phone only makes readings from the form, as `sheet.readings` does; the diagnosis comes from the service, or offline
from the service's tables. All facts about a wiring come from here.
"""

from functools import lru_cache
from typing import Any

from service.testlog.form_reader import EVIDENCE, MARKED, NOT_MARKED, finding
from service.testlog.sheet import SKIPPED, loose, sheet
from service.wiring.wirings import Wiring, is_shell, lanes_of


@lru_cache(maxsize=64)
def form_facts(wiring: Wiring) -> dict[str, Any]:
    """The facts of a wiring's form, as JSON.

    `rows` maps a field to its contact, where that should arrive, the name of its conductor (None for a contact in
    no use) and what it is for; `wires` are conductors with their two contacts; `lanes` are names of conductors by
    lane; `idle` are contacts that are in no use and tested always, `shells` those tested only if somebody says so,
    or marks one of `all_shells` as touching; `loose` are contacts of end B in no use, `beside` contacts with a shell
    that they may touch, from which static/offline/lanes.js makes the sheet of a lane as `sheet` does; `evidence` is
    what each tick stands for, class and note; `said` are the sentences for what contradicts itself.
    """
    parts = lanes_of(wiring)
    full = sheet(wiring, tuple(parts))
    names = {(wire.a, wire.b): wire.name for wire in wiring.conductors}
    used = {contact for wire in wiring.conductors for contact in (wire.a, wire.b)}
    used |= {bond.later for bond in wiring.bonds}
    free = [contact for contact in wiring.all_contacts if contact not in used]
    return {
        "contacts": list(wiring.all_contacts),
        "wires": [[wire.name, wire.a, wire.b] for wire in wiring.conductors],
        "rows": {
            row.key: [row.contact, row.good, names.get((row.contact, row.good)), row.role]
            for row in sorted((*full.rows, *full.aside), key=lambda row: (row.key[0], int(row.key[1:])))
        },
        "bonds": [[bond.earlier, bond.later] for bond in wiring.bonds],
        "lanes": {lane: [wire.name for wire in wires] for lane, wires in parts.items() if lane},
        "idle": [contact for contact in free if not is_shell(contact)],
        "shells": [contact for contact in free if is_shell(contact)],
        "loose": list(loose(wiring, "B")),
        "beside": [list(pair) for pair in full.shells],
        "all_shells": [contact for contact in wiring.all_contacts if is_shell(contact)],
        "evidence": {name: [finding(name).kind, finding(name).note] for name in EVIDENCE},
        "said": {"marked": MARKED, "not_marked": NOT_MARKED, "skipped": SKIPPED},
    }
