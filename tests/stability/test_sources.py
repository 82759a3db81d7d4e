"""Margins and verdicts with every antenna: against decks that hold it, against poles, and a follower that is a trap."""

import numpy as np
import pytest

from sim.measures.panel import deciding
from sim.measures.rational import choose_support, fit_weights
from sim.stability.sources import (
    InputNetwork,
    Source,
    input_network,
    judge_sources,
    sources_of,
)
from tests.stability.test_plane import CHAIN, deck_of, distance, simulator, swept  # noqa: F401  (a fixture)

BEFORE = 5e-5
SHARES, LEADS = (0.25, 0.5, 1.0, 2.0), (1e-7, 2e-7, 1e-6, 5e-6)


class Lumped:
    """Nodal matrices of a lumped circuit: unit admittances by card, all in numpy, so that poles are eigenvalues.

    The input node is 0; the antenna (R, C and L in series) hangs there. Y(s) = G + s C of the nodes, extended by the
    antenna's own current and the voltage of its capacitor.
    """

    def __init__(self, g, c, probe):
        self.g, self.c, self.probe = g, c, probe

    def closed(self, source=None, shorted=False):
        """Descriptor form (A, E) of A + s E with a series antenna (ohm, farad, henry), none, or only its inductance."""
        n = len(self.g)
        a, e = np.zeros((n + 2, n + 2)), np.zeros((n + 2, n + 2))
        a[:n, :n], e[:n, :n] = self.g, self.c
        if source is None:
            a[n, n] = a[n + 1, n + 1] = 1.0
            return a, e
        ohm, farad, henry = source
        # Current into the antenna from node 0: v_0 = (R + s L) i + v_c, i = s C v_c.
        a[0, n], a[n, 0], a[n, n], e[n, n] = 1.0, 1.0, -ohm, -henry
        if shorted:
            a[n + 1, n + 1] = 1.0
        else:
            a[n, n + 1], a[n + 1, n], e[n + 1, n + 1] = -1.0, 1.0, -farad
        return a, e

    def unstable(self, source=None, shorted=False):
        """Poles in the right half plane, by generalised eigenvalues."""
        from scipy.linalg import eigvals

        a, e = self.closed(source, shorted)
        scale = 1e8
        roots = eigvals(-a, e * scale)
        roots = roots[np.isfinite(roots) & (np.abs(roots) < 1e4)] * scale
        return int((roots.real > 1e-7 * np.abs(roots)).sum()), roots


def follower(stopper=1e-3, gm=10e-3, load=20e-12, gate=5e-12):
    """A field-effect follower with a capacitive load: nodes input, gate, source.

    The circuit of the case "source follower with inductive antenna" of the project's own set: transconductance
    10 mS, gate-source 5 pF, gate-drain 1 pF, 470 ohm and 20 pF at the source, 1 megohm at the gate.
    """
    g = np.array(
        [
            [1 / stopper, -1 / stopper, 0.0],
            [-1 / stopper, 1 / stopper + 1e-6, 0.0],
            [0.0, -gm, gm + 1 / 470],
        ]
    )
    c = np.array([[0.0, 0, 0], [0, gate + 1e-12, -gate], [0, -gate, gate + load]])
    return Lumped(g, c, gm)


