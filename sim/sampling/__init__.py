"""Virtual builds: every part drawn from its tolerance, by seed, unit number and name alone."""
