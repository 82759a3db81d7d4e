"""A passive network in series form, for an impedance that is known at some frequencies.

    top o---C0---+--R1--+---+--Rn--+---L0---R0---o bottom
                 +--L1--+   +--Ln--+
                 +--C1--+   +--Cn--+

The first form of Foster (Bell Syst. Tech. J. 3, 1924) with a loss in each tank. One tank is the network of a short
vertical: C1 in series with L, C2 and R. All elements are positive, so the network is passive at every frequency, in
the transient too. They are found by least squares on the relative error of the impedance and, with less weight, of its
resistance alone: beside a reactance a thousand times as large a resistance would be lost otherwise.

Not covered: impedances whose tanks would need negative elements. How well it fits is measured and must be looked at.
"""

from dataclasses import dataclass

import numpy as np

RESISTANCE_WEIGHT = 0.1
"""Weight of the relative error of the resistance alone, beside that of the impedance."""
LEAST_RESISTANCE = 1e-3
"""Smaller resistors are a milliohm to the simulator. [Ω]"""
LEAST_INDUCTANCE = 1e-10
"""A smaller inductance is none. [H]"""


@dataclass(frozen=True)
class Tanks:
    """Elements of the drawing.

    Attributes
    ----------
    resistance, inductance : float
        R0 and L0; 0 is none. [Ω, H]
    capacitance : float or None
        C0; None for a source that passes direct current. [F]
    tanks : tuple of (float, float, float)
        R, L, C of each tank. [Ω, H, F]
    """

    resistance: float
    inductance: float
    capacitance: float | None
    tanks: tuple[tuple[float, float, float], ...]

    def impedance(self, freq_hz):
        """Of the network. [Ω, complex]"""
        s = 2j * np.pi * np.asarray(freq_hz, dtype=float)
        z = self.resistance + s * self.inductance
        if self.capacitance is not None:
            z = z + 1.0 / (s * self.capacitance)
        for r, inductance, c in self.tanks:
            z = z + 1.0 / (1.0 / r + 1.0 / (s * inductance) + s * c)
        return z

    def cards(self, top, bottom, prefix):
        """Netlist of the network; all resistors noiseless, as their noise is reckoned outside.

        Parameters
        ----------
        top, bottom : str
            Nodes; behind C0 every node has a DC path to the bottom.
        prefix : str
            Begins the names of elements, after the type letter, and of inner nodes.
        """
        series = [("0", (f"C{prefix}_0 {{}} {{}} {self.capacitance!r}",))] if self.capacitance is not None else []
        for k, (r, inductance, c) in enumerate(self.tanks, start=1):
            cards = (
                f"R{prefix}_t{k} {{}} {{}} {r!r} noisy=0",
                f"L{prefix}_t{k} {{}} {{}} {inductance!r}",
                f"C{prefix}_t{k} {{}} {{}} {c!r}",
            )
            series.append((str(k), cards))
        if self.inductance > 0:
            series.append(("l", (f"L{prefix}_0 {{}} {{}} {self.inductance!r}",)))
        if self.resistance > 0:
            series.append(("r", (f"R{prefix}_0 {{}} {{}} {self.resistance!r} noisy=0",)))
        nodes = [top, *(f"{prefix}_t{name}" for name, _ in series[:-1]), bottom]
        pairs = zip(series, nodes, nodes[1:], strict=False)
        return tuple(card.format(at, to) for (_, cards), at, to in pairs for card in cards)


def fit_tanks(freq_hz, impedance, start, weight=1.0):
    """Least-squares fit of a network to an impedance.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Rising. [Hz]
    impedance : complex ndarray, shape (n_freq,)
        A resistance below zero somewhere, by errors of measurement, does no harm. [Ω]
    start : Tanks
        Elements to begin with; all above zero, their number stays.
    weight : float or ndarray, shape (n_freq,)
        How much each frequency counts.

    Returns
    -------
    tanks : Tanks

    Notes
    -----
    Logarithms of the elements are varied, so none of them can become negative.
    """
    from scipy.optimize import least_squares

    freq_hz, wanted = np.asarray(freq_hz, dtype=float), np.asarray(impedance)
    s = 2j * np.pi * freq_hz
    share = weight / np.abs(wanted)
    share_r = RESISTANCE_WEIGHT * weight / _usual_resistance(wanted)
    has_c = start.capacitance is not None

    def terms(logs):
        """Each element's part in the impedance's derivative by its logarithm, and the impedance."""
        r0, l0 = np.exp(logs[:2])
        rows, z = [np.full_like(s, r0), s * l0], r0 + s * l0
        if has_c:
            rows.append(-1.0 / (s * np.exp(logs[2])))
            z = z - rows[-1]
        for r, inductance, c in np.exp(logs[2 + has_c :]).reshape(-1, 3):
            tank = 1.0 / (1.0 / r + 1.0 / (s * inductance) + s * c)
            rows += [tank**2 / r, tank**2 / (s * inductance), -(tank**2) * s * c]
            z = z + tank
        return np.array(rows), z

    def misfit(logs):
        e = terms(logs)[1] - wanted
        return np.concatenate([e.real * share, e.imag * share, e.real * share_r])

    def slope(logs):
        rows = terms(logs)[0]
        return np.concatenate([rows.real * share, rows.imag * share, rows.real * share_r], axis=1).T

    first = [start.resistance, max(start.inductance, LEAST_INDUCTANCE), *([start.capacitance] if has_c else [])]
    first = np.log([*first, *np.ravel(start.tanks)])
    floor = np.full(len(first), -46.0)
    floor[0], floor[1] = np.log(LEAST_RESISTANCE), np.log(LEAST_INDUCTANCE / 100)
    floor[2 + has_c :: 3] = np.log(LEAST_RESISTANCE)
    ceiling = np.full(len(first), 25.0)
    at = np.clip(first, floor + 1e-9, ceiling - 1e-9)
    found = least_squares(misfit, at, slope, bounds=(floor, ceiling), max_nfev=100, ftol=1e-9, xtol=1e-9, gtol=1e-12)
    values = [float(value) for value in np.exp(found.x)]
    return Tanks(
        values[0],
        values[1] if values[1] > LEAST_INDUCTANCE else 0.0,
        values[2] if has_c else None,
        tuple(tuple(values[k : k + 3]) for k in range(2 + has_c, len(values), 3)),
    )


