"""The retract stage: pull-off and works."""

PULL, PULL_Z, VAR_PULL, WORK, VAR_WORK, LOST, VAR_LOST = 0, 1, 2, 3, 4, 5, 6
ZERO_Z, RELEASE_Z, SEEN, GAP = 7, 8, 9, 10
SLOW_PULL, SLOW_WORK, SLOW_LOST = 11, 12, 13
COLUMNS = 14
