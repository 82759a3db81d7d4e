"""The steps of a run, one a rule of the Snakefile: read files, call functions, write files."""
