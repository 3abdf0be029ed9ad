"""Philox4x32-10 in whole numbers of any size.

Salmon, Moraes, Dror and Shaw 2011, "Parallel random numbers: as easy as 1, 2, 3" (SC'11), section
3.3 and table 2; `PUBLISHED` are the known answers that go with it.
"""

from __future__ import annotations

Counter = tuple[int, int, int, int]
Key = tuple[int, int]

WORD = 2**32
ONES, PI = WORD - 1, (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344)
PUBLISHED: tuple[tuple[Counter, Key, Counter], ...] = (
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    ((ONES, ONES, ONES, ONES), (ONES, ONES), (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
    (PI, (0xA4093822, 0x299F31D0), (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1)),
)


def philox(counter: Counter, key: Key) -> Counter:
    """Scramble a counter by ten rounds."""
    for number in range(10):
        first, second = (
            (weyl * number + part) % WORD
            for weyl, part in zip((0x9E3779B9, 0xBB67AE85), key, strict=True)
        )
        high_0, low_0 = divmod(0xD2511F53 * counter[0], WORD)
        high_1, low_1 = divmod(0xCD9E8D57 * counter[2], WORD)
        counter = (high_1 ^ counter[1] ^ first, low_1, high_0 ^ counter[3] ^ second, low_0)
    return counter
