"""Pieces at full size as PDF, SVG and DXF. Imports `pictures` and `canvas`."""
