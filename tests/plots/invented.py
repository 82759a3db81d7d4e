"""Invented tables of a run: plausible numbers, made up here, to draw and print before any is simulated.

Nothing in this module is a result. The shapes follow the results contract: same files, same columns.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd

BANDS = (1.83e6, 3.53e6, 7.05e6)
LIMITS = {
    "gain_db": (9.0, 11.0),
    "noise_margin_db": (10.0, np.inf),
    "stability_margin": (0.5, np.inf),
    "match_gain_db": (-0.2, 0.2),
}
UNITS_OF = {
    "gain_db": "dB",
    "phase_deg": "degree",
    "system_gain_db": "dB",
    "output_noise_nv": "nV/√Hz",
    "noise_margin_db": "dB",
    "stability_margin": "1",
    "phase_margin_deg": "degree",
    "stable": "0/1",
    "supply_v": "V",
    "current_ma": "mA",
    "match_gain_db": "dB",
    "match_phase_deg": "degree",
}
PER_BAND = (
    "gain_db",
    "phase_deg",
    "system_gain_db",
    "output_noise_nv",
    "noise_margin_db",
    "match_gain_db",
    "match_phase_deg",
)
PARTS = ("Cf", "Cc", "Rf", "Xamp.gbw", "Ro", "Co", "temperature_c", "Rb")


def invented_run(
    folder: Path,
    scenarios: int = 1,
    units: int = 300,
    failed: int = 2,
    title: str = "Invented study",
    unstable: int = 0,
) -> Path:
    """Write all tables that figures and report read, for so many feedline lengths; all numbers invented."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(7)
    lengths = [f"{30 * i} m" if i else "0" for i in range(scenarios)]
    table = pd.DataFrame({"scenario": range(1, scenarios + 1)})
    if scenarios > 1:
        table["feedline.length"] = lengths
    table.to_csv(folder / "scenarios.csv", index=False)
    draws = rng.normal(size=(units + 1, len(BANDS) + 3)) * 0.3
    draws[0] = 0.0
    measures = pd.concat([_measures(n, draws, unstable) for n in range(1, scenarios + 1)], ignore_index=True)
    measures["measure"] = measures["measure"].astype("category")
    measures.to_parquet(folder / "measures.parquet")
    summary = _summary(measures, units, failed)
    summary.to_csv(folder / "summary.csv", index=False)
    pd.concat([_curves(n) for n in range(1, scenarios + 1)], ignore_index=True).to_parquet(
        folder / "curves.parquet"
    )
    pd.concat([_contributors(n) for n in range(1, scenarios + 1)]).to_csv(
        folder / "contributors.csv", index=False
    )
    drivers = pd.concat([_drivers(n) for n in range(1, scenarios + 1)], ignore_index=True)
    drivers.to_csv(folder / "drivers.csv", index=False)
    pd.DataFrame(
        {
            "scenario": 1,
            "unit": np.arange(1, failed + 1) * 17,
            "stage": "noise",
            "reason": "timestep too small",
        }
    ).to_csv(folder / "failures.csv", index=False)
    (folder / "study.toml").write_text(_study(title, units), encoding="utf-8")
    (folder / "answer.json").write_text(
        json.dumps(_answer(title, summary, units, failed), ensure_ascii=False)
    )
    return folder


