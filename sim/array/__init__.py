"""Receive arrays: what a set of short elements and their weights hears, and what errors of its units do to that."""
