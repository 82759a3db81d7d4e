"""Strong carriers: what the op-amps make of several at once, by responses alone, and the same in time."""
