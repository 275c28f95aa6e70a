"""Stops of a night as columns: at random, or with a Weibull shape on the scale of the log.

At random: the machine runs on with chance ``exp(-t / theta)``. With a shape b the hazard adds up to ``(t / eta) ** b``;
``eta`` is that of the censored log at this shape (maximum likelihood: ``eta ** b`` = sum of hours ** b over the stops),
and stops that are rarer or more frequent than logged lower or raise the hazard in proportion. At b = 1 the two are one.
The mean over a night has no closed form then: it is summed at the 24 points of Gauss and Legendre over the root of the
share of the window that has passed, which takes the edge off shapes below 1 (any text of numerical analysis).
"""

from __future__ import annotations

import numpy as np

from equipdecide.calendar import ONE, listed
from equipdecide.ledger import Column, Draft, Origin, Working
from equipdecide.shop.nights import NightLog

POINTS = listed("point of the night", [str(k) for k in range(1, 25)])


class Stops:
    """Stops at random: posts the hours a night runs on average, and those run on after a fault that nothing notices.

    `chance` is the text of the chance that a night is stopped, `uses` the columns it names.
    """

    chance = "1 - exp(-window / theta)"

    def __init__(self, draft: Draft, w: Working, theta: Column, window: Column) -> None:
        self.draft, self.w, self.theta, self.window = draft, w, theta, window
        self.uses: dict[str, Column | float] = {"window": window, "theta": theta}

    def night_run(self) -> None:
        """Post ``night_run`` [h]."""
        self.w.formula(
            "night_run",
            "theta * (1 - exp(-window / theta))",
            "h",
            "hours a night runs on average before something stops it",
            None,
            **self.uses,
        )

    def run_on(self, share: Column, count: Column) -> None:
        """Post ``run_on`` [h/year]; `share` of the stops goes unnoticed, `count` nights a year."""
        self.w.formula(
            "noticed_rate",
            "max(1 - share, 0.000001) / theta",
            "1/h",
            "stops it does notice, an hour",
            share=share,
            theta=self.theta,
        )
        self.w.formula(
            "run_on",
            "nights * (share / max(1 - share, 0.000001) * night_run"
            " - exp(0 - noticed_rate * window) * (1 - exp(0 - share / theta * window)) / noticed_rate)",
            "h/year",
            "hours a year run on after such a fault, all scrap",
            nights=count,
            share=share,
            theta=self.theta,
            window=self.window,
        )


class ShapedStops(Stops):
    """Stops with a Weibull shape, on the scale that the censored log has at this shape."""

    chance = "1 - exp(0 - hazard)"

    def __init__(
        self, draft: Draft, w: Working, theta: Column, window: Column, shape: Column, name: str, log: NightLog
    ) -> None:
        super().__init__(draft, w, theta, window)
        hours, evenings = np.unique(log.run, return_counts=True)
        axis = listed("hours run", [f"{run:g}" for run in hours])
        told = Origin("choice", name, f"log of {log.evenings} evenings", "log")
        w.given("logged_hours", hours, "h", "hours that evenings of the log ran", told, axis)
        w.given("logged_evenings", evenings.astype(float), "1", "evenings that ran so long", told, axis)
        w.given("logged_stops", float(log.stops), "1", "evenings of the log that a stop ended", told)
        w.formula(
            "raised",
            "logged_evenings * logged_hours ** shape",
            "1",
            "their hours to the power of the shape",
            axis,
            shape=shape,
        )
        w.formula("scale", "total(raised) / logged_stops", "1", "scale of the log to the power of the shape", ONE)
        w.formula(
            "as_often",
            "total(ran) / logged_stops / theta",
            "1",
            "stops an hour over those of the log",
            ONE,
            ran=w.formula("ran", "logged_evenings * logged_hours", "h", "hours run in evenings so long", axis),
            theta=theta,
        )
        w.formula(
            "hazard",
            "as_often * window ** shape / scale",
            "1",
            "stops to expect by the end of a night, were each cleared at once",
            window=window,
            shape=shape,
        )
        self.uses = {"hazard": w["hazard"]}
        at, weight = np.polynomial.legendre.leggauss(len(POINTS))
        root = (at + 1) / 2  # of the share of the window that has passed
        given = Origin("choice", "points of Gauss and Legendre", "numerical analysis")
        w.given("passed", root**2, "1", "share of the window that has passed", given, POINTS)
        w.given("counts", weight * root, "1", "what the point counts in the sum", given, POINTS)
        w.formula("so_far", "hazard * passed ** shape", "1", "stops to expect by that point", POINTS, shape=shape)

    def night_run(self) -> None:
        """Post ``night_run`` [h]."""
        w = self.w
        w.formula(
            "running_on", "counts * exp(0 - so_far)", "1", "chance that nothing has stopped it by then, weighed", POINTS
        )
        w.formula(
            "night_run",
            "window * total(running_on)",
            "h",
            "hours a night runs on average before something stops it",
            ONE,
            window=self.window,
        )

    def run_on(self, share: Column, count: Column) -> None:
        """Post ``run_on`` [h/year]: it runs while nothing noticed has stopped it, and is good while nothing has."""
        self.w.formula(
            "not_noticed",
            "counts * (exp(0 - (1 - share) * so_far) - exp(0 - so_far))",
            "1",
            "chance that it runs on after a fault by then, weighed",
            POINTS,
            share=share,
        )
        self.w.formula(
            "run_on",
            "nights * window * total(not_noticed)",
            "h/year",
            "hours a year run on after such a fault, all scrap",
            ONE,
            nights=count,
            window=self.window,
        )
