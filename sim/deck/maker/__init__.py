"""A maker's op-amp model: read under the guard, mapped by its pins, written out anew as plain numbers."""
