"""Parts, stations, learning and noise."""

from __future__ import annotations

from equipdecide.scenario.amounts import decimal_text
from equipdecide.scenario.checks.checker import Checker
from equipdecide.scenario.checks.looking import (
    COUNT,
    FACTOR,
    HOURS,
    SHARE,
    amount_of,
    block_at,
    blocks_of,
    figure_of,
    names_of,
)
from equipdecide.scenario.faults import did_you_mean
from equipdecide.scenario.tree import Table, Text

MOST_REMEDIES = 10  # a thousand sets


def parts_can_be_sold(c: Checker) -> None:
    """A part is sold by the piece or by the hour, and no more must ship than can be sold."""
    for _, part in blocks_of(c.tree, "parts"):
        by_hour = [key for key in ("hours", "contribution_per_hour") if key in part]
        by_piece = [key for key in ("price", "minutes", "demand") if key in part]
        if by_hour and by_piece:
            mend = "Give price, minutes and demand, or hours and contribution_per_hour"
            c.report(part, "this is sold both by the piece and by the hour", mend)
        elif by_hour or by_piece:
            for key in ("hours", "contribution_per_hour") if by_hour else ("price", "minutes", "demand"):
                if key not in part:
                    sold = "by the hour" if by_hour else "by the piece"
                    c.report(part, f"`{key}` is missing for work sold {sold}", f"Add `{key}:`", key)
        else:
            mend = "Give price, minutes and demand, or hours and contribution_per_hour"
            c.report(part, "nothing says what this brings", mend)
        must, demand = amount_of(part.get("must_ship"), COUNT), amount_of(part.get("demand"), COUNT)
        if must and demand and must.likely > demand.likely:
            mend = f"Ship at most the demand, {decimal_text(demand.likely)}"
            c.report(part, "more must be shipped than can be sold", mend, "must_ship")
        if "renews" in part and "ends" not in part:
            c.report(part, "a renewal needs the day the contract ends", "Add `ends:`", "ends")
        short = part.get("falling_short")
        if isinstance(short, Table) and not {"cost_factor", "penalty"} & set(short):
            c.report(short, "nothing says what falling short costs", "Add `cost_factor:` or `penalty:`")


def learning_is_said_once(c: Checker) -> None:
    """Hours lost while learning are entered, or follow from a ramp; a ramp begins above the standard time and falls."""
    for _, block in [*blocks_of(c.tree, "machines"), *blocks_of(c.tree, "improvements")]:
        for _, ramp in block_at(block, "ramp"):
            if "ramp_loss" in block:
                c.report(block, "both `ramp_loss` and `ramp` are given", "Keep one of the two", "ramp_loss")
            rate, start = figure_of(ramp.get("rate"), SHARE), figure_of(ramp.get("start"), FACTOR)
            if rate is not None and not 0.5 <= rate < 1:
                c.report(
                    ramp,
                    "a learning rate is 50 % to 99 %",
                    "Write for example 85 %: each doubling takes 15 % off",
                    "rate",
                )
            if "scrap" in ramp and start is not None and start <= 1:
                what = "scrap while learning falls as the time over the standard does, and there is none"
                c.report(ramp, what, "Write a `start:` above 1, or leave `scrap:` out", "scrap")
            if "scrap_cost" in ramp and "scrap" not in ramp:
                c.report(ramp, "`scrap_cost` is given without `scrap`", "Add `scrap:`, such as 10 %", "scrap_cost")
            if start is not None and start < 1:
                c.report(
                    ramp, "the first batch is quicker than the standard time", "Write a multiple of 1 or more", "start"
                )


def stations_stand(c: Checker) -> None:
    """Stations a part passes elsewhere are among the other limits of the shop."""
    shop = c.tree.get("shop")
    known = names_of(shop, "other_limits") if isinstance(shop, Table) else []
    for _, part in blocks_of(c.tree, "parts"):
        there = part.get("elsewhere")
        if not isinstance(there, Table):
            continue
        for station, place in there.keys_at.items():
            if station not in known:
                mend = did_you_mean(
                    station,
                    known,
                    f"Known here: {', '.join(known)}"
                    if known
                    else "Add `other_limits:` to the shop, with its hours a year",
                )
                c.report(
                    Text.at(station, place, f"{there.path}.{station}"), f"no other station is named '{station}'", mend
                )


def calls_alike_have_one_answerer(c: Checker) -> None:
    """Calls of one length are figured for one person only."""
    for _, machine in blocks_of(c.tree, "machines"):
        for _, running in block_at(machine, "running"):
            for _, attended in block_at(running, "attended"):
                people = str(attended.get("attendants", "1")).strip()
                if attended.get("calls") == "alike" and people != "1":
                    what = f"calls all alike are figured for one person, not for {people}"
                    c.report(attended, what, "Write `attendants: 1`, or `calls: vary`", "calls")


def day_can_be_heard(c: Checker) -> None:
    """Each piece of a working day has a level or a machine, and the day has no more than 24 hours."""
    hours = []
    for name, piece in blocks_of(c.tree, "working_day"):
        c.refers(piece, "machine", "machines", "machine")
        if ("level" in piece) == ("machine" in piece):
            what = "both `level` and `machine` are given" if "level" in piece else f"nothing says how loud '{name}' is"
            c.report(piece, what, "Give `level:` or `machine:`", "level")
        hours.append(figure_of(piece.get("hours"), HOURS) or 0.0)
    remedies = blocks_of(c.tree, "quieter")
    for _, remedy in remedies:
        c.refers(remedy, "piece", "working_day", "piece of the working day")
    if len(remedies) > MOST_REMEDIES:
        what = f"{len(remedies)} ways to quieten a day; every set of them is tried, of {MOST_REMEDIES} at most"
        c.report(c.tree, what, "Leave out those that are never the cheapest", "quieter")
    if sum(hours) > 24:
        c.report(
            c.tree,
            f"the working day has {decimal_text(round(sum(hours), 2))} hours",
            "Give the hours of one day",
            "working_day",
        )
