"""The tests, mirroring the packages, with the makers of their seeded scenes and cases."""
