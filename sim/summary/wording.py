"""Numbers, limits and measures as a builder reads them in a sentence."""

import math
from collections.abc import Sequence

from sim.quantity import format_quantity

# Measures in running text; the register holds their full meaning.
_NAMES = {
    "gain_db": "bench gain",
    "phase_deg": "bench phase",
    "output_match_db": "output return loss",
    "system_gain_db": "system gain",
    "system_phase_deg": "system phase",
    "antenna_factor_db": "antenna factor",
    "output_noise_nv": "noise at the receiver",
    "input_noise_nv": "noise referred to the antenna",
    "cmrr_db": "common-mode rejection",
    "noise_margin_db": "noise margin",
    "noise_rise_db": "noise rise",
    "stability_margin": "stability margin",
    "phase_margin_deg": "phase margin",
    "gain_margin_db": "gain margin",
    "mu_load": "stability factor of the load side",
    "mu_source": "stability factor of the source side",
    "stable": "stability",
    "line_margin": "stability margin on any feedline",
    "antenna_margin": "stability margin with any antenna",
    "supply_v": "supply at the unit",
    "supply_reserve_v": "supply reserve",
    "input_reserve_v": "input reserve",
    "output_reserve_v": "output reserve",
    "current_ma": "supply current",
    "output_dc_v": "resting voltage of the output",
    "headroom_db": "headroom",
    "oip2_dbm": "second-order intercept",
    "oip3_dbm": "third-order intercept",
    "product_margin_db": "margin over products",
    "match_gain_db": "gain match",
    "match_phase_deg": "phase match",
    "match_system_gain_db": "gain match with feedline",
    "match_system_phase_deg": "phase match with feedline",
}


def measure_name(measure: str) -> str:
    """A measure in running text; the column name itself where it has none."""
    return _NAMES.get(measure, measure)


def at_band(frequency_hz: float | None) -> str:
    """Words such as "at 1.83 MHz" with a space before, or nothing for a measure without a band."""
    return "" if frequency_hz is None or math.isnan(frequency_hz) else f" at {format_quantity(frequency_hz, 'Hz')}"


def limit_text(low: float | None, high: float | None, unit: str, measure: str = "") -> str:
    """A limit: "> 10 dB", "within ±0.19 dB", "10.1 to 11.3 dB"; None is an open end."""
    if measure == "stable":
        return "stable"
    mark = {"1": "", "0/1": "", "degree": "°", "deg": "°"}.get(unit, f" {unit}")
    if low is None:
        return f"< {high:g}{mark}"
    if high is None:
        return f"> {low:g}{mark}"
    if low == -high:
        return f"within ±{high:g}{mark}"
    return f"{low:g} to {high:g}{mark}"


def percent(share: float) -> str:
    """A share with a decimal: "97.3 %"; "100 %" and "0 %" only where it is exactly that."""
    if share in (0, 1):
        return f"{100 * share:.0f} %"
    return f"{min(max(100 * share, 0.1), 99.9):.1f} %"


def interval(low: float, high: float) -> str:
    """A confidence interval: "95.8 to 98.0 %"."""
    return f"{percent(low).removesuffix(' %')} to {percent(high)}"


def listed(words: Sequence[str]) -> str:
    """Words put together: "a and b", "a, b and c"."""
    words = list(words)
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
