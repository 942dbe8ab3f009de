"""The garment: a parts file, and the shapes that make its parts from a few measures."""
