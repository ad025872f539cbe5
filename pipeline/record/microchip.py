"""The shape of a transponder's number after ISO 11784 and ISO 11785: fifteen digits, the first three a country or manufacturer.

Source of the shape: WSAVA, *Microchip FAQs* (read): the first three digits are a country's number of ISO 3166 or, from 900, a
manufacturer's. 999 stands for test transponders (from memory, not read).
"""

from __future__ import annotations

import re

_DIGITS = 15
_TEST = 999


def compact(number: str) -> str:
    """The number without the blanks, dashes and dots that people write between its digits."""
    return re.sub(r"[\s.-]", "", number)


def microchip_fault(number: str) -> str | None:
    """What keeps a number from being one of ISO 11784, as a sentence; null when nothing does.

    A fault is no proof of an error: transponders before the standard have nine or ten characters.
    """
    digits = compact(number)
    if not digits.isascii() or not digits.isdigit():
        return "A microchip number after ISO 11784 has digits only."
    if len(digits) != _DIGITS:
        return f"A microchip number after ISO 11784 has {_DIGITS} digits; this one has {len(digits)}."
    prefix = int(digits[:3])
    if prefix == 0:
        return "A microchip number after ISO 11784 begins with a country's or manufacturer's number, not with 000."
    if prefix == _TEST:
        return "Numbers that begin with 999 are those of test transponders."
    return None
