"""What the tolerance of a supply may bring an op-amp, by arithmetic from its words; nothing is run."""

from sim.quantity import PartValue
from sim.sampling.draw import IQ_MOST, IQ_PER_KELVIN, REFERENCE_C

_ROUNDING = 1e-9


def supply_ends_told(study, chain) -> list[str]:
    """A sentence for each op-amp whose supply leaves its range at an end of the tolerance, though not in the middle.

    Parameters
    ----------
    study : Study
        Of the scenario.
    chain : Chain
        Of the same scenario.

    Notes
    -----
    Highest: no drop at all. Lowest: the warmest line with the largest quiescent currents through it; what the circuit's
    own filter takes, and a converter's power, are left out, so a run may find less.
    """
    supply = study.supply
    source: PartValue = supply.regulator or supply.voltage
    low, high = (0.0, 0.0) if source.tolerance is None else (source.tolerance.low, source.tolerance.high)
    most, least = source.value * (1 + high), source.value * (1 + low)
    behind = ""
    if supply.regulator is None and chain.through_line:
        warm = max(study.run.temperature)
        share = IQ_MOST * (1 + IQ_PER_KELVIN * (warm - REFERENCE_C))
        current = share * sum(record.iq for record in chain.opamps) + chain.feed.extra_current
        least -= current * chain.route.supply_resistance(warm)
        behind = f" behind the line at {warm:g} °C"
    spread = f" {source.tolerance}" if source.tolerance else ""
    what = f"{source.value:g} V{spread}"
    found = []
    for record in dict.fromkeys(chain.opamps):
        ends = [
            "" if record.status(key) == "seen" else " (not verified against a data sheet)"
            for key in ("supply_max_v", "supply_min_v")
        ]
        if source.value <= record.supply_max < most * (1 - _ROUNDING):
            found.append(
                f"{what} may bring {most:.4g} V; {record.part}'s range ends at {record.supply_max:g} V{ends[0]}."
                " A run says what is left of it behind all drops."
            )
        if least < record.supply_min * (1 - _ROUNDING) and record.supply_min <= source.value:
            found.append(
                f"{what} may leave {least:.4g} V{behind}; {record.part}'s range begins at {record.supply_min:g}"
                f" V{ends[1]}."
            )
    return found
