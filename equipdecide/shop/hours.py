"""Hours: staffed and night hours of each setup, and the capacity of the bottleneck over the study.

Night stops are taken as exponential: a night of window `w` runs `theta * (1 - exp(-w / theta))` hours on average,
never `w` (theory of reliability; `theta` is the mean running time between stops). A log is read with censoring: a
night that ran out its window counts its hours but no stop, so theta is total hours over stops.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from equipdecide.calendar import ONE, Date, listed
from equipdecide.ledger import Column, Draft, Origin, Working, sum_of
from equipdecide.plan import RAMP_DAYS, WORKING_DAYS, Plan, Setup
from equipdecide.scenario.amounts import Amount, decimal_text
from equipdecide.scenario.models import Attended, Nights, Running
from equipdecide.shop.crashes import crashes
from equipdecide.shop.night_stops import ShapedStops, Stops
from equipdecide.shop.nights import NightLog, read_log

BATCHES = listed("batch", [str(k) for k in range(1, 201)])  # a ramp-up is over long before its two-hundredth batch


def setup_hours(draft: Draft, setup: Setup, folder: Path | None) -> Column:
    """Post the yearly hours of a setup once for all alternatives; returns its good standard hours a year [h/year]."""
    name = f"hours of {setup.name}"
    if name in draft:
        return draft[name]["good_hours"]
    running = setup.running
    assert isinstance(running, Running)
    w = draft.common.working(name, says=f"hours a year on {setup.name}", rule="hours")
    mornings = running.nights is not None and running.nights.recovery is not None
    says = "hours it cuts with people present" + (", before mornings after a stop" if mornings else "")
    staffed: dict[str, Column | float] = {
        "staffed": draft.input(running.staffed_hours),
        "cutting": draft.input(running.cutting_share),
    }
    text = "staffed * cutting"
    if running.attended is not None:
        text, says = f"{text} * not_waiting", f"{says}, waiting for them taken out"
        staffed["not_waiting"] = _not_waiting(draft, w, running.attended)
        w.formula(
            "waiting_hours",
            "staffed * cutting * (1 - not_waiting)",
            "h/year",
            "staffed spindle hours lost waiting for somebody",
            None,
            **staffed,
        )
    w.formula("staffed_before_mornings" if mornings else "staffed_spindle_hours", text, "h/year", says, None, **staffed)
    if running.nights is not None:
        _nights(draft, w, setup, running.nights, folder)
    else:
        w.formula("night_hours", "0", "h/year", "hours it cuts alone")
    if mornings:
        w.formula(
            "staffed_spindle_hours",
            "max(staffed_before_mornings - recovery_hours, 0)",
            "h/year",
            "hours it cuts with people present, mornings after a stop taken off",
        )
    if (expected := crashes(draft, setup)) is None:
        w.formula("spindle_hours", "staffed_spindle_hours + night_hours", "h/year", "hours the spindle cuts")
    else:
        w.formula(
            "crash_hours",
            f"(staffed_spindle_hours + night_hours) * min(down_days / {WORKING_DAYS}, 1)",
            "h/year",
            "hours it stands after a crash, at what it cuts on a working day",
            down_days=expected["down_days"],
        )
        w.formula(
            "spindle_hours",
            "staffed_spindle_hours + night_hours - crash_hours",
            "h/year",
            "hours the spindle cuts, days down after a crash taken off",
        )
    factor = draft.input(running.cycle_factor) if running.cycle_factor else 1.0
    good = draft.input(running.good_share) if running.good_share else 1.0
    return w.formula(
        "good_hours",
        "spindle_hours / cycle_factor * good_share",
        "h/year",
        "good hours, counted at the standard time of each part",
        cycle_factor=factor,
        good_share=good,
    )


def _not_waiting(draft: Draft, w: Working, entry: Attended) -> Column:
    """Post the share of its time a machine does not wait for attention (:mod:`equipdecide.shop.attendance`)."""
    count, people = entry.machines, entry.attendants
    w.formula(
        "load",
        "attention / run",
        "1",
        "attention over run",
        attention=draft.input(entry.attention),
        run=draft.input(entry.run),
    )
    if entry.calls == "alike":
        return _not_waiting_of_calls_alike(w, count)
    terms = {
        k: f"{math.factorial(count) // math.factorial(count - k)} / "
        f"{math.factorial(min(k, people)) * people ** max(k - people, 0)} * load ** {k}"
        for k in range(1, count + 1)
    }
    w.formula("all_run", f"1 / (1 + {' + '.join(terms.values())})", "1", "chance that every machine runs")
    queue = [f"{k - people} * ({term})" for k, term in terms.items() if k > people]
    w.formula("waiting", f"all_run * ({' + '.join(queue)})" if queue else "0", "1", "machines that wait on average")
    return w.formula("not_waiting", f"({count} - waiting) / {count}", "1", "share of its time a machine does not wait")


def _not_waiting_of_calls_alike(w: Working, count: int) -> Column:
    """Post the same for one person and calls of one length: Takacs's form, without a division by the load."""
    products = [
        " * ".join([str(math.comb(count - 1, j)), *(f"(exp({i} * load) - 1)" for i in range(1, j + 1))])
        for j in range(count)
    ]
    w.formula("calls_found", " + ".join(products), "1", "sum of Takacs over the other machines, calls all alike")
    w.formula("all_run", f"1 / (1 + {count} * load * calls_found)", "1", "chance that every machine runs")
    w.formula("running", f"{count} * calls_found * all_run", "1", "machines that run on average")
    w.formula("waiting", f"max({count} - running - (1 - all_run), 0)", "1", "machines that wait on average")
    return w.formula("not_waiting", f"({count} - waiting) / {count}", "1", "share of its time a machine does not wait")


