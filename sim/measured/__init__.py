"""Files that analysers write and read."""
