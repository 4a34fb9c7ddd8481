"""Phantom power as a tester: the volts at the far end of a three-contact cable, and what they can mean.

The desk feeds contacts 2 and 3 from 48 V through 6.8 kilohm each, against contact 1 (P48 of IEC 61938). Every
state that the cable may be in (sound, one fault, and where no single fault will do, two) is solved as a
circuit, and a state is named if some supply voltage and some resistors within their tolerances would give all
readings at once. States that read alike are all named: without a load, hot shorted to cold and hot swapped
with cold look sound. A load of unequal legs, 6.81 kilohm on contact 2 and 13.62 kilohm on contact 3, tells
the short apart. The swap shows at the desk's end only.

Where no state of whole wires and dead shorts with one fault will do, a resistance is looked for: a leak between two
contacts, or a joint of high resistance in one conductor. With the load alone, or without it alone, a leak and a joint
may read alike; both readings tell them apart, since without a load hardly any current runs through a joint.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import chain, combinations, pairwise, permutations, product

from service.kit.problems import invalid
from service.wiring.circuit import Resistor, node_volts
from service.wiring.faults import Fault, FaultClass
from service.wiring.location import Meter

LOAD_OHM = {2: 6810.0, 3: 13_620.0}  # from that contact to contact 1, at the far end
CORE_OHM = 1.0  # some 10 m of 24 AWG; a hundred times that would not move a reading out of its tolerance
SHORT_OHM = 0.1
SHIELD, HOT, COLD = CONTACTS = (1, 2, 3)
METER_OHM = 10e6  # of a usual digital meter: common practice, no source; its manual says

LEAK_OHM = (10.0, 1e6)  # below, it reads as a short; above, as nothing at all
JOINT_OHM = (100.0, 1e10)  # below, it reads as a sound conductor; above, as a cut one
_FINE = 1.05  # how much of a factor a resistance is told to


@dataclass(frozen=True, slots=True)
class Bench:
    """What the readings depend on besides the cable: supply, resistors and meter, each with its tolerance."""

    supply_volts: float = 48.0
    supply_off: float = 4.0  # IEC 61938: 48 V, 4 V up or down; less where the desk's own volts were measured
    feed_ohm: float = 6800.0
    resistors_off: float = 0.01  # a share, of feed and load resistors: 1 % parts, common practice
    meter: Meter = field(default_factory=lambda: Meter(0.01, 0.2))
    meter_ohm: float = METER_OHM

    def __post_init__(self) -> None:
        if not 0 <= self.supply_off < self.supply_volts:
            raise invalid("supply_off", "The supply needs volts, and a tolerance smaller than they are.")
        if not (self.feed_ohm > 0 and self.meter_ohm > 0 and 0 <= self.resistors_off < 1):
            raise invalid("feed_ohm", "Resistors have more than zero ohms, and a tolerance below their value.")


@dataclass(frozen=True, slots=True)
class FarEnd:
    """Volts read between contacts at the far end, one at a time; `v23` may be left out."""

    v21: float
    v31: float
    v23: float | None = None
    loaded: bool = False

    def __post_init__(self) -> None:
        if not all(math.isfinite(volts) for _, volts in self.readings()):
            raise invalid("volts", "A reading is a number of volts: write 0 where the meter showed nothing.")

    def readings(self) -> Iterator[tuple[tuple[int, int], float]]:
        """Each pair of contacts, and the volts from the second to the first."""
        yield (HOT, SHIELD), self.v21
        yield (COLD, SHIELD), self.v31
        if self.v23 is not None:
            yield (HOT, COLD), self.v23


@dataclass(frozen=True, slots=True)
class State:
    """A state of the cable: where contact 1, 2 and 3 land, which conductors are cut, which are joined.

    `ohm` is the resistance of a leak between two contacts, `resists`, or of a joint in the one that it names.
    """

    lands: tuple[int, int, int] = CONTACTS
    cut: frozenset[int] = frozenset()
    joined: frozenset[int] = frozenset()
    resists: tuple[int, ...] = ()
    ohm: float = 0.0

    def faults(self) -> tuple[Fault, ...]:
        """The faults of the built-in wiring `xlr3` that make this state."""
        faults = [Fault(FaultClass.OPEN, (str(contact),)) for contact in sorted(self.cut)]
        if self.joined:
            faults.append(Fault(FaultClass.SHORT, tuple(str(contact) for contact in sorted(self.joined))))
        moved = {at: to for at, to in zip(CONTACTS, self.lands, strict=True) if at != to}
        if moved.keys() == {HOT, COLD}:
            faults.append(Fault(FaultClass.REVERSED_PAIR, (str(HOT), str(COLD))))
        elif moved:
            destinations = tuple((str(at), f"B{to}") for at, to in moved.items())
            faults.append(Fault(FaultClass.MISWIRE, tuple(name for name, _ in destinations), destinations=destinations))
        return tuple(faults)


@dataclass(frozen=True, slots=True)
class Resistance:
    """A leak between two `contacts`, or a joint in the conductor of one: from `least_ohm` to `most_ohm`."""

    contacts: tuple[int, ...]
    least_ohm: float
    most_ohm: float

    @property
    def leaks(self) -> bool:
        """Whether it is a leak, not a joint."""
        return len(self.contacts) > 1


@dataclass(frozen=True, slots=True)
class PhantomDiagnosis:
    """Every state of the cable that the readings allow, the sound one (no faults) first if it is one.

    Where none does, `resistances` are the leaks and joints that do.
    """

    states: tuple[tuple[Fault, ...], ...]
    no_power: bool  # all readings near zero: phantom power may simply be off
    resistances: tuple[Resistance, ...] = ()

    @property
    def weak_power(self) -> bool:
        """Whether a supply of too few volts would read like this too: both legs are low alike."""
        return any(one.contacts == (SHIELD,) for one in self.resistances)

    @property
    def undecided(self) -> bool:
        """Whether it may be a leak as well as a joint."""
        return len({one.leaks for one in self.resistances}) > 1


def diagnose_phantom(readings: Sequence[FarEnd], bench: Bench | None = None) -> PhantomDiagnosis:
    """Name the states of a three-contact cable that give all `readings`, some loaded and some not.

    States of no fault or one come first, then one leak or one joint of high resistance; two faults are named only
    where those will not do. Raises `Invalid` where nothing fits.
    """
    bench = bench or Bench()
    if not readings:
        raise invalid("volts", "Read the volts from contact 2 to 1 and from 3 to 1 at the far end first.")
    nothing = _nothing_anywhere(readings, bench)
    if fitting := _fitting(SIMPLE_STATES, readings, bench):
        return PhantomDiagnosis(fitting, nothing)
    if resistances := tuple(_resistances(readings, bench)):
        return PhantomDiagnosis((), nothing, resistances)
    if fitting := _fitting(DOUBLE_STATES, readings, bench):
        return PhantomDiagnosis(fitting, nothing)
    raise invalid(
        "volts",
        "No cable with one or two faults gives these volts: check that the desk's supply is "
        f"{bench.supply_volts - bench.supply_off:g} to {bench.supply_volts + bench.supply_off:g} V and that "
        "the black lead is on the second contact named, and read again. If they stay so, several joints or leaks may "
        "be at fault: log it contact by contact, with high resistance as what was found.",
    )


def _simple_states() -> tuple[State, ...]:
    cuts = [State(cut=frozenset({contact})) for contact in CONTACTS]
    shorts = [State(joined=frozenset(group)) for size in (2, 3) for group in combinations(CONTACTS, size)]
    swaps = [State(lands=(one, two, three)) for one, two, three in permutations(CONTACTS)]
    sound, *swaps = sorted(swaps, key=lambda state: (state.lands != CONTACTS, state.lands[0] != SHIELD))
    return (sound, *cuts, *shorts, *swaps)


def _double_states() -> tuple[State, ...]:
    cuts = [state.cut for state in SIMPLE_STATES if state.cut]
    shorts = [state.joined for state in SIMPLE_STATES if state.joined]
    swaps = [state.lands for state in SIMPLE_STATES if state.lands != CONTACTS]
    return (
        *(State(cut=one | other) for one, other in combinations(cuts, 2)),
        *(State(cut=cut, joined=short) for cut, short in product(cuts, shorts)),
        *(State(cut=cut, lands=swap) for cut, swap in product(cuts, swaps)),
        *(State(joined=short, lands=swap) for short, swap in product(shorts, swaps)),
    )


SIMPLE_STATES = _simple_states()
DOUBLE_STATES = _double_states()


def volts_per_volt(
    state: State, across: tuple[int, int], resistors: Sequence[float], meter_ohm: float, *, loaded: bool
) -> float:
    """Volts read across two far contacts for each volt of supply; `resistors`: both feeds, both loads."""
    feed_hot, feed_cold, load_hot, load_cold = resistors
    network: list[Resistor] = [("plus", f"A{HOT}", feed_hot), ("plus", f"A{COLD}", feed_cold)]
    destination = dict(zip(CONTACTS, state.lands, strict=True))
    network += [
        (f"A{contact}", f"B{destination[contact]}", state.ohm if state.resists == (contact,) else CORE_OHM)
        for contact in CONTACTS
        if contact not in state.cut
    ]
    if len(state.resists) == 2:
        one, other = state.resists
        network.append((f"B{one}", f"B{other}", state.ohm))
    for one, other in pairwise(sorted(state.joined)):
        network.append((f"A{one}", f"A{other}", SHORT_OHM))
        network.append((f"B{destination[one]}", f"B{destination[other]}", SHORT_OHM))
    if loaded:
        network += [(f"B{HOT}", f"B{SHIELD}", load_hot), (f"B{COLD}", f"B{SHIELD}", load_cold)]
    plus, minus = (f"B{contact}" for contact in across)
    volts = node_volts([*network, (plus, minus, meter_ohm)], {"plus": 1.0, f"A{SHIELD}": 0.0})
    return volts[plus] - volts[minus]


def _fitting(states: Sequence[State], readings: Sequence[FarEnd], bench: Bench) -> tuple[tuple[Fault, ...], ...]:
    return tuple(state.faults() for state in states if _fits((state,), readings, bench))


def _resistances(readings: Sequence[FarEnd], bench: Bench) -> Iterator[Resistance]:
    """Every leak and every joint that the readings allow."""

    def end(contacts: tuple[int, ...], least: float, most: float, *, upper: bool) -> float | None:
        """The least ohms, or the most, that the readings allow: in halves, till one is fine enough."""
        between = [State(resists=contacts, ohm=ohm) for ohm in (least, most)]
        if not _fits(between, readings, bench):
            return None
        if most <= least * _FINE:
            return most if upper else least
        middle = math.sqrt(least * most)
        halves = [(least, middle), (middle, most)]
        ohms = (end(contacts, *half, upper=upper) for half in (reversed(halves) if upper else halves))
        return next((ohm for ohm in ohms if ohm is not None), None)

    leaks, joints = combinations(CONTACTS, 2), combinations(CONTACTS, 1)
    for contacts, allowed in chain(product(leaks, [LEAK_OHM]), product(joints, [JOINT_OHM])):
        least, most = (end(contacts, *allowed, upper=upper) for upper in (False, True))
        if least is not None and most is not None:
            yield Resistance(contacts, least, most)


def _fits(states: Sequence[State], readings: Sequence[FarEnd], bench: Bench) -> bool:
    """Whether one supply voltage, and resistors within tolerance, give every reading.

    Every resistor moves a reading one way only, so the corners of their tolerances bound it; `states` is one, or
    the two that a resistance lies between.
    """
    least, most = bench.supply_volts - bench.supply_off, bench.supply_volts + bench.supply_off
    for reading in readings:
        for across, shown in reading.readings():
            bounds = [_bounds(state, across, reading.loaded, bench) for state in states]
            lowest, highest = min(low for low, _ in bounds), max(high for _, high in bounds)
            error = bench.meter.error(shown)
            least, most = _narrowed(least, most, lowest, shown + error)
            least, most = _narrowed(least, most, -highest, error - shown)
            if least > most:
                return False
    return True


@lru_cache(maxsize=4096)  # the same states are asked about for every cable, and resistances twice while halving
def _bounds(state: State, across: tuple[int, int], loaded: bool, bench: Bench) -> tuple[float, float]:
    """The least and the most that is read for each volt of supply, at the corners of the resistors' tolerances."""
    off = (1 - bench.resistors_off, 1 + bench.resistors_off)
    nominal = (bench.feed_ohm, bench.feed_ohm, LOAD_OHM[HOT], LOAD_OHM[COLD])
    shares = product(off, repeat=4) if loaded else product(off, off, (1.0,), (1.0,))
    read = [
        volts_per_volt(
            state,
            across,
            [ohm * share for ohm, share in zip(nominal, corner, strict=True)],
            bench.meter_ohm,
            loaded=loaded,
        )
        for corner in shares
    ]
    return min(read), max(read)


def _narrowed(least: float, most: float, per_volt: float, bound: float) -> tuple[float, float]:
    """The supply voltages from `least` to `most` for which `per_volt` x supply stays at or below `bound`."""
    if abs(per_volt) < 1e-9:
        return (least, most) if bound >= 0 else (math.inf, -math.inf)
    if per_volt > 0:
        return least, min(most, bound / per_volt)
    return max(least, bound / per_volt), most


def _nothing_anywhere(readings: Sequence[FarEnd], bench: Bench) -> bool:
    shown = [volts for reading in readings for _, volts in reading.readings()]
    return all(abs(volts) <= bench.meter.error(volts) + 0.01 * bench.supply_volts for volts in shown)
