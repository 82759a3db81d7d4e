"""What measures are called where people read them."""

from __future__ import annotations

import math

# Short names for headings and table rows; the full meaning stands in the register of measures.
_SHORT = {
    "gain_db": "Bench gain",
    "phase_deg": "Bench phase",
    "output_match_db": "Output return loss",
    "system_gain_db": "System gain",
    "system_phase_deg": "System phase",
    "antenna_factor_db": "Antenna factor",
    "output_noise_nv": "Noise at the receiver",
    "input_noise_nv": "Noise referred to the antenna",
    "noise_margin_db": "Noise margin",
    "noise_rise_db": "Noise rise",
    "stability_margin": "Stability margin",
    "phase_margin_deg": "Phase margin",
    "gain_margin_db": "Gain margin",
    "mu_load": "Stability factor, load side",
    "mu_source": "Stability factor, source side",
    "stable": "Stable",
    "line_margin": "Margin on any feedline",
    "antenna_margin": "Margin with any antenna",
    "supply_v": "Supply at the unit",
    "supply_reserve_v": "Supply reserve",
    "input_reserve_v": "Input reserve",
    "output_reserve_v": "Output reserve",
    "current_ma": "Supply current",
    "output_dc_v": "Output resting voltage",
    "cmrr_db": "Common-mode rejection",
    "headroom_db": "Headroom",
    "oip2_dbm": "Output intercept, second order",
    "oip3_dbm": "Output intercept, third order",
    "product_margin_db": "Margin over products",
    "match_gain_db": "Gain match",
    "match_phase_deg": "Phase match",
    "match_system_gain_db": "Gain match with feedline",
    "match_system_phase_deg": "Phase match with feedline",
}


def short_name(measure: str) -> str:
    """A measure's name for a heading; the column name itself where it has none."""
    return _SHORT.get(measure, measure)


def unit_text(unit: str) -> str:
    """A measure's unit as printed behind a number; empty for pure numbers and verdicts."""
    return {"1": "", "0/1": "", "degree": "°", "degrees": "°", "deg": "°"}.get(unit, unit)


def with_unit(text: str, unit: str) -> str:
    """A number's text with its unit: a space between, none before the degree sign."""
    mark = unit_text(unit)
    return f"{text}{mark}" if mark == "°" else f"{text} {mark}".rstrip()


def heading(measure: str, unit: str) -> str:
    """Name and unit: "Bench gain, dB"."""
    mark = unit_text(unit)
    return f"{short_name(measure)}, {'degrees' if mark == '°' else mark}" if mark else short_name(measure)


# Decimals that a reading of this kind deserves; smaller numbers get two significant digits.
_DECIMALS = {"dB": 2, "dB/m": 2, "dBm": 1, "degree": 1, "V": 2, "mA": 2, "1": 3}


def number(value: float, unit: str = "") -> str:
    """A measured number with as many decimals as its unit deserves, and a true minus sign.

    Parameters
    ----------
    value : float
        NaN prints as a dash.
    unit : str
        The measure's unit; other units get three significant digits.
    """
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    if value == 0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    places = max(_DECIMALS[unit], 1 - size) if unit in _DECIMALS else max(2 - size, 0)
    text = f"{value:.{min(places, 6)}f}"
    return "0" if float(text) == 0 else text.replace("-", "−")


def part_name(part: str) -> str:
    """A driver's name as printed: the temperature is no part, and a tee is known to belong to the feedline."""
    return "temperature" if part == "temperature_c" else part.replace("feedline.tee.", "tee.")


def limit_text(low: float, high: float, unit: str) -> str:
    """A limit in words: "≥ 10 dB", "≤ 3", "9 to 11 dB"; empty where there is none."""
    low_open, high_open = not math.isfinite(low), not math.isfinite(high)
    if low_open and high_open:
        return ""
    if low_open:
        return with_unit(f"≤ {_trim(high)}", unit)
    if high_open:
        return with_unit(f"≥ {_trim(low)}", unit)
    return with_unit(f"{_trim(low)} to {_trim(high)}", unit)


def percent(share: float) -> str:
    """A yield for people: "97.3 %", never rounded up to all or down to none."""
    if share is None or not math.isfinite(share):
        return "–"
    if 0 < share < 0.001:
        return "<0.1 %"
    if 0.999 < share < 1:
        return ">99.9 %"
    return f"{100 * share:.1f} %" if 0 < share < 1 else f"{100 * share:.0f} %"


def _trim(value: float) -> str:
    return f"{value:.6g}".replace("-", "−")
