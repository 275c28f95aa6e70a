"""The cautions every page, answer and dialogue carries, in plain words, once."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """One caution: a word to find it by, and what is said."""

    code: str
    text: str


ESTIMATE = Caution(
    "estimate",
    "This is an estimate for a decision, not tax, legal, lending or safety advice. Have your preparer check the "
    "tax and your lender the payoff before anybody signs; local codes and licensed practice come first.",
)

CAUTIONS: tuple[Caution, ...] = (
    ESTIMATE,
    Caution(
        "tax_follows_gain",
        "The tax follows the gain, not the cash. Paying off the lender, trading in, leaving the money at a dealer or "
        "buying another machine does not lower it, and it is due even if the business pays nothing out.",
    ),
    Caution(
        "dealer_credit",
        "Money credited at a dealer is that dealer's promise: unsecured, without interest, until it is used.",
    ),
    Caution(
        "payoff",
        "A payoff is not the balance: it is good until a day, then so much more a day. A lien stays on file until it is released.",
    ),
    Caution("hours", "Extra hours count only if somebody orders them."),
    Caution(
        "write_off",
        "A write-off counts when the machine is installed and ready, not when it is ordered or paid. A state may keep other books.",
    ),
    Caution(
        "guarantee", "A joint and several guarantee means the whole shortfall, whatever the share in the business."
    ),
    Caution(
        "unattended",
        "Running unattended: guarding, fire protection and the insurer's consent come before the first night; one "
        "fault that nobody catches can cost more than a year of nights. Noise is judged by a survey on your floor, "
        "not by a brochure.",
    ),
    Caution("chances", "Chances repeat your own ranges: they know nothing that you did not enter."),
)


def caution(code: str) -> Caution:
    """Return one caution by its word. Raises KeyError for an unknown one."""
    for one in CAUTIONS:
        if one.code == code:
            return one
    raise KeyError(f"no caution {code!r}; there are {', '.join(c.code for c in CAUTIONS)}")
