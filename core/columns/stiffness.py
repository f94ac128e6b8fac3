"""The stiffness stage."""

SLOPE, VAR_SLOPE, SAMPLES, FIRST_Z, LAST_Z, OFFSET, SLOW_SLOPE = 0, 1, 2, 3, 4, 5, 6
COLUMNS = 7