def _measures(scenario: int, draws: np.ndarray, unstable: int) -> pd.DataFrame:
    n = len(draws)
    loss = 0.35 * (scenario - 1)
    columns = {}
    for b, f in enumerate(BANDS):
        gain = 10.2 - 0.1 * b + draws[:, b]
        columns["gain_db", f] = gain
        columns["phase_deg", f] = 178.0 - 3 * b + 2 * draws[:, b]
        columns["system_gain_db", f] = gain - 6 - loss
        columns["output_noise_nv", f] = 6 - b + 0.4 * draws[:, b + 1] + 0.1 * scenario
        columns["noise_margin_db", f] = 15.5 - 1.6 * b - loss + 2 * draws[:, b + 1]
        columns["match_gain_db", f] = 0.25 * draws[:, b]
        columns["match_phase_deg", f] = 1.2 * draws[:, b + 2]
    stable = np.ones(n)
    stable[1 : 1 + unstable] = 0
    columns["stability_margin", np.nan] = np.where(
        stable > 0, 0.82 - 0.01 * scenario + 0.15 * draws[:, 5], 0.05
    )
    columns["phase_margin_deg", np.nan] = 64 + 12 * draws[:, 5]
    columns["stable", np.nan] = stable
    columns["supply_v", np.nan] = 11.6 - 0.1 * scenario + 0.3 * draws[:, 4]
    columns["current_ma", np.nan] = 9.1 + draws[:, 3]
    return pd.concat(
        [
            pd.DataFrame(
                {"scenario": scenario, "unit": np.arange(n), "measure": m, "frequency_hz": f, "value": v}
            )
            for (m, f), v in columns.items()
        ],
        ignore_index=True,
    )


def _summary(measures: pd.DataFrame, units: int, failed: int) -> pd.DataFrame:
    rows = []
    groups = measures.groupby(
        ["scenario", "measure", "frequency_hz"], dropna=False, observed=True, sort=False
    )
    for (scenario, measure, freq), group in groups:
        values = group.loc[group["unit"] > 0, "value"].to_numpy()
        low, high = LIMITS.get(measure, (-np.inf, np.inf))
        passed = min(int(((values >= low) & (values <= high)).sum()), units - failed)
        share = passed / units
        limited = measure in LIMITS
        rows.append(
            {
                "scenario": scenario,
                "measure": measure,
                "unit_of_measure": UNITS_OF[measure],
                "frequency_hz": freq,
                "nominal": group.loc[group["unit"] == 0, "value"].iloc[0],
                "mean": values.mean(),
                "sd": values.std(),
                "min": values.min(),
                "p05": np.quantile(values, 0.05),
                "p50": np.median(values),
                "p95": np.quantile(values, 0.95),
                "max": values.max(),
                "limit_low": low if limited else np.nan,
                "limit_high": high if limited else np.nan,
                "units": units,
                "passed": passed if limited else np.nan,
                "yield": share if limited else np.nan,
                "yield_low": max(share - 0.02, 0) if limited else np.nan,
                "yield_high": min(share + 0.01, 1) if limited else np.nan,
            }
        )
    return pd.DataFrame(rows)


