"""The bench: speed beside honest baselines, measured in one run on one thread; run by `make bench`, never by the tests.

Baselines do the same work and are checked to give the same figures before anything is timed. Candidates take turns;
figures are medians of processor time. Ratios hold better than times.
"""

from __future__ import annotations

import time

from timing import Table, one_thread

one_thread()


def main() -> None:
    """Run all parts and print the table."""
    import batches
    import simulation
    import startup

    began, table = time.monotonic(), Table()
    table.heading("This machine, one thread")
    bandwidth = batches.bounds(table)
    simulation.simulations(table)
    table.heading(f"Batches: {batches.SERIES:,} series of 121 monthly flows")
    batches.batches(table, bandwidth)
    table.heading("Start-up and one comparison")
    startup.startup(table)
    startup.pages(table)
    table.summary()
    print(f"\n{time.monotonic() - began:.0f} s in all.")


if __name__ == "__main__":
    main()
