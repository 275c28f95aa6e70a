"""The starter file: a small scenario with a remark beside each line, made from the titles of the models."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from equipdecide.scenario.amounts import GIVEN_BY
from equipdecide.scenario.models import Scenario
from equipdecide.scenario.reading import fields_of, loads, shape_of
from equipdecide.scenario.writing import MODELINE, dump

_HEAD = """\
# A decision about one machine. Everything in this file is invented: write your own figures over it.
#
# Money         71,000 or 71000 or $ 71,000
# Shares        24 %             (always with the sign)
# A doubt       9,000 .. 11,800 .. 17,000     low, likely, high; leave spaces round the two full stops
# Days          2026-09-18 or 18 Sep 2026
# Yes or no     yes, no
# Who says so   from: {words}
#               (with by: a name and on: a day, in any block; it counts for the amounts in it)
# A block may also be written in one line: {{cost: 64,500, in_service: 2023-10-04}}
"""

_EXAMPLE = """
title: Keep the saw, or put in the new one?
decision_date: 2026-09-14
machine_in_question: old saw
study: {years: 7, rate: 7 % .. 10 % .. 13 %}
shop: {name: Our shop, taxed_as: sole proprietor, cash: 40,000, cash_floor: 15,000}
owners:
  Me: {share: 100 %, tax_rate: 24 %, from: guess}
machines:
  old saw:
    what: band saw with a bar feeder
    assets:
      saw: {cost: 46,000, in_service: 2021-03-01, section_179: all, from: invoice}
    loans:
      bank: {principal: 9,400, balance_on: 2026-09-01, rate: 6.9 %, payments: 14, first_payment: 2026-10-01}
    running: {staffed_hours: 2,000, cutting_share: 40 % .. 45 % .. 50 %}
    upkeep: {first_year: 2,800 .. 3,600 .. 5,500, growth: 8 %, from: guess, by: me}
    worth_at_end: 3,000 .. 5,000 .. 8,000
  new saw:
    what: new band saw
    running: {staffed_hours: 2,000, cutting_share: 48 % .. 55 % .. 60 %}
    upkeep: {first_year: 1,500, growth: 6 %, from: quote}
    worth_at_end: 20,000 .. 26,000 .. 32,000
    price: 68,000
    capital_costs: {freight: 1,900, wiring: 1,200}
    lead: 8
parts:
  cutting work: {hours: 850 .. 1,000 .. 1,100, contribution_per_hour: 38}
offers:
  dealer: {machine: old saw, route: outright, price: 14,000 .. 16,000 .. 18,500, from: guess}
financing:
  new loan: {amount: 55,000, rate: 8 %, payments: 60}
alternatives:
  keep: []
  replace:
    - {do: buy, machine: new saw, ordered: 2026-09-21, on: 2026-11-16, pay: new loan}
    - {do: sell, machine: old saw, by: dealer, on: 2026-11-18}
  sell and do without:
    - {do: sell, machine: old saw, by: dealer, on: 2026-10-01}
"""


def starter_text() -> str:
    """Return the text of a starter file; it reads back without faults."""
    lines = dump(loads(_EXAMPLE, "starter")).removeprefix(MODELINE).splitlines()
    width = 44
    text = [MODELINE + _HEAD.format(words=", ".join(GIVEN_BY)).rstrip()]
    above: list[tuple[int, Any]] = [(-1, shape_of(Scenario))]
    told: set[str] = set()
    for line in lines:
        bare = line.lstrip(" -")
        indent = len(line) - len(bare)
        key, colon, _ = bare.partition(":")
        while above[-1][0] >= indent:
            above.pop()
        shape = above[-1][1]
        title, inner = "", None
        if colon and shape is not None:
            title, inner = _field(shape, key)
        above.append((indent, inner))
        if indent == 0:
            text.append("")
        mark = f"{id(shape.of)}.{key}" if shape is not None else ""
        text.append(f"{line:<{width}}  # {title}" if title and mark not in told else line)
        told.add(mark)
    return "\n".join(text) + "\n"


def _field(shape: Any, key: str) -> tuple[str, Any]:
    """Return the title of a key and the shape of what stands under it."""
    if shape.kind in ("names", "list"):
        return "", shape_of(shape.of)
    models: list[type[BaseModel]] = (
        [shape.of] if shape.kind == "model" else list(shape.of.values()) if shape.kind == "choice" else []
    )
    for model in models:
        if key in model.model_fields:
            field = model.model_fields[key]
            inner = shape_of(fields_of(model)[key])
            return field.title or "", shape_of(inner.of) if inner.kind == "list" else inner
    return "", None
