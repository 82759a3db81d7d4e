"""The feedlines that a study names, as loads, and what judging a scenario's units on them needs."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from sim.antenna.one_port import load_one_port
from sim.deck.build import route_of
from sim.deck.circuit import read_circuit
from sim.errors import Fault, StudyError
from sim.feedline.cable import load_cable
from sim.feedline.ends import WORDS, OnePort
from sim.stability.family import Load, Table, build_table, grid, loads_of
from sim.stability.line_map import fine_grid
from sim.stability.plane import Plane
from sim.stability.sources import Source, sources_of

REFERENCE = 50.0
"""Against which a far end's reflection is kept and interpolated: that of most analysers. [Ω]"""


@dataclass(frozen=True, eq=False)
class Judged:
    """Loads and the grid on which units of one scenario are looked at.

    Attributes
    ----------
    loads : tuple of Load
    freq_hz : ndarray, shape (n_freq,)
        [Hz]
    """

    loads: tuple[Load, ...]
    freq_hz: np.ndarray = field(repr=False)

    @property
    def table(self) -> Table:
        """Made once, kept while the scenario is worked at: it takes some megabytes."""
        return _table(self)


@lru_cache(maxsize=2)
def _table(judged: Judged) -> Table:
    return build_table(judged.loads, judged.freq_hz)


def judged_with(plane: Plane, loads: tuple[Load, ...]) -> Judged:
    """The grid of a scenario, from its nominal unit's plane."""
    files = {load.end for load in loads if isinstance(load.end, OnePort)}
    even = grid(plane.freq_hz[0], plane.freq_hz[-1], tuple(f for end in files for f in end.freq_hz))
    return Judged(loads, fine_grid(plane, loads, even))


def study_loads(study) -> tuple[Load, ...]:
    """Every load that a study's ``[stability]`` names; none without that table.

    Parameters
    ----------
    study : Study
        Of one scenario.

    Raises
    ------
    InputError
        A cable's record or a far end's file cannot be read.
    """
    words = study.stability
    if words is None:
        return ()
    cables = tuple(load_cable(name, study.folder) for name in words.cables)
    ends = tuple(name if name in WORDS else _far_end(study, name) for name in words.far_ends)
    return loads_of(cables, words.lengths, ends, route_of(study))


def study_sources(study) -> tuple[Source, ...]:
    """Every antenna that a study's ``[stability]`` names; none without that table, or before two inputs.

    Parameters
    ----------
    study : Study
        Of one scenario.
    """
    words = study.stability
    if words is None or read_circuit(study.amplifier.circuit, study.folder).balanced:
        # Before two inputs a source has a common mode too, which the plane at one input knows nothing of.
        return ()
    return sources_of(words.antennas, words.leads, words.capacitances)


def _far_end(study, name: str) -> OnePort:
    line = study.line_of("stability.far_ends")
    measured = load_one_port(name, study.folder)
    reflection = (measured.impedance - REFERENCE) / (measured.impedance + REFERENCE)
    largest = float(np.abs(reflection).max())
    if largest > 1.01:
        raise StudyError(
            Fault(
                study.file,
                line,
                "stability.far_ends",
                f"{name} reflects more than it gets, up to {largest:.3f}.",
                "A far end must be passive: calibrate the analyser, and measure the filter's input.",
            )
        )
    # An analyser's last digit must not make the filter a source.
    reflection = reflection / np.maximum(np.abs(reflection), 1.0)
    return OnePort(name, tuple(measured.freq_hz.tolist()), tuple(reflection.tolist()), REFERENCE)
