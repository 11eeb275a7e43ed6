"""The engine of Levelbook: pure, batched, exact; NumPy and SciPy only.

Nothing is imported here, so that every module can be read and loaded on its own. Axes, signs and leg order
are in DEVELOPERS.md, Geometry: x to the player's right, y to the rear, z up; legs FL, FR, RL, RR.
"""

#: Stored beside every derived number, so that a change of the mathematics shows.
VERSION = "2"
