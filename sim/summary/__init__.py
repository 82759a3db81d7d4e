"""From the chunks of a run to its tables and its answer: arrays and tables in, tables out."""
