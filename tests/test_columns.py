"""The register of measures and tables: names of the contract, and agreement with what computes them."""

import pytest

from sim.columns import MEASURES, OPEN_TABLES, TABLES
from sim.measures.panel import BANDED, SINGLE
from sim.measures.strong import INTERCEPTS
from sim.summary import drivers, yields
from sim.summary.antennas import ANTENNA_SINGLE
from sim.summary.lines import LINE_SINGLE
from sim.summary.matching import MATCHES
from sim.summary.strong import PRODUCTS, STRONG_MEASURES

# The names and units that studies and other programs rely on.
CONTRACT = {
    "gain_db": "dB",
    "phase_deg": "degree",
    "output_match_db": "dB",
    "system_gain_db": "dB",
    "antenna_factor_db": "dB/m",
    "output_noise_nv": "nV/√Hz",
    "input_noise_nv": "nV/√Hz",
    "noise_margin_db": "dB",
    "noise_rise_db": "dB",
    "stability_margin": "1",
    "phase_margin_deg": "degree",
    "gain_margin_db": "dB",
    "mu_load": "1",
    "mu_source": "1",
    "stable": "0/1",
    "line_margin": "1",
    "antenna_margin": "1",
    "supply_v": "V",
    "current_ma": "mA",
    "output_dc_v": "V",
    "cmrr_db": "dB",  # of circuits with two inputs; came later than the others
    "headroom_db": "dB",
    "oip2_dbm": "dBm",
    "oip3_dbm": "dBm",
    "product_margin_db": "dB",  # of studies with strong carriers; came later than the others
    "match_gain_db": "dB",
    "match_phase_deg": "degree",
    "system_phase_deg": "degree",
    "match_system_gain_db": "dB",
    "match_system_phase_deg": "degree",
    "supply_reserve_v": "V",
    "input_reserve_v": "V",
    "output_reserve_v": "V",
}


def test_names_and_units():
    """Exactly the measures of the contract, each with its unit."""
    assert {name: measure.unit for name, measure in MEASURES.items()} == CONTRACT


@pytest.mark.parametrize("measure", MEASURES.values(), ids=lambda measure: measure.name)
def test_entry(measure):
    """Each entry stands under its own name, says what it means, and takes side and group from the known ones."""
    assert MEASURES[measure.name] is measure
    assert len(measure.meaning) > 10 and not measure.meaning.endswith(".")
    assert measure.good in ("high", "low", "aim", "info")
    assert measure.group in ("gain", "noise", "stability", "supply", "match", "strong")


def test_what_is_computed():
    """Available are just those that the panel and the matches give, with bands where those have bands."""
    available = {name for name, measure in MEASURES.items() if measure.available}
    assert available == {*BANDED, *MATCHES, *SINGLE, *LINE_SINGLE, *ANTENNA_SINGLE, *STRONG_MEASURES} == set(CONTRACT)
    assert {name for name in available if MEASURES[name].per_band} == {*BANDED, *MATCHES, *INTERCEPTS, PRODUCTS}


def test_tables_agree_with_their_makers():
    """The tables that summaries make have the registered columns in the registered order."""
    assert TABLES["summary.csv"] == yields.COLUMNS
    assert TABLES["drivers.csv"] == drivers.COLUMNS


def test_tables():
    """Names of columns are unique within a table, and open tables are registered ones."""
    for columns in TABLES.values():
        assert len(set(columns)) == len(columns)
    assert set(OPEN_TABLES) <= set(TABLES)
