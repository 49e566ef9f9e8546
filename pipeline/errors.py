"""One small family of errors; the command line translates it once, in cli.main.

Anything that is not a PipelineError is a bug and keeps its traceback.
"""


class PipelineError(Exception):
    """The input cannot be used. The text is one sentence: fault, value, limit, what to do."""

    exit_code = 1


class UsageError(PipelineError):
    """The command or one of its options is wrong; exit code 2."""

    exit_code = 2
