"""The purchase table: equal parts together, packages, spares, lots, stocked values, cable, prices."""

import math
from dataclasses import replace

import numpy as np
import pytest

from sim.deck.build import chain_of
from sim.deck.part import Part
from sim.errors import StudyError
from sim.order.boards import measured
from sim.order.prices import read_prices, total_price, unknown_names
from sim.order.purchase import bought_parts, driver_shares, driving_parts, preferred_for, purchase
from sim.order.simulated import Builds, board_units
from sim.quantity import parse_part
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.small_studies import write_study

LINE = {"cable": "rg6-ccs", "length": "130 m", "tee": {"choke": "220u 20%", "block": "100n 10% X7R lot"}}
DIPOLE = {"model": "short-dipole", "length": "10 m", "height": "3 m", "radius": "2 mm"}
SHARES = {
    "gain_db": {"Cf": 0.9, "Ro": 0.08, "R1": 0.01, "R2": -0.001},
    "match_gain_db": {"Cf": 0.68, "Ro": 0.31, "Rb": 0.06},
    "match_phase_deg": {"Xamp": 0.97},
}


def items_of(folder, boards=12, in_service=8, life=0, **tables):
    """Items of a small study by their first name, and the study."""
    tables = {"feedline": LINE, **tables}
    (scenario,) = scenarios(read_study(write_study(folder, **tables)))
    chain = chain_of(scenario.study)
    items = purchase(scenario.study, chain, boards, in_service, SHARES, life)
    return {item.names[0]: item for item in items}, scenario.study


def test_every_part_of_the_circuit_is_bought_once(tmp_path):
    """Parts, pieces a board and purposes are those of the circuit; equal parts stand in one line."""
    items, study = items_of(tmp_path)
    chain = chain_of(study)
    bought = sorted(name for item in items.values() if item.sort == "part" for name in item.names)
    assert bought == sorted(part.name for part in chain.circuit.parts)
    assert items["R1"].names == ("R1", "R2") and (items["R1"].per_board, items["R1"].soldered) == (2, 24)
    assert items["R1"].purpose == "half supply, upper; half supply, lower"
    assert items["Co"].names == ("Co", "Cs") and items["Co"].value == 100e-9 and items["Co"].kind == "x7r"
    assert items["Cf"].grade == "2 %" and items["Cf"].value_words == "10 pF"


def test_what_is_no_part_is_not_bought(tmp_path):
    """A resistance that stands for something else is on no list; a resistor of the study's before the circuit is."""
    amplifier = {"circuit": "transimpedance", "opamp": "OPA2822", "series_input": "220 1%"}
    (scenario,) = scenarios(read_study(write_study(tmp_path, amplifier=amplifier)))
    chain = chain_of(scenario.study)
    leak = Part("leak", "R", ("in", "gnd"), parse_part("1M 5%", "ohm"), "wet board", 0)
    wet = replace(chain, circuit=replace(chain.circuit, parts=(*chain.circuit.parts, leak)))
    assert bought_parts(wet) == chain.circuit.parts and wet.circuit.parts[-1] is leak
    bought = [item.names for item in purchase(scenario.study, wet, 12, 8, SHARES)]
    assert ("series_input",) in bought and ("leak",) not in bought
    assert driving_parts({"gain_db": {"leak": 0.9, "Cf": 0.1}}, wet) == (wet.circuit.parts[4],)


def test_pieces(tmp_path):
    """Boards times count, 5 % or two lost, and for later years only what must be of one lot: hand calculation."""
    items, _ = items_of(tmp_path, boards=60, life=4)
    assert (items["Cf"].soldered, items["Cf"].attrition, items["Cf"].life, items["Cf"].pieces) == (60, 3, 4, 67)
    assert (items["R1"].soldered, items["R1"].attrition, items["R1"].life, items["R1"].pieces) == (120, 6, 8, 134)
    assert items["Xamp"].pieces == 60 + 3 + 4
    assert items["feedline.tee.choke.amplifier"].soldered == 16, "two ends of eight feedlines"
    assert items["feedline.tee.choke.amplifier"].life == 0


