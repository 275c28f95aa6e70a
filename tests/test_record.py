"""The record of a decision: read back the same, figured again the same, and every change named."""

import datetime as dt
import shutil
from pathlib import Path

import pytest
import yaml

import equipdecide as ed
from equipdecide.after import record_file as files
from equipdecide.after.record import record
from equipdecide.after.rerun import rerun
from equipdecide.evaluate import evaluate
from equipdecide.parameters import Law

ROOT = Path(__file__).parents[1]
SHIPPED = ROOT / "equipdecide" / "parameters"
SIGNED = {
    "agreed": ["Ines"],
    "dissent": "Walt: “wait until the bracket contract is settled”.",
    "revisit_on": dt.date(2027, 3, 1),
    "change_our_mind": "A quote for the kit above 60,000.",
}


@pytest.fixture(scope="module")
def shop():
    """The larger example, its record, and the text of the record's file."""
    comparison = ed.compare(ed.load(ROOT / "scenarios" / "deck_fittings.yaml"))
    made = record(comparison, "upgrade", **SIGNED)
    return comparison, made, files.text(made)


@pytest.fixture(scope="module")
def small():
    """The smallest example and its record."""
    comparison = ed.compare(ed.load(ROOT / "scenarios" / "first_sale.yaml"))
    return comparison, record(comparison, "sell and replace", agreed=["Perrin"])


@pytest.fixture
def folder(tmp_path):
    """A copy of the parameters that a test may change."""
    shutil.copytree(SHIPPED / "us", tmp_path / "us")
    return tmp_path


def changed(folder, file, old, new):
    path = folder / "us" / file
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {file}"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return Law("us", folder)


def test_a_record_reads_back_the_same(shop, tmp_path):
    _, made, text = shop
    path = files.write(made, tmp_path / "decision.yaml")
    assert files.read(path) == made
    assert files.text(files.read(path)) == text
    with pytest.raises(FileExistsError, match="not written over"):
        files.write(made, path)


def test_a_record_made_today_runs_again_to_the_same_bytes(shop, tmp_path):
    """The scenario of the record stands in no folder of ours: the log of nights comes out of the record too."""
    comparison, _, text = shop
    again = rerun(files.parse(text))
    assert again.same and not again.differences and not again.findings and not again.not_recorded
    assert [o.npv for o in again.comparison] == [o.npv for o in comparison]  # to the last bit, not only to the cent
    assert files.text(record(again.comparison, "upgrade", **SIGNED)) == text
    today = rerun(files.parse(text), "today")
    assert today.same and not today.differences


def test_what_a_record_says(shop):
    comparison, made, text = shop
    data = yaml.safe_load(text)
    assert (made.chosen, made.best, data["library"]) == ("upgrade", comparison.best, ed.__version__)
    assert made["upgrade"].npv_less_keep == round(comparison["upgrade"].npv_less_keep, 2)
    by = {guess.path: guess for guess in made.guesses}
    assert (by["improvements.kit.changes.nights.mean_between_stops"].by, by["machines.MC-1.upkeep.first_year"].by) == (
        "Walt",
        "Ines",
    )
    assert by["offers.consignment.price"].given_by == "guess" and by["offers.consignment.price"].low == 80000
    nearest = next(flip for flip in ed.breakeven(comparison.scenario) if "upgrade" in (flip.alternative, flip.against))
    assert (made.flips[0].path, made.flips[0].flip) == (nearest.path, nearest.flip)
    assert "federal/income_tax.brackets" in made.law.ids and "federal/macrs" in made.law.ids
    read = made.law.readings
    assert all(r.source.title and r.status for r in read.values())
    assert ed.loads(made.scenario_text, folder=ROOT / "scenarios") == comparison.scenario


def test_views_of_partners_are_kept_by_name():
    text = (ROOT / "scenarios" / "first_sale.yaml").read_text(encoding="utf-8")
    scenario = ed.loads(text + "guesses: {Odile: [{of: machines.sander.upkeep.growth, value: 12 %}]}\n")
    made = record(ed.compare(scenario), "keep")
    said = [guess for guess in made.guesses if guess.by == "Odile"]
    assert [(guess.path, guess.likely, guess.unit) for guess in said] == [
        ("machines.sander.upkeep.growth", 0.12, "1/year")
    ]


