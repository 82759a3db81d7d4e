"""The estimate from small-signal responses: against time, its limits, and what it costs the other numbers."""

from dataclasses import replace

import numpy as np
import pytest

from sim.deck.assemble import assemble
from sim.distortion.deck import distortion_deck, with_load
from sim.distortion.estimate import INPUT_STAGE, MOST_SLEW, OUTPUT_BEND, Carrier, estimate
from sim.distortion.intercept import lowest_intercept
from sim.distortion.load import OutputLoad, line_load
from sim.distortion.mixes import mixes
from sim.distortion.two_tone import difference
from tests.distortion.benches import noninverting, own_stage, stage_of
from tests.small_studies import write_study

TONES = (5e6, 6e6)
DIPOLE = {"model": "short-dipole", "length": "10 m", "radius": "4 mm", "height": "5 m"}
VERTICAL = {"model": "short-vertical", "height": "7 m", "radius": "8 mm"}


@pytest.fixture
def demo(tmp_path):
    """The nominal transimpedance amplifier at a 7 m vertical."""
    return stage_of(write_study(tmp_path), 75.0)


def both_ways(stage, tones=TONES, share=0.25):
    """Estimate and transient of two tones that bring the nearest limit to a share."""
    probing = [Carrier(hertz, 0.01) for hertz in tones]
    factor = stage.estimated(probing).scale_to(share)
    carriers = [replace(carrier, emf_v=carrier.emf_v * factor) for carrier in probing]
    return stage.estimated(carriers), stage.in_time(carriers)


CIRCUITS = [
    ("transimpedance", "OPA2822", VERTICAL, None, (5e6, 6e6)),
    # No data sheet of a part with field-effect inputs gives all conditions; so a bend is given.
    ("voltage-follower", "OPA656", VERTICAL, (5e-3, -1.5e-3), (5e6, 6e6)),
    pytest.param("transimpedance", "OPA820", VERTICAL, None, (3e6, 3.2e6), marks=pytest.mark.slow),
    pytest.param("voltage-follower", "OPA656", VERTICAL, (5e-3, -1.5e-3), (0.9e6, 1.0e6), marks=pytest.mark.slow),
    pytest.param("balanced-transimpedance", "OPA2822", DIPOLE, None, (5e6, 6e6), marks=pytest.mark.slow),
    pytest.param("balanced-transimpedance", "OPA2822", DIPOLE, None, (0.9e6, 1.0e6), marks=pytest.mark.slow),
]


@pytest.mark.parametrize(("circuit", "opamp", "antenna", "bend", "tones"), CIRCUITS)
@pytest.mark.parametrize("unit", [0, pytest.param(3, marks=pytest.mark.slow)])
def test_estimate_against_time(tmp_path, circuit, opamp, antenna, bend, tones, unit):
    """All products of second order within 2 dB, of third within 1 dB of a transient, below the slew limit."""
    path = write_study(tmp_path, amplifier={"circuit": circuit, "opamp": opamp}, antenna=antenna)
    stage = stage_of(path, 75.0, unit)
    estimated, told = both_ways(stage if bend is None else stage.bent(*bend), tones)
    assert estimated.valid
    found = difference(estimated, told)
    assert abs(found.second_db) < 2.0
    assert abs(found.third_db) < 1.0
    # Today.
    assert abs(found.second_db) < 0.25
    assert abs(found.third_db) < 0.6
    for order in (2, 3):
        assert lowest_intercept(estimated, order, 75.0) == pytest.approx(lowest_intercept(told, order, 75.0), abs=0.3)


