"""Checks against published tables and figures of the trade; the source stands beside each."""
