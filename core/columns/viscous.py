"""The viscous stage: a relaxing solid fitted to both branches, and the works it is judged by.

c(t) = E*(t) g/k is the relaxation modulus as a length to the power 1 - n, as in the fit stage.
LN_C is ln c after the loading time LOADING [s]; INSTANT and RELAXED are ln c at 0 and for ever,
TIME is ln τ, τ in s. Works are areas of deflection against base position [nm²].
"""

LN_C, VAR_LN_C, BETA, VAR_BETA, COV, Z0, VAR_Z0 = 0, 1, 2, 3, 4, 5, 6
INSTANT, VAR_INSTANT, RELAXED, VAR_RELAXED, TIME, VAR_TIME = 7, 8, 9, 10, 11, 12
LOADING, RESIDUAL, SAMPLES, STATE, PULL = 13, 14, 15, 16, 17
WORK_IN, WORK_OUT, VISCOUS, VAR_VISCOUS, ADHESIVE, VAR_ADHESIVE = 18, 19, 20, 21, 22, 23
LOSS, VAR_LOSS = 24, 25
# variances for a slow noise of 1 nm²/nm, see steps/slow.py
SLOW_LN_C, SLOW_BETA, SLOW_Z0, SLOW_INSTANT, SLOW_RELAXED, SLOW_TIME = 26, 27, 28, 29, 30, 31
SLOW_VISCOUS, SLOW_ADHESIVE, SLOW_LOSS = 32, 33, 34
COLUMNS = 35

# STATE
GOOD, TOO_FEW, NO_CONTACT, UNTIMED = 0.0, 1.0, 2.0, 3.0
NOT_CONVERGED, NOT_POSITIVE, AT_BOUND, NOT_MOVED = 4.0, 5.0, 6.0, 7.0

# models
POWER_LAW, STANDARD_SOLID = 1, 2
MODELS = {"none": 0, "power_law": POWER_LAW, "standard_solid": STANDARD_SOLID}