def responses(circuit, ohm, farad, freq_hz):
    """What the simulator would have read: both injections at the source current's probe, output drive, emf.

    The controlled source's current gm (v_g − v_s) flows into a node of its own, a probe's voltage source joins it to
    the source node.
    """
    n = len(circuit.g)
    drives = np.zeros((4, 5, len(freq_hz)), dtype=complex)
    gm = circuit.probe
    for k, s in enumerate(2j * np.pi * freq_hz):
        # Unknowns: nodes, drive node a (behind the controlled source), probe current, emf current.
        size = n + 3
        y = np.zeros((size, size), dtype=complex)
        y[:n, :n] = circuit.g + s * circuit.c
        y[2, 1] += gm
        y[2, 2] -= gm
        a, i_p, i_e = n, n + 1, n + 2
        # A part of the resistance at the source stands before the probe: without it no voltage there drives anything.
        y[a, a] = BEFORE
        y[2, 2] -= BEFORE
        y[a, 1] -= gm
        y[a, 2] += gm
        # Probe current flows out of a into node 2; v_a − v_2 = e_v.
        y[a, i_p], y[2, i_p], y[i_p, a], y[i_p, 2] = 1.0, -1.0, 1.0, -1.0
        # The antenna from node 0 to the emf's node: current i_e flows into the emf, v_0 − Z i_e = emf.
        y[0, i_e], y[i_e, 0], y[i_e, i_e] = 1.0, 1.0, -(ohm + 1 / (s * farad))
        right = np.zeros((size, 4), dtype=complex)
        right[i_p, 0], right[2, 1], right[2, 2], right[i_e, 3] = 1.0, 1.0, 1.0, 1.0
        x = np.linalg.solve(y, right)
        drives[:, :, k] = x[[0, i_e, 2, 2, i_p]].T
    return drives


def network_of(circuit, ohm, farad):
    """The follower seen from its antenna, by the same fit as a unit."""
    for points in (52, 103):
        freq_hz = np.geomspace(10, 3e9, points)
        values = responses(circuit, ohm, farad, freq_hz)
        s, flat = 2j * np.pi * freq_hz, values.reshape(20, -1)
        support = choose_support(s, flat, deciding(4, 5))
        weights, misfit = fit_weights(s, flat, support, deciding(4, 5))
        if misfit < 1e-6:
            break
    assert misfit < 1e-5
    return input_network(values, freq_hz, weights, support)


def test_the_follower_with_an_inductive_antenna():
    """It oscillates with any lead of 0.2 to 5 uH though its margin looks fine; 560 ohm cure all but the last."""
    leads = (2e-7, 5e-7, 1e-6, 2e-6, 5e-6)
    sources = sources_of(("nominal",), leads, (1.0,))
    found = judge_sources(network_of(follower(), 5.0, 30e-12), sources)
    assert found.resolved.all()
    assert found.unstable.tolist() == [0, 2, 2, 2, 2, 2]
    # The case's published-in-the-file values: the loop itself shows 0.97 to 0.98 and 85 MHz at 1 uH.
    one = sources.index(Source("nominal", 1.0, 1e-6))
    assert found.margin[one] > 0.9
    assert found.turn_hz[one] == pytest.approx(85e6, rel=0.05)
    assert found.least_conductance < 0
    # Against the eigenvalues of the circuit's own matrices: 560 ohm is enough up to 2 uH, not for 5 uH.
    for stopper, cured in ((220.0, 4), (560.0, 5)):
        stopped = judge_sources(network_of(follower(stopper), 5.0, 30e-12), sources)
        expected = [follower(stopper).unstable((5.0, 30e-12, source.inductance))[0] for source in sources]
        assert stopped.unstable.tolist() == expected
        assert stopped.stable.sum() == cured


def test_no_unstable_antenna_is_called_stable():
    """On 150 random followers with 26 antennas each the count of poles is that of the eigenvalues, none excused."""
    rng = np.random.default_rng(23)
    unstable = stable = unresolved = 0
    sources = sources_of(("nominal", "removed", "shorted"), LEADS, SHARES)
    for _ in range(150):
        stopper, gm = 10 ** rng.uniform(-1, 2.9), 10 ** rng.uniform(-3, -1.5)
        circuit = follower(stopper, gm, 10 ** rng.uniform(-11.7, -9.5), 10 ** rng.uniform(-11.8, -11))
        ohm, farad = 10 ** rng.uniform(-1, 1.5), 10 ** rng.uniform(-11.3, -9.5)
        found = judge_sources(network_of(circuit, ohm, farad), sources)
        for place, source in enumerate(sources):
            card = (ohm / source.share, farad * source.share, source.inductance)
            if source.case == "removed":
                expected, roots = circuit.unstable()
            elif source.case == "shorted":
                expected, roots = circuit.unstable((0.0, 1.0, source.inductance), shorted=True)
            else:
                expected, roots = circuit.unstable(card)
            unresolved += not found.resolved[place]
            if found.resolved[place]:
                assert found.unstable[place] == expected, (source, roots)
            unstable, stable = unstable + (expected > 0), stable + (expected == 0)
    assert unstable > 300 and stable > 300
    assert unresolved < 10


