"""Data backgrounds for memories that are read and written a word at a time.

A march test on words is repeated once per background; 0 stands for the background and 1 for its
complement. Source: van de Goor & Tlili, DATE 1998 (abstract seen, the count from memory, recomputed).
"""


def backgrounds(bits: int) -> tuple[int, ...]:
    """Return the ceil(log2 bits) + 1 backgrounds for words of ``bits`` bits, the solid one first.

    Over these and their complements every pair of bits takes all four combinations, and no smaller set
    does that. For 8 bits: 00, AA, CC, F0. Raises ``ValueError`` below one bit.
    """
    if bits < 1:
        raise ValueError(f"a word has at least one bit, {bits} was given")
    stripes = range((bits - 1).bit_length())
    return (0, *(sum(1 << bit for bit in range(bits) if bit >> stripe & 1) for stripe in stripes))
