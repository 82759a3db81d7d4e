"""Feedline, tees, supply and jig that differ from unit to unit, against scikit-rf, plain ngspice, hand calculation."""

import json

import numpy as np
import pytest

from sim.cli import main
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.header import least_supply
from sim.engine.ngspice import batch
from sim.errors import CircuitError, StudyError
from sim.feedline.cable import load_cable
from sim.feedline.line import characteristic
from sim.feedline.route import Route, Section
from sim.measures.panel import BANDED, SINGLE
from sim.measures.surroundings import around_unit
from sim.quantity import Limit
from sim.steps.sample import netlist_text
from sim.steps.simulate import main as simulate_step
from sim.steps.simulate import simulate
from sim.steps.summarise import main as summarise_step
from sim.study.read import read_study, study_text
from sim.study.scenarios import scenarios
from sim.summary.collect import Gathered, responses
from sim.summary.describe import describe
from sim.summary.drivers import drivers_table
from sim.summary.matching import build_matches
from sim.summary.yields import RESERVE, limits_kept, starved_told
from tests.conftest import ROOT
from tests.summary.made import gathered

PLAIN = """\
title = "A line of its own"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
[bands]
frequencies = ["1.83M", "7.05M"]
[run]
units = {units}
build = 4
temperature = "-20..60"
[feedline]
length = "130 m"
"""
SPREAD = """\
length_tolerance = "0.5 m"
velocity_tolerance = "1 %"
[feedline.tee]
choke = "100u 20%"
choke_capacitance = "5p 30%"
choke_loss = "3k 20%"
choke_resistance = "2 10%"
block = "10n 10% X7R"
[supply]
regulator = "8 V 2%"
dropout = "0.5 V 20%"
extra_current = "5 mA 20%"
converter_power = "0.2 W 10%"
[fixture]
dummy = "47p 2%"
stray = "2p 20%"
"""
BENCH = PLAIN.replace('model = "short-vertical"\nheight = "7 m"\nradius = "8 mm"', 'model = "fixture"\n{jig}')


def study(tmp_path, text):
    """A study from its text."""
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    return read_study(tmp_path / "study.toml")


def measured(read, chunk="1-of-1"):
    """Arrays of a chunk of which no unit failed."""
    arrays, failures = simulate(read, chunk)
    assert not failures
    return arrays


def drawn(read, count):
    """Chain, table and values of units 0 to count - 1."""
    chain = chain_of(read)
    table = unit_table(read, chain, np.arange(count))
    return chain, table, [unit_values(chain, table, row, row) for row in range(count)]


def test_chain_matrix_of_a_drawn_unit_equals_scikit_rf(tmp_path):
    """Its own choke, block, length and velocity in scikit-rf's cascade give its chain matrix, to 1e-9."""
    skrf = pytest.importorskip("skrf")
    _, table, units = drawn(study(tmp_path, PLAIN.format(units=5) + SPREAD), 5)
    freq_hz = np.geomspace(0.3e6, 30e6, 31)
    frequency = skrf.Frequency.from_f(freq_hz, unit="hz")
    medium = skrf.media.DefinedGammaZ0(frequency, z0=75.0, gamma=1j)
    scale = np.array([[1.0, 75.0], [1 / 75.0, 1.0]])
    for unit in (1, 4):
        own = {name.removeprefix("feedline."): float(values[unit]) for name, values in table.items()}

        def tee(end, own=own):
            part = {key: own[f"tee.{key}.{end}"] for key in ("choke", "choke_capacitance", "choke_loss", "block")}
            winding = medium.inductor(part["choke"]) ** medium.resistor(own[f"tee.choke_resistance.{end}"])
            shunts = medium.shunt(winding ** medium.short()) ** medium.shunt_capacitor(part["choke_capacitance"])
            shunts = shunts ** medium.shunt(medium.resistor(part["choke_loss"]) ** medium.short())
            return shunts, medium.capacitor(part["block"])

        gamma, zc = characteristic(load_cable("rg6-ccs"), freq_hz)
        slower = gamma.real + 1j * gamma.imag / own["velocity"]
        line = skrf.media.DefinedGammaZ0(frequency, z0=zc, gamma=slower).line(own["length"], "m")
        line.renormalize(75.0)
        (near, block), (far, last) = tee("amplifier"), tee("receiver")
        whole = block**near**line**far**last
        ours = units[unit].outside.route.chain_matrix(freq_hz)
        assert np.max(np.abs(whole.a - ours) / scale) < 1e-9 * np.max(np.abs(ours) / scale)


