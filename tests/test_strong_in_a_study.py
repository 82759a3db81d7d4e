"""Strong carriers from the study to the answer: tables, words, the same numbers however a run is cut."""

import json
import math

import numpy as np
import pytest

from sim.deck.build import chain_of
from sim.errors import StudyError
from sim.steps.simulate import simulate
from sim.steps.strong import strong_of
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.carriers import strong_told
from sim.summary.collect import gather
from sim.summary.matching import build_matches
from sim.summary.products import FALLEN, FALLS, NOT_MODELLED, TOO_STRONG
from sim.summary.yields import limits_kept, summary_table
from sim.tables import read_csv
from tests.small_studies import small_text

FEW = {"run": {"units": 4, "temperature": "-10..35"}}
WEAK = '[[strong]]\nfrequency = "621k"\nemf = "60 mV"\n[[strong]]\nfrequency = "1215k"\nemf = "30 mV"\n'
LOUD = WEAK.replace("60 mV", "2 V")


def _study(folder, carriers: str, **tables):
    path = folder / "study.toml"
    path.write_text(small_text(**{**FEW, **tables}) + carriers, encoding="utf-8")
    return read_study(path)


def _gathered(folder, study, chunks=("1-of-1",)):
    paths = []
    for chunk in chunks:
        arrays, failures = simulate(study, chunk)
        assert failures == []
        paths.append(folder / f"{chunk}.npz")
        np.savez(paths[-1], **arrays)
    return gather(paths)


def _summary(study, gathered):
    bands = np.array(study.bands.frequencies)
    return summary_table(
        gathered, bands, build_matches(gathered, study.run.build), limits_kept(study.limits, gathered)
    )


@pytest.fixture(scope="module")
def weak(tmp_path_factory):
    """A run with two carriers that leave room, its entries and its folder."""
    folder = tmp_path_factory.mktemp("weak")
    study = _study(folder, WEAK)
    gathered = _gathered(folder, study)
    summary = _summary(study, gathered)
    entries = strong_of(scenarios(study), gathered, summary, folder)
    return folder, study, gathered, summary, entries


def test_products_that_fall_into_bands_and_those_that_might(weak):
    """Each band has the products within 5 % of it and both orders on itself; worst is at most nominal."""
    folder, _, _, _, _ = weak
    table = read_csv(folder / "products.csv")
    falls = table[table["where"] == FALLS]
    assert set(falls["product"]) == {"621 + 1215 kHz", "2 × 1215 − 621 kHz", "3 × 621 kHz", "3 × 1215 kHz"}
    assert set(falls["frequency_hz"]) == {1.836e6, 1.809e6, 1.863e6, 3.645e6}
    assert (abs(falls["frequency_hz"] / falls["band_hz"] - 1) < 0.055).all()
    assert len(table[table["where"] == FALLEN]) == 2 * 3
    assert (table["margin_min_db"] <= table["margin_p05_db"] + 1e-9).all() and (table["units"] == 4).all()
    difference = table["noise_nominal_dbm"] - table["level_nominal_dbm"] - table["margin_nominal_db"]
    assert abs(difference).max() < 1e-9 and (table["emf_nominal_uv"] > 0).all()


def test_levels_add_up(weak):
    """A carrier ten decibels weaker lowers its product with another by ten and its third harmonic by thirty."""
    folder, _, gathered, _, _ = weak
    less = folder / "less"
    less.mkdir()
    study = _study(less, WEAK.replace("60 mV", f"{60 * 10**-0.5!r} mV"))
    other = _gathered(less, study)
    names = [mix.carriers for mix in gathered.strong.nears[0].mixes]
    change = (gathered.strong.product_dbm - other.strong.product_dbm)[0, 0]
    found = dict(zip(names, change, strict=True))
    assert found[(0, 1), (1, 1)] == pytest.approx(10.0, abs=0.01)
    assert found[((0, 3),)] == pytest.approx(30.0, abs=0.01)
    assert found[(0, -1), (1, 2)] == pytest.approx(10.0, abs=0.01)


