"""What is asked of trials by a form: words that stand for one number alone."""

import pytest
from pydantic import ValidationError

from underlid.web.asked import PlanForm, words_of


def form(margin: str) -> PlanForm:
    return PlanForm.model_validate({"claim": "no-feeding", "bins": ["north"], "margin": margin})


@pytest.mark.parametrize(("words", "margin"), [("0,2", 0.2), (" 0.25 ", 0.25), ("1,2500", 1.25), ("", None)])
def test_a_decimal_comma_is_one(words: str, margin: float | None) -> None:
    assert form(words).asked().margin == margin


def test_a_comma_that_may_part_thousands_is_refused() -> None:
    with pytest.raises(ValidationError) as refused:
        form("1,000").asked()
    assert words_of(refused.value) == "The smallest effect “1,000” is no plain number: write it as “0.2”."
