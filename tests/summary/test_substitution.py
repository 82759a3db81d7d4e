"""The verdict on an op-amp: rules, differences of paired units, and what is said."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from sim.measures.panel import BANDED, SINGLE
from sim.quantity import Limit
from sim.summary.compensation import Compensation
from sim.summary.matching import build_matches
from sim.summary.mixed import Seen, takes_of
from sim.summary.paired import differences, mean_interval
from sim.summary.substitution import (
    Candidate,
    Miss,
    groups_of,
    judged,
    misses_of,
    mixed,
    parts_named,
    unstable_units,
    worst_units,
)
from sim.summary.substitution_words import entry_of, mixed_told, reason, substitution_rows, substitution_told
from sim.summary.yields import ALL_LIMITS, summary_table
from tests.summary.made import BANDS, gathered

LIMITS = {"match_gain_db": Limit(-0.3, 0.3), "match_phase_deg": Limit(-3, 3)}
TAKES = takes_of(LIMITS)
UNITS = np.arange(17)
MISS = Miss("stability_margin", math.nan, 0.5, math.inf, 0.4, 0.9, 0.3, 1.0)
NOISE = Miss("noise_margin_db", 7.05e6, 10.0, math.inf, 5.2, 14.2, 0.0, 1.0)


def candidate(**changes) -> Candidate:
    """One that keeps everything, with something changed."""
    one = Candidate(
        scenario=1, reference=0, opamp="NEW", instead_of="OLD", others=(), differences=(), misses=(),
        counts=(300, 300, 1.0, 0.988, 1.0), unstable=0, lost="", rests=(), unverified=(),
    )
    return replace(one, **changes)


def stepped(gain_db=0.0, phase_deg=0.0, spread=0.0, system=1.0, takes=TAKES):
    """A mixed array whose new units are off by a step, on the bench and that times a factor in the whole."""
    old = np.zeros((17, 3))
    noise = spread * np.random.default_rng(3).standard_normal((17, 3))
    noise[0] = 0
    step = [np.full((17, 3), gain_db), np.full((17, 3), phase_deg) + noise]
    new = Seen(*step, *(system * values for values in step))
    return mixed(BANDS, Seen(*[old] * 4), new, UNITS, 8, takes, 0.82)


@pytest.mark.parametrize(
    ("one", "step", "kind"),
    [
        (candidate(), stepped(0.1, 1.0), "drop-in"),
        (candidate(), stepped(0.1, 3.2), "re-match"),
        (candidate(), stepped(-0.31, 0.0), "re-match"),
        (candidate(), stepped(0.1, 2.0, system=2.0), "re-match"),
        (candidate(), stepped(0.0, 2.9, spread=2.0), "re-match"),
        (candidate(misses=(NOISE,)), stepped(), "no"),
        (candidate(unstable=1), stepped(), "no"),
        (candidate(lost="it would stand on 11.6 V"), None, "no"),
        (candidate(rests=("The input of NEW (Xamp) rests at 1 V.",)), stepped(), "no"),
        (candidate(), None, "unknown"),
    ],
)
def test_the_rules(one, step, kind):
    """Limits decide first, then the step on the bench and in the whole, then the match of drawn units."""
    assert judged(one, step).kind == kind


def test_capacitors_are_tried_where_stability_fails_and_nothing_that_they_cannot_mend():
    """Noise, a wrong resting point or no numbers at all are no matter of a capacitor."""
    gain = replace(NOISE, measure="gain_db")
    assert candidate(misses=(MISS,)).capacitor_could_help and candidate(misses=(MISS, gain)).capacitor_could_help
    assert candidate(unstable=3).capacitor_could_help
    for misses in ((), (MISS, NOISE), (gain,)):
        assert not candidate(misses=misses).capacitor_could_help
    assert not candidate(unstable=1, lost="x").capacitor_could_help


def test_the_words_are_the_four_and_each_has_its_reason():
    """Verdicts are worded as promised; the reason names number, band, limit and the reference."""
    cap = Compensation(("Cf",), 8.2e-12, 1e-11, "8.2p", UNITS, 16, Seen(*[np.zeros((17, 3))] * 4))
    fits, off = stepped(0.01, 1.3), stepped(-0.12, -3.6)
    told = {
        "drops in": judged(candidate(), fits),
        "works, but re-match the whole array": judged(candidate(), off),
        "needs another compensation capacitor: Cf = 8.2 pF": replace(
            judged(candidate(misses=(MISS,)), fits), kind="capacitor", compensation=cap, mixed=off, rematch=True
        ),
        "no": judged(candidate(misses=(NOISE,), unverified=("NEW",)), off),
    }
    for words, verdict in told.items():
        assert verdict.words == words
    said = [reason(verdict, TAKES) for verdict in told.values()]
    assert "all 300 units keep every limit" in said[0] and "+1.3 degrees" in said[0] and "±3°" in said[0]
    assert "-0.12 dB and -3.6 degrees" in said[1]
    assert "only 30.0 % of units keep stability margin > 0.5" in said[2]
    assert "16 of 16 units" in said[2] and "10 pF" in said[2] and "Re-match the whole array too" in said[2]
    assert said[3].startswith("no unit keeps noise margin > 10 dB at 7.05 MHz (nominal 5.2 dB, outside by 4.8 dB; OLD")
    entries = [entry_of(verdict, TAKES, 8, "rg6") for verdict in told.values()]
    opening = substitution_told(entries)
    assert opening[0].startswith("Instead of OLD: NEW: drops in; NEW: works, but re-match the whole array; NEW: needs")
    assert opening[1] == "Not all data of NEW were read in a data sheet." and len(opening) == 6
    old = substitution_told([entries[0] | {"reference_unverified": True}])
    assert old[:2] == ["Instead of OLD: NEW: drops in.", "Not all data of OLD were read in a data sheet."]
    assert mixed_told(told["no"], TAKES, 8, "rg6") == ""
    assert mixed_told(told["drops in"], TAKES, 8, "rg6").startswith("One NEW among 7 OLD: off most")


def test_a_limit_that_the_reference_breaks_too_is_said_to_be_so():
    """The verdict stays no, and the reader sees that the old part is no better."""
    both = judged(candidate(misses=(replace(NOISE, reference_share=0.1),)), stepped())
    assert both.kind == "no" and "as with OLD" in reason(both, TAKES)
    only = judged(candidate(misses=(replace(NOISE, measure="gain_db"),)), stepped())
    assert "nothing but the absolute gain is wrong with it" in reason(only, TAKES)


def test_interval_of_a_mean_is_students():
    """Four values 1, 2, 3, 4: 2.5 ± 3.182 × 1.291/2 (t of 3 degrees of freedom from Student's table)."""
    mean, low, high = mean_interval(np.array([1.0, 2.0, 3.0, 4.0]))
    assert mean == 2.5 and high - mean == pytest.approx(3.182 * 1.2910 / 2, rel=1e-3) and mean - low == high - mean
    assert math.isnan(mean_interval(np.array([1.0]))[1]) and math.isnan(mean_interval(np.array([]))[0])


@pytest.fixture
def two():
    """Two scenarios of 16 units: the second has more gain, less phase beyond the cut, and one failed unit."""
    found = gathered(UNITS, scenarios=(0, 1), failed=((1, 5),))
    gain, phase, margin = (BANDED.index(name) for name in ("gain_db", "phase_deg", "noise_margin_db"))
    noise = 0.1 * np.random.default_rng(2).standard_normal(17)
    found.banded[:, :, gain] = (10 + noise)[None, :, None]
    found.banded[1, :, gain] += 0.2
    found.banded[1, 5] = np.nan
    found.banded[0, :, phase], found.banded[1, :, phase] = -179.0, 178.0
    found.banded[0, :, margin], found.banded[1, :, margin] = 12.0, 8.0
    found.single[:, :, SINGLE.index("stability_margin")] = np.linspace(0.9, 0.6, 17)
    found.single[1, 3, SINGLE.index("stable")] = 0
    return found


def test_differences_are_of_the_same_unit(two):
    """A spread that both parts share leaves no interval; a failed unit makes no pair; phases go the short way."""
    limits = {"noise_margin_db": Limit(10, math.inf)}
    found = differences(two, BANDS, build_matches(two, 8), 0, 1, limits)
    by = {(one.measure, one.frequency_hz): one for one in found}
    gain, phase = by["gain_db", BANDS[0]], by["phase_deg", BANDS[0]]
    assert gain.pairs == 15 and gain.step == pytest.approx(0.2) and gain.low == pytest.approx(0.2, abs=1e-9)
    assert phase.step == -3 and phase.mean == -3
    assert by["noise_margin_db", BANDS[2]].limit == limits["noise_margin_db"]
    assert {one.measure for one in found} >= {"current_ma", "stability_margin", "stable", "system_phase_deg"}


def test_misses_are_the_limits_that_too_few_keep(two):
    """Each with both nominal values and shares; where every limit is kept but not all together, the hardest stands."""
    limits = {"noise_margin_db": Limit(10, math.inf), "gain_db": Limit(9, 12)}
    summary = summary_table(two, BANDS, build_matches(two, 8), limits)
    found = misses_of(summary, 1, 0, ALL_LIMITS)
    assert [miss.measure for miss in found] == ["noise_margin_db"] * 3
    assert (found[0].nominal, found[0].reference, found[0].reference_share, found[0].by) == (8.0, 12.0, 1.0, 2.0)
    assert misses_of(summary, 0, 0, ALL_LIMITS) == ()
    whole = summary["measure"] == ALL_LIMITS
    kept = summary[~whole & summary["passed"].notna()].assign(**{"yield": 0.95})
    none_together = pd.concat([kept, summary[whole].assign(**{"yield": 0.5})])
    assert len(misses_of(none_together, 1, 0, ALL_LIMITS)) == 1
    assert unstable_units(two, 1) == 1 and worst_units(two, 1)[0] == 3 and worst_units(two, 0) == [16, 15, 14]


def test_candidates_are_compared_within_each_combination_of_the_rest():
    """The reference is the part in the study; where it is not varied, the first value."""
    every = [
        SimpleNamespace(values=(("amplifier.opamp", part), ("feedline.length", length)))
        for part in ("A", "B", "C")
        for length in ("0", "60 m")
    ]
    assert groups_of(every, "amplifier.opamp", "B") == [(2, [0, 4]), (3, [1, 5])]
    assert groups_of(every, "amplifier.opamp", "Z") == [(0, [2, 4]), (1, [3, 5])]
    assert groups_of(every, "amplifier.parts.Cf", "10p") == []


def test_rows_say_whether_limit_and_step_are_kept(two):
    """substitution.csv holds the step beside what the array takes, and each limit's yield."""
    found = differences(two, BANDS, build_matches(two, 8), 0, 1, {"noise_margin_db": Limit(10, math.inf)})
    verdict = judged(candidate(differences=found, misses=(NOISE,)), stepped())
    yields = {(n, "noise_margin_db", float(f)): share for n, share in ((0, 1.0), (1, 0.0)) for f in BANDS}
    rows = substitution_rows([verdict], TAKES, yields)
    noise = next(row for row in rows if row["measure"] == "noise_margin_db")
    assert (noise["yield_reference"], noise["yield"], noise["keeps_limit"], noise["verdict"]) == (1.0, 0.0, 0, "no")
    gain = next(row for row in rows if row["measure"] == "gain_db")
    assert (gain["step_low"], gain["step_high"], gain["step_within"]) == (-0.3, 0.3, 1)


def test_resting_voltages_are_told_of_the_part_that_has_them():
    """A sentence that names the reference too is no news of the candidate."""
    texts = ("The input of NEW (Xamp) rests at 1 V.", "The input of OLD (Xamp) rests at 1 V.")
    assert parts_named(texts, "NEW", "OLD") == texts[:1]
