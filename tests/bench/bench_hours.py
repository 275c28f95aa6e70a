"""Speed of hours and nights: run by `make bench`, not by the tests. Processor time on this machine, best of three."""

import tempfile
import time
from pathlib import Path

import numpy as np

import equipdecide as ed
from equipdecide.calendar import Axis, spread_weights
from equipdecide.evaluate import evaluate
from equipdecide.ledger import Tape
from equipdecide.shop.nights import read_log, survival_curve

SCENARIOS = Path(__file__).parents[2] / "scenarios"
NIGHTS = "machines.MC-1.running.nights"
TRIALS = 10_000


def best(function, rounds=3):
    spent = []
    for _ in range(rounds):
        start = time.process_time()
        function()
        spent.append(time.process_time() - start)
    return min(spent)


def hours_by_month():
    """Hours of 10,000 trials by 120 months for the four courses of the night watch, in blocks."""
    text = (SCENARIOS / "night_watch.yaml").read_text(encoding="utf-8").replace("{years: 7,", "{years: 10,")
    whole = evaluate(ed.loads(text, folder=SCENARIOS))
    ranges = {
        f"{NIGHTS}.mean_between_stops": (4.8, 8.5),
        f"{NIGHTS}.nights": (100, 220),
        "machines.MC-1.running.cutting_share": (0.57, 0.62),
        "improvements.watcher.changes.ends_causes.air pressure alarm": (0.4, 1),
        "improvements.watcher.changes.ends_causes.coolant level low": (0.4, 1),
    }
    rng = np.random.default_rng(9)
    drawn = {path: rng.uniform(low, high, TRIALS) for path, (low, high) in ranges.items()}
    tape = Tape(whole.order, list(drawn), [ledger.column("capacity.hours") for ledger in whole.ledgers.values()])
    cash = whole.time.cash
    months = Axis("month", cash.labels[:120], cash.starts[:120], cash.ends[:120])
    weights = [spread_weights(whole.plans[name].spans, months) for name in whole.ledgers]
    found = [np.empty((120, TRIALS)) for _ in whole.ledgers]

    def run():
        for first in range(0, TRIALS, 2_000):
            block = slice(first, first + 2_000)
            rows = tape.run({path: values[block] for path, values in drawn.items()})
            for made, share, hours in zip(found, weights, rows, strict=True):
                made[:, block] = share @ hours

    run()
    assert len(found) == 4 and (found[1][60:].sum(axis=0) >= found[0][60:].sum(axis=0) - 1e-9).all()
    return best(run)


def a_long_log():
    """A log of 200,000 evenings: checked and read with its scenario; read alone; fitted with its curve."""
    rng = np.random.default_rng(5)
    run = np.minimum(rng.exponential(6.4, 200_000), 5.0)
    reasons = ["chips", "air pressure alarm", "coolant level low", "part loose"]
    rows = [f"2026-03-02,{t:.2f},{'ran out the window' if t >= 5 else reasons[k % 4]}" for k, t in enumerate(run)]
    text = (SCENARIOS / "deck_fittings.yaml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "nightlog.csv"
        path.write_text("date,hours_run,reason\n" + "\n".join(rows) + "\n", encoding="utf-8")
        log = read_log(path)
        assert abs(log.theta / 6.4 - 1) < 0.02
        whole = best(lambda: ed.loads(text, folder=Path(name)))
        return whole, best(lambda: read_log(path)), best(lambda: survival_curve(log))


if __name__ == "__main__":
    print(f"hours of 10,000 trials x 120 months x 4 courses       {hours_by_month():6.2f} s   (meant: under 1 s)")
    whole, alone, curve = a_long_log()
    print(f"scenario with a log of 200,000 evenings, checked      {whole:6.2f} s   (meant: under 2 s)")
    print(f"the log read alone, and its survival with both laws   {alone:6.2f} s {curve:6.2f} s")
