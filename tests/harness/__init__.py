"""Harnesses for what must never go wrong: each ran against a seeded fault first, prints its counts, and has a short
form among the tests."""
