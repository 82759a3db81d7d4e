"""The loop of a linear network for any termination of one of its ports, without simulating it again.

Theory of operation
-------------------
One port of the network, the plane, ends in an immittance X: an admittance across an output, or an impedance in series
with an input's source. A change of X by D = X − X_ref is a source that follows the port's own response, so everything
the network does is a bilinear function of X. With z the response at the plane to a unit drive there (volts for 1 A into
an output, amperes for 1 V in series with an input), all with X_ref connected, the loop gain T of a probe
(:mod:`sim.measures.loop`) obeys

    1 + T(X) = (1 + z D)/(q + p D),      q = 1/(1 + T_ref),      p = w q

where w is the response that the plane would have with the probe's loop opened. q, p and z all have the closed
network's poles with X_ref as denominator, and no others: the barycentric weights of a unit carry them to any frequency
(:mod:`sim.measures.rational`). The formula is the bilinear theorem (Bode, Network Analysis and Feedback Amplifier
Design, 1945, from memory) written out for the two injections at a probe.

The numerator 1 + z D counts poles: its own poles are the network's with X_ref (P of them unstable, known), its zeros
those with X, so with a passive X its turns around zero from low to high frequency are N = P − Z half turns.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sim.measures.rational import Barycentric

BLOCK = 256
"""Frequencies carried at a time: larger arrays go back to the system each time, which costs more than they do."""


@dataclass(frozen=True)
class Plane:
    """A network seen from the port whose termination changes.

    Attributes
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Ascending. [Hz]
    closed : complex ndarray, shape (n_freq,)
        z: response at the plane to a unit drive there, reference connected. [Ω at an output, S at an input]
    inverse : complex ndarray, shape (n_probe, n_freq)
        q = 1/(1 + T) of each probe, reference connected. [1]
    opened : complex ndarray, shape (n_probe, n_freq)
        p: q times the response at the plane with the probe's loop opened. [as `closed`]
    reference : complex ndarray, shape (n_freq,)
        Immittance that was connected. [S at an output, Ω at an input]
    unstable : int
        Unstable poles of the network with the reference connected.
    further : callable, optional
        From frequencies [Hz] to a plane at these; without it the plane is known at its own frequencies alone.
    """

    freq_hz: np.ndarray
    closed: np.ndarray
    inverse: np.ndarray
    opened: np.ndarray
    reference: np.ndarray
    unstable: int
    further: "Callable[[np.ndarray], Plane] | None" = None

    def at(self, freq_hz: np.ndarray) -> "Plane":
        """The plane at other frequencies inside the range. [Hz]"""
        return self.further(freq_hz)

    def distance(self, immittance: np.ndarray) -> np.ndarray:
        """1 + T of every probe with another termination.

        Parameters
        ----------
        immittance : complex ndarray, shape (n_freq,) or (n_load, 1, n_freq)
            In place of the reference. [S at an output, Ω at an input]

        Returns
        -------
        distance : complex ndarray, shape (n_probe, n_freq) or (n_load, n_probe, n_freq)
        """
        change = immittance - self.reference
        return (1 + self.closed * change) / (self.inverse + self.opened * change)

    def determinant(self, immittance: np.ndarray) -> np.ndarray:
        """1 + z D, whose turns count the poles; same shape as `immittance`."""
        return 1 + self.closed * (immittance - self.reference)

    @property
    def own_immittance(self) -> np.ndarray:
        """What a drive at the plane meets without the termination: output impedance, or input admittance."""
        return self.closed / (1 - self.closed * self.reference)


def output_plane(values: np.ndarray, freq_hz: np.ndarray, load: float, unstable: int) -> Plane:
    """The plane at a unit's output, out of its responses.

    Parameters
    ----------
    values : complex ndarray, shape (n_drive, n_read, n_freq)
        See :class:`sim.measures.terminate.Responses`.
    freq_hz : ndarray, shape (n_freq,)
    load : float
        That was connected. [Ω]
    unstable : int
        Unstable poles with it.
    """
    return _plane(values, freq_hz, values[:-2, 2], values[-2], values[-2, 2], 1 / load, unstable)


def input_plane(values: np.ndarray, freq_hz: np.ndarray, source: np.ndarray, unstable: int) -> Plane:
    """The plane at a unit's input, in series with the antenna's emf.

    Parameters
    ----------
    values, freq_hz, unstable
        As for :func:`output_plane`.
    source : complex ndarray, shape (n_freq,)
        Antenna impedance that was connected. [Ω]
    """
    # The current that is read flows into the emf source; what flows out of it is the response.
    return _plane(values, freq_hz, -values[:-2, 1], values[-1], -values[-1, 1], source, unstable)


def _plane(values, freq_hz, to_plane, driven, closed, reference, unstable) -> Plane:
    """Both planes: `to_plane` is what each probe source gives there, `driven` all reads for a drive there."""
    inverse, opened = [], []
    for k in range((len(values) - 2) // 2):
        node, current = 3 + 2 * k, 4 + 2 * k
        v, i = values[2 * k], values[2 * k + 1]
        v_b, i_1, v_2, i_2 = v[node], v[current], i[node], i[current]
        by_v, by_i, to_node, to_current = to_plane[2 * k], to_plane[2 * k + 1], driven[node], driven[current]
        # 1/(1 + T) of Tian and others 2001 with each injection changed by D/(1 + z D) of what the plane feels:
        # its square cancels, and what is left is linear.
        q = -2 * i_1 * v_2 + i_2 * (2 * v_b + 1) + v_b + 1
        slope = (
            2 * (i_1 * to_node * by_i + v_2 * to_current * by_v)
            - to_current * by_i * (2 * v_b + 1)
            - to_node * by_v * (2 * i_2 + 1)
        )
        inverse.append(q)
        opened.append(closed * q + slope)
    shape = (-1, len(freq_hz))
    return Plane(
        freq_hz=freq_hz,
        closed=closed,
        inverse=np.array(inverse).reshape(shape),
        opened=np.array(opened).reshape(shape),
        reference=np.broadcast_to(np.asarray(reference, dtype=complex), closed.shape),
        unstable=unstable,
    )


def carried(plane: Plane, support: np.ndarray, weights: np.ndarray, reference: Callable) -> Plane:
    """The same plane at any frequency, by the unit's barycentric weights.

    Parameters
    ----------
    plane : Plane
        At the frequencies at which the unit was simulated.
    support : int ndarray
        Support points among them.
    weights : complex ndarray, same shape
        From :func:`sim.measures.rational.fit_weights`.
    reference : callable
        Reference immittance at frequencies [Hz].
    """
    s = 2j * np.pi * plane.freq_hz
    rows = np.concatenate([plane.closed[None], plane.inverse, plane.opened])
    probes = len(plane.inverse)

    def further(freq_hz: np.ndarray, form: Barycentric | None = None) -> Plane:
        if form is not None:
            found = form(rows, weights)
        else:
            parts = [2j * np.pi * freq_hz[i : i + BLOCK] for i in range(0, len(freq_hz), BLOCK)]
            found = np.concatenate([Barycentric(s, support, part)(rows, weights) for part in parts], axis=1)
        return Plane(
            freq_hz,
            found[0],
            found[1 : 1 + probes],
            found[1 + probes :],
            np.broadcast_to(np.asarray(reference(freq_hz), dtype=complex), freq_hz.shape),
            plane.unstable,
            further,
        )

    return Plane(plane.freq_hz, plane.closed, plane.inverse, plane.opened, plane.reference, plane.unstable, further)