def _curves(scenario: int) -> pd.DataFrame:
    freq = np.geomspace(100e3, 50e6, 90)
    loop_freq = np.geomspace(10e3, 1e9, 160)
    gain = 10.3 - 10 * np.log10(1 + (250e3 / freq) ** 2) - 10 * np.log10(1 + (freq / 30e6) ** 4)
    phase = 180 + np.rad2deg(np.arctan(250e3 / freq)) - np.rad2deg(2 * np.arctan(freq / 35e6))
    phase = (phase + 180) % 360 - 180
    internal = 3 + 4 * (1e6 / freq) ** 0.5 + 0.3 * scenario
    external = 45 * (1e6 / freq) ** 0.9 * 10 ** (-0.35 * scenario / 20) / np.sqrt(1 + (200e3 / freq) ** 4)
    f0 = 70e6 + 3e6 * scenario
    s = 1j * loop_freq
    distance = np.abs(1 + 1.0 / (s / f0) / (1 + s / (2.5 * f0)))
    curves = {
        "gain_db": (freq, gain, 0.3),
        "phase_deg": (freq, phase, 1.5),
        "system_gain_db": (freq, gain - 6, 0.3),
        "output_noise_nv": (freq, internal, 0.2),
        "external_noise_nv": (freq, external, 0.1),
        "noise_margin_db": (freq, 20 * np.log10(external / internal), 0.8),
        "loop_distance": (loop_freq, distance, 0.05),
    }
    frames = []
    for name, (f, nominal, sigma) in curves.items():
        spread = sigma * (1 + 0.5 * np.abs(np.log10(f / 3e6)))
        if name == "loop_distance":
            spread = sigma * nominal
        frames.append(
            pd.DataFrame(
                {
                    "scenario": scenario,
                    "curve": name,
                    "frequency_hz": f,
                    "nominal": nominal,
                    "p05": nominal - 1.6 * spread,
                    "p50": nominal + 0.05 * spread,
                    "p95": nominal + 1.7 * spread,
                    "min": nominal - 2.8 * spread,
                    "max": nominal + 3.0 * spread,
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def _contributors(scenario: int) -> pd.DataFrame:
    freq = np.geomspace(100e3, 50e6, 60)
    shapes = {
        "external": 45 * (1e6 / freq) ** 0.9 * 10 ** (-0.35 * scenario / 20),
        "external, lower decile": 26 * (1e6 / freq) ** 0.9,
        "external, upper decile": 130 * (1e6 / freq) ** 0.9,
        "Xamp voltage noise": 3.2 + 0.0 * freq,
        "Rf": 1.8 * np.sqrt(1e6 / freq),
        "Rb": 0.9 * (1e6 / freq),
        "receiver": 1.9 + 0.2 * scenario + 0.0 * freq,
        "feedline": 0.25 + 0.1 * scenario * np.sqrt(freq / 1e7),
        "Ro": 0.55 + 0.0 * freq,
        "Xamp current noise": 0.08 * np.sqrt(1e6 / freq),
        "R1": 0.02 + 0.0 * freq,
    }
    return pd.concat(
        [
            pd.DataFrame({"scenario": scenario, "frequency_hz": freq, "contributor": k, "density_nv": v})
            for k, v in shapes.items()
        ]
    )


def _drivers(scenario: int) -> pd.DataFrame:
    rng = np.random.default_rng(scenario)
    rows = []
    for measure in (
        "gain_db",
        "phase_deg",
        "match_gain_db",
        "match_phase_deg",
        "noise_margin_db",
        "stability_margin",
    ):
        start = {"match_gain_db": 1, "match_phase_deg": 3, "noise_margin_db": 2}.get(measure, 0)
        for freq in BANDS if measure in PER_BAND else (np.nan,):
            raw = 0.5 ** np.arange(len(PARTS)) * rng.uniform(0.7, 1.2, len(PARTS))
            share = np.append(raw / raw.sum() * 0.97, 0.03)
            for part, value in zip([*np.roll(PARTS, start), "(rest)"], share, strict=True):
                rows.append(
                    {
                        "scenario": scenario,
                        "measure": measure,
                        "frequency_hz": freq,
                        "part": str(part),
                        "share": value,
                        "slope_per_percent": np.nan if part == "(rest)" else -0.08 * value,
                    }
                )
    return pd.DataFrame(rows)


def _study(title: str, units: int) -> str:
    return f"""title = {json.dumps(title)}

[amplifier]
circuit = "transimpedance"
opamp = "OPA810"

[antenna]
model = "short-vertical"
height = "7 m"

[feedline]
cable = "rg6-ccs"
length = "130 m"
power = "coax"

[receiver]
impedance = "75"
noise_figure = "12 dB"

[site]
noise = "quiet-rural"

[bands]
frequencies = ["1.83M", "3.53M", "7.05M"]

[run]
units = {units}
seed = 1
temperature = "-20..40"

[limits]
gain_db = "10 +- 1"
noise_margin_db = "> 10"
stability_margin = "> 0.5"
match_gain_db = "-0.2..0.2"
"""


def _answer(title: str, summary: pd.DataFrame, units: int, failed: int) -> dict:
    return {
        "title": title,
        "verdict": "Invented verdict: quiet enough, stable, alike enough.",
        "passes": True,
        "units": units,
        "failed": failed,
    }