def _usual_resistance(impedance):
    """Resistance around each point, as a median of nine, which single bad points do not move. [Ω]"""
    size = np.abs(impedance.real)
    around = [np.median(size[max(0, k - 4) : k + 5]) for k in range(len(size))]
    return np.maximum(around, 1e-5 * np.abs(impedance))


def starts(freq_hz, impedance):
    """Networks to begin a fit with, the simplest first.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Rising, two or more. [Hz]
    impedance : complex ndarray, shape (n_freq,)
        [Ω]

    Returns
    -------
    starts : tuple of Tanks
    """
    omega = 2 * np.pi * np.asarray(freq_hz, dtype=float)
    usual = np.maximum(_usual_resistance(impedance), 2 * LEAST_RESISTANCE)
    resistance = float(np.median(usual))
    capacitance, inductance = _series_pair(omega, impedance)
    plain = Tanks(resistance, inductance, capacitance, ())
    # The tank of a short vertical: a third of its capacitance across it (short verticals against NEC-2). Its
    # resistor is the square of the tank's reactance over the resistance well below resonance.
    across = 0.3 * capacitance if capacitance else 1 / (9 * omega[-1] ** 2 * inductance)
    middle = int(np.searchsorted(omega, 0.5 / np.sqrt(inductance * across)).clip(0, len(omega) - 1))
    parallel = float((omega[middle] * inductance) ** 2 / usual[middle])
    short = Tanks(float(usual.min()), LEAST_INDUCTANCE, capacitance, ((parallel, inductance, across),))
    peaks = _resonances(freq_hz, impedance)
    above = [(float(np.abs(impedance).max()), 3 * freq_hz[-1]), (float(np.abs(impedance).max()), 1.5 * freq_hz[-1])]
    found = [plain, short]
    for more in (above[:0], above[:1], above):
        tanks = tuple(_tank(peak, f) for peak, f in (*peaks, *more))
        if tanks:
            found.append(Tanks(resistance / 4, inductance / 4, capacitance, tanks))
    return tuple(found)


def _series_pair(omega, impedance):
    """Capacitance, None for none, and inductance below the first resonance: w X = -1/C + w^2 L is a straight line."""
    x = impedance.imag
    crossing = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0))
    last = int(crossing[0]) + 2 if len(crossing) else len(x)
    # Where the sweep begins close to the resonance, too few points lie below it.
    below = slice(0, last if last > 3 else len(x))
    omega, x, size = omega[below], x[below], np.abs(impedance[below])
    weight = 1 / (omega * size)
    # Scaled, as a column 1e14 times smaller than the other is none to the solver.
    scale = omega[-1] ** 2
    columns = np.stack([-np.ones_like(omega), omega**2 / scale], axis=1) * weight[:, None]
    elastance, inductance = np.linalg.lstsq(columns, omega * x * weight, rcond=None)[0]
    inductance /= scale
    if elastance > 0:
        capacitance = float(1 / elastance)
    else:
        capacitance = float(-1 / (omega[0] * x[0])) if x[0] < 0 else None
    return capacitance, max(float(inductance), 1e-8)


def _resonances(freq_hz, impedance):
    """Resistance and frequency of the highest local maxima of the resistance, at most four."""
    r = impedance.real
    if len(r) > 40:
        # Noise of measurement has a maximum at every other point.
        r = np.array([np.median(r[max(0, k - 2) : k + 3]) for k in range(len(r))])
    inner = np.flatnonzero((r[1:-1] > r[:-2]) & (r[1:-1] >= r[2:]) & (r[1:-1] > 2 * np.median(np.abs(r)))) + 1
    highest = sorted(inner[np.argsort(-r[inner])][:4])
    return [(float(r[k]), float(freq_hz[k])) for k in highest]


def _tank(peak, freq_hz, quality=4.0):
    omega = 2 * np.pi * freq_hz
    return (peak, peak / (omega * quality), quality / (omega * peak))
