"""All measures of a unit: from what the simulator said to one row of numbers.

The amplifier is simulated on a reference load and without its line. Everything that follows from linearity is done
here: other loads, the bench, the line with its noise, the receiver, the loop on a matched and on an open line.
"""

from dataclasses import dataclass, replace

import numpy as np

from sim.constants import K_B, T0
from sim.feedline.line import through_line
from sim.measures.loop import LoopVerdict, fine_locus, judge_loop, loop_gain
from sim.measures.rational import Barycentric, fit_weights, unstable_roots
from sim.measures.supply import Rest
from sim.measures.terminate import Responses
from sim.measures.two_port import bench_transmission, return_loss_db, scattering, stability_factors
from sim.quantity import db
from sim.stability.judged import Judged
from sim.stability.line_map import LineMap, judge_lines
from sim.stability.plane import Plane, carried, output_plane
from sim.stability.sources import Source, SourceMap, input_network, judge_sources

LARGEST_MISFIT = 1e-6
"""Misfit of the rational form (:mod:`sim.measures.rational`) above which a unit is simulated again with more points."""

MU_LOW_HZ, MU_HIGH_HZ = 1e4, 2e9
"""Range over which the two-port stability factors are taken; below it coupling capacitors make them one. [Hz]"""

MOST_REJECTION = 1e5
"""Common-mode rejection that counts as perfect: ten times less would be below what the rational form can tell. [1]"""

BANDED = (
    "gain_db",
    "phase_deg",
    "output_match_db",
    "system_gain_db",
    "antenna_factor_db",
    "output_noise_nv",
    "input_noise_nv",
    "noise_margin_db",
    "noise_rise_db",
    "system_phase_deg",
    "cmrr_db",
)
"""Measures with one value a band, in the order of :attr:`UnitMeasures.banded`."""

SINGLE = (
    "stability_margin",
    "phase_margin_deg",
    "gain_margin_db",
    "mu_load",
    "mu_source",
    "stable",
    "supply_v",
    "current_ma",
    "output_dc_v",
    "supply_reserve_v",
    "input_reserve_v",
    "output_reserve_v",
)
"""Measures with one value a unit, in the order of :attr:`UnitMeasures.single`."""

CURVES = (
    "gain_db",
    "phase_deg",
    "system_gain_db",
    "output_noise_nv",
    "external_noise_nv",
    "noise_margin_db",
    "loop_distance",
)
"""Curves kept of every unit, in the order of :attr:`UnitMeasures.curves`."""


@dataclass(frozen=True)
class Surroundings:
    """What is around the amplifier in one scenario, on the frequencies at which it is read.

    Attributes
    ----------
    read_hz : ndarray, shape (n_read,)
        Bands first, then the frequencies of the curves. [Hz]
    bands : int
        How many of them are bands.
    loop_hz : ndarray, shape (n_loop,)
        Where the loop is looked at before points are added. [Hz]
    stray : float
        Across the terminals. [F]
    sharpness : int
        How many times more points a decade the antenna asks for.
    emf_density : ndarray, shape (n_read,)
        External noise as antenna emf; NaN where the source receives no field. [V/√Hz]
    ambient_emf_density : ndarray, shape (n_read,)
        Thermal noise of the antenna's losses that are noiseless in the deck, as emf. [V/√Hz]
    effective_height : ndarray, shape (n_read,)
        [m]
    bench_z : complex ndarray, shape (n_read,)
        Generator and dummy antenna with the stray of the jig across them; before two inputs of each leg of the balanced
        generator. [Ω]
    bench_share : complex ndarray, shape (n_read,)
        What the jig's stray leaves of the generator's open-circuit voltage. [1]
    bench_source, bench_load : float
        Analyser's port resistances. [Ω]
    line : complex ndarray, shape (n_read, 2, 2)
        Chain matrix, amplifier to receiver.
    line_temperature : float
        [K]
    receiver : float
        Input resistance. [Ω]
    receiver_noise : float
        Noise factor, linear. [1]
    load : float
        Reference load of the simulation. [Ω]
    line_impedance : float
        The line's nominal impedance, for the output match. [Ω]
    balanced : bool
        Whether the circuit has two inputs.
    """

    read_hz: np.ndarray
    bands: int
    loop_hz: np.ndarray
    stray: float
    sharpness: int
    emf_density: np.ndarray
    ambient_emf_density: np.ndarray
    effective_height: np.ndarray
    bench_z: np.ndarray
    bench_share: np.ndarray
    bench_source: float
    bench_load: float
    line: np.ndarray
    line_temperature: float
    receiver: float
    receiver_noise: float
    load: float
    line_impedance: float
    balanced: bool = False


