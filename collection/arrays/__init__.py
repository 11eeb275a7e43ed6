"""The only bridge between rows and the engine: rows in, arrays to the engine, plain results out."""
