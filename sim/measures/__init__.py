"""From a unit's responses to its measures: arrays in, arrays out."""
