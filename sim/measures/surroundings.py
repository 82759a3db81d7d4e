"""A scenario's words about antenna, line, receiver, site and bench, as numbers on the frequencies that are read."""

from dataclasses import replace

import numpy as np

from sim.antenna.fixture import fixture
from sim.constants import T0
from sim.deck.build import route_of
from sim.deck.chain import REFERENCE_LOAD, Chain, Drawn, Jig
from sim.deck.outside import nominal_jig
from sim.measures.panel import (
    BANDED,
    MU_HIGH_HZ,
    MU_LOW_HZ,
    Reader,
    Surroundings,
    deciding,
    nominal_phase,
    unit_measures,
    unit_plane,
)
from sim.measures.rational import Barycentric, choose_support, fit_weights
from sim.noise.atmospheric import atmospheric_noise
from sim.noise.external import measured_fa, measured_field, noise_class
from sim.noise.level import share_of
from sim.noise.site import SiteNoise
from sim.quantity import from_db_power
from sim.stability.family import Load
from sim.stability.judged import judged_with
from sim.stability.sources import Source

CURVE_POINTS = 61
MOST_SUPPORT = {False: 24, True: 32}
"""Support points at most, for one input and for two: twice the amplifier has more poles."""
LOOP_POINTS = 16
"""Points a decade at which every loop is looked at before points are added."""


def curve_frequencies(bands_hz) -> np.ndarray:
    """Frequencies of all curves: logarithmic, past the bands on both sides. [Hz]"""
    return np.geomspace(min(3e5, min(bands_hz) / 1.5), max(3e7, max(bands_hz) * 1.5), CURVE_POINTS)


def site_noise(study) -> SiteNoise:
    """External noise of a study's site, at the level that the study asks for."""
    site = study.site
    if isinstance(site.noise, str):
        return SiteNoise(
            noise_class(site.noise),
            share_of(site.level),
            site.location == "any",
            site.fof2,
            None if site.atmospheric is None else atmospheric_noise(site.atmospheric),
            0.5 if site.location == "any" else share_of(site.location),
        )
    table = measured_fa if site.noise.fa_db is not None else measured_field
    levels = site.noise.fa_db if site.noise.fa_db is not None else site.noise.field_dbuv_per_m
    return SiteNoise(table(site.noise.frequencies, levels))


def surroundings(study, chain: Chain, samples_hz: np.ndarray, high_hz: float) -> Surroundings:
    """Everything around the amplifier of one scenario.

    Parameters
    ----------
    study : Study
        Of the scenario.
    chain : Chain
        Of the same scenario.
    samples_hz : ndarray, shape (n_freq,)
        The simulator's own frequencies. [Hz]
    high_hz : float
        Up to where loops are looked at. [Hz]

    Returns
    -------
    Surroundings
    """
    antenna, balanced = chain.antenna, chain.circuit.balanced
    bands = np.asarray(study.bands.frequencies, dtype=float)
    read_hz = np.concatenate([bands, curve_frequencies(bands)])
    decades = np.log10(high_hz / samples_hz[0])
    bench_z, bench_share = _bench(study.fixture.source, nominal_jig(study), read_hz, balanced)
    route = route_of(study)
    height = antenna.effective_height(read_hz)
    even = np.geomspace(samples_hz[0], samples_hz[-1], int(round(decades * LOOP_POINTS)) + 1)
    return Surroundings(
        read_hz=read_hz,
        bands=len(bands),
        # The ends of the range of mu are among them, as mu often is smallest at one.
        loop_hz=np.union1d(even, (MU_LOW_HZ, MU_HIGH_HZ)),
        stray=antenna.shunt_capacitance,
        sharpness=antenna.sharpness,
        emf_density=antenna.external_emf(read_hz, site_noise(study).field(read_hz)),
        ambient_emf_density=antenna.ambient_emf(read_hz, T0),
        effective_height=height,
        bench_z=bench_z,
        bench_share=bench_share,
        bench_source=study.fixture.source,
        bench_load=study.fixture.load,
        line=route.chain_matrix(read_hz),
        line_temperature=T0,
        receiver=study.receiver.impedance,
        receiver_noise=float(from_db_power(study.receiver.noise_figure)),
        load=REFERENCE_LOAD,
        line_impedance=route.impedance,
        balanced=balanced,
    )


