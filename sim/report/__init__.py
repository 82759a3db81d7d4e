"""The report of a run: answer, tables and pictures on one page."""
