"""Texts that somebody might type as a quantity: made of what the reading rules are about, and of what they are not."""

from __future__ import annotations

from quizsvc.physics.unit_table import UNITS

SPACES = (" ", "  ", "\t", "\u00a0", "\u1680", "\u2009", "\u200a", "\u202f", "\u2028", "\u205f", "\u3000", "\x85")
NO_SPACES = ("\u200b", "\ufeff", "\u180e", "\n", "\r", "\x0b", "\x1c", "\x7f", "\x00", "\ud800", "\U0001f600")
SIGNS = ("", "", "", "", "-", "+", "\u2212", "\u2010", "\u2013", "\u2014", "\ufe63", "\uff0d", "--", "- ", "+ ", "+-")
DIGITS = (
    *("5", "55", "123", "5.5", "5,5", ".5", ",5", "5.", "5,", "0", "007", "0,050", "1,234", "12,345", "123,456"),
    *("1234,567", "1,234,567", "1,234.5", "1.234,5", "1 234", "12 345,6", "123 456.7", "1 234 567", "0 234", "1 23"),
    *("1,23,456", "1,234 567", "1 234,567", "1,234,", "1,234.", "1.2.3", "1,2,3", "1e3", "٣", "５", "½", ""),
    *("999999999999", "0.0000001", "1000000000000", "9" * 15, "9" * 16, "123456789.123456789", "2.675"),
    *("0.1" + "0" * 40, "1_000", "0x10", "nan", "inf"),
)  # fmt: skip
LEVELS = (
    *("FL055", "fl 330", "FL5", "Flight Level 330", "flight  level 33.", "FL0555", "FL", "FL5.5", "fl\u00a033"),
    "fl\u0131ght level 3",
)  # fmt: skip
WORDS = (
    *("constructor", "__proto__", "toString", "xyzzy", "feet feet", "ft.", "ft .", "ft..", "ft. .", ".", "m."),
    *("\u2032", "\u2033", "\u2019", "\u02bc", "\u2018", "''", '"', "\u212a", "\u2103", "\u00b0 c", "\u00b0\u00a0C"),
    *("ﬀt", "Kt", "KT.", "in  hg", "IN HG"),
)  # fmt: skip
SPELLINGS = tuple(word for unit in UNITS.values() for word in (unit.name, *unit.aliases))


def texts(number, rng, *, units=SPELLINGS):
    """So many texts, each of a sign, digits, a unit of `units` or another word, and spaces of every width."""
    return [_text(rng, units) for _ in range(number)]


def _text(rng, units):
    if rng.random() < 0.05:
        return rng.choice(("", "-", "+")) + rng.choice(LEVELS) + rng.choice(("", ".", " "))
    digits = (
        rng.choice(DIGITS) if rng.random() < 0.6 else f"{rng.uniform(0, 10 ** rng.randint(0, 7)):.{rng.randint(0, 6)}f}"
    )
    word = rng.choice(units) if rng.random() < 0.7 else rng.choice(("", *WORDS))
    word = rng.choice((word, word.upper(), word.lower(), word.title(), word + "."))
    text = rng.choice(SIGNS) + digits + rng.choice(("", " ", rng.choice(SPACES))) + word
    if rng.random() < 0.1:
        at = rng.randint(0, len(text))
        text = text[:at] + rng.choice(SPACES + NO_SPACES) + text[at:]
    return text
