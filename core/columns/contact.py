"""The contact point found beside the free fit: one row a curve, and the ways to find it.

The ways stand in the order of `settings.CONTACTS`.
"""

Z0, VAR_Z0 = 0, 1
COLUMNS = 2

FREE, THRESHOLD, VARIANCE_RATIO, GOODNESS, CHANGE_POINT = 0, 1, 2, 3, 4
