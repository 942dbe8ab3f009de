"""The cutting sheet: one drawing in millimetres, written as SVG, PDF and HTML."""