def _nights(draft: Draft, w: Working, setup: Setup, nights: Nights, folder: Path | None) -> None:
    """Post hours alone a year, faults run on unnoticed, and what the nights cost."""
    log = read_log(folder / nights.log) if nights.log and folder else None
    theta = _theta(draft, w, setup, nights, log)
    window = _window_held(draft, w, setup, nights)
    count = draft.input(nights.nights)
    stops = Stops(draft, w, theta, window)
    if nights.shape is not None and log is not None and log.stops:
        stops = ShapedStops(draft, w, theta, window, draft.input(nights.shape), nights.log or "", log)
    stops.night_run()
    w.formula("night_hours", "nights * night_run", "h/year", "hours it cuts alone", nights=count)
    if nights.recovery is not None:
        w.formula(
            "recovery_hours",
            f"nights * ({stops.chance}) * recovery",
            "h/year",
            "staffed spindle hours lost in the mornings after a stop, to clear and restart",
            None,
            nights=count,
            recovery=draft.input(nights.recovery),
            **stops.uses,
        )
    costs = []
    if nights.cost_a_night is not None:
        costs.append(
            w.formula(
                "loading",
                "nights * cost_a_night",
                "USD/year",
                "loading and proving for the nights",
                nights=count,
                cost_a_night=draft.input(nights.cost_a_night),
            )
        )
    if nights.undetected is not None:
        costs += _run_on(draft, w, nights, nights.undetected, stops, count)
    if costs:
        sum_of(w, "night_costs", costs, "USD/year", "what the nights cost")


def _run_on(draft: Draft, w: Working, nights: Nights, undetected: Amount, stops: Stops, count: Column) -> list[Column]:
    """Post what faults that stop nothing cost (:func:`equipdecide.shop.nights.run_on` says where
    the formula is from).
    """
    share = draft.input(undetected)
    w.formula(
        "unnoticed",
        f"nights * share * ({stops.chance})",
        "1/year",
        "nights a year with a fault the machine does not notice",
        None,
        nights=count,
        share=share,
        **stops.uses,
    )
    stops.run_on(share, count)
    costs = []
    if nights.scrap_hour is not None:
        costs.append(
            w.formula(
                "spoiled",
                "run_on * scrap_hour",
                "USD/year",
                "material and tools spoiled",
                scrap_hour=draft.input(nights.scrap_hour),
            )
        )
    if nights.fault_cost is not None:
        costs.append(
            w.formula(
                "faults",
                "unnoticed * fault_cost",
                "USD/year",
                "crashes, repairs and lost mornings",
                fault_cost=draft.input(nights.fault_cost),
            )
        )
    return costs