def test_a_comparison_of_other_figures_is_not_recorded(small):
    scenario = small[0].scenario
    with pytest.raises(ValueError, match="write them into the file"):
        record(ed.compare(scenario, {"offers.reseller.price": 30000}), "sell and replace")
    with pytest.raises(KeyError, match="no alternative 'sel'"):
        record(small[0], "sel")


def test_a_changed_rate_of_law_is_named_with_its_day_and_its_effect(shop, folder):
    """One dated value is added: half of the net earnings factor from 2028 on."""
    _, made, _ = shop
    file = "federal/self_employment.yaml"
    place = 'source: {title: "Schedule SE (2025)", place: "line 4a", read_on: 2026-11-25}'
    row = "\n    - {from: 2028-01-01, enacted: 2027-11-03, value: 0.46, status: assumption, source: {title: Invented}}"
    law = changed(folder, file, place, place + row)
    then = rerun(made, "then", law)
    assert then.same and not then.differences
    today = rerun(made, "today", law)
    (one,) = today.differences
    assert (one.id, one.on, one.from_date, one.enacted) == (
        "federal/self_employment.net_earnings_factor",
        dt.date(2028, 12, 31),
        dt.date(2028, 1, 1),
        dt.date(2027, 11, 3),
    )
    assert (one.then, one.today) == ("92.35 %", "46 %")
    # The only change: its effect alone is the whole change, and nothing is left for parameters acting together.
    assert one.effect == pytest.approx(today["upgrade"].npv - made["upgrade"].npv, abs=0.011)
    assert one.effect > 1000  # less tax on earnings of a partner who works in the business
    assert one.effect_on_lead == pytest.approx(
        today["upgrade"].npv_less_keep - made["upgrade"].npv_less_keep, abs=0.011
    )
    assert abs(today.together) <= 0.01


def test_a_changed_day_of_payment_has_the_effect_worked_by_hand(small, folder):
    """Returns are due on 15 May, not 15 April: each payment is worth less by the days it waits, at 10 % a year.

    Days by hand: 15 May 2027 and 2032 are Saturdays; 15 and 16 April fall on a weekend or on the District's
    Emancipation Day in 2028 and 2029.
    """
    comparison, made = small
    law = changed(folder, "federal/estimated_tax_days.csv", "individual,return,1,4,15", "individual,return,1,5,15")
    today = rerun(made, "today", law)
    (one,) = today.differences
    assert one.id == "federal/estimated_tax_days"
    assert "month 4 day 15" in one.then and "month 5 day 15" in one.today
    april = [
        dt.date(2027, 4, 15),
        dt.date(2028, 4, 18),
        dt.date(2029, 4, 17),
        dt.date(2030, 4, 15),
        dt.date(2031, 4, 15),
        dt.date(2032, 4, 15),
    ]
    may = [
        dt.date(2027, 5, 17),
        dt.date(2028, 5, 15),
        dt.date(2029, 5, 15),
        dt.date(2030, 5, 15),
        dt.date(2031, 5, 15),
        dt.date(2032, 5, 17),
    ]
    line = comparison["sell and replace"].line("income tax of Perrin, balance")
    assert list(line.dates) == april
    decided = dt.date(2026, 9, 28)
    by_hand = sum(
        paid * (1.10 ** (-(late - decided).days / 365) - 1.10 ** (-(early - decided).days / 365))
        for paid, early, late in zip(line.amounts(), april, may, strict=True)
    )
    assert one.effect == pytest.approx(by_hand, abs=0.01)


