"""What the stores hold when a run begins."""

import numpy as np

from emu.codes import encode
from emu.engine.contract import RunRequest
from emu.errors import declare, fail
from emu.gates import draw
from emu.image import MemoryImage
from emu.memory import EXTRA_CELLS, Words
from emu.spec import StoreSpec
from emu.where import Place

POWER_UP_STREAM = 1 << 20

IMAGE_WIDTH = declare(
    "image-width",
    "An image for a store has words of the store's data bits, or of its data and check bits together.",
    "Give the word size with the file, or use the image of the right machine.",
)
IMAGE_TOO_LONG = declare(
    "image-too-long",
    "Every word of an image lies within its store.",
    "Check the first address of the file and the size of the store in the machine file.",
)
IMAGE_STORE = declare(
    "image-store",
    "An image names a store of the machine.",
    "Use one of the store names of the machine file.",
)


def power_up(request: RunRequest) -> list[Words]:
    """Return the stored words of every store, with room for the extra cells (int64[words + 3] each).

    A word that the image does not give is the right code word of 0, or a seeded one in writable stores
    when the request says so. Bits that an image marks unknown are taken as 0. Raises ``InputError`` for an
    image that does not fit.
    """
    names = {s.name for s in request.machine.stores}
    for name in request.image.segments:
        if name not in names:
            fail(
                IMAGE_STORE,
                f"an image names a store of the machine, got {name!r}",
                Place("<image>"),
                hint=f"stores: {', '.join(sorted(names))}",
            )
    return [_store(request, number, store) for number, store in enumerate(request.machine.stores)]


def _store(request: RunRequest, number: int, store: StoreSpec) -> Words:
    cells = np.zeros(store.words + EXTRA_CELLS, np.int64)
    cells[: store.words] = encode(store.protection, store.data_bits, 0)
    if store.writable and request.power_up == "seeded":
        mask = (1 << store.data_bits) - 1
        for address in range(store.words):
            data = draw(request.seed, POWER_UP_STREAM + number, address) & mask
            cells[address] = encode(store.protection, store.data_bits, data)
    image = request.image.segments.get(store.name)
    if image is not None:
        _check_image(store, image)
        as_stored = image.bits == store.bits
        for address, value, _known in image.words():
            cells[address] = value if as_stored else encode(store.protection, store.data_bits, value)
    return cells


def _check_image(store: StoreSpec, image: MemoryImage) -> None:
    place = Place("<image>")
    if image.bits not in (store.data_bits, store.bits):
        fail(
            IMAGE_WIDTH,
            f"an image for store {store.name!r} has words of {store.data_bits} or {store.bits} bits, "
            f"got {image.bits}",
            place,
        )
    for _first, last in image.ranges():
        if last >= store.words:
            fail(
                IMAGE_TOO_LONG,
                f"store {store.name!r} ends at word {store.words - 1:#o}, the image goes to {last:#o}",
                place,
            )
