"""The rules of the house, held by tests."""
