"""What the engine says when a call cannot be answered at all.

A bad *row* of a batch is not an error: it gets an outcome code beside its result.
"""


class LevelingError(ValueError):
    """Any refusal of the engine."""


class BadInput(LevelingError):
    """An argument broke its contract: it names the argument, what is wrong and the remedy."""

    def __init__(self, name: str, problem: str, remedy: str) -> None:
        super().__init__(f"{name}: {problem}. {remedy}")
        self.name = name
        self.problem = problem
        self.remedy = remedy