@pytest.mark.slow
@pytest.mark.parametrize(("circuit", "opamp", "bend"), [CIRCUITS[0][:2] + (None,), CIRCUITS[1][:2] + (CIRCUITS[1][3],)])
def test_estimate_up_to_its_limit(tmp_path, circuit, opamp, bend):
    """Just where it still calls itself valid 2a - b is within 1 dB, every other product within 2 dB."""
    stage = stage_of(write_study(tmp_path, amplifier={"circuit": circuit, "opamp": opamp}), 75.0)
    stage = stage if bend is None else stage.bent(*bend)
    probing = [Carrier(hertz, 0.01) for hertz in TONES]
    factor = 0.99 * MOST_SLEW / stage.estimated(probing).limits[0].slew_share
    carriers = [replace(carrier, emf_v=carrier.emf_v * factor) for carrier in probing]
    estimated, told = stage.estimated(carriers), stage.in_time(carriers)
    assert estimated.valid
    known = {product.carriers: product.output_v for product in estimated.products}
    for product in told.products:
        error = abs(20 * np.log10(known[product.carriers] / product.output_v))
        subtracted = any(times < 0 for _, times in product.carriers)
        assert error < (1.0 if product.order == 3 and subtracted else 2.0)
    beyond = stage.estimated([replace(carrier, emf_v=carrier.emf_v * 1.02) for carrier in carriers])
    assert "slew-limited" in beyond.invalid[0]


def test_slewing_is_flagged_and_would_be_wrong(demo):
    """Where the carriers take all of the slew rate the estimate says that it is not valid, and it is not."""
    carriers = demo.carriers(TONES, 1.0)
    estimated = demo.estimated(carriers)
    assert not estimated.valid
    assert "slew-limited, the estimate is not valid" in estimated.invalid[0]
    assert abs(difference(estimated, demo.in_time(carriers)).third_db) > 1.0


def test_clipping_is_flagged(demo):
    """Where crests reach the end of the output swing, at frequencies that slew little, the estimate says so."""
    estimated = demo.estimated(demo.carriers((0.5e6, 0.6e6), 1.3))
    assert estimated.limits[0].slew_share < MOST_SLEW
    assert any("clips" in said and "output swing" in said for said in estimated.invalid)


def test_slew_share_is_full_power_bandwidth(tmp_path):
    """A 3 V peak sine takes the whole of 50 V/µs at 2.6526 MHz: SR/(2π V), hand calculation."""
    ideal = {"gbw_hz": 1e9, "slew_v_per_us": 50}
    stage = own_stage(tmp_path, noninverting("1k", "1k"), ideal, 1e5)
    swing = stage.estimated(stage.carriers([2.6526e6], 3.0)).swings[0]
    assert swing.output_v == pytest.approx(3.0, rel=1e-4)
    assert swing.slew_share == pytest.approx(1.0, rel=1e-3)


def test_shares_name_the_place(demo):
    """Second order comes from the bend, third order at high frequencies from the input stage."""
    products = {product.carriers: product for product in demo.estimated(demo.carriers(TONES, 0.2)).products}
    second = {share.mechanism: share.output_v for share in products[(0, 1), (1, 1)].shares}
    third = {share.mechanism: share.output_v for share in products[(0, 2), (1, -1)].shares}
    assert second[OUTPUT_BEND] > 100 * second[INPUT_STAGE]
    assert third[INPUT_STAGE] > 3 * third[OUTPUT_BEND]


def test_many_carriers_are_pairs_and_threes(demo):
    """A product of two carriers does not change when others are beside them; one of three is there only with all."""
    two = demo.carriers((0.6e6, 1.0e6), 0.1)
    three = (*two, *demo.carriers((1.5e6,), 0.1))
    alone = {product.carriers: product.output_v for product in demo.estimated(two).products}
    beside = {product.carriers: product.output_v for product in demo.estimated(three).products}
    assert {carriers: beside[carriers] for carriers in alone} == pytest.approx(alone, rel=1e-9)
    assert ((0, 1), (1, 1), (2, 1)) in beside


def test_three_carriers_against_time(demo):
    """Products of three carriers are a transient's within the same decibel."""
    carriers = demo.carriers((3e6, 4e6, 6.5e6), 0.12)
    estimated = {product.carriers: product.output_v for product in demo.estimated(carriers).products}
    told = [product for product in demo.in_time(carriers).products if len(product.carriers) == 3]
    assert len(told) >= 2
    for product in told:
        assert 20 * np.log10(estimated[product.carriers] / product.output_v) == pytest.approx(0, abs=1.0)


def test_only_wanted_products(demo):
    """What is asked for is what comes back, in that order."""
    carriers = demo.carriers((0.6e6, 1.0e6, 1.5e6), 0.1)
    wanted = mixes([carrier.frequency_hz for carrier in carriers], [(1.8e6, 2.0e6)])
    found = estimate(demo.simulator, demo.chain, demo.values, carriers, demo.load, wanted)
    assert [product.carriers for product in found.products] == [mix.carriers for mix in wanted]
    assert all(1.8e6 <= product.frequency_hz <= 2.0e6 for product in found.products)


