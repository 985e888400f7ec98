"""Word arithmetic in the form that generated machines call: ints in, ints out, no strings, no tables.

Written a second time, apart from ``emu.words``, within signed 64-bit integers: patterns have at most 62 bits,
so that a sum of two never overflows; products that do are masked afterwards. The text of the functions that a
machine needs is copied into its generated module. Held equal to ``emu.words`` by the conformance kit.
"""


def signed_twos(x: int, width: int) -> int:
    """Return the value of a two's complement pattern."""
    return x - ((x >> (width - 1)) << width)


def signed_ones(x: int, width: int) -> int:
    """Return the value of a ones' complement pattern."""
    return x - (x >> (width - 1)) * ((1 << width) - 1)


def signed_magnitude(x: int, width: int) -> int:
    """Return the value of a sign and magnitude."""
    size = x & ((1 << (width - 1)) - 1)
    return -size if x >> (width - 1) else size


def from_twos(value: int, width: int) -> int:
    """Return the two's complement pattern of a value, modulo the width."""
    return value & ((1 << width) - 1)


def from_ones(value: int, width: int) -> int:
    """Return the ones' complement pattern of a value; 0 is +0."""
    return value if value >= 0 else value + ((1 << width) - 1)


def from_magnitude(value: int, width: int) -> int:
    """Return sign and magnitude of a value, the magnitude losing what does not fit; zero is +0."""
    size = abs(value) & ((1 << (width - 1)) - 1)
    return size | (1 << (width - 1)) if value < 0 and size else size


def add_ones(a: int, b: int, width: int) -> int:
    """Return the ones' complement sum, with end-around carry."""
    total = a + b
    return (total + (total >> width)) & ((1 << width) - 1)


def negate_magnitude(x: int, width: int) -> int:
    """Return the negative of a sign and magnitude; both zeros give +0."""
    return x ^ (1 << (width - 1)) if x & ((1 << (width - 1)) - 1) else 0


def shift_left(x: int, amount: int, width: int) -> int:
    """Return x moved up; an amount of the width or more gives 0."""
    return (x << amount) & ((1 << width) - 1) if amount < width else 0


def shift_right(x: int, amount: int, width: int) -> int:
    """Return x moved down; an amount of the width or more gives 0."""
    return x >> amount if amount < width else 0


def arith_right(x: int, amount: int, width: int) -> int:
    """Return x moved down, copies of the top bit coming in."""
    low = min(amount, width)
    return (x >> low) | (x >> (width - 1)) * (((1 << low) - 1) << (width - low))


def rotate_left(x: int, amount: int, width: int) -> int:
    """Return x turned up, the amount modulo the width."""
    turn = amount % width
    return ((x << turn) | (x >> (width - turn))) & ((1 << width) - 1)


def rotate_right(x: int, amount: int, width: int) -> int:
    """Return x turned down, the amount modulo the width."""
    turn = amount % width
    return ((x >> turn) | (x << (width - turn))) & ((1 << width) - 1)


def patch(whole: int, at: int, piece: int, width: int, piece_width: int) -> int:
    """Return the whole with the piece put in from bit ``at`` on; what falls beyond is lost."""
    if at >= width:
        return whole
    hole = (((1 << piece_width) - 1) << at) & ((1 << width) - 1)
    return (whole & ~hole) | ((piece << at) & hole)


def outside(value: int, low: int, high: int) -> int:
    """Return 1 if the value is not in low .. high."""
    return 1 if value < low or value > high else 0


def quotient(a: int, b: int, width: int) -> int:
    """Return the unsigned quotient; by zero it is all ones."""
    return a // b if b else (1 << width) - 1


def remainder(a: int, b: int) -> int:
    """Return the unsigned remainder; by zero it is a."""
    return a % b if b else a


def signed_division(a: int, b: int) -> int:
    """Return the quotient of values, toward zero; b is not 0."""
    size = abs(a) // abs(b)
    return -size if (a < 0) != (b < 0) else size


def signed_rest(a: int, b: int) -> int:
    """Return what the division leaves, with the sign of a; b is not 0."""
    size = abs(a) % abs(b)
    return -size if a < 0 else size
