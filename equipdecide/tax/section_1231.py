"""Section 1231: a net gain is long-term capital, a net loss ordinary, less the look-back of five years.

Form 4797 part I, lines 7 to 9. A net gain is ordinary up to the net section 1231 losses of the five years before that
no gain has yet met, the earliest loss first (IRC 1231(c)); a loss older than that has lapsed.
"""

from __future__ import annotations

from equipdecide.calendar import ONE
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.parameters import Law
from equipdecide.plan import Plan
from equipdecide.scenario.models import Owner

YEARS = "federal/dispositions.lookback_years"


def look_back(draft: Draft, plan: Plan, law: Law, w: Working, owner: Owner, net: Column) -> None:
    """Post ``reclassified`` (gain that is ordinary) and ``capital_gain`` of each year from the year's `net` [currency].

    ``losses_met`` counts, earliest first, the losses that gains have met or that have lapsed.
    """
    years = round(law.get(YEARS, plan.time.start).number)
    first = plan.time.first_tax_year
    w.formula("loss_1231", "max(0 - net, 0)", "USD", "net section 1231 loss of the year", net=net)
    w.formula("losses_so_far", "running(loss_1231)", "USD", "losses of the study up to this year")
    entered = {
        int(text): draft.input(amount)
        for text, amount in owner.losses_1231.items()
        if text.isdigit() and int(text) < first
    }
    lapsed = []
    for year, amount in entered.items():
        flags = [1.0 if end.year - years > year else 0.0 for end in plan.time.tax.ends]
        w.given(
            f"loss of {year}: out of reach",
            flags,
            "1",
            f"more than {years} years after {year}",
            Origin("calendar", str(year)),
        )
        lapsed.append(
            w.formula(
                f"loss of {year}: lapsed",
                "flag * amount",
                "USD",
                f"loss of {year}, once out of reach",
                flag=w[f"loss of {year}: out of reach"],
                amount=amount,
            )
        )
    before = sum_of(w, "losses_before", list(entered.values()), "USD", "losses entered, not yet met by gains", ONE)
    w.given(
        "row_out_of_reach",
        [float(k - years - 1) for k in range(len(plan.time.tax))],
        "1",
        "row of the last year that is out of reach",
        Origin("calendar", "years"),
    )
    old = sum_of(w, "entered_lapsed", lapsed, "USD", "entered losses that have lapsed")
    w.formula(
        "lapsed",
        "old + pick(losses_so_far, row_out_of_reach)",
        "USD",
        "losses, earliest first, that lie out of reach",
        old=old,
    )
    w.formula("within_reach", "before + prev(losses_so_far)", "USD", "losses of the years before", before=before)
    w.formula(
        "losses_met",
        "max(prev(losses_met), lapsed) + min(max(net, 0), max(within_reach - max(prev(losses_met), lapsed), 0))",
        "USD",
        "losses met by gains or lapsed, earliest first",
        net=net,
    )
    w.formula(
        "reclassified", "losses_met - max(prev(losses_met), lapsed)", "USD", "section 1231 gain that is ordinary"
    )  # line 8
    w.formula("capital_gain", "max(net, 0) - reclassified", "USD", "taxed as long-term capital gain", net=net)  # line 9
