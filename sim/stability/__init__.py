"""Stable with anything: any deck that carries probes, an amplifier on every feedline, the proof by a kick in time."""