def test_room_is_a_limit_of_its_own(weak):
    """Without a limit on headroom it must be above zero, and counts for the yield."""
    _, study, gathered, summary, _ = weak
    assert not study.limits
    row = summary[summary["measure"] == "headroom_db"].iloc[0]
    assert row["limit_low"] == 0 and row["yield"] == 1.0 and row["nominal"] > 0
    assert row["nominal"] == gathered.strong.headroom_db[0, 0]


def test_words(weak):
    """The answer names carriers, room, what gives way first, products against the noise, and the estimate's error."""
    _, _, _, _, entries = weak
    said = " ".join(strong_told(entries, {0: "as designed"}, 0))
    assert "Near 621 kHz (60 mV at the antenna) and 1215 kHz (30 mV at the antenna):" in said
    assert "dB of headroom" in said and "output swing of OPA2822 (Xamp)" in said and "Slew rate:" in said
    assert "621 + 1215 kHz at 1.836 MHz" in said and "the noise (worst unit" in said
    assert "Against a transient of the nominal unit" in said and "in second order" in said
    assert json.dumps(entries, allow_nan=False)


def test_estimate_against_time(weak):
    """The two strongest, run in time in nominal and worst unit: within 2 dB in second and 1.5 dB in third order."""
    _, _, _, _, entries = weak
    tried = entries[0]["in_time"]
    assert len(tried) == 2 and tried[0]["unit"] == 0 and not any(one["reason"] for one in tried)
    for one in tried:
        assert abs(one["second_error_db"]) < 2.0 and abs(one["third_error_db"]) < 1.5


def test_same_bits_however_cut(weak, tmp_path):
    """Two chunks give what one gives, bit for bit; and carriers move no other number."""
    _, study, gathered, _, _ = weak
    cut = _gathered(tmp_path, study, ("2-of-2", "1-of-2"))
    for name, values in vars(gathered.strong).items():
        if name != "nears":
            assert np.array_equal(getattr(cut.strong, name), values, equal_nan=True), name
    assert cut.strong.nears == gathered.strong.nears
    none = _gathered(tmp_path, _study(tmp_path, ""))
    assert none.strong is None
    assert np.array_equal(none.banded, gathered.banded, equal_nan=True)
    assert np.array_equal(none.single, gathered.single, equal_nan=True)


def test_no_number_where_it_clips(tmp_path):
    """Carriers beyond the room: every product says that it has no number, the answer that it is too much."""
    study = _study(tmp_path, LOUD)
    gathered = _gathered(tmp_path, study)
    summary = _summary(study, gathered)
    entries = strong_of(scenarios(study), gathered, summary, tmp_path)
    table = read_csv(tmp_path / "products.csv")
    assert (table["model"] == TOO_STRONG).all() and table["level_nominal_dbm"].isna().all()
    said = " ".join(strong_told(entries, {0: "as designed"}, 0))
    assert "too much of the output swing" in said and "have no number" in said
    assert summary[summary["measure"] == "headroom_db"]["yield"].iloc[0] == 0.0
    assert entries[0]["in_time"] == []


def test_what_is_not_modelled_is_said(tmp_path):
    """Without distortion in the record second order has no level, no intercept, no limit, and the answer says so."""
    amplifier = {"circuit": "transimpedance", "opamp": "OPA810"}
    study = _study(tmp_path, WEAK, amplifier=amplifier)
    gathered = _gathered(tmp_path, study)
    summary = _summary(study, gathered)
    assert "oip2_dbm" not in set(summary["measure"]) and "oip3_dbm" in set(summary["measure"])
    entries = strong_of(scenarios(study), gathered, summary, tmp_path)
    table = read_csv(tmp_path / "products.csv")
    assert (table.loc[table["order"] == 2, "model"] == NOT_MODELLED).all()
    assert table.loc[table["order"] == 2, "level_nominal_dbm"].isna().all()
    assert table.loc[table["order"] == 3, "model"].str.contains("optimistic").all()
    said = " ".join(strong_told(entries, {0: "as designed"}, 0))
    assert "621 + 1215 kHz falls into a band and has no number: the op-amp's distortion is not modelled" in said
    assert "third order is optimistic" in said
    limited = _study(tmp_path, WEAK, amplifier=amplifier, limits={"oip2_dbm": "> 60"})
    with pytest.raises(StudyError, match="no data sheet point of distortion is known of OPA810"):
        chain_of(limited)


