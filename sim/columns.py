"""Every measure and every column that leaves this program: name, unit, meaning."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Measure:
    """A number with a unit that is read off a unit.

    Attributes
    ----------
    name, unit, meaning : str
    per_band : bool
        Whether there is one value a band.
    good : str
        "high", "low" or "aim" where one side is better, else "info".
    group : str
        gain, noise, stability, supply, match or strong.
    available : bool
        Whether this version computes it.
    """

    name: str
    unit: str
    meaning: str
    per_band: bool
    good: str
    group: str
    available: bool = True


_ALL = (
    Measure("gain_db", "dB", "bench S21 through the dummy antenna: what an analyser shows", True, "aim", "gain"),
    Measure("phase_deg", "degree", "phase of the bench S21", True, "aim", "gain"),
    Measure("output_match_db", "dB", "return loss of the output against the line", True, "high", "gain"),
    Measure("system_gain_db", "dB", "antenna open-circuit emf to receiver input volts", True, "info", "gain"),
    Measure("system_phase_deg", "degree", "phase of the same, feedline included", True, "info", "gain"),
    Measure("antenna_factor_db", "dB/m", "field to receiver volts, the whole chain", True, "info", "gain"),
    Measure("output_noise_nv", "nV/√Hz", "noise of our own at the receiver, receiver included", True, "low", "noise"),
    Measure("input_noise_nv", "nV/√Hz", "the same referred to the antenna's emf", True, "low", "noise"),
    Measure("noise_margin_db", "dB", "band noise over all noise of our own, at the receiver", True, "high", "noise"),
    Measure(
        "noise_rise_db", "dB", "what the receiver's noise does when the antenna is connected", True, "high", "noise"
    ),
    Measure(
        "stability_margin", "1", "smallest distance of the loop locus from -1, line matched", False, "high", "stability"
    ),
    Measure(
        "phase_margin_deg",
        "degree",
        "smallest over all crossings; 180 where the gain never is one",
        False,
        "high",
        "stability",
    ),
    Measure("gain_margin_db", "dB", "smallest over all crossings; 60 where there is none", False, "high", "stability"),
    Measure(
        "mu_load",
        "1",
        "distance to the nearest load that could oscillate, 10 kHz to 2 GHz",
        False,
        "high",
        "stability",
    ),
    Measure(
        "mu_source",
        "1",
        "distance to the nearest source that could oscillate, 10 kHz to 2 GHz",
        False,
        "high",
        "stability",
    ),
    Measure(
        "stable",
        "0/1",
        "no unstable pole of the loop, on a matched, an open, every line and with every antenna that the study names",
        False,
        "high",
        "stability",
    ),
    Measure(
        "line_margin",
        "1",
        "smallest distance of the loop locus from -1 over all feedlines and far ends that the study names",
        False,
        "high",
        "stability",
    ),
    Measure(
        "antenna_margin",
        "1",
        "smallest distance of the loop locus from -1 over all antennas that the study names",
        False,
        "high",
        "stability",
    ),
    Measure("supply_v", "V", "at the unit, after the feedline's drop, before a regulator", False, "high", "supply"),
    Measure("current_ma", "mA", "drawn from the supply", False, "low", "supply"),
    Measure("output_dc_v", "V", "op-amp output at rest", False, "info", "supply"),
    Measure(
        "supply_reserve_v",
        "V",
        "above the least supply of its op-amps, circuit and regulator; below 0 a unit is never good",
        False,
        "high",
        "supply",
    ),
    Measure(
        "cmrr_db",
        "dB",
        "gain for the antenna's emf over gain for the same emf in both legs alike; 100 is as good as perfect",
        True,
        "high",
        "match",
    ),
    Measure("headroom_db", "dB", "room for strong carriers", False, "high", "strong", False),
    Measure("oip2_dbm", "dBm", "second-order intercept at the output", True, "high", "strong", False),
    Measure("oip3_dbm", "dBm", "third-order intercept at the output", True, "high", "strong", False),
    Measure("match_gain_db", "dB", "deviation of the bench gain from the mean of its build", True, "aim", "match"),
    Measure(
        "match_phase_deg", "degree", "deviation of the bench phase from the mean of its build", True, "aim", "match"
    ),
    Measure(
        "match_system_gain_db",
        "dB",
        "deviation of the system gain, feedline included, from the mean of its build",
        True,
        "aim",
        "match",
    ),
    Measure(
        "match_system_phase_deg",
        "degree",
        "deviation of the system phase, feedline included, from the mean of its build",
        True,
        "aim",
        "match",
    ),
)

MEASURES: dict[str, Measure] = {measure.name: measure for measure in _ALL}
"""All measures by name."""

_LINE = ("cable", "length_m", "far_end")
_ANTENNA = ("antenna", "capacitance_share", "capacitance_f", "inductance_h")
_OVER_UNITS = ("margin_min", "margin_p05", "unit", "margin_frequency_hz", "unstable", "unresolved", "units")

TABLES: dict[str, tuple[str, ...]] = {
    "units.parquet": ("unit", "temperature_c"),
    "measures.parquet": ("scenario", "unit", "measure", "frequency_hz", "value"),
    "curves.parquet": ("scenario", "curve", "frequency_hz", "nominal", "p05", "p50", "p95", "min", "max"),
    "scenarios.csv": ("scenario",),
    "order.csv": (
        "parts",
        "sort",
        "purpose",
        "value_words",
        "value",
        "unit_of_value",
        "preferred_value",
        "grade",
        "kind",
        "per_board",
        "soldered",
        "attrition",
        "life_stock",
        "pieces",
        "metres",
        "one_lot",
        "why",
        "share_gain",
        "share_match_gain",
        "share_match_phase",
        "price_each",
        "price_total",
        "currency",
    ),
    "summary.csv": (
        "scenario",
        "measure",
        "unit_of_measure",
        "frequency_hz",
        "nominal",
        "mean",
        "sd",
        "min",
        "p05",
        "p50",
        "p95",
        "max",
        "limit_low",
        "limit_high",
        "units",
        "passed",
        "yield",
        "yield_low",
        "yield_high",
    ),
    "drivers.csv": ("scenario", "measure", "frequency_hz", "part", "share", "slope_per_percent"),
    "contributors.csv": ("scenario", "frequency_hz", "contributor", "density_nv"),
    "failures.csv": ("scenario", "unit", "stage", "reason"),
    "stability.csv": (
        "scenario",
        *_LINE,
        *_OVER_UNITS,
    ),
    "mending.csv": (
        "scenario",
        "rank",
        "change",
        "key",
        "was",
        "value",
        "value_si",
        "unit_of_value",
        "stable",
        "margin",
        "gain_change_db",
        "noise_margin_change_db",
        "output_match_change_db",
        "keeps_limits",
        "mends",
        "verified_units",
        "verified_good",
        "recommended",
        "note",
    ),
    "both_ends.csv": (
        "scenario",
        "unit",
        *_ANTENNA,
        *_LINE,
        "margin",
        "margin_frequency_hz",
        "poles",
        "margin_line_alone",
        "poles_line_alone",
        "margin_antenna_alone",
        "poles_antenna_alone",
        "deck_agrees",
        "reason",
    ),
    "confirm.csv": (
        "scenario",
        "unit",
        "why",
        *_ANTENNA,
        *_LINE,
        "margin",
        "margin_frequency_hz",
        "unstable_by_count",
        "transient",
        "agree",
        "reason",
    ),
    "antennas.csv": (
        "scenario",
        *_ANTENNA,
        *_OVER_UNITS,
    ),
    "array.csv": ("scenario", "frequency_hz", "direction_deg", "measure", "value"),
    "array_pattern.csv": (
        "scenario",
        "frequency_hz",
        "direction_deg",
        "azimuth_deg",
        "nominal_db",
        "p05_db",
        "p50_db",
        "p95_db",
    ),
}
"""Columns of every table, in order. units.parquet and scenarios.csv go on with columns of the study's own."""

