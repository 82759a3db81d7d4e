"""Antennas: what stands at the amplifier's input terminals."""
