"""Running decks: the only package that talks to the simulator."""
