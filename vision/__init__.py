"""From a photograph of cloth to a measured fabric. Knows nothing of the stash.

Geometry, said once for the whole package: arrays are indexed ``[y, x]``, points are written ``(x, y)``, an integer
coordinate is the centre of a pixel, y points down, and angles are in degrees, positive counter-clockwise *as seen*.
Names carry their unit: ``_px``, ``_mm``, ``_deg``. This file imports nothing, so that ``vision.estimate`` is cheap.
"""
