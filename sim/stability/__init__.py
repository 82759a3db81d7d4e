"""Stable with anything: any deck that carries probes, an amplifier on every feedline, and the proof by a kick in time."""
