"""What a notebook hands to a verb by mistake is answered in words."""

from pathlib import Path

import pytest

import equipdecide as ed

FILE = Path(__file__).parents[1] / "scenarios" / "first_sale.yaml"


@pytest.mark.parametrize(
    ("verb", "given", "said"),
    [
        (ed.compare, None, "equipdecide.compare takes a scenario, such as .*; what was given is None"),
        (ed.sale, str(FILE), "equipdecide.sale takes a scenario, such as .*; what was given is of the kind str"),
        (ed.hours, 7, "what was given is of the kind int"),
    ],
)
def test_a_verb_says_what_it_takes(verb, given, said):
    with pytest.raises(TypeError, match=said):
        verb(given)


def test_a_page_is_made_of_a_comparison_not_of_a_scenario(tmp_path):
    with pytest.raises(TypeError, match="takes a comparison, such as .*; what was given is of the kind Scenario"):
        ed.brief(ed.load(FILE), tmp_path / "brief.html")


def test_a_verb_keeps_its_name_and_its_words():
    assert ed.sale.__name__ == "sale" and "by every offer on file" in (ed.sale.__doc__ or "")
    assert ed.compare(scenario=ed.load(FILE))["keep"].name == "keep"
