"""Stable with anything: the loop of an amplifier on every feedline, out of one set of responses."""