def _window_held(draft: Draft, w: Working, setup: Setup, nights: Nights) -> Column:
    """Return the hours a night can last at most: the window, or what is loaded, or the life of its tools."""
    window = draft.input(nights.window)
    terms: list[str] = []
    uses: dict[str, Column | float] = {}
    if nights.parts_loaded is not None and nights.minutes_each is not None:
        terms.append("parts * minutes / 60")
        uses |= {"parts": draft.input(nights.parts_loaded), "minutes": draft.input(nights.minutes_each)}
    for key in ("bar_or_pallets", "tool_life"):
        amount = getattr(nights, key)
        if amount is not None:
            terms.append(key)
            uses[key] = draft.input(amount)
    if not terms:
        return window
    held = w.formula(
        "window_held",
        f"min(window, {', '.join(terms)})",
        "h",
        "hours a night can last at most",
        None,
        window=window,
        **uses,
    )
    if held.figure() < window.figure() - 1e-9:
        draft.common.find(
            "window_held",
            f"{setup.name}: the window is {window.figure():g} h, but what is loaded or the tools end after "
            f"{held.figure():.1f} h.",
            nights.window.path,
        )
    return held


def _theta(draft: Draft, w: Working, setup: Setup, nights: Nights, log: NightLog | None) -> Column:
    """Return the mean running hours between stops: as entered or from the log, causes that are ended taken out."""
    if nights.mean_between_stops is not None:
        as_logged = (
            setup.source is setup.base
        )  # an improvement's own figure need not agree with the log of the time before
        if (
            as_logged
            and log is not None
            and log.theta is not None
            and abs(log.theta - nights.mean_between_stops.likely) > 0.05
        ):
            text = (
                f"{setup.machine}: the log gives {decimal_text(round(log.theta, 3))} h between stops "
                f"({log.hours:.1f} h, {log.stops} stops, 95 % interval {log.low:.2f} to {log.high:.2f}); the "
                f"scenario uses {nights.mean_between_stops.likely:g} h."
            )
            if not any(found.text == text for found in draft.shared.findings):  # one log, several setups: said once
                draft.common.find("log_differs", text, nights.mean_between_stops.path)
        theta = draft.input(nights.mean_between_stops)
    else:
        assert log is not None  # the checks of a scenario ask for one of the two
        value = log.theta if log.theta is not None else log.low
        if log.theta is None:
            draft.common.find(
                "no_stops",
                f"{setup.machine}: no stop in {log.evenings} evenings; {log.low:.1f} h between stops is only a lower bound.",
                w.name,
            )
        theta = w.given(
            "theta",
            value,
            "h",
            "mean running hours between stops",
            Origin("choice", f"{nights.log}", f"log of {log.evenings} evenings", "log"),
        )
    if not setup.ended or log is None or not log.stops:
        return theta
    terms: list[str] = []
    uses: dict[str, Column | float] = {"theta": theta}
    for k, (words, share) in enumerate(setup.ended):
        cause = log.cause(words)
        logged = w.given(
            f"logged: {cause.reason}",
            cause.stops / log.stops,
            "1",
            f"share of the logged stops: {cause.stops} of {log.stops}",
            Origin("choice", f"{nights.log}", f"log of {log.evenings} evenings", "log"),
        )
        terms.append(f"logged_{k} * share_{k}")
        uses |= {f"logged_{k}": logged, f"share_{k}": draft.input(share)}
    return w.formula(
        "theta_after",
        f"theta / max(1 - ({' + '.join(terms)}), 0.001)",
        "h",
        "mean running hours between stops once those causes are ended: hazards add",
        None,
        **uses,
    )


def length_in_years(plan: Plan) -> list[float]:
    """Return the length of each stretch [year]: days over the days of its calendar year, so that a full year is 1."""
    if plan.time.yearly:
        return [1.0] * len(plan.spans)
    return [
        float(days) / (366.0 if year % 4 == 0 and (year % 100 or year % 400 == 0) else 365.0)
        for days, year in zip(plan.spans.days, (day.year for day in plan.spans.starts), strict=True)
    ]


