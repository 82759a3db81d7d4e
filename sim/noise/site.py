"""The noise of a site at a chosen level: man-made, with galactic and atmospheric noise added where asked for.

Powers are added, each part at the same percentile: on a quiet day all of them are quiet. That is exact at the median
only where one part rules, and makes the spread a little wide where two are alike.

A level is a percentile and not a draw: all units of a build stand under the same sky, so a draw for each of them would
put the luck of the day into the yield of the parts. To see several days, vary the level.

Galactic noise is counted above the critical frequency of the F2 layer and not at all below; in nature it fades in over
some tenths of a megahertz.
"""

from dataclasses import dataclass, replace

import numpy as np

from sim.noise.atmospheric import AtmosphericNoise
from sim.noise.density import field_from_fa
from sim.noise.external import MeasuredNoise, NoiseClass, noise_class


@dataclass(frozen=True)
class SiteNoise:
    """What an antenna at a site receives besides signals.

    Attributes
    ----------
    ground : NoiseClass or MeasuredNoise
        Man-made noise, or all noise as the builder measured it; a measurement has no percentiles.
    share : float
        Share of the time in which the noise stays below: 0.5 is the median. [1]
    any_place : bool
        Whether the percentile is one of time and place together instead of time at one place.
    fof2_hz : float or None
        Critical frequency above which galactic noise is added; None leaves it out. [Hz]
    atmospheric : AtmosphericNoise or None
        Added where given.
    place_share : float
        Share of the places of the same class that are quieter: 0.5 is the median place. [1]
    """

    ground: NoiseClass | MeasuredNoise
    share: float = 0.5
    any_place: bool = False
    fof2_hz: float | None = None
    atmospheric: AtmosphericNoise | None = None
    place_share: float = 0.5

    def at(self, share: float) -> "SiteNoise":
        """The same site at another share of the time."""
        return replace(self, share=share)

    @property
    def varies(self) -> bool:
        """Whether deciles are known."""
        return not isinstance(self.ground, MeasuredNoise)

    def fa_db(self, freq_hz) -> np.ndarray:
        """External noise figure of everything together; NaN where a table does not reach. [dB]"""
        freq_hz = np.asarray(freq_hz, dtype=float)
        if isinstance(self.ground, MeasuredNoise):
            return self.ground.fa_db(freq_hz)
        power = 10.0 ** (self.ground.level_db(freq_hz, self.share, self.any_place, self.place_share) / 10.0)
        if self.fof2_hz is not None:
            galactic = noise_class("galactic").level_db(freq_hz, self.share)
            power = power + np.where(freq_hz > self.fof2_hz, 10.0 ** (galactic / 10.0), 0.0)
        if self.atmospheric is not None:
            power = power + 10.0 ** (self.atmospheric.level_db(freq_hz, self.share) / 10.0)
        return 10.0 * np.log10(power)

    def field(self, freq_hz) -> np.ndarray:
        """Field density of everything together. [V/m/√Hz]"""
        return field_from_fa(self.fa_db(freq_hz), freq_hz)