@pytest.mark.parametrize(
    "text",
    [PLAIN.format(units=2) + SPREAD, BENCH.format(units=2, jig='dummy = "33p 5%"\nstray = "4p 50%"') + SPREAD],
    ids=["vertical", "fixture"],
)
def test_a_drawn_unit_agrees_with_plain_ngspice(tmp_path, text):
    """Gain 0.001 dB, phase 0.01 degree, noise 0.001 dB against the exported deck: line, supply and jig of that unit."""
    read = study(tmp_path, text)
    unit = measured(read)["banded"][0, 2]
    said = batch(netlist_text(scenarios(read)[0].study, 2), tmp_path)
    lines = (line.split("=") for line in said.splitlines() if line.startswith(("gain_db_", "phase_deg_", "output_")))
    printed = {name.strip(): float(value.split()[0]) for name, value in lines}
    assert len(printed) == 6
    for band in range(2):
        gain, phase, noise = (unit[BANDED.index(n), band] for n in ("gain_db", "phase_deg", "output_noise_nv"))
        assert printed[f"gain_db_{band + 1}"] == pytest.approx(gain, abs=1e-3)
        assert (printed[f"phase_deg_{band + 1}"] - phase + 180) % 360 - 180 == pytest.approx(0, abs=1e-2)
        assert 20 * np.log10(printed[f"output_noise_nv_{band + 1}"] / noise) == pytest.approx(0, abs=1e-3)


def test_bits_do_not_depend_on_chunks(tmp_path):
    """One chunk or three: every number of every unit is the same to the bit."""
    read = study(tmp_path, PLAIN.format(units=6) + SPREAD)
    whole = measured(read)
    cut = [measured(read, f"{number}-of-3") for number in (1, 2, 3)]
    for name in ("banded", "single", "curves"):
        assert np.array_equal(np.concatenate([part[name] for part in cut], axis=1), whole[name], equal_nan=True)


def test_no_draw_moves(tmp_path):
    """With tolerances outside the amplifier every value inside it is drawn as before; unit 0 is nominal in all."""
    chain, before, _ = drawn(study(tmp_path, PLAIN.format(units=6)), 7)
    _, after, values = drawn(study(tmp_path, PLAIN.format(units=6) + SPREAD), 7)
    assert chain.outside == () and len(after) == len(before) + 18
    assert all(np.array_equal(after[name], column) for name, column in before.items())
    assert {name: float(after[name][0]) for name in after if name not in before} == pytest.approx(
        {
            "feedline.length": 130.0,
            "feedline.velocity": 1.0,
            **{f"feedline.tee.choke.{end}": 100e-6 for end in ("amplifier", "receiver")},
            **{f"feedline.tee.choke_capacitance.{end}": 5e-12 for end in ("amplifier", "receiver")},
            **{f"feedline.tee.choke_loss.{end}": 3e3 for end in ("amplifier", "receiver")},
            **{f"feedline.tee.choke_resistance.{end}": 2.0 for end in ("amplifier", "receiver")},
            **{f"feedline.tee.block.{end}": 10e-9 for end in ("amplifier", "receiver")},
            "supply.regulator": 8.0,
            "supply.dropout": 0.5,
            "supply.extra_current": 5e-3,
            "supply.converter_power": 0.2,
            "fixture.dummy": 47e-12,
            "fixture.stray": 2e-12,
        }
    )
    assert not np.array_equal(after["feedline.tee.choke.amplifier"], after["feedline.tee.choke.receiver"])
    assert values[0].outside.route is None and values[1].outside.route is not None


def test_nothing_drawn_is_nothing_computed(tmp_path):
    """Without tolerances, tees or not, units share the surroundings of their scenario as they are."""
    read = study(tmp_path, PLAIN.format(units=2) + '[feedline.tee]\nchoke = "100u"\n')
    around = object()
    assert all(around_unit(around, unit.outside) is around for unit in drawn(read, 3)[2])


