"""Strong carriers in words: what they leave of an op-amp's room, and where their products stand against the noise."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from sim.measures.in_time import Trial, Tried
from sim.measures.stations import BAND_SHARE, SIDEBAND_HZ
from sim.measures.strong import LEAST_RESERVE_DB, LIMITS, Near
from sim.quantity import format_quantity
from sim.summary.collect import Gathered, nominal, quantiles
from sim.summary.products import FALLS, NOT_MODELLED, TOO_STRONG
from sim.summary.wording import at_band, listed

MOST_TIMED = 1
"""Scenarios whose nominal and worst unit are run in time as well, the best first: a transient takes seconds."""
MOST_NAMED = 4
"""Carriers that are named in a sentence."""
MOST_TOLD = 8
"""Scenarios whose room is told one by one."""
AGREE_DB = (2.0, 1.0)
"""Within this the estimate is expected of a transient, second and third order. [dB]"""


def strong_entries(
    gathered: Gathered, scenarios: Sequence[int], devices: Sequence[Sequence[str]], products
) -> list[dict]:
    """An entry for each scenario with strong carriers, for answer.json.

    Parameters
    ----------
    gathered : Gathered
    scenarios : sequence of int
        Their numbers.
    devices : sequence of sequence of str
        The op-amps of each scenario, "OPA2822 (Xamp)".
    products : DataFrame
        From :func:`sim.summary.products.product_rows`.

    Returns
    -------
    entries : list of dict
        scenario; carriers (name, frequency_hz, emf_v rms, the carrier alone, crest, receiver_dbm and output_dbm of the
        nominal unit); headroom (nominal_db, p05_db, min_db, unit, limit in words, device: those of the nominal unit);
        reserves_db of the nominal unit by limit; second_order, third_order ("estimate", "optimistic", "not modelled");
        bandwidth_hz; products (rows of products.csv: the worst of each band that falls there, and the worst had it
        fallen on the band); in_time (filled in later, see :func:`in_time_entries`).
    """
    entries = []
    for index, number in enumerate(scenarios):
        near = gathered.strong.nears[index]
        if near is None or not near.stations:
            continue
        own = products[products["scenario"] == number]
        entries.append(
            {
                "scenario": int(number),
                "carriers": _carriers(gathered, index, near),
                "headroom": _headroom(gathered, index, devices[index]),
                "reserves_db": {
                    name: _finite(nominal(gathered.strong.reserve_db[index, :, k], gathered.units, axis=0))
                    for k, name in enumerate(LIMITS)
                },
                "second_order": "estimate" if near.second_order else "not modelled",
                "third_order": "estimate" if near.third_order else "optimistic",
                "bandwidth_hz": near.bandwidth_hz,
                "products": [_row(row) for row in _worst(own)],
                "in_time": [],
            }
        )
    return entries


def _carriers(gathered: Gathered, index: int, near: Near) -> list[dict]:
    level, output = (
        nominal(values[index], gathered.units, axis=0)
        for values in (gathered.strong.receiver_dbm, gathered.strong.output_dbm)
    )
    return [
        {
            "name": station.name,
            "frequency_hz": station.freq_hz,
            "emf_v": station.emf,
            "crest": station.crest,
            "receiver_dbm": _finite(level[place]),
            "output_dbm": _finite(output[place]),
        }
        for place, station in enumerate(near.stations)
    ]


def _headroom(gathered: Gathered, index: int, devices: Sequence[str]) -> dict:
    strong, drawn = gathered.strong, gathered.units > 0
    room = strong.headroom_db[index]
    counted, units = (room[drawn], gathered.units[drawn]) if drawn.any() else (room, gathered.units)
    some = bool(np.isfinite(counted).any())
    [low] = quantiles(counted, (0.05,), axis=0)
    reserve = nominal(strong.reserve_db[index], gathered.units, axis=0)
    first = int(np.argmin(reserve)) if np.isfinite(reserve).all() else None
    device = None if first is None else int(nominal(strong.device[index], gathered.units, axis=0)[first])
    return {
        "nominal_db": _finite(nominal(room, gathered.units, axis=0)),
        "p05_db": _finite(low),
        "min_db": _finite(np.nanmin(counted)) if some else None,
        "unit": int(units[np.nanargmin(counted)]) if some else None,
        "limit": None if first is None else LIMITS[first],
        "device": None if device is None else devices[device],
    }


def _worst(products) -> list:
    """Rows with the least margin of each band: of those that fall there, and of those as if."""
    found = []
    for _, own in products.groupby(["band_hz", "where"], sort=False):
        # What has no number is worse than any that has one: it may be anywhere.
        order = own["margin_nominal_db"].where(own["model"] != NOT_MODELLED, -math.inf)
        order = order.where(own["model"] != TOO_STRONG, -math.inf)
        found.append(own.loc[order.fillna(-math.inf).idxmin()])
    return found


def _row(row) -> dict:
    keys = (
        "band_hz", "product", "order", "frequency_hz", "where", "model", "level_nominal_dbm", "level_max_dbm",
        "noise_nominal_dbm", "noise", "margin_nominal_db", "margin_min_db",
    )  # fmt: skip
    return {key: row[key] if isinstance(row[key], str) else _finite(row[key]) for key in keys}


def _finite(value) -> float | None:
    return float(value) if math.isfinite(value) else None


def in_time_entries(trials: Sequence[Trial], found: Sequence) -> list[dict]:
    """What came of transients, an entry each.

    Parameters
    ----------
    trials : sequence of Trial
    found : sequence of Tried or Failed
        In the same order.

    Returns
    -------
    entries : list of dict
        scenario (its position), unit, tones_hz, second_error_db, third_error_db (estimate less transient), raised_db
        (both tones, where they were weak), reason (where nothing was run).
    """
    entries = []
    for trial, result in zip(trials, found, strict=True):
        done = isinstance(result, Tried)
        entries.append(
            {
                "scenario": trial.scenario,
                "unit": trial.unit,
                "tones_hz": [hertz for hertz, _ in trial.tones],
                "second_error_db": _finite(result.second_db) if done else None,
                "third_error_db": _finite(result.third_db) if done else None,
                "raised_db": _finite(result.raised_db) if done else None,
                "reason": "; ".join(result.invalid) if done else result.reason,
            }
        )
    return entries


# ---------------------------------------------------------------------- sentences


def strong_told(entries: Sequence[Mapping], names: Mapping[int, str], first: int) -> list[str]:
    """What strong carriers do, as sentences: the room of all scenarios, the rest of one.

    Parameters
    ----------
    entries : sequence of mapping
        From :func:`strong_entries`.
    names : mapping of int to str
        Of the scenarios.
    first : int
        The scenario that is told.
    """
    if not entries:
        return []
    own = next((entry for entry in entries if entry["scenario"] == first), entries[0])
    whose = f" with {names[own['scenario']]}" if len(names) > 1 else ""
    sentences = [_room_told(own, whose)]
    if len(entries) > 1:
        sentences += _rooms_told(entries, names)
    return [*sentences, *_products_told(own, whose), *_in_time_told(own)]


def _room_told(entry: Mapping, whose: str) -> str:
    carriers, room = entry["carriers"], entry["headroom"]
    named = [
        f"{_called(one)} ({format_quantity(one['emf_v'], 'V', 3)} at the antenna)" for one in carriers[:MOST_NAMED]
    ]
    more = len(carriers) - MOST_NAMED
    near = listed([*named, f"{more} more"] if more > 0 else named)
    if room["nominal_db"] is None or room["limit"] is None:
        why = "no op-amp's limits are known" if room["min_db"] is None else "the nominal unit gave no numbers"
        return f"Near {near}{whose}: {why}, so nothing is said here about room for them."
    together = "all in step and fully modulated" if len(carriers) > 1 else "fully modulated"
    what = f"the {room['limit']} of {room['device']}"
    worst = "" if room["min_db"] is None else f", {abs(room['min_db']):.1f} dB in the worst unit"
    slew = ""
    if room["limit"] != "slew rate" and entry["reserves_db"]["slew rate"] is not None:
        slew = f" Slew rate: {_signed(entry['reserves_db']['slew rate'])}."
    start = f"Near {near}{whose}"
    if room["nominal_db"] <= LEAST_RESERVE_DB:
        return f"{start}: no, {what} is passed at rest already, without any carrier."
    if room["nominal_db"] < 0:
        short = f"{-room['nominal_db']:.1f} dB too much"
        ask = "they ask" if len(carriers) > 1 else "it asks"
        return f"{start}: no, {together} {ask} for {short} of {what}{worst}.{slew}"
    if room["min_db"] is not None and room["min_db"] < 0:
        worst = f", but the worst unit lacks {-room['min_db']:.1f} dB"
    return f"{start}: {room['nominal_db']:.1f} dB of headroom{worst}, until {what} is reached, {together}.{slew}"


def _called(carrier: Mapping) -> str:
    plain = f"{carrier['frequency_hz'] / 1e3:.7g} kHz"
    return plain if carrier["name"] == plain else f"{carrier['name']}, {plain}"


def _signed(room_db: float) -> str:
    return f"{room_db:.1f} dB of room" if room_db >= 0 else f"{-room_db:.1f} dB too fast"


def _rooms_told(entries: Sequence[Mapping], names: Mapping[int, str]) -> list[str]:
    known = [entry for entry in entries if entry["headroom"]["nominal_db"] is not None]
    if not known or len(known) > MOST_TOLD:
        return []
    told = [f"{_level(entry['headroom']['nominal_db'])} with {names[entry['scenario']]}" for entry in known]
    return [f"Headroom of the nominal unit: {listed(told)}."]


def _level(value: float) -> str:
    return f"{value:.1f} dB".replace("-", "\N{MINUS SIGN}")


def _products_told(entry: Mapping, whose: str) -> list[str]:
    """Products in the bands, then those of the two strongest as if they fell there."""
    falling = [row for row in entry["products"] if row["where"] == FALLS]
    fallen = [row for row in entry["products"] if row["where"] != FALLS]
    bandwidth = format_quantity(entry["bandwidth_hz"], "Hz")
    sentences = []
    if any(row["model"] == TOO_STRONG for row in (*falling, *fallen)):
        return [
            f"Products{whose} have no number: something clips or slews, and what comes then is far above any estimate."
        ]
    numbered = [row for row in falling if row["margin_nominal_db"] is not None]
    unknown = [row for row in falling if row["model"] == NOT_MODELLED]
    if numbered:
        numbered.sort(key=lambda row: row["margin_nominal_db"])
        said = [
            f"{row['product']} at {format_quantity(row['frequency_hz'], 'Hz', 5)} {_against(row)}"
            for row in numbered[: 1 if numbered[0]["margin_nominal_db"] > 0 else 3]
            if row is numbered[0] or row["margin_nominal_db"] <= 0
        ]
        clear = not unknown and all(min(row["margin_nominal_db"], row["margin_min_db"] or 0) > 0 for row in numbered)
        word = "yes, the nearest:" if clear else "no," if numbered[0]["margin_nominal_db"] <= 0 else "not surely,"
        sentences.append(f"Bands clear of their products{whose}: {word} {listed(said)} (estimates, in {bandwidth}).")
    if unknown:
        sentences.append(
            f"{listed([row['product'] for row in unknown])} fall{'s' * (len(unknown) == 1)} into a band and"
            f" {'has' if len(unknown) == 1 else 'have'} no number: the op-amp's distortion is not modelled."
        )
    if not falling:
        sentences.append(
            f"No product of second or third order falls within {100 * BAND_SHARE:g} % of a band, sidebands of"
            f" {format_quantity(SIDEBAND_HZ, 'Hz')} included."
        )
    numbered = [row for row in fallen if row["margin_nominal_db"] is not None]
    if numbered:
        worst = min(numbered, key=lambda row: row["margin_nominal_db"])
        order = worst["product"].partition(",")[0]
        whose_product = "a harmonic" if len(entry["carriers"]) == 1 else "a product of the two strongest"
        sentences.append(
            f"Had {whose_product} fallen on a band itself: {order}{at_band(worst['band_hz'])}, {_against(worst)}."
        )
    sentences += _filter_told([row for row in (*falling, *fallen) if row["margin_nominal_db"] is not None])
    if entry["headroom"]["limit"] is None:
        sentences.append("No distortion is modelled for this amplifier.")
    elif entry["second_order"] == NOT_MODELLED:
        sentences.append(
            "Second order is not modelled for this op-amp, third order is optimistic below a few megahertz."
        )
    elif entry["third_order"] == "optimistic":
        sentences.append("Third order is optimistic below a few megahertz for this op-amp.")
    return sentences


def _filter_told(rows: Sequence[Mapping]) -> list[str]:
    """How much weaker all carriers would have to be: a product of order n falls n decibels for each of theirs."""
    needed = max((-row["margin_nominal_db"] / row["order"] for row in rows), default=0.0)
    if needed <= 0:
        return []
    return [
        f"A filter before the amplifier that spares the bands and takes {math.ceil(needed)} dB off the carriers brings"
        " all products below the noise."
    ]


def _against(row: Mapping) -> str:
    """Where a product stands: "12 dB below the noise (worst unit 10 dB)"."""

    def side(margin: float) -> str:
        return f"{abs(margin):.0f} dB {'below' if margin >= 0 else 'above'}"

    noise = "the noise" if row["noise"] == "band" else "the chain's own noise"
    worst = "" if row["margin_min_db"] is None else f" (worst unit {side(row['margin_min_db'])})"
    return f"{side(row['margin_nominal_db'])} {noise}{worst}"


def _in_time_told(entry: Mapping) -> list[str]:
    """How far the estimate is from a transient."""
    done = [one for one in entry["in_time"] if not one["reason"]]
    failed = [one for one in entry["in_time"] if one["reason"]]
    sentences = []
    if done:
        tones = listed([format_quantity(hertz, "Hz") for hertz in done[0]["tones_hz"]])
        who = listed(["the nominal unit" if one["unit"] == 0 else f"unit {one['unit']}" for one in done])
        errors = []
        for key, words in (("second_error_db", "second"), ("third_error_db", "third")):
            values = [one[key] for one in done if one[key] is not None]
            if values:
                errors.append(f"{max(map(abs, values)):.1f} dB in {words} order")
        said = f"off by up to {listed(errors)}" if errors else "not told from it: no product stands above its floor"
        raised = max(one["raised_db"] for one in done)
        louder = f" and raised by {raised:.0f} dB" if raised >= 0.5 else ""
        sentences.append(
            f"Against a transient of {who}, the two strongest moved to {tones}{louder}, the estimate is {said}."
        )
    if failed:
        who = listed(["the nominal unit" if one["unit"] == 0 else f"unit {one['unit']}" for one in failed])
        sentences.append(f"No transient of {who}: {failed[0]['reason']}.")
    return sentences
