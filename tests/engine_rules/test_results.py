"""Results in standard air and at equal weight, and the chance that a difference is noise."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from scipy import stats

from engine_rules.results import Score, chance_of_noise, not_comparable, score
from tests.engine_rules.logbooks import GOOD_RUN, run, v8

OF = v8()
AIR = {"temp_c": 20.0, "pressure_pa": 100_000.0, "humidity_pct": 40.0}


def scored(kind: str, standard: str = "", **said: Any) -> Score:
    found = score(replace(OF, power_standard=standard), run("1", OF, {**GOOD_RUN, **AIR, **said}, {}), kind)
    assert isinstance(found, Score), found
    return found


def test_the_published_j607_example() -> None:
    """Dynamometer article: 400 hp at 85 F, 85 %, 28.85 inHg and 442 hp at 55 F, 35 %, 30.10 inHg are both 440 hp."""
    hot = {"temp_c": (85 - 32) / 1.8, "humidity_pct": 85.0, "pressure_pa": 28.85 * 3386.389, "power_kw": 400 * 0.7457}
    cool = {"temp_c": (55 - 32) / 1.8, "humidity_pct": 35.0, "pressure_pa": 30.10 * 3386.389, "power_kw": 442 * 0.7457}
    powers = [math.exp(scored("power", "J607", **said).pct / 100) / 0.7457 for said in (hot, cool)]
    assert powers == pytest.approx([440.0, 440.0], abs=0.6)


def test_speed_and_elapsed_time_stand_for_the_same_power() -> None:
    """Cube root laws (Fox): the same change of power moves both scores alike."""
    speed = scored("speed", speed_m_s=58.0 * 1.01).pct - scored("speed", speed_m_s=58.0).pct
    elapsed = scored("elapsed time", et_s=10.0 / 1.01).pct - scored("elapsed time", et_s=10.0).pct
    assert speed == pytest.approx(elapsed) == pytest.approx(300 * math.log(1.01))


def test_weight_counts_as_power() -> None:
    light, heavy = (scored("speed", speed_m_s=58.0, weight_kg=kg) for kg in (1400.0, 1428.0))
    assert heavy.pct - light.pct == pytest.approx(100 * math.log(1.02))


def test_a_result_in_its_own_unit() -> None:
    one = scored("speed", speed_m_s=60.0)
    assert one.in_its_unit(3.0) == pytest.approx(0.6)
    assert scored("elapsed time", et_s=10.0).in_its_unit(3.0) == pytest.approx(-0.1)


def test_what_cannot_be_compared() -> None:
    plain = scored("speed", speed_m_s=58.0)
    assert not_comparable(plain, plain, 10.0) == ""
    weighed = scored("speed", speed_m_s=58.0, weight_kg=1400.0)
    assert "weight was logged for one" in not_comparable(plain, weighed, 10.0)
    thin = scored("speed", speed_m_s=58.0, pressure_pa=85_000.0)
    assert "the air differs by -16 %" in not_comparable(plain, thin, 10.0)
    lacking = score(OF, run("2", OF, {**GOOD_RUN, "speed_m_s": 58.0}, {}), "speed")
    assert not_comparable(plain, lacking, 10.0) == "the air of run 2 was not logged in full"
    assert isinstance(score(OF, run("3", OF, GOOD_RUN, {}), "power"), str)


def test_students_sleep_data() -> None:
    """R documentation: t -1.8608 on 18 degrees of freedom, p 0.07919; paired t -4.0621 on 9, p 0.002833."""
    assert chance_of_noise(-1.8608, 18) == pytest.approx(0.07919, abs=5e-6)
    assert chance_of_noise(-4.0621, 9) == pytest.approx(0.002833, abs=5e-7)


def test_the_chance_of_noise_against_scipy() -> None:
    for freedom in (*range(1, 20), 60, 327):
        for t in (0.0, 0.3, 1.0, 2.5, 12.0):
            assert chance_of_noise(t, freedom) == pytest.approx(2 * stats.t.sf(t, freedom), abs=1e-12)
