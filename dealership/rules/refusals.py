"""The one base of every named refusal."""


class Refusal(Exception):
    """Something a person asked for that cannot be done, and why.

    A subclass stands beside the function that raises it, keeps the facts as
    attributes and says in one sentence what is wrong, where, and what to do. The
    web floor shows that sentence; nothing has been changed when it is raised.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence

    def __str__(self) -> str:
        return self.sentence
