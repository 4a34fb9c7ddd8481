"""The volts at the far end of a phantom-powered cable, for the tests."""

from service.wiring.phantom import COLD, HOT, LOAD_OHM, SHIELD, Bench, FarEnd, State, volts_per_volt


def far_end_volts(state: State, *, loaded: bool, bench: Bench | None = None) -> FarEnd:
    """What a meter shows at the far end of a cable in that state, tolerances left out."""
    bench = bench or Bench()
    nominal = (bench.feed_ohm, bench.feed_ohm, LOAD_OHM[HOT], LOAD_OHM[COLD])
    v21, v31, v23 = (
        bench.supply_volts * volts_per_volt(state, across, nominal, bench.meter_ohm, loaded=loaded)
        for across in ((HOT, SHIELD), (COLD, SHIELD), (HOT, COLD))
    )
    return FarEnd(v21, v31, v23, loaded)
