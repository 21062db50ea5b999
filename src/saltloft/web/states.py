"""The words of the states; their shapes are in templates/parts.html."""

from __future__ import annotations

from saltloft.foundation.words import say


def state_word(mark: str) -> str:
    """The word of a state in the reader's language.

    Args:
        mark: str. 'due', 'ready', 'waiting', 'held', 'look' or a rule's outcome.
    """
    words = {
        "due": say("due"),
        "ready": say("ready"),
        "waiting": say("waiting"),
        "held": say("held"),
        "look": say("look"),
        "met": say("met"),
        "not met": say("not met"),
        "not shown": say("not shown"),
        "does not apply": say("does not apply"),
    }
    return words.get(mark, mark)
