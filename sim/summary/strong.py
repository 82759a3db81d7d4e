"""Strong carriers of all units: kept unit by unit, brought together, and as measures."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from sim.distortion.mixes import Mix
from sim.measures.panel import BANDED
from sim.measures.stations import Station
from sim.measures.strong import INTERCEPTS, LIMITS, Near, UnitStrong

HEADROOM = "headroom_db"
PRODUCTS = "product_margin_db"
STRONG_MEASURES = (HEADROOM, *INTERCEPTS, PRODUCTS)
"""Measures that a unit has beside the usual ones in a study with ``[[strong]]``."""
_PREFIX = "strong"
_NEARS = "strong_near"


@dataclass(frozen=True)
class StrongUnits:
    """What strong carriers do to all units in every scenario; NaN where a unit failed.

    Attributes
    ----------
    reserve_db, device : ndarray, shape (n_scenario, n_unit, len(LIMITS))
    receiver_dbm, output_dbm : ndarray, shape (n_scenario, n_unit, n_station)
    product_dbm : ndarray, shape (n_scenario, n_unit, n_product)
    intercept_dbm, fallen_dbm : ndarray, shape (n_scenario, n_unit, 2, n_band)
        All as in :class:`sim.measures.strong.UnitStrong`.
    nears : tuple of Near or None
        Of each scenario; None where no unit could be simulated.
    """

    reserve_db: np.ndarray
    device: np.ndarray
    receiver_dbm: np.ndarray
    output_dbm: np.ndarray
    product_dbm: np.ndarray
    intercept_dbm: np.ndarray
    fallen_dbm: np.ndarray
    nears: tuple[Near | None, ...]

    @classmethod
    def of(
        cls, shape: tuple[int, int], bands: int, found: Mapping[tuple, UnitStrong], nears: Sequence[Near | None]
    ) -> StrongUnits:
        """Those of single units.

        Parameters
        ----------
        shape : (int, int)
            Scenarios and units.
        bands : int
        found : mapping
            By position of scenario and unit.
        nears : sequence of Near or None
            Of each scenario.
        """
        known = [near for near in nears if near is not None]
        stations = max((len(near.stations) for near in known), default=0)
        products = max((len(near.mixes) for near in known), default=0)
        sizes = ((len(LIMITS),), (len(LIMITS),), (stations,), (stations,), (products,), (2, bands), (2, bands))
        arrays = {name: np.full((*shape, *size), np.nan) for name, size in zip(_ARRAYS, sizes, strict=True)}
        for where, unit in found.items():
            for name, values in arrays.items():
                own = getattr(unit, name)
                values[where][: len(own)] = own
        return cls(**arrays, nears=tuple(nears))

    def arrays(self) -> dict[str, np.ndarray]:
        """For a chunk's file."""
        texts = np.array([_text(near) for near in self.nears], dtype=str)
        return {f"{_PREFIX}_{name}": getattr(self, name) for name in _ARRAYS} | {_NEARS: texts}

    @classmethod
    def gather(cls, paths: Sequence[Path], rows: Sequence[np.ndarray], n_unit: int) -> StrongUnits | None:
        """Those of all chunks; None in a study without strong carriers.

        Parameters
        ----------
        paths : sequence of Path
            Arrays of the chunks.
        rows : sequence of int ndarray
            Rows of each chunk's units in the whole.
        n_unit : int
        """
        whole, nears = {}, []
        for path, own in zip(paths, rows, strict=True):
            with np.load(path, allow_pickle=False) as chunk:
                if _NEARS not in chunk:
                    return None
                read = [_near(str(text)) for text in chunk[_NEARS]]
                nears = [old or new for old, new in zip(nears, read, strict=True)] if nears else read
                for name in _ARRAYS:
                    values = chunk[f"{_PREFIX}_{name}"]
                    kept = whole.get(name)
                    # A chunk in which nothing simulated knows of no products.
                    if kept is None or kept.shape[2:] < values.shape[2:]:
                        grown = np.full((values.shape[0], n_unit, *values.shape[2:]), np.nan)
                        if kept is not None:
                            grown[:, :, : kept.shape[2]] = kept
                        kept = whole[name] = grown
                    kept[:, own, : values.shape[2]] = values
        return cls(**whole, nears=tuple(nears))

    @property
    def headroom_db(self) -> np.ndarray:
        """Least room of each unit, shape (n_scenario, n_unit). [dB]"""
        return self.reserve_db.min(axis=2)

    @property
    def names(self) -> tuple[str, ...]:
        """Measures that are there: none of op-amps whose limits are not known, no second order that is not modelled."""
        near_by = any(near is not None and near.stations for near in self.nears)
        stations = (HEADROOM,) if near_by and not np.isnan(self.reserve_db).all() else ()
        known = [name for place, name in enumerate(INTERCEPTS) if not np.isnan(self.intercept_dbm[:, :, place]).all()]
        return (*stations, *known, *((PRODUCTS,) if stations else ()))

    def product_margin_db(self, index: int, banded: np.ndarray) -> np.ndarray:
        """Noise over the larger product of the two strongest carriers, had it fallen on the band.

        Parameters
        ----------
        index : int
            Position of the scenario.
        banded : ndarray, shape (n_unit, len(BANDED), n_band)
            Of its units.

        Returns
        -------
        margin_db : ndarray, shape (n_unit, n_band)
            NaN where one of both orders has no number: the other alone would be a floor. [dB]
        """
        near = self.nears[index]
        if near is None:
            return np.full((banded.shape[0], banded.shape[2]), np.nan)
        return noise_dbm(banded, near) - self.fallen_dbm[index].max(axis=1)


_PLAIN = ("pair", "bands_hz", "receiver", "bandwidth_hz", "second_order", "third_order")
_ARRAYS = tuple(field.name for field in fields(StrongUnits) if field.name != "nears")


def hears_bands(banded: np.ndarray) -> bool:
    """Whether the antenna receives the bands' noise; measures as in :func:`noise_dbm`."""
    return not np.isnan(banded[:, BANDED.index("noise_margin_db")]).all()


def noise_dbm(banded: np.ndarray, near: Near) -> np.ndarray:
    """Noise at the receiver in its bandwidth: the bands', or the unit's own where the antenna receives no field.

    Parameters
    ----------
    banded : ndarray, shape (n_unit, len(BANDED), n_band)
        Measures of units.
    near : Near

    Returns
    -------
    noise : ndarray, shape (n_unit, n_band)
        [dBm]
    """
    own = 20 * np.log10(banded[:, BANDED.index("output_noise_nv")] * 1e-9)
    own = own + 10 * np.log10(near.bandwidth_hz / near.receiver / 1e-3)
    return own + banded[:, BANDED.index("noise_margin_db")] if hears_bands(banded) else own


def _text(near: Near | None) -> str:
    """A scenario's near carriers as text for a chunk's file."""
    if near is None:
        return ""
    return json.dumps(
        {
            "stations": [vars(station) for station in near.stations],
            "products": [[[mix.frequency_hz, mix.carriers] for mix in own] for own in near.products],
            **{name: getattr(near, name) for name in _PLAIN},
        }
    )


def _near(text: str) -> Near | None:
    if not text:
        return None
    data = json.loads(text)
    return Near(
        tuple(Station(**station) for station in data["stations"]),
        tuple(
            tuple(Mix(hertz, tuple((index, times) for index, times in carriers)) for hertz, carriers in own)
            for own in data["products"]
        ),
        tuple(data["pair"]),
        tuple(data["bands_hz"]),
        *(data[name] for name in _PLAIN[2:]),
    )
