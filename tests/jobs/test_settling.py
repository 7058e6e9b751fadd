"""Parameters as Python people give them: numbers of numpy, tables of pandas, names that are missing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from hillsight.errors import CallError
from hillsight.jobs.scene import direction_deg
from hillsight.jobs.settling import a_direction, a_place


@pytest.mark.parametrize("degrees", [45, 45.0, np.float64(45), np.float32(45), np.int64(45), "45"])
def test_a_direction_may_be_any_number(degrees):
    assert direction_deg(a_direction("looks", degrees)) == 45.0


@pytest.mark.parametrize("nonsense", [True, np.bool_(True), [45]])
def test_what_is_no_direction_is_refused(nonsense):
    with pytest.raises(CallError, match="not a text") as error:
        a_direction("looks", nonsense)
    assert error.value.parameters == ("looks",)


@pytest.mark.parametrize("missing", [None, float("nan"), np.nan, pd.NA, pd.NaT])
def test_a_place_whose_name_is_missing_has_no_name(missing):
    assert a_place("at", (300_000, np.float64(700_000), missing)) == "300000.0,700000.0"
    assert a_place("at", (300_000, 700_000, "nan")) == "300000.0,700000.0,nan"