def _bench(source: float, jig: Jig, freq_hz: np.ndarray, balanced: bool) -> tuple[np.ndarray, np.ndarray]:
    """Thevenin impedance of the bench at the amplifier's input, or at each, and what its stray leaves of the volts."""
    bench = fixture(source, jig.dummy)
    series = bench.leg_impedance(freq_hz) if balanced else bench.impedance(freq_hz)
    share = 1 / (1 + 2j * np.pi * freq_hz * jig.stray * series)
    return series * share, share


def around_unit(around: Surroundings, drawn: Drawn) -> Surroundings:
    """A scenario's surroundings with what one unit has of its own; the same object where it has nothing.

    Parameters
    ----------
    around : Surroundings
    drawn : Drawn
    """
    changes = {}
    if drawn.route is not None:
        changes["line"] = drawn.route.chain_matrix(around.read_hz)
    if drawn.antenna is not None:
        changes["stray"] = drawn.antenna.shunt_capacitance
    if drawn.jig is not None:
        changes["bench_z"], changes["bench_share"] = _bench(
            around.bench_source, drawn.jig, around.read_hz, around.balanced
        )
    return replace(around, **changes) if changes else around


def reader(
    nominal_run, rest, around: Surroundings, loads: tuple[Load, ...] = (), sources: tuple[Source, ...] = ()
) -> Reader:
    """Support points and matrices for a scenario, from its nominal unit.

    Parameters
    ----------
    nominal_run : UnitRun
    rest : Rest
        Of the nominal unit.
    around : Surroundings
    loads : tuple of Load
        Feedlines that every unit is judged with.
    sources : tuple of Source
        Antennas that every unit is judged with.

    Returns
    -------
    Reader
    """
    drives, reads, samples = nominal_run.values.shape
    s = 2j * np.pi * nominal_run.freq_hz
    flat = nominal_run.values.reshape(drives * reads, samples)
    support = choose_support(s, flat, deciding(drives, reads), most=MOST_SUPPORT[around.balanced] * around.sharpness)
    draft = Reader(
        samples_hz=nominal_run.freq_hz,
        support=support,
        at_read=Barycentric(s, support, 2j * np.pi * around.read_hz),
        at_loop=Barycentric(s, support, 2j * np.pi * around.loop_hz),
        noise_matrix=spline_matrix(nominal_run.noise_hz, around.read_hz),
        noise_at=Barycentric(s, support, 2j * np.pi * nominal_run.noise_hz),
        phase_deg=np.zeros(len(around.read_hz)),
        system_phase_deg=np.zeros(len(around.read_hz)),
    )
    first = unit_measures(nominal_run, rest, around, draft)
    principal = np.concatenate([first.banded[1], first.curves[1]])
    # The chain's phase is asked for at the bands alone.
    system = np.zeros(len(around.read_hz))
    system[: around.bands] = first.banded[BANDED.index("system_phase_deg")]
    judged = at_judged = None
    if loads and drives > 2:
        weights, _ = fit_weights(s, flat, support, deciding(drives, reads))
        judged = judged_with(unit_plane(nominal_run, weights, support, around.load), loads)
        at_judged = Barycentric(s, support, 2j * np.pi * judged.freq_hz)
    return replace(
        draft,
        phase_deg=nominal_phase(principal, around),
        system_phase_deg=system,
        judged=judged,
        at_judged=at_judged,
        sources=sources,
    )


def spline_matrix(from_hz: np.ndarray, to_hz: np.ndarray) -> np.ndarray:
    """Matrix of the cubic spline in the logarithm of frequency, shape (n_to, n_from); constant outside the range."""
    from scipy.interpolate import CubicSpline

    x, y = np.log(from_hz), np.log(to_hz)
    return CubicSpline(x, np.eye(len(x)))(np.clip(y, x[0], x[-1]))
