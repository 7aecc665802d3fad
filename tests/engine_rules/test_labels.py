"""Labels as racers and spreadsheets write them."""

import pytest

from engine_rules.labels import label_key


@pytest.mark.parametrize("written", ["72", 72, 72.0, " 72 ", "#72", "072", "72.0", "7 2", "72.00"])
def test_one_number_one_key(written):
    assert label_key(written) == "72"


@pytest.mark.parametrize(("one", "other"), [("B7–X", "b7 - x"), ("100", "1e2"), ("72.5", 72.5), ("0.072", ".072")])
def test_same_label(one, other):
    assert label_key(one) == label_key(other)


@pytest.mark.parametrize(
    ("one", "other"), [("72", "72A"), ("72", "7.2"), ("70", "700"), ("B7-X", "B7X"), ("nan", "inf")]
)
def test_other_label(one, other):
    assert label_key(one) != label_key(other)


@pytest.mark.parametrize("empty", ["", "  ", "#", True])
def test_no_label(empty):
    with pytest.raises(ValueError, match="label"):
        label_key(empty)
