"""Exit codes, documented and stable."""

from enum import IntEnum


class Exit(IntEnum):
    """What the exit code of every command means."""

    DONE = 0  # done; nothing wrong was found
    NEGATIVE = 1  # done, and the answer is negative: it differs, something escapes, no fault fits
    USAGE = 2  # the command line is wrong
    BAD_INPUT = 3  # an input file is bad
    INCONCLUSIVE = 4  # a limit was hit before there was an answer
    OWN_BUG = 70  # a mistake of ours
    INTERRUPTED = 130  # stopped by Ctrl-C
