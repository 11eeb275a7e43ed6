"""Configuration checks: each says what is wrong and the one-line remedy. Errors stop a start, warnings are told."""
