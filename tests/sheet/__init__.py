"""Tests of the cutting sheet."""
