"""Stability of a circuit as a whole: decks that carry probes, lines in them, and the proof by a kick in time."""
