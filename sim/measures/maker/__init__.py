"""The acceptance bench of a maker's op-amp model: what it does, what it lacks, before it is used."""
