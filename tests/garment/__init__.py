"""Tests of the garment: its file, the coat, the parts."""
