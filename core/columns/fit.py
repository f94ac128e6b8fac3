"""The fit stage. `SLOW_` columns are variances for a slow noise of 1 nm²/nm; see steps/slow.py."""

LN_C, Z0, VAR_LN_C, VAR_Z0, COV, RESIDUAL, SAMPLES = 0, 1, 2, 3, 4, 5, 6
FIRST_Z, LAST_Z, STATE, PULL, SCALE, VAR_DEPTH, WINDOW_CUT = 7, 8, 9, 10, 11, 12, 13
EXPONENT, VAR_EXPONENT, VAR_PULL, SLOW_LN_C, SLOW_Z0, SLOW_DEPTH = 14, 15, 16, 17, 18, 19
BEYOND, UNIT, SLOW_PULL, SLOW_EXPONENT = 20, 21, 22, 23
ALIKE = 24  # correlation of a residual with the next
COLUMNS = 25

# STATE
GOOD, TOO_FEW, NO_CONTACT, NOT_CONVERGED, NOT_POSITIVE = 0.0, 1.0, 2.0, 3.0, 4.0
AT_BOUND, NOT_MOVED, NO_POINT = 5.0, 6.0, 7.0