def test_antennas_in_the_deck(simulator):  # noqa: F811
    """1 + T at random points and with random antennas is what the deck with that antenna says, to 1e-6."""
    rng = np.random.default_rng(7)
    worst = 0.0
    for unit in range(3):
        deck = deck_of(unit)
        freq, values = swept(simulator, deck)
        s, flat = 2j * np.pi * freq, values.reshape(len(values) * 5, -1)
        support = choose_support(s, flat, deciding(4, 5), tolerance=1e-8)
        weights, _ = fit_weights(s, flat, support, deciding(4, 5))
        network = input_network(values, freq, weights, support)
        emf = next(i for i, line in enumerate(deck.lines) if line.lower().startswith("vz_emf"))
        stray = next(i for i, line in enumerate(deck.lines) if line.lower().startswith("cz_stray"))
        own = deck.lines[emf + 1 : stray]
        for source in (Source("shorted", 1.0, 10 ** rng.uniform(-7, -5.3)), Source("removed"), *(
            Source("nominal", 10 ** rng.uniform(-0.6, 0.3), 10 ** rng.uniform(-7, -5.3)) for _ in range(4)
        )):  # fmt: skip
            lines = [*deck.lines[: emf + 1], *_cards(source, own), *deck.lines[stray:]]
            _, there = swept(simulator, deck, lines)
            places = rng.choice(len(freq), 10, replace=False)
            numerator, denominator = network.rows(2j * np.pi * freq[places])[:2]
            found = np.array(source.parts) @ numerator / (np.array(source.parts) @ denominator)
            worst = max(worst, np.abs(found / distance(there)[places] - 1).max())
    assert worst < 1e-6


def _cards(source, own):
    """A source in the deck: the antenna's own cards with all impedances divided, and the lead before them."""
    if source.case == "removed":
        return ["rz_gone z_emf 0 1"]
    lead = f"lz_lead in z_lead {source.inductance!r}"
    if source.case == "shorted":
        return [lead, "vz_joined z_lead z_emf 0"]
    moved = []
    for card in own:
        name, a, b, value, *rest = card.split()
        by = source.share if name[0].lower() == "c" else 1 / source.share
        nodes = ["z_lead" if node == "in" else node for node in (a, b)]
        moved.append(" ".join([name, *nodes, repr(float(value) * by), *rest]))
    return [lead, *moved]


def test_a_sharp_resonance_between_grid_points_is_found():
    """A pair of poles a millionth of its frequency beside the axis is counted wherever it lies in the grid."""
    for place in np.linspace(1e7, 1.5e7, 7):
        pole = 2 * np.pi * place * (1e-6 + 1j)

        def rows(s, pole=pole):
            # v is a quotient of resonances: zeros at the pair in question, poles well damped.
            top = (s - pole) * (s - pole.conjugate()) / (s + abs(pole)) ** 2
            below = (s + abs(pole) * 0.5) / (s + abs(pole))
            one = np.ones_like(s)
            return np.array([[one, top, 0 * s, 0 * s], [one, below, 0 * s, 0 * s]])

        network = InputNetwork(rows, 2 * np.pi * 10, 2 * np.pi * 2e9, 0, np.array([], dtype=complex))
        found = judge_sources(network, (Source("shorted"),))
        assert found.unstable[0] == 2 and found.resolved[0]
        assert found.margin[0] < 1e-5
        assert found.turn_hz[0] == pytest.approx(place, rel=1e-3)
