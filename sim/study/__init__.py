"""The study: what a builder asks, read from a file and checked."""
