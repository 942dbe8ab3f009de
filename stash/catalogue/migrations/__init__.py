"""The steps by which a catalogue of an earlier version becomes one of this version."""
