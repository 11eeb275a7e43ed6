"""Writes: verbs with keyword arguments, atomic, refusing with a reason."""