EXTERNAL = "external"
EXTERNAL_DECILES = ("external, lower decile", "external, upper decile")
"""Contributors of contributors.csv that come from outside: what the site's noise is at its level, and its deciles."""

OPEN_TABLES = ("units.parquet", "scenarios.csv")

ARRAY_MEASURES: dict[str, tuple[str, str]] = {
    "directivity_db": ("dB", "response in the direction over the average of the whole sphere, nothing below ground"),
    "hemisphere_directivity_db": ("dB", "the same over the average of the upper hemisphere, 3.01 dB less"),
    "best_directivity_db": ("dB", "greatest that any weights reach at these places without more error_sensitivity_db"),
    "front_to_back_db": ("dB", "wanted direction over the opposite one at the same elevation, no errors"),
    "rear_sector_db": ("dB", "wanted direction over the strongest of the rear sector, no errors"),
    "rear_average_db": ("dB", "wanted direction over the mean power of the rear sector, no errors"),
    "noise_penalty_db": ("dB", "by how much noise of the elements' own gains on noise from the sky"),
    "error_sensitivity_db": ("dB", "power of random errors of rms 1 over that of the wanted signal"),
    "allowed_gain_db": ("dB", "rms error of each element, with allowed_phase_deg, for nulls as deep as asked in 95 %"),
    "allowed_phase_deg": ("degree", "the same in phase"),
    "array_noise_margin_db": ("dB", "band noise over own noise at the combined output, nominal units"),
    "array_noise_margin_p05_db": ("dB", "the same, that 95 % of arrays beat"),
    "arrays": ("1", "arrays that the units make, those with a unit that failed among them"),
    "front_to_back_yield": ("1", "share of arrays whose front to back is as the study asks"),
    "front_to_back_p50_db": ("dB", "front to back of the middle one of the arrays, all errors together"),
    "front_to_back_p05_db": ("dB", "the same, that 95 % of arrays beat"),
    "rear_sector_p50_db": ("dB", "rear_sector_db of the middle one of the arrays, all errors together"),
    "rear_sector_p05_db": ("dB", "the same, that 95 % of arrays beat"),
    "directivity_p50_db": ("dB", "directivity_db of the middle one of the arrays, all errors together"),
    "directivity_p05_db": ("dB", "the same, that 95 % of arrays beat"),
    "spread_gain_db": ("dB", "rms deviation of an element's gain from the mean of its array, antennas among it"),
    "spread_phase_deg": ("degree", "the same in phase"),
    "front_to_back_p05_amplifier_db": ("dB", "front_to_back_p05_db with errors of the amplifiers alone"),
    "front_to_back_p05_feedline_db": ("dB", "with errors of the feedlines alone"),
    "front_to_back_p05_antenna_db": ("dB", "with errors of the antennas alone"),
    "front_to_back_p05_position_db": ("dB", "with errors of the places alone"),
    "front_to_back_p05_trimmed_db": ("dB", "with all errors, gains of all units set alike at the middle band"),
}
"""Measures of array.csv: unit and meaning. The rear sector is the horizon behind, 5 to 60 degrees above it."""