@dataclass(frozen=True)
class Reader:
    """Fixed matrices that carry samples to the frequencies at which measures are read.

    Attributes
    ----------
    samples_hz : ndarray, shape (n_freq,)
    support : int ndarray
        Support points among the samples.
    at_read, at_loop : Barycentric
    noise_matrix : ndarray, shape (n_read, n_noise)
        Cubic spline in the logarithm of frequency, as a matrix.
    noise_at : Barycentric
        To the noise run's frequencies.
    phase_deg, system_phase_deg : ndarray, shape (n_read,)
        Phases of the nominal unit, of the bench and of the whole chain; other units' are given within 180 degrees of
        them. [degree]
    judged : Judged or None
        Feedlines that every unit is judged with; None without ``[stability]``.
    at_judged : Barycentric or None
        To the frequencies of these.
    sources : tuple of Source
        Antennas that every unit is judged with.
    """

    samples_hz: np.ndarray
    support: np.ndarray
    at_read: Barycentric
    at_loop: Barycentric
    noise_matrix: np.ndarray
    noise_at: Barycentric
    phase_deg: np.ndarray
    system_phase_deg: np.ndarray
    judged: Judged | None = None
    at_judged: Barycentric | None = None
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class UnitMeasures:
    """One unit's numbers.

    Attributes
    ----------
    banded : ndarray, shape (len(BANDED), n_band)
    single : ndarray, shape (len(SINGLE),)
    curves : ndarray, shape (len(CURVES), n_curve)
    misfit : float
        Of the rational form.
    receiver_share : ndarray, shape (n_curve,)
        Square of what carries a noise voltage at the output under reference load to the receiver. [1]
    line_psd : ndarray, shape (n_curve,)
        Line's own noise at the receiver. [V²/Hz]
    ambient_psd : ndarray, shape (n_curve,)
        Noise at the receiver of the antenna's losses that are noiseless in the deck. [V²/Hz]
    verdict_open : LoopVerdict or None
        On an open line, of the probe with the smallest margin.
    lines : LineMap or None
        On every feedline of ``[stability]``.
    antennas : SourceMap or None
        With every antenna of ``[stability]``.
    """

    banded: np.ndarray
    single: np.ndarray
    curves: np.ndarray
    misfit: float
    receiver_share: np.ndarray
    line_psd: np.ndarray
    ambient_psd: np.ndarray
    verdict_matched: LoopVerdict | None
    verdict_open: LoopVerdict | None
    lines: LineMap | None = None
    antennas: SourceMap | None = None


def receiver_noise_psd(resistance: float, noise_factor: float) -> float:
    """Receiver's own noise as a voltage at its input, (F − 1) k T0 R. [V²/Hz]

    The definition of the noise figure on a matched source; taken as the same on any source, which is an assumption.

    Parameters
    ----------
    resistance : float
        Input resistance. [Ω]
    noise_factor : float
        Linear. [1]
    """
    return (noise_factor - 1) * K_B * T0 * resistance


