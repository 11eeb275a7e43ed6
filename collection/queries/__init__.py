"""Reads: nouns, a fixed number of database queries, nothing written."""