@pytest.mark.parametrize(
    ("opamp", "circuit", "antenna", "each"),
    [
        ("OPA810", "transimpedance", None, 1),  # one op-amp a package
        ("OPA2822", "transimpedance", None, 1),  # two, one of them unused
        ("OPA2822", "balanced-transimpedance", DIPOLE, 2),  # three in two packages, one unused
        ("OPA810", "balanced-transimpedance", DIPOLE, 3),
    ],
)
def test_packages(tmp_path, opamp, circuit, antenna, each):
    """Op-amps are bought by packages, and no package serves two boards."""
    tables = {"antenna": antenna} if antenna else {}
    items, study = items_of(tmp_path, amplifier={"circuit": circuit, "opamp": opamp}, **tables)
    (item,) = [item for item in items.values() if item.sort == "op-amp"]
    devices, channels = len(chain_of(study).circuit.devices), chain_of(study).opamps[0].channels
    assert item.per_board == each == math.ceil(devices / channels)
    assert item.soldered == 12 * each and item.value_words == opamp and item.one_lot
    unused = each * channels - devices
    assert (f"{unused} of them unused" in item.purpose) == (unused > 0)


def test_lots_and_why(tmp_path):
    """A part that makes the match is of one lot, drawn so or not, and the line says why."""
    items, _ = items_of(tmp_path)
    assert items["Cf"].one_lot and items["Cf"].why == "makes 68 % of the spread of a match"
    assert items["Rb"].one_lot and "drawn without a lot" in items["Rb"].why
    assert items["Rin"].one_lot and items["Rin"].why.startswith("counted as one lot by the study")
    free, _ = items_of(
        tmp_path, amplifier={"circuit": "transimpedance", "opamp": "OPA810", "parts": {"Rs": "100 5% thick-film"}}
    )
    assert not free["Rs"].one_lot and free["Rs"].why == ""


def test_values_that_are_not_stocked(tmp_path):
    """A value beside the series is flagged with the nearest; E96 counts for 1 % resistors, E24 alone for 5 %."""
    parts = {"Cf": "10.5p 2% C0G lot", "Rf": "22.1k 1% thick-film lot", "Rb": "1.02M 5%", "Cc": "910p 5% C0G"}
    amplifier = {"circuit": "transimpedance", "opamp": "OPA810", "parts": parts}
    items, _ = items_of(tmp_path, amplifier=amplifier)
    assert not items["Cf"].is_preferred and items["Cf"].preferred == pytest.approx(11e-12, rel=1e-9, abs=0)
    assert items["Rf"].is_preferred and items["Cc"].is_preferred
    assert not items["Rb"].is_preferred and items["Rb"].preferred == pytest.approx(1e6)
    # X7R is stocked in E12: 91 nF, a value of E24, is not.
    assert preferred_for("x7r", "C", 0.1, 91e-9) == pytest.approx(100e-9, rel=1e-9, abs=0)


def test_cables(tmp_path):
    """Each unit in service has its feedline, section by section; spares have none."""
    sections = [{"cable": "rg6-ccs", "length": "60 m"}, {"cable": "rg58", "length": "5 m"}]
    (tmp_path / "s").mkdir()
    path = tmp_path / "s" / "study.toml"
    text = write_study(tmp_path / "s", feedline={"power": "coax"}).read_text(encoding="utf-8")
    said = ", ".join(f'{{cable = "{one["cable"]}", length = "{one["length"]}"}}' for one in sections)
    path.write_text(text.replace('power = "coax"', f'power = "coax"\nsections = [{said}]'), encoding="utf-8")
    (scenario,) = scenarios(read_study(path))
    items = purchase(scenario.study, chain_of(scenario.study), 12, 8, SHARES)
    cables = [item for item in items if item.sort == "cable"]
    assert [(item.names[0], item.pieces, item.value) for item in cables] == [("rg6-ccs", 8, 60.0), ("rg58", 8, 5.0)]
    assert cables[0].purpose == "feedline, 8 pieces of 60 m"


