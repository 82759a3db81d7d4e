"""What the page says it rests on follows the study."""

from sim.report.assumptions import left_out, modelled

STUDY = {
    "amplifier": {"circuit": "transimpedance", "opamp": "OPA810"},
    "antenna": {"model": "short-vertical"},
    "feedline": {"cable": "rg6-ccs", "length": "130"},
    "receiver": {"impedance": "75", "noise_figure": "12 dB"},
    "site": {"noise": "quiet-rural"},
}


def test_values_are_said_with_their_units():
    """A bare number in the study gets its unit on the page."""
    text = " ".join(modelled(STUDY))
    assert "130 m of rg6-ccs" in text and "75 Ω input, noise figure 12 dB" in text
    assert "quiet-rural, a median of ITU-R P.372" in text


def test_varied_values_are_all_named():
    """Where the study compares values, the page names them and not the base value."""
    study = {**STUDY, "vary": [{"what": "feedline.length", "values": ["0", "60 m"]}]}
    assert "0 m / 60 m of rg6-ccs" in " ".join(modelled(study))


def test_lines_that_differ_are_said():
    """Length in its unit and velocity in per cent; the match then is one of amplifiers and feedlines."""
    line = {**STUDY["feedline"], "length_tolerance": "300 mm", "velocity_tolerance": "0.005"}
    study = {**STUDY, "feedline": line}
    text = " ".join(modelled(study))
    assert "130 m of rg6-ccs, length ±300 mm and velocity ±0.5 % from unit to unit, as a lossy line" in text
    assert "Match: amplifiers and feedlines." in " ".join(left_out(set(), True, study))
    assert "Match: amplifiers only." in " ".join(left_out(set(), True, STUDY)) and "±" not in " ".join(modelled(STUDY))


def test_measured_noise_is_said_to_be_the_builders():
    """A noise table of the builder's is not passed off as a median of surveys."""
    study = {**STUDY, "site": {"noise": {"frequencies": ["1.8M"], "fa_db": [50]}}}
    text = " ".join(modelled(study))
    assert "the builder's own table" in text and "P.372" not in text


def test_on_the_bench_there_is_no_outside_noise():
    """With the fixture in place of an antenna nothing is said about outside noise."""
    assert "Outside noise" not in " ".join(modelled({**STUDY, "antenna": {"model": "fixture"}}))


def test_what_is_judged_is_not_listed_as_missing():
    """Strong signals are listed as not judged until the run has a measure for them."""
    assert any(line.startswith("Strong signals") for line in left_out({"gain_db"}, False))
    assert not any(line.startswith("Strong signals") for line in left_out({"oip3_dbm"}, False))
    assert any(line.startswith("Match:") for line in left_out(set(), True))


def test_what_the_site_leaves_out_is_said():
    """Galactic and atmospheric noise are named as left out, or as added with their values."""
    plain = " ".join(modelled(STUDY))
    assert "Left out: galactic noise and atmospheric noise." in plain and "Added" not in plain
    site = {"noise": "rural", "level": "10 %", "fof2": "5M", "atmospheric": "50N-10E-july-noon"}
    text = " ".join(modelled({**STUDY, "site": site}))
    assert "rural, 10 % after the deciles of ITU-R P.372" in text and "Left out" not in text
    assert "galactic noise above 5 MHz and atmospheric noise 50N-10E-july-noon" in text


def test_levels_that_are_compared_are_all_named():
    """A quiet day beside the median is not called a median, nor missing from the answer."""
    study = {**STUDY, "vary": [{"what": "site.level", "values": ["median", "lower-decile"]}]}
    assert "quiet-rural, median / lower-decile after the deciles" in " ".join(modelled(study))
    assert any("outside noise is a median" in line for line in left_out(set(), False, STUDY))
    assert not any("outside noise is a median" in line for line in left_out(set(), False, study))
    assert any(line.startswith("Other hours: at night") for line in left_out(set(), False, study))
    night = {**STUDY, "site": {"level": "lower-decile", "atmospheric": "50N-10E-july-noon"}}
    assert not any("night" in line for line in left_out(set(), False, night))


def test_time_and_place_together_are_said():
    """A percentile of time and place is told from one of time alone."""
    site = {"noise": "rural", "level": "lower-decile", "location": "any"}
    assert "lower-decile of time and place together" in " ".join(modelled({**STUDY, "site": site}))


def test_the_place_is_said():
    """A quiet place of its class is not called a median one."""
    site = {"noise": "rural", "location": "lower-decile"}
    assert "median, at a place that is the lower-decile of its class, after" in " ".join(
        modelled({**STUDY, "site": site})
    )


def test_a_circuit_without_an_opamp_names_none():
    """The op-amp that a study must name stands nowhere where the circuit has none."""
    study = {"amplifier": {"circuit": "own.cir", "opamp": "OPA2822"}, "antenna": {"model": "fixture"}}
    assert any("OPA2822" in line for line in modelled(study))
    without = modelled(study, has_opamp=False)
    assert not any("OPA2822" in line for line in without)
    assert any("without an op-amp" in line for line in without)


def test_temperature_is_told_where_there_is_more_than_one():
    """A range or a varied temperature brings the line about what follows it; one value does not."""
    for run, vary in (({"temperature": "-20..40"}, []), ({"temperature": "20"}, [{"what": "run.temperature"}])):
        said = " ".join(modelled({"run": run, "vary": vary}))
        assert "bias current of FET inputs doubling every 10 K" in said and "estimates" in said
    assert "Temperature:" not in " ".join(modelled({"run": {"temperature": "20"}, "vary": []}))