def test_phase_of_a_length_error():
    """0.1 m more of a line of velocity factor 0.84 is 1.43 degrees at 10 MHz (0.1 m/(0.84 c), hand calculation)."""
    cable, freq_hz = load_cable("rg6-ccs"), np.array([10e6])

    def turned(route):
        a, b, c, d = route.chain_matrix(freq_hz).reshape(4)
        return np.angle(2 / (a + b / 75 + c * 75 + d), deg=True)

    meant = turned(Route((Section(cable, 100.0),)))
    assert meant - turned(Route((Section(cable, 100.0),), stretch=1.001)) == pytest.approx(1.43, abs=0.02)
    # 1 % slower is 1 % longer: 14.3 degrees for the metre it is worth.
    assert meant - turned(Route((Section(cable, 100.0),), velocity=1 / 1.01)) == pytest.approx(14.3, abs=0.2)


def test_drivers_rank_the_line_where_it_counts(tmp_path):
    """Length leads the phase match of the whole chain, 0.33 degree for 0.1 m at 7.05 MHz; the bench knows no line."""
    read = study(tmp_path, PLAIN.format(units=48) + 'length_tolerance = "1 m"\n')
    arrays = measured(read)
    kept = ("scenarios", "units", "banded", "single", "curves", "misfit")
    found = Gathered(**{name: arrays[name] for name in kept}, contributors=(), seconds_inside=0.0, seconds_whole=0.0)
    bands = read.bands.frequencies
    every = responses(found, bands, build_matches(found, 4), 0)
    table = drivers_table(0, every, drawn(read, 49)[1], found.units, 4)
    at = table[(table["frequency_hz"] == bands[1]) & (table["part"] == "feedline.length")].set_index("measure")
    assert at.loc["match_system_phase_deg", "share"] > 0.8
    # 1 % is 1.3 m: 13.1 degrees at 7.05 MHz (360 * 1.3 m/35.7 m, hand calculation).
    assert at.loc["match_system_phase_deg", "slope_per_percent"] == pytest.approx(-13.1, rel=0.05)
    assert abs(at.loc["match_phase_deg", "share"]) < 0.05


def test_one_jig_spoils_no_match(tmp_path):
    """The dummy is the same for a build and another for the next; gains follow it, matches within a build do not."""
    plain, jig = PLAIN.format(units=8), '[fixture]\ndummy = "47p 10%"\n'
    _, table, _ = drawn(study(tmp_path, plain + jig), 9)
    dummy = table["fixture.dummy"]
    assert dummy[0] == 47e-12 and len(set(dummy[1:5])) == len(set(dummy[5:])) == 1 and dummy[1] != dummy[5]
    gains = [measured(study(tmp_path, plain + more))["banded"][0, :, BANDED.index("gain_db")] for more in ("", jig)]
    # A charge amplifier: its gain goes with the dummy and the 1 nF of Cc in series (closed form).
    shift, series = gains[1] - gains[0], 1 / (1 / dummy + 1 / 1e-9)
    for unit in (1, 5):
        assert shift[unit, 0] == pytest.approx(20 * np.log10(series[unit] / series[0]), rel=0.03)
    # What the units' own gain-bandwidth makes of it is a fiftieth at most.
    for own in (shift[1:5], shift[5:]):
        assert (np.ptp(own, axis=0) < 0.02 * np.abs(own).max(axis=0)).all()


@pytest.mark.parametrize(("celsius", "factor"), [("-20", 0.844), ("20", 1.0), ("60", 1.156)])
def test_the_drop_follows_the_temperature(tmp_path, celsius, factor):
    """Copper has 0.39 %/K: 12.65 ohm of 100 m and the near choke's 2 ohm change, the far choke indoors does not."""
    text = PLAIN.format(units=1).replace("-20..60", celsius).replace("130 m", "100 m") + "[feedline.tee]\n"
    single = measured(study(tmp_path, text))["single"][0, 0]
    supply, current = (single[SINGLE.index(name)] for name in ("supply_v", "current_ma"))
    assert supply == pytest.approx(12 - current * 1e-3 * (14.65 * factor + 2), abs=1e-4)


def test_a_unit_without_its_volts_is_a_finding(tmp_path):
    """5.4 V less all drops is below the 5 V that OPA2822 needs (data sheet, in the record), and still computed."""
    text = PLAIN.format(units=2).replace("length = ", "cable = \"rg6-cu\"\nlength = ") + '[supply]\nvoltage = "5.4 V"\n'
    read = study(tmp_path, text)
    single = measured(read)["single"][0]
    reserve = single[:, SINGLE.index(RESERVE)]
    drop = single[:, SINGLE.index("current_ma")] * 1e-3 * 100  # Rs of the circuit filters the supply
    assert reserve == pytest.approx(single[:, SINGLE.index("supply_v")] - drop - 5.0, abs=0.02)
    assert (reserve < 0).all()