def capacity(draft: Draft, plan: Plan, folder: Path | None) -> None:
    """Post good hours available in each stretch: what is at work, less what change-over and learning cost."""
    spans = plan.spans
    w = draft.working("capacity", spans, "good standard hours of the bottleneck, stretch by stretch", "capacity")
    w.given("years", length_in_years(plan), "year", "length of the stretch", Origin("calendar", "days"))
    at_work = [plan.at_work(day) for day in spans.starts]
    offered, lost = [], []
    for k, setup in enumerate(plan.working):
        hours = setup_hours(draft, setup, folder)
        flags = [1.0 if found is setup else 0.0 for found in at_work]
        if not any(flags):
            continue
        w.given(
            f"at_work_{k}", flags, "1", f"{setup.name} does the work", Origin("choice", f"steps of {plan.name}"), spans
        )
        offered.append(
            w.formula(
                f"offered_{k}",
                "at_work * good_hours * years",
                "h",
                f"good hours of {setup.name}",
                at_work=w[f"at_work_{k}"],
                good_hours=hours,
            )
        )
        if setup.installed and (setup.source.down_days or setup.source.ramp_loss or setup.source.ramp):
            window = _window(plan, setup.first)
            w.given(
                f"learning_{k}",
                window,
                "1",
                f"share of the first quarter after {setup.name} is in",
                Origin("choice", f"steps of {plan.name}"),
                spans,
            )
            down = draft.input(setup.source.down_days) if setup.source.down_days else 0.0
            ramp = _ramp_hours(draft, setup)
            lost.append(
                w.formula(
                    f"lost_{k}",
                    f"share * (down * good_hours / {WORKING_DAYS} + ramp)",
                    "h",
                    f"good hours lost to change-over and learning on {setup.name}",
                    share=w[f"learning_{k}"],
                    down=down,
                    good_hours=hours,
                    ramp=ramp,
                )
            )
    sum_of(w, "offered", offered, "h", "good hours before losses")
    sum_of(w, "lost", lost, "h", "good hours lost to change-over and learning")
    _scrap_paid(draft, plan, w)
    _within_limits(draft, plan, w)
    idle = [day for day, found in zip(spans.starts, at_work, strict=True) if found is None]
    if plan.working and idle and not _gone_for_good(plan):
        draft.find(
            "gap",
            f"{plan.name}: from {idle[0]} there is no machine for this work until the next one is in.",
            plan.name,
            "warning",
        )


def _ramp_hours(draft: Draft, setup: Setup) -> Column | float:
    """Return good hours lost while learning: as entered, or by Crawford's curve down to the standard time."""
    source = setup.source
    if source.ramp is None:
        return draft.input(source.ramp_loss) if source.ramp_loss else 0.0
    name = f"learning {setup.name}"
    if name in draft:
        return draft[name]["hours"]
    entry = source.ramp
    w = draft.common.working(name, BATCHES, f"batches of {setup.name} until the standard time is reached", "hours")
    w.given(
        "batch",
        [float(k) for k in range(1, len(BATCHES) + 1)],
        "1",
        "number of the batch",
        Origin("calendar", "counted"),
    )
    uses = {"start": draft.input(entry.start), "rate": draft.input(entry.rate)}
    b = "(log(max(rate, 0.01)) / log(2))"
    if entry.form == "average of all":  # the n-th batch is what it adds to the total n * start * n ** b
        one, says = f"start * (batch ** (1 + {b}) - (batch - 1) ** (1 + {b}))", "Wright's curve with a floor"
    else:
        one, says = f"start * batch ** {b}", "Crawford's curve with a floor"
    over = w.formula("over", f"max({one} - 1, 0)", "1", f"batch-times over the standard: {says}", None, **uses)
    if over.figure(len(BATCHES) - 1) > 0:
        draft.common.find(
            "ramp_too_slow",
            f"{setup.name}: the standard time is not reached in {len(BATCHES)} batches; what is lost after them is not counted.",
            entry.rate.path,
            "warning",
        )
    each = draft.input(entry.batch)
    if entry.scrap is None:
        return w.formula(
            "hours", "total(over) * hours_each", "h", "good hours lost while learning", ONE, hours_each=each
        )
    w.formula(
        "scrap",
        "first * over / max(start - 1, 1e-9)",
        "1",
        "share of the batch that is scrap over the usual: falls as its time over the standard does",
        first=draft.input(entry.scrap),
        start=uses["start"],
    )
    w.formula("scrapped", "total(scrap) * hours_each", "h", "standard hours of pieces scrapped", ONE, hours_each=each)
    w.formula(
        "lost",
        "over + scrap * (1 + over)",
        "1",
        "batch-times lost: over the standard, and pieces scrapped made again at the time of the batch",
    )
    return w.formula(
        "hours",
        "total(lost) * hours_each",
        "h",
        "good hours lost while learning",
        ONE,
        hours_each=each,
    )