def test_two_changes_are_taken_apart(shop, folder):
    """The rate and the base of one tax multiply: what each does alone leaves a rest, which is named as such."""
    made = shop[1]
    file = "federal/self_employment.yaml"
    changed(folder, file, "value: 0.9235", "value: 0.5")
    law = changed(folder, file, "value: 0.124", "value: 0.062")
    today = rerun(made, "today", law)
    assert [one.id.partition(".")[2] for one in today.differences] == ["net_earnings_factor", "social_security_rate"]
    whole = today["upgrade"].npv - made["upgrade"].npv
    assert sum(one.effect for one in today.differences) + today.together == pytest.approx(whole, abs=0.03)
    assert today.together < -1  # halving both saves less than the two savings added up


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("npv_less_keep: 120", "npv_less_keep: 220", "seal"),
        ("A quote for the kit above 60,000.", "Nothing.", "seal"),
        ("cost: 177,800.00", "cost: 77,800.00", "scenario"),
        ("value: 0.124", "value: 0.142", "seal"),
    ],
)
def test_a_change_after_signing_is_seen(shop, old, new, where):
    text = shop[2]
    old = old if old in text else old.replace(".00", "")
    new = new if old in text else new.replace(".00", "")
    assert old in text
    with pytest.raises(files.RecordError) as caught:
        files.parse(text.replace(old, new, 1), "decision.yaml")
    assert where in [fault.path for fault in caught.value.faults]
    assert "changed after it was recorded" in str(caught.value)


def test_every_fault_of_a_record_at_once(shop):
    text = shop[2].replace("\ndissent:", "\ndisent:").replace("agreed:\n  - Ines\n", "agreed: Ines\n")
    with pytest.raises(files.RecordError) as caught:
        files.parse(text, "decision.yaml")
    assert {fault.path for fault in caught.value.faults} == {"dissent", "disent", "agreed"}
    line = text[: text.index("disent:")].count("\n") + 1
    assert [fault.place.line for fault in caught.value.faults if fault.path == "disent"] == [line]
    for bad in ("", "a: [", "- 1", "just words"):
        with pytest.raises(files.RecordError):
            files.parse(bad)


def test_a_record_names_what_it_does_not_hold(small):
    """A later version may read more than an old record holds: it is named, and read as known on the day of decision."""
    from dataclasses import replace

    made = small[1]
    fewer = replace(
        made,
        law=replace(
            made.law, rows={id: rows for id, rows in made.law.rows.items() if id != "federal/estimated_tax_days"}
        ),
    )
    again = rerun(fewer)
    assert again.not_recorded == ("federal/estimated_tax_days",)
    assert "does not hold" in again.findings[0]


def test_flips_are_figured_again_with_the_law_of_then_and_of_today(folder):
    """Then: the same bits. Today: each new flip is where two whole runs of the engine under that
    law are worth the same.
    """
    comparison = ed.compare(ed.load(ROOT / "scenarios" / "first_sale.yaml"))
    made = record(comparison, "sell and replace")
    assert made.flips
    again = rerun(made)
    assert again.same and again.flips == made.flips and not again.moved
    # returns due on 15 May, not 15 April: every payment of tax is worth a little less, so each flip moves a little
    law = changed(folder, "federal/estimated_tax_days.csv", "individual,return,1,4,15", "individual,return,1,5,15")
    then, today = rerun(made, "then", law), rerun(made, "today", law)
    assert then.same and not then.moved
    assert not today.same and today.moved and today.differences[0].flips == today.moved
    for flip in today.moved:  # at the new flip the two courses are worth the same under the new law, by a whole run
        at = evaluate(comparison.scenario, {flip.path: flip.now}, law=law)
        gap = at[flip.alternative].column("worth.npv").figure() - at[flip.against].column("worth.npv").figure()
        assert gap == pytest.approx(0, abs=1)
        before = evaluate(comparison.scenario, {flip.path: flip.then}, law=law)
        moved = (
            before[flip.alternative].column("worth.npv").figure() - before[flip.against].column("worth.npv").figure()
        )
        assert abs(moved) > abs(gap)  # and at the recorded one they no longer are


def test_whoever_did_not_agree_has_a_line_too(shop):
    from equipdecide.views.record_page import record_page

    page = record_page(shop[1])  # Ines agreed, Walt did not
    assert shop[1].owners == ("Ines", "Walt")
    assert "Ines, date" in page and "Walt, date: has read it" in page


def test_every_file_that_a_scenario_names_is_kept():
    made = record(ed.compare(ed.load(ROOT / "scenarios" / "more_hours.yaml")), "keep")
    comparables = (ROOT / "scenarios" / "used_lathes.csv").read_text(encoding="utf-8")
    assert made.files["used_lathes.csv"] == comparables
    again = rerun(files.parse(files.text(made)))  # its files stand as long as it does
    kept = ed.market_value(again.comparison.scenario)
    assert len(kept.comparables) == len(comparables.splitlines()) - 1