def unit_measures(run, rest: Rest, around: Surroundings, reader: Reader) -> UnitMeasures:
    """Every measure of one unit.

    Parameters
    ----------
    run : UnitRun
    rest : Rest
    around : Surroundings
    reader : Reader

    Returns
    -------
    UnitMeasures
    """
    drives, reads, _ = run.values.shape
    flat = run.values.reshape(drives * reads, -1)
    weights, misfit = fit_weights(2j * np.pi * run.freq_hz, flat, reader.support, deciding(drives, reads))

    def at(where: Barycentric) -> np.ndarray:
        return where(flat, weights).reshape(drives, reads, -1)

    read = Responses(around.read_hz, at(reader.at_read), around.stray, around.load)
    if around.balanced:
        through = read.two_inputs_output(around.bench_z, around.bench_load)
        bench = 2 * np.sqrt(around.bench_source / around.bench_load) * through * around.bench_share
        rejection = db(read.common_mode_rejection(MOST_REJECTION))
    else:
        two_port = read.two_port()
        bench = bench_transmission(two_port, around.bench_z, around.bench_load, around.bench_source)
        bench = bench * around.bench_share
        rejection = np.full(len(around.read_hz), np.nan)

    # Noise referred to the emf is smooth, so it is what is interpolated between the noise run's frequencies.
    sampled_gain = np.abs(reader.noise_at(flat[[-reads + 2]], weights)[0]) ** 2
    smooth = reader.noise_matrix @ np.log(run.noise_psd / sampled_gain)
    psd_loaded = np.exp(smooth) * np.abs(read.values[-1, 2]) ** 2

    z_out = read.output_impedance
    lift = np.abs(1 + z_out / around.load) ** 2
    e_line, z_line, s_line = through_line(
        around.line, read.open_circuit_gain, z_out, psd_loaded * lift, around.line_temperature
    )
    _, _, quiet = through_line(around.line, read.open_circuit_gain, z_out, np.zeros_like(lift), around.line_temperature)
    divide = around.receiver / (around.receiver + z_line)
    to_receiver = np.abs(divide) ** 2
    system = e_line * divide
    ambient = (around.ambient_emf_density * np.abs(system)) ** 2
    internal = s_line * to_receiver + ambient + receiver_noise_psd(around.receiver, around.receiver_noise)
    external = (around.emf_density * np.abs(system)) ** 2
    with np.errstate(invalid="ignore"):
        margin = external / internal
        banded = np.array(
            [
                db(bench),
                _phase_near(np.rad2deg(np.angle(bench)), reader.phase_deg),
                return_loss_db(z_out, around.line_impedance),
                db(system),
                -db(around.effective_height * np.abs(system)),
                np.sqrt(internal) * 1e9,
                np.sqrt(internal) / np.abs(system) * 1e9,
                10 * np.log10(margin),
                10 * np.log10(1 + margin),
                _phase_near(np.rad2deg(np.angle(system)), reader.system_phase_deg),
                rejection,
            ]
        )
    loop = at(reader.at_loop)
    matched, open_line = _loop_verdicts(loop, flat, weights, run, around, reader)
    mu_load, mu_source = _smallest_mu(loop, around)
    lines = antennas = None
    if matched and reader.sources:
        antennas = judge_sources(input_network(run.values, run.freq_hz, weights, reader.support), reader.sources)
    if matched and reader.judged is not None:
        plane = unit_plane(run, weights, reader.support, around.load)
        lines = judge_lines(plane.further(reader.judged.freq_hz, reader.at_judged), reader.judged.table)
    bands = around.bands
    worst = matched[0] if matched else None
    single = np.array(
        [
            *((worst.margin, worst.phase_margin_deg, worst.gain_margin_db) if worst else (np.nan, np.nan, np.nan)),
            mu_load,
            mu_source,
            float(_all_stable((*matched, *open_line), lines, antennas)) if matched else np.nan,
            rest.supply_v,
            rest.current_ma,
            rest.output_dc_v,
            rest.supply_reserve_v,
            rest.input_reserve_v,
            rest.output_reserve_v,
        ]
    )
    distance = np.full(len(around.read_hz), np.nan)
    if matched:
        distance = np.abs(np.array([1 + loop_gain(*_injections(read.values, k)) for k in range(len(matched))])).min(
            axis=0
        )
    curves = np.array(
        [
            banded[0],
            banded[1],
            banded[3],
            banded[5],
            np.sqrt(external) * 1e9,
            banded[7],
            distance,
        ]
    )[:, bands:]
    return UnitMeasures(
        banded=banded[:, :bands],
        single=single,
        curves=curves,
        misfit=misfit,
        receiver_share=(lift * np.abs(1 / (around.line[:, 0, 0] + around.line[:, 1, 0] * z_out)) ** 2 * to_receiver)[
            bands:
        ],
        line_psd=(quiet * to_receiver)[bands:],
        ambient_psd=ambient[bands:],
        verdict_matched=worst,
        verdict_open=open_line[0] if open_line else None,
        lines=lines,
        antennas=antennas,
    )


def _all_stable(verdicts, *maps: LineMap | SourceMap | None) -> bool:
    return all(verdict.stable for verdict in verdicts) and all(found is None or found.stable.all() for found in maps)


def unit_plane(run, weights: np.ndarray, support: np.ndarray, load: float) -> Plane:
    """A unit's output as a plane that is known at any frequency.

    Parameters
    ----------
    run : UnitRun
    weights : complex ndarray, shape (n_support,)
        From :func:`sim.measures.rational.fit_weights`.
    support : int ndarray, same shape
    load : float
        That was connected. [Ω]
    """
    unstable = len(unstable_roots(2j * np.pi * run.freq_hz[support], weights, 2 * np.pi * run.freq_hz[-1]))
    return carried(output_plane(run.values, run.freq_hz, load, unstable), support, weights, lambda freq_hz: 1 / load)


