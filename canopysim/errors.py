"""Errors that a user can act on: one clear sentence each, exit code 2 on the command line."""


class CanopysimError(Exception):
    """Anything that the user can mend; its text is shown without a traceback."""


class SceneError(CanopysimError):
    """What is wrong with a scene file, all of it at once.

    Parameters
    ----------
    problems : list of str
        One line each: ``file:line:column  path: what is wrong; what is allowed``.
    """

    def __init__(self, problems: list[str]) -> None:
        self.problems = list(problems)
        super().__init__("\n".join(self.problems))


class ResultError(CanopysimError):
    """A result folder or file that cannot be read or written."""


class UntracedError(CanopysimError):
    """Too many photons met a place that should be unreachable; the run is not to be trusted."""
