"""Duties: the rule book applied to the records. Rules and records in, spans (basis, due, done) out."""
