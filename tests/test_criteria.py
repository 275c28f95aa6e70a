"""Gates and criteria: money stays outside, partners stay apart, the nearest flip by hand, rank reversal left out."""

from pathlib import Path

import pytest

import equipdecide as ed
from equipdecide.decide.criteria import nearest_flip, pairwise, score

SCENARIOS = Path(__file__).parents[1] / "scenarios"
ROUTER = (SCENARIOS / "hollinmere_router.yaml").read_text(encoding="utf-8")

# Noise 86 to 78 dBA (less is better), floor left free 10 to 30 square metres.
CRITERIA = """
criteria:
  noise at the operator:
    worst: 86
    best: 78
    values: {keep: 86, add the loader: 84, new cell: 78}
    weights: {Ada: 70, Lorenz: 20}
  floor left free:
    worst: 10
    best: 30
    values: {keep: 30, add the loader: 25, new cell: 10}
    weights: {Ada: 30, Lorenz: 80}
gates:
  may start by itself: {keep: yes, add the loader: yes, new cell: yes}
"""


def compared(extra=CRITERIA):
    return ed.compare(ed.loads(ROUTER + extra))


def test_two_partners_by_hand():
    """Ada: keep 0.30, loader 0.7 x 0.25 + 0.3 x 0.75 = 0.40, cell 0.70. Lorenz: keep 0.80, loader 0.65, cell 0.20."""
    found = ed.weigh(compared())
    ada, lorenz = found["Ada"], found["Lorenz"]
    assert ada.scores == pytest.approx({"keep": 0.30, "add the loader": 0.40, "new cell": 0.70})
    assert lorenz.scores == pytest.approx({"keep": 0.80, "add the loader": 0.65, "new cell": 0.20})
    assert (ada.best, lorenz.best) == ("new cell", "keep")
    assert len(found.views) == 2  # nobody is averaged


def test_the_exchange_rate():
    """Ada's new cell gives up loader - cell of present worth for 0.30 of score: so much for each of 30 points."""
    comparison = compared()
    found = ed.weigh(comparison)["Ada"].exchange
    gap = comparison["add the loader"].npv - comparison["new cell"].npv
    assert (found.by_money, found.by_score) == ("add the loader", "new cell")
    assert found.worth_given_up == pytest.approx(gap)
    assert found.per_point == pytest.approx(gap / 30)


def test_the_nearest_flip_by_hand():
    """Ada's weight of noise w: cell w, loader 0.75 - 0.5 w, keep 1 - w. The cell loses to both at w = 0.5."""
    flip = ed.weigh(compared())["Ada"].flip
    assert flip is not None
    assert (flip.first, flip.weight, flip.needed) in (
        ("new cell", pytest.approx(0.7), pytest.approx(0.5)),
        ("new cell", pytest.approx(0.3), pytest.approx(0.5)),
    )


def test_flip_of_three_criteria():
    """At the needed weight, the others in proportion, the two are equal."""
    scores = {"a": {"x": 1.0, "y": 0.2, "z": 0.4}, "b": {"x": 0.1, "y": 0.9, "z": 0.8}}
    weights = {"x": 0.6, "y": 0.3, "z": 0.1}
    flip = nearest_flip(scores, weights)
    assert flip is not None
    rest = (1 - flip.needed) / (1 - weights[flip.criterion])
    moved = {c: flip.needed if c == flip.criterion else w * rest for c, w in weights.items()}
    totals = [sum(moved[c] * row[c] for c in moved) for row in scores.values()]
    assert totals[0] == pytest.approx(totals[1])
    for criterion in weights:  # none is nearer
        steps = [k / 1000 for k in range(1001)]
        for w in steps:
            if abs(w - weights[criterion]) < abs(flip.needed - flip.weight) - 2e-3:
                other = {c: w if c == criterion else v * (1 - w) / (1 - weights[criterion]) for c, v in weights.items()}
                assert sum(other[c] * scores["a"][c] for c in other) >= sum(other[c] * scores["b"][c] for c in other)


def test_no_flip_where_one_is_better_in_everything():
    assert nearest_flip({"a": {"x": 1.0, "y": 1.0}, "b": {"x": 0.1, "y": 0.9}}, {"x": 0.5, "y": 0.5}) is None


def test_a_useless_course_changes_no_score():
    """Ranges are stated, not taken from the courses, so a further course cannot turn the order."""
    extra = CRITERIA.replace("new cell: 78}", "new cell: 78, do nothing else: 86}").replace(
        "new cell: 10}", "new cell: 10, do nothing else: 10}"
    )
    with_copy = ed.weigh(
        ed.compare(
            ed.loads(
                ROUTER.replace("  new cell:\n    - {do: buy", "  do nothing else: []\n  new cell:\n    - {do: buy")
                + extra
            )
        )
    )
    before = ed.weigh(compared())
    for view in before.views:
        for course, value in view.scores.items():
            assert with_copy[view.partner].scores[course] == pytest.approx(value)


def test_a_gate_takes_a_course_out():
    comparison = compared(
        CRITERIA.replace(
            "may start by itself: {keep: yes, add the loader: yes",
            "may start by itself: {keep: yes, add the loader: no",
        )
    )
    assert comparison["add the loader"].failed_gates == ("may start by itself",)
    assert comparison.best == "new cell"
    assert comparison.best_ignoring_cash == "add the loader"
    found = ed.weigh(comparison)
    assert "add the loader" not in found["Ada"].scores
    assert found.gates["add the loader"] == ("may start by itself",)


def test_cautions():
    alike = CRITERIA.replace(
        "{keep: 86, add the loader: 84, new cell: 78}", "{keep: 80, add the loader: 80, new cell: 80}"
    )
    assert "no_difference" in [finding.code for finding in ed.weigh(compared(alike)).findings]
    beyond = CRITERIA.replace("keep: 86, add", "keep: 90, add")
    assert "outside_range" in [finding.code for finding in ed.weigh(compared(beyond)).findings]
    with pytest.raises(ValueError, match="no criteria"):
        ed.weigh(compared(""))
    with pytest.raises(ValueError, match="says nothing"):
        score(1.0, 2.0, 2.0)


def test_faults_of_the_file_all_at_once():
    wrong = (
        CRITERIA.replace("new cell: 78}", "new sell: 78}")
        .replace("worst: 10", "worst: 30")
        .replace("new cell: yes}", "nw cell: yes}")
    )
    with pytest.raises(ed.ScenarioError) as caught:
        ed.loads(ROUTER + wrong)
    said = str(caught.value)
    assert "no course is named 'new sell'" in said
    assert "'noise at the operator' has no value for new cell" in said
    assert "worst and best of 'floor left free' are the same" in said
    assert "no course is named 'nw cell'" in said


def test_pairwise_faults():
    with pytest.raises(ValueError, match="not reciprocal"):
        pairwise([[1, 2], [2, 1]])
    with pytest.raises(ValueError, match="square"):
        pairwise([[1, 2, 3], [1, 1, 1]])
    assert pairwise([[1, 4], [0.25, 1]]).weights == pytest.approx((0.8, 0.2))