def test_one_carrier_on_the_bench(tmp_path):
    """One carrier without a field: its harmonics against the chain's own noise, and nothing to run in time."""
    bench = {"antenna": {"model": "fixture"}}
    study = _study(tmp_path, '[[strong]]\nfrequency = "621k"\nemf = "0.2 V"\nmodulation = "fm"\n', **bench)
    gathered = _gathered(tmp_path, study)
    entries = strong_of(scenarios(study), gathered, _summary(study, gathered), tmp_path)
    said = " ".join(strong_told(entries, {0: "as designed"}, 0))
    assert "is reached, fully modulated" in said and "3 × 621 kHz at 1.863 MHz" in said
    assert "Had a harmonic fallen" in said and "the chain's own noise" in said
    assert entries[0]["in_time"] == [] and entries[0]["carriers"][0]["crest"] == 1.0


def test_an_output_that_rests_beyond_its_limit(tmp_path):
    """A bias current through 1 MΩ drives a follower's output to its end: said as what it is, not as decibels."""
    follower = {"antenna": {"model": "fixture"}, "amplifier": {"circuit": "voltage-follower", "opamp": "OPA2822"}}
    study = _study(tmp_path, '[[strong]]\nfrequency = "621k"\nemf = "1 mV"\n', **follower)
    gathered = _gathered(tmp_path, study)
    entries = strong_of(scenarios(study), gathered, _summary(study, gathered), tmp_path)
    assert "is passed at rest already" in strong_told(entries, {0: "as designed"}, 0)[0]


FOLLOWER = """* emitter follower
.subckt amplifier in out vcc gnd
C1 in b 1u ; 1% C0G
Rg in gnd 1meg ; 1% thick-film
R1 vcc b 22k ; 1% thick-film
R2 b gnd 22k ; 1% thick-film
Q1 vcc b e npn
R3 e gnd 470 ; 1% thick-film
C2 e out 1u ; 1% C0G
.model npn npn(bf=100)
.ends amplifier
"""


def test_without_an_op_amp_nothing_is_made_up(tmp_path):
    """Of a circuit of transistors alone no room, intercept or product has a number, and that is said."""
    (tmp_path / "follower.cir").write_text(FOLLOWER, encoding="ascii")
    study = _study(tmp_path, WEAK, amplifier={"circuit": "follower.cir", "opamp": "OPA2822"})
    gathered = _gathered(tmp_path, study)
    summary = _summary(study, gathered)
    assert not {"headroom_db", "oip2_dbm", "oip3_dbm"} & set(summary["measure"])
    entries = strong_of(scenarios(study), gathered, summary, tmp_path)
    assert (read_csv(tmp_path / "products.csv")["model"] == NOT_MODELLED).all()
    said = " ".join(strong_told(entries, {0: "as designed"}, 0))
    assert "no op-amp's limits are known" in said and "No distortion is modelled" in said
    assert np.isfinite(gathered.strong.receiver_dbm).all()


def test_intercepts_alone(tmp_path):
    """A limit on an intercept needs no station: the intercepts are there, headroom is not."""
    gathered = _gathered(tmp_path, _study(tmp_path, "", limits={"oip3_dbm": "> 20"}))
    assert gathered.strong.names == ("oip2_dbm", "oip3_dbm")
    assert np.isfinite(gathered.strong.intercept_dbm).all()


def test_intercept_arithmetic():
    """Two -10 dBm carriers and a target of -115 dBm need OIP2 = +95 dBm and OIP3 = +42.5 dBm (hand calculation)."""
    p, target = -10.0, -115.0
    oip2, oip3 = 2 * p - target, (3 * p - target) / 2
    assert (oip2, oip3) == (95.0, 42.5) and math.isclose(3 * p - 2 * oip3, target)
