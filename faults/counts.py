"""Numbers of things in words: ``1 word``, ``2,048 words``, ``twice``."""


def counted(number: int, noun: str) -> str:
    """Return ``1 word``, ``2,048 words``, ``3 addresses``: a noun ending in s takes es, others s."""
    ending = "" if number == 1 else "es" if noun.endswith("s") else "s"
    return f"{number:,} {noun}{ending}"


def verb(number: int, one: str, many: str) -> str:
    """Return the form of a verb that goes with a number of things: ``1 fails``, ``2 fail``."""
    return one if number == 1 else many


def times(number: int) -> str:
    """Return ``never``, ``once``, ``twice``, ``14 times``."""
    return {0: "never", 1: "once", 2: "twice"}.get(number, f"{number:,} times")