def test_one_sweep_over_a_raster_or_each_by_itself(demo, monkeypatch):
    """Carriers on a raster are simulated in a few sweeps, and give what frequencies one by one give."""
    carriers = demo.carriers((0.603e6, 0.999e6, 1.341e6), 0.1)
    commands = []
    sweep = demo.simulator.ac
    monkeypatch.setattr(demo.simulator, "ac", lambda *words: commands.append(words[0]) or sweep(*words))
    together = demo.estimated(carriers)
    few = len(commands)
    monkeypatch.setattr("sim.distortion.responses.RASTER", 0)
    single = demo.estimated(carriers)
    assert few < 12 < len(commands) - few
    assert [product.output_v for product in together.products] == pytest.approx(
        [product.output_v for product in single.products], rel=1e-6
    )


def test_load_behind_the_deck_is_a_load_in_the_deck(demo):
    """A resistor put there by linearity gives what a transient with it in the deck gives."""
    small = replace(demo, load_ohm=25.0)
    estimated, told = both_ways(small)
    assert [level.output_v for level in estimated.carriers] == pytest.approx(
        [level.output_v for level in told.carriers], rel=3e-3
    )
    assert abs(difference(estimated, told).third_db) < 1.0


def test_line_takes_its_loss(demo):
    """At the receiver a matched line leaves what its loss leaves; products as carriers."""
    carriers = demo.carriers(TONES, 0.1)
    load = line_load(demo.chain, demo.values, 75.0)
    far = estimate(demo.simulator, demo.chain, demo.values, carriers, load)
    assert load.line_ohm == 75.0
    for level in far.carriers:
        assert level.receiver_v == pytest.approx(
            level.output_v * abs(load.share(np.array([level.frequency_hz]))[0]), rel=1e-9
        )
    assert far.products[1].receiver_v < far.products[1].output_v or load.route.length == 0
    near = estimate(demo.simulator, demo.chain, demo.values, carriers, OutputLoad(75.0))
    assert near.carriers[0].receiver_v == near.carriers[0].output_v


def test_bend_is_only_in_decks_for_distortion(demo):
    """The ordinary deck has none; it moves the operating point by less than 5 mV and gain by less than 0.03 dB."""
    plain = assemble(demo.chain, demo.values)
    bent = distortion_deck(demo.chain, demo.values)
    assert not any("^2*(" in line for line in plain.lines)
    assert sum("^2*(" in line for line in bent.lines) == len(bent.amps) == 1
    found = []
    for lines in (plain.lines, bent.lines):
        names = ("v(drv)", "v(out)")
        demo.simulator.load(lines, names)
        rest = demo.simulator.operating_point(names)["v(drv)"]
        demo.simulator.excite(plain.drives, "vz_emf")
        found.append((rest, abs(demo.simulator.ac("lin 1 3.5e6 3.5e6", names, 1)["v(out)"][0])))
    (rest, gain), (bent_rest, bent_gain) = found
    assert bent_rest != rest
    assert bent_rest == pytest.approx(rest, abs=5e-3)
    assert 20 * np.log10(bent_gain / gain) == pytest.approx(0, abs=0.03)


def test_what_is_not_modelled_is_said(tmp_path):
    """A part without a complete point of distortion makes no second order, and the result says why."""
    path = write_study(tmp_path, amplifier={"circuit": "transimpedance", "opamp": "OPA656"})
    stage = stage_of(path, 75.0)
    found = stage.estimated(stage.carriers(TONES, 0.1))
    assert all(device == "Xamp" for device, _ in found.remarks)
    assert any("second order is not modelled" in said for _, said in found.remarks)
    assert any("optimistic below a few megahertz" in said for _, said in found.remarks)


def test_a_deck_without_its_load_is_refused():
    """The load is replaced or the deck is refused, never left in silently."""
    with pytest.raises(ValueError, match="no reference load"):
        with_load(("* none", ".end"), "out", 50.0)
