"""Forms parse what was typed and name what is wrong; they save nothing."""
