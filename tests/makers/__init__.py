"""Seeded photographs with a known truth: a camera, a table, cloths, rulers, all rendered by this project."""
