"""The cloth she owns, the garment she wants, and whether the one can be cut from the other.

Coordinates are in millimetres, seen from the right side of the cloth, x to the right and y down; angles are in
degrees, positive counter-clockwise as seen. This file imports nothing.
"""