def test_shares_of_drivers_are_those_that_made_the_spread(tmp_path):
    """Of a gain made here from two parts the shares are those of the variance, in the match within builds only."""
    (scenario,) = scenarios(read_study(write_study(tmp_path, run={"build": 40, "units": 12_000, "seed": 5})))
    chain = chain_of(scenario.study)
    from sim.deck.build import unit_table

    units = board_units(300, 10, 40)
    drawn = unit_table(scenario.study, chain, units.ravel())
    cf, ro = (drawn[name].reshape(units.shape) for name in ("Cf", "Ro"))
    gain = -20 * np.log10(cf / 10e-12) - 3 * np.log10(ro / 75)
    builds = Builds(40, (1e6,), {"gain_db": gain[..., None]}, {"gain_db": np.zeros(1)})
    shares = driver_shares(builds, scenario, chain, ("gain_db", "match_gain_db", "noise_margin_db"))
    assert set(shares) == {"gain_db", "match_gain_db"}
    for measure, values in (("gain_db", lambda x: x), ("match_gain_db", lambda x: x - x.mean(axis=1, keepdims=True))):
        of_cf, of_ro = np.var(values(-20 * np.log10(cf))), np.var(values(3 * np.log10(ro)))
        assert shares[measure]["Cf"] == pytest.approx(of_cf / (of_cf + of_ro), abs=0.02)
        assert shares[measure]["Ro"] == pytest.approx(of_ro / (of_cf + of_ro), abs=0.02)
    assert [part.name for part in driving_parts({"gain_db": {"Ro": 0.06, "Cf": 0.5, "Rb": 0.04}}, chain)] == [
        "Cf",
        "Ro",
    ]
    assert measured(builds, "match_gain_db", 10).mean(axis=1) == pytest.approx(0, abs=1e-12)


PRICES = """
currency = "EUR"
[piece]
Cf = {"1%" = 0.40, "±2 %" = 0.10}
R1 = 0.01
OPA2822 = 5
board = 3.5
Q7 = 1
[metre]
rg6-ccs = 0.5
"""


def prices_of(folder, text):
    """A file of prices, read."""
    path = folder / "prices.toml"
    path.write_text(text, encoding="utf-8")
    return read_prices(str(path))


def test_prices(tmp_path):
    """The total is pieces times price, by grade, package and metre (hand calculation); what has no price is named."""
    items, _ = items_of(tmp_path)
    prices = prices_of(tmp_path, PRICES)
    total = total_price(prices, items.values(), 12)
    # 14 Cf, 26 R1 and R2, 14 op-amps, 12 boards, 8 × 130 m
    assert total.total == pytest.approx(14 * 0.10 + 26 * 0.01 + 14 * 5 + 12 * 3.5 + 8 * 130 * 0.5)
    assert "Ro" in total.unpriced and "Cf" not in total.unpriced and "R1, R2" not in total.unpriced
    dearer = total_price(prices, items.values(), 12, {"Cf": "1 %"})
    assert dearer.total - total.total == pytest.approx(14 * 0.30)
    assert math.isnan(prices.each(items["Cf"], "5 %"))
    assert unknown_names(prices, items.values()) == ("Q7",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[piece]\nCf = -1\n", "prices.toml, line 2, Cf: -1 is no price."),
        ('[piece]\nCf = "cheap"\n', 'prices.toml, line 2, Cf: "cheap" is no price.'),
        ("[piece]\nCf = true\n", "line 2, Cf: true is no price."),
        ("[piece]\nCf = nan\n", "line 2, Cf: nan is no price."),
        ("[peice]\nCf = 1\n", "line 1, peice: is not a key of prices."),
        ('currency = "12"\n[piece]\nCf = 1\n', 'line 1, currency: is "12".'),
        ("piece = 3\n", "piece: is not a table."),
        ("", "holds no prices."),
        ("[piece\n", "line 1: is not valid TOML"),
    ],
)
def test_prices_that_are_none(tmp_path, text, said):
    """What is wrong in a file of prices is told with its line."""
    with pytest.raises(StudyError) as caught:
        prices_of(tmp_path, text)
    assert said in str(caught.value)


def test_a_file_of_prices_that_is_none(tmp_path):
    """No file, a folder, too large a file and one that is no text are refused."""
    (tmp_path / "big.toml").write_bytes(b"#" * 200_001)
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe")
    for name, said in (("none.toml", "is no file"), ("", "is no file"), ("big.toml", "200 kB"), ("odd.toml", "UTF-8")):
        with pytest.raises(StudyError, match=said):
            read_prices(str(tmp_path / name))
