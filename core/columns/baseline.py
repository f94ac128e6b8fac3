"""The baseline stage. `B_` columns are one branch's: the approach at APPROACH, then the retract."""

B_OFFSET, B_SLOPE, B_CENTRE, B_NOISE, B_FIRST, B_LAST, B_RISE = 0, 1, 2, 3, 4, 5, 6
B_VAR_OFFSET, B_VAR_SLOPE, B_COV, B_KEPT, B_LENGTH, B_TOUCH = 7, 8, 9, 10, 11, 12
BRANCH_COLUMNS = 13
APPROACH, RETRACT = 0, BRANCH_COLUMNS
PEAK_Z, PEAK_D, SPIKES, FLAT_TOP, MISSING, Z_REVERSED = 26, 27, 28, 29, 30, 31
Z_RANGE, Z_BACK, VAR_PEAK = 32, 33, 34
WALK_APPROACH, WALK_RETRACT, SLOW_PEAK = 35, 36, 37
# what is common to both branches, see ``steps/joint.py``; NaN where it was not asked for
DRAG, VAR_DRAG, DRIFT, VAR_DRIFT, DURATION = 38, 39, 40, 41, 42
STEP_APPROACH, STEP_RETRACT = 43, 44  # of time from sample to sample, the whole curve lasting 1
WAVE_NUMBER, WAVE_SIN, WAVE_COS, VAR_WAVE = 45, 46, 47, 48  # of the wave taken off; its amplitude's
WAVE_SEEN, WAVE_ROOM, VAR_TILT = 49, 50, 51  # amplitude in noises; free part in periods
SLOW_DRAG, SLOW_DRIFT, SLOW_TILT = 52, 53, 54  # for a slow noise of 1 nm²/nm, see steps/slow.py
# marks of a bad curve, see ``steps/marks.py``; BACKS adds up the bits of those on the retract
# noise of the whole free part: variance from neighbours, from samples apart; spread about a line
NEAR, FAR, SPREAD = 55, 56, 65
SPIKE_Z, FLAT_Z, HOLE_Z, HOLE_END = 57, 58, 59, 60
STILL, STILL_Z, STILL_RISE, BACKS = 61, 62, 63, 64
COLUMNS = 66

SPIKE_BACK, FLAT_BACK, STILL_BACK, HOLE_BACK = 1, 2, 4, 8
