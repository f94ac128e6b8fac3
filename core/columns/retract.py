"""The retract stage: pull-off, works, what is odd about the branches."""

PULL, PULL_Z, VAR_PULL, WORK, VAR_WORK, LOST, VAR_LOST = 0, 1, 2, 3, 4, 5, 6
ZERO_Z, RELEASE_Z, SEEN, GAP = 7, 8, 9, 10
SLOW_PULL, SLOW_WORK, SLOW_LOST, PULL_LET_GO, VAR_LET_GO = 11, 12, 13, 14, 15
# see ``steps/branches.py``
SECOND, SECOND_Z, NECK, NECK_Z = 16, 17, 18, 19
APART, VAR_APART, TOP, VAR_TOP, TOP_Z = 20, 21, 22, 23, 24
COLUMNS = 25
