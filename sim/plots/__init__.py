"""Pictures of a run: tables in, vector figures out."""