def nominal_phase(phase_deg: np.ndarray, around: Surroundings) -> np.ndarray:
    """Phase that the other units are compared with: principal at the bands, continuous along the curves.

    Parameters
    ----------
    phase_deg : ndarray, shape (n_read,)
        Principal values of the nominal unit. [degree]
    around : Surroundings

    Returns
    -------
    phase_deg : ndarray, same shape
    """
    bands = around.bands
    curve = np.unwrap(phase_deg[bands:], period=360)
    nearest = int(np.abs(np.log(around.read_hz[bands:] / around.read_hz[0])).argmin())
    curve = curve - 360 * np.round((curve[nearest] - phase_deg[0]) / 360)
    return np.concatenate([phase_deg[:bands], curve])


def _phase_near(phase_deg, reference_deg):
    return phase_deg - 360 * np.round((phase_deg - reference_deg) / 360)


def deciding(drives: int, reads: int) -> list[int]:
    """Responses that carry every pole: each source at the place it drives, and the way from antenna to output.

    Of a circuit with two inputs (an odd number of drives) all do: its two halves have poles that nearly coincide, and a
    few responses do not tell them apart.
    """
    if drives % 2:
        return list(range(drives * reads))
    last = drives * reads
    probes = [(2 * k + i) * reads + 3 + 2 * k for k in range((drives - 2) // 2) for i in (0, 1)]
    # The current out of the emf is among them: behind capacitors alone it rises with frequency as no other does.
    return [*probes, last - 2 * reads + 2, last - reads, last - reads + 1, last - reads + 2]


def _injections(values: np.ndarray, probe: int):
    """The four quantities that the loop gain of one probe is made of."""
    v, i = values[2 * probe], values[2 * probe + 1]
    node, current = 3 + 2 * probe, 4 + 2 * probe
    return v[node], v[current], i[node], i[current]


def _loop_verdicts(loop, flat, weights, run, around, reader):
    """Verdicts of all probes on the matched and on the open line, smallest margin first.

    The count of turns is checked by the poles themselves: unstable zeros of the common denominator, for the opened
    network divided by 1 + T. Where both ways differ the verdict is unresolved.
    """
    drives, reads, _ = run.values.shape
    points, high = reader.at_loop.s[reader.support], 2 * np.pi * run.freq_hz[-1]
    at_support = run.values[:, :, reader.support]
    found = ([], [])
    for load, verdicts in zip((around.load, np.inf), found, strict=True):
        closed = weights * (1 + at_support[-2, 2] * (1 / load - 1 / around.load))
        unstable = len(unstable_roots(points, closed, high, around.balanced))
        for probe in range((drives - 2) // 2):

            def locus(freq_hz, probe=probe, load=load):
                where = Barycentric(reader.at_loop.s, reader.support, 2j * np.pi * freq_hz)
                values = where(flat, weights).reshape(drives, reads, -1)
                return _locus(values, probe, load, around.load)

            opened = closed / (1 + _locus(at_support, probe, load, around.load))
            t = _locus(loop, probe, load, around.load)
            # On the open line only the verdict is asked for, on the matched one the margins too.
            fine = fine_locus(locus, around.loop_hz, t, nearest=load == around.load)
            verdict = judge_loop(*fine, open_poles=len(unstable_roots(points, opened, high, around.balanced)))
            verdicts.append(replace(verdict, resolved=verdict.resolved and verdict.unstable_poles == unstable))
        verdicts.sort(key=lambda verdict: verdict.margin if verdict.stable else -verdict.margin)
    return found


def _locus(values, probe, load, connected):
    """Loop gain of one probe with a load other than the one that was connected."""
    v_b, i_1, v_2, i_2 = _injections(values, probe)
    if load != connected:
        node, current = 3 + 2 * probe, 4 + 2 * probe
        change = 1 / load - 1 / connected
        # The change of the load is a current source that follows the output voltage.
        share = change / (1 + values[-2, 2] * change)
        by_v, by_i = share * values[2 * probe, 2], share * values[2 * probe + 1, 2]
        to_node, to_current = values[-2, node], values[-2, current]
        v_b, i_1 = v_b - to_node * by_v, i_1 - to_current * by_v
        v_2, i_2 = v_2 - to_node * by_i, i_2 - to_current * by_i
    return loop_gain(v_b, i_1, v_2, i_2)


def _smallest_mu(loop: np.ndarray, around: Surroundings) -> tuple[float, float]:
    within = (around.loop_hz >= MU_LOW_HZ) & (around.loop_hz <= MU_HIGH_HZ)
    part = Responses(around.loop_hz[within], loop[:, :, within], around.stray, around.load)
    mu_load, mu_source = stability_factors(scattering(part.two_port(), around.load, around.load))
    return float(mu_load.min()), float(mu_source.min())
