"""Whether the parts can be cut from the pieces: lanes, bounds, search, an independent audit, and ways out of a no."""
