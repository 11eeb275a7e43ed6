"""The demo: our own invented operation, measured for two years by the engine's simulator."""
