"""Feedlines: cable records and what a length of cable does to signal and noise."""
