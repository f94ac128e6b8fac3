"""The plain numbers that tell a kernel which contact law it is: see `steps/contact_law.py`."""

# kinds
SHAPE, JKR, MAUGIS = 0.0, 1.0, 2.0

# what stands where in a law's row of numbers
KIND, DISTANCE, STEP, UNIT, TABLE_START, DEEPEST, EXPONENT_START = 0, 1, 2, 3, 4, 5, 6
NUMBERS = 7

# parameters of a law
LN_C, Z0, PULL, EXPONENT = 0, 1, 2, 3
