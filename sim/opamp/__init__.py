"""Op-amps: checked records of parts, and the behavioural model written from a record."""