def test_every_unit_must_have_its_volts():
    """Where one falls short a limit stands that nobody wrote; where none does, or the study has its own, nothing."""
    short = gathered(range(5), single={RESERVE: [1, 0.2, -0.1, np.nan, -0.3]})
    assert limits_kept({}, short) == {RESERVE: Limit(0.0, np.inf)}
    assert limits_kept({RESERVE: Limit(-1.0, np.inf)}, short) == {RESERVE: Limit(-1.0, np.inf)}
    assert limits_kept({}, gathered(range(5))) == {}
    [told] = starved_told(short, {0: "as designed"}, {0: "OPA2822 (Xamp) 5 V between its pins"})
    assert told == (
        "2 of 4 units get less supply than needed and count as outside the limits; the worst lacks 0.30 V."
        " Needed: OPA2822 (Xamp) 5 V between its pins."
    )
    assert starved_told(gathered(range(5)), {0: ""}, {0: ""}) == []


def test_a_run_says_which_units_starve(tmp_path):
    """A study without limits still fails for units without their volts, in answer.json and in the terminal's words."""
    study(tmp_path, PLAIN.format(units=4) + '[supply]\nvoltage = "5.4 V"\n')
    file, measures, failures = (str(tmp_path / name) for name in ("study.toml", "1.npz", "1.csv"))
    simulate_step([file, "--chunk", "1-of-1", "--measures", measures, "--failures", failures])
    summarise_step([file, "--out", str(tmp_path), "--chunks", measures, "--failures", failures])
    answer = json.loads((tmp_path / "answer.json").read_text(encoding="utf-8"))
    assert answer["passes"] is False and answer["worst"]["measure"] == RESERVE and answer["worst"]["passed"] == 0
    said = " ".join(describe(answer).split())
    assert "4 of 4 units get less supply than needed and count as outside the limits; the worst lacks 0." in said
    assert "Needed: OPA2822 (Xamp) 5 V between its pins." in said and "The study sets no limits" not in said


def test_a_circuit_states_what_it_needs(tmp_path, capsys):
    """A header line counts at the supply pin, check repeats it, and words that are no voltage are refused."""
    own = (ROOT / "circuits" / "amplifiers" / "transimpedance.cir").read_text(encoding="utf-8")
    (tmp_path / "own.cir").write_text("* Own amplifier\n* Least supply: 11.9 V\n" + own, encoding="utf-8")
    text = PLAIN.format(units=1).replace('"transimpedance"', '"own.cir"')
    read = study(tmp_path, text)
    assert least_supply(chain_of(read).circuit) == 11.9
    single = measured(read)["single"][0, 0]
    assert single[SINGLE.index(RESERVE)] == pytest.approx(single[SINGLE.index("supply_v")] - 11.9, abs=1e-6)
    assert main(["check", str(tmp_path / "study.toml")]) == 0
    assert "the circuit own 11.9 V: a unit with less" in " ".join(capsys.readouterr().out.split())
    (tmp_path / "own.cir").write_text("* Own amplifier\n* Least supply: plenty\n" + own, encoding="utf-8")
    with pytest.raises(CircuitError, match="Write, for example, \\* Least supply: 9 V"):
        chain_of(read)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('length_tolerance = "130 m"\n', "Write 0 to 100 m."),
        ('length_tolerance = "99 m"\nlength = "9 m"\n', "is as long as the feedline of 9 m."),
        ('[supply]\ndropout = "1 V"\n', "dropout belongs to a regulator, and there is none."),
        ('[supply]\nconverter_power = "1 V"\n', "Write a power"),
        ('[fixture]\ndummy = "47p 120%"\n', "reaches zero"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, more, said):
    """Tolerances as long as the line, a dropout of nothing, volts for watts."""
    text = PLAIN.format(units=1) + more
    with pytest.raises(StudyError, match=said.replace("(", r"\(")):
        study(tmp_path, text.replace('length = "130 m"\nlength_tolerance = "99', 'length_tolerance = "99'))


def test_the_written_study_is_the_same(tmp_path):
    """All of it stands in the complete text and reads back equal."""
    first = study(tmp_path, PLAIN.format(units=1) + SPREAD)
    (tmp_path / "again.toml").write_text(study_text(first), encoding="utf-8")
    assert read_study(tmp_path / "again.toml") == first
