"""The surface of the map: levelling, roughness, slopes, heights, and what they do to values.

Pure functions on arrays: heights in nm, NaN where missing, labels -1 for no component. Import the
modules; this package loads nothing by itself.
"""