def _scrap_paid(draft: Draft, plan: Plan, w: Working) -> None:
    """Post what is in the pieces scrapped while learning, paid as they are made again."""
    costs = []
    for k, setup in enumerate(plan.working):
        ramp = setup.source.ramp
        if f"learning_{k}" in w and ramp is not None and ramp.scrap is not None and ramp.scrap_cost is not None:
            costs.append(
                w.formula(
                    f"scrap_{k}",
                    "share * scrapped * an_hour",
                    "USD",
                    f"material and outside work of pieces scrapped while learning on {setup.name}",
                    share=w[f"learning_{k}"],
                    scrapped=draft[f"learning {setup.name}"]["scrapped"],
                    an_hour=draft.input(ramp.scrap_cost),
                )
            )
    if costs:
        total = sum_of(w, "scrap", costs, "USD", "pieces scrapped while learning")
        paid = w.formula("scrap_paid", "0 - cost", "USD", "pieces scrapped while learning, as cash", cost=total)
        draft.line("scrap while learning", "shop", paid, "operating")
        draft.taxed("scrap while learning", total, -1)


def _within_limits(draft: Draft, plan: Plan, w: Working) -> None:
    """Post ``hours``: good hours available, no more than every other station can pass."""
    by_piece = {station for part in plan.scenario.parts.values() for station in part.elsewhere}
    # a station whose minutes are given by the piece limits the mix, not the hours: contribution looks at it
    limits = {name: amount for name, amount in plan.scenario.shop.other_limits.items() if name not in by_piece}
    if not limits:
        w.formula("hours", "max(offered - lost, 0)", "h", "good hours available")
        return
    w.formula("made", "max(offered - lost, 0)", "h", "good hours the machine can make")
    uses = {
        f"limit_{k}": w.formula(
            f"limit: {name}",
            "a_year * years",
            "h",
            f"hours of this work that {name} can pass",
            a_year=draft.input(amount),
        )
        for k, (name, amount) in enumerate(limits.items())
    }
    w.formula(
        "hours",
        f"min(made, {', '.join(uses)})",
        "h",
        "good hours available, within what other stations can pass",
        None,
        **uses,
    )
    made, rows = w["made"].per_row(), w["years"].per_row()
    for name in limits:
        passed = w[f"limit: {name}"].per_row()
        held = float(((made - passed) * (made > passed)).sum() / max(rows.sum(), 1e-9))
        if held > 0.5:
            draft.find(
                "other_limit",
                f"{plan.name}: {name} passes {limits[name].likely:,.0f} h of this work a year; about {held:,.0f} "
                f"good hours a year of the machine "
                "could not be passed on even if they were ordered.",
                f"shop.other_limits.{name}",
            )


def _gone_for_good(plan: Plan) -> bool:
    return plan.at_work(plan.spans.starts[-1]) is None


def _window(plan: Plan, first: Date) -> list[float]:
    if plan.time.yearly:
        begun = sum(day <= first for day in plan.spans.ends)
        return [1.0 if row == begun else 0.0 for row in range(len(plan.spans))]
    begin, last = first.toordinal(), first.toordinal() + RAMP_DAYS - 1
    overlap = np.minimum(plan.spans.last_days, last) - np.maximum(plan.spans.first_days, begin) + 1
    share = np.clip(overlap, 0, None) / RAMP_DAYS
    return [float(value) for value in share]
