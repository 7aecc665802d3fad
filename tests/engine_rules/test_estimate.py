"""The estimate: against a joint Gaussian built another way, and what must hold whatever was read."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine_rules.conditioning import joint_model
from engine_rules.estimate import Estimate, estimate
from engine_rules.looks import Look, gains_from
from engine_rules.targets import default_targets
from engine_rules.words import word_lists
from tests.engine_rules.logbooks import engine, good_set, logbook, run, v8

T = default_targets()
V8 = v8(fuel="unleaded gasoline")
UNHEARD = T.overridden({"prior.set_aside_sd": 6.0, "egt.rich_side_pct": -13.0})


def read(plugs: dict[int, dict[str, Any]], of: Any = V8, targets: Any = T, bank: Any = None, **more: Any) -> Estimate:
    """The estimate from one run with these plugs."""
    one = run("1", of, {"bank_lambda": bank or {}}, plugs)
    return estimate(logbook(of, one, targets=targets), one, **more)


# -- against a joint Gaussian built another way


class Joint:
    """Everything random as one vector (common and own errors, heat, level, noises); readings in their own units."""

    def __init__(self, cylinders: int) -> None:
        self.count = cylinders
        t = T
        self.sources = [t["prior.mixture_common_pct"], *[t["prior.mixture_own_pct"]] * cylinders]
        self.sources += [t["prior.timing_common_deg"], *[t["prior.timing_own_deg"]] * cylinders]
        self.sources += [t["strap.heat_steps_sd"], t["egt.offset_sd_k"]]
        self.rows: list[dict[int, float]] = []
        self.surprises: list[float] = []

    def mixture(self, at: int, by: float = 1.0) -> dict[int, float]:
        return {0: by, 1 + at: by}

    def timing(self, at: int, by: float = 1.0) -> dict[int, float]:
        return {self.count + 1: by, self.count + 2 + at: by}

    def add(self, surprise: float, noise: float, *parts: dict[int, float]) -> None:
        row: dict[int, float] = {}
        for part in parts:
            for source, by in part.items():
                row[source] = row.get(source, 0.0) + by
        self.sources.append(noise)
        row[len(self.sources) - 1] = 1.0
        self.rows.append(row)
        self.surprises.append(surprise)

    def conditional(self, leave_out: tuple[int, ...] = ()) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of the 2N errors given the readings: the Schur complement, in the textbook's words."""
        wanted = [self.mixture(at) for at in range(self.count)] + [self.timing(at) for at in range(self.count)]
        rows = [row for at, row in enumerate(self.rows) if at not in leave_out]
        told = np.array([one for at, one in enumerate(self.surprises) if at not in leave_out])
        matrix = np.zeros((len(wanted) + len(rows), len(self.sources)))
        for at, row in enumerate([*wanted, *rows]):
            for source, by in row.items():
                matrix[at, source] = by
        joint = matrix @ np.diag(np.square(self.sources)) @ matrix.T
        n = len(wanted)
        across = joint[:n, n:] @ np.linalg.inv(joint[n:, n:])
        return across @ told, joint[:n, :n] - across @ joint[n:, :n]


HEAT = {"B": 1.0, "C": 0.0, "D": -1.0}


def add_plugs(joint: Joint, plugs: dict[int, dict[str, Any]], noise: float = 1.0) -> None:
    """The readings of these plugs, measured ones only; plug C must be the most common."""
    level = float(np.median([seen["egt_c"] for seen in plugs.values() if "egt_c" in seen] or [0.0]))
    heat, offset = 2 * joint.count + 2, 2 * joint.count + 3
    for number, seen in plugs.items():
        at = number - 1
        if "ring" in seen:
            mean, sd = T["ring.target_mm"], T["ring.noise_measured_mm"] * noise
            joint.add(seen["ring"] - mean, sd, joint.mixture(at, T["ring.mm_per_pct"]))
        if "shell_ring" in seen:
            mean, sd = T["shell_ring.target_turns"], T["shell_ring.noise_turns"] * noise
            joint.add(seen["shell_ring"] - mean, sd, joint.mixture(at, T["shell_ring.turns_per_pct"]))
        if "strap_mark" in seen:
            step = T["strap.share_per_heat_step"]
            mean = T["strap.target_short"] + step * HEAT[seen.get("plug", "C")]
            parts = joint.timing(at, T["strap.share_per_deg"]), joint.mixture(at, T["strap.share_per_pct"])
            joint.add(seen["strap_mark"] - mean, T["strap.noise_measured"] * noise, *parts, {heat: step})
        if "egt_c" in seen:
            parts = joint.mixture(at, T["egt.k_per_pct"]), joint.timing(at, T["egt.k_per_deg"])
            joint.add(seen["egt_c"] - level, T["egt.noise_k"], *parts, {offset: 1.0})
        if "lambda_ratio" in seen:
            target = T["lambda.target_unleaded_gasoline"]
            joint.add(
                100.0 * (target / seen["lambda_ratio"] - 1.0), 100.0 * T["lambda.noise"] / target, joint.mixture(at)
            )


def drawn_set(rng: np.random.Generator) -> dict[int, dict[str, Any]]:
    """A set as the model would make it: some readings on some cylinders, a probe only beside another sign."""
    common, common_deg, level = rng.normal(0, 2), rng.normal(0, 2), rng.normal(700, 60)
    share = dict(zip(("ring", "shell_ring", "strap_mark", "egt_c", "lambda_ratio"), rng.uniform(0, 1, 5), strict=True))
    plugs: dict[int, dict[str, Any]] = {}
    for number in V8.numbers:
        m, s = common + rng.normal(0, 2), common_deg + rng.normal(0, 1)
        plug = "B" if number == 3 else "D" if number == 6 else "C"
        step = 0.07 * HEAT[plug]
        full = {
            "ring": 0.8 + 0.13 * m + rng.normal(0, 0.2),
            "shell_ring": 0.95 + 0.07 * m + rng.normal(0, 0.2),
            "strap_mark": 0.52 + 0.07 * s - 0.012 * m + step + rng.normal(0, 0.05),
            "lambda_ratio": 0.87 * (1 - m / 100) + rng.normal(0, 0.015),
            "egt_c": level - 5.8 * m - 4.0 * s + rng.normal(0, 12),
        }
        seen: dict[str, Any] = {key: float(full[key]) for key in full if rng.random() < share[key]}
        if not seen.keys() & {"ring", "shell_ring", "lambda_ratio"}:
            seen.pop("egt_c", None)
        plugs[number] = {"plug": plug, **seen}
    return plugs


@pytest.mark.parametrize("seed", range(60))
def test_is_the_exact_conditional(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plugs, noise = drawn_set(rng), float(rng.choice([1.0, 1.6]))
    joint = Joint(8)
    add_plugs(joint, plugs, noise)
    mean, covariance = joint.conditional()
    found = read(plugs, targets=UNHEARD, noise_factor=noise)
    assert found.set_aside == () and found.notes == ()
    assert found.mean == pytest.approx(mean, abs=1e-8)
    assert found.covariance == pytest.approx(covariance, abs=1e-8)
    assert found.common_mixture_pct == pytest.approx(mean[:8].mean())
    assert found.common_timing_sd == pytest.approx(np.sqrt(covariance[8:, 8:].mean()))
    third = found.cylinder(3)
    look = np.eye(8)[2] - 1 / 8
    assert third.own_mixture_pct == pytest.approx(look @ mean[:8], abs=1e-8)
    assert third.own_timing_sd == pytest.approx(np.sqrt(look @ covariance[8:, 8:] @ look), abs=1e-8)


def bank_look(joint: Joint, ratio: float) -> None:
    """The lambda of the left bank: cylinders 1, 3, 5, 7."""
    target = T["lambda.target_unleaded_gasoline"]
    parts = [joint.mixture(at, 0.25) for at in (0, 2, 4, 6)]
    joint.add(100.0 * (target / ratio - 1.0), 100.0 * T["lambda.noise"] / target, *parts)


def test_lambda_of_a_bank_looks_at_its_mean() -> None:
    joint = Joint(8)
    bank_look(joint, 0.90)
    mean, covariance = joint.conditional()
    found = read({}, bank={"L": 0.90})
    assert found.mean == pytest.approx(mean) and found.covariance == pytest.approx(covariance)
    assert found.mixture_witnesses[3] == ("bank_lambda",) and found.mixture_witnesses[4] == ()


def test_beside_a_banks_lambda_each_cylinder_does_without_its_neighbours_rings() -> None:
    plugs = {number: {"ring": 0.8 + 0.1 * number} for number in V8.numbers}
    joint = Joint(8)
    add_plugs(joint, plugs)
    bank_look(joint, 0.86)
    found = read(plugs, bank={"L": 0.86})
    for at in (0, 2, 4, 6):
        mean, covariance = joint.conditional(leave_out=tuple({0, 2, 4, 6} - {at}))
        assert found.mean[at] == pytest.approx(mean[at]) and found.covariance[at, at] == pytest.approx(
            covariance[at, at]
        )
    exact = joint.conditional()[1]
    assert (np.linalg.eigvalsh(found.covariance) > 0).all()
    assert (np.diag(found.covariance) >= np.diag(exact) - 1e-12).all()


def test_every_bank_of_an_inline_engine_is_the_whole_engine() -> None:
    four = engine(
        {n: ("", n) for n in range(1, 5)}, (1, 3, 4, 2), arrangement="inline", fuel="methanol", manifold="other"
    )
    found = read({}, of=four, bank={"R": 0.70})
    assert np.ptp(found.mean[:4]) == pytest.approx(0.0, abs=1e-9)
    assert found.mean[0] > 5.0


def generic_look(value: float, sd: float, *row: float) -> Look:
    return Look("mixture", "ring", 1, (1,), value, sd, np.array([*row, 0.0, 0.0]), "", None)


def solved(looks: list[Look], prior: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    whole = np.eye(len(prior) + 2)
    whole[: len(prior), : len(prior)] = prior
    model = joint_model(tuple(looks), whole, np.zeros(len(whole) - 2))
    free = np.zeros(len(looks), dtype=bool)
    weights = model.best_weights(model.cross, ~free, free)
    return weights @ model.values, model.error_covariance(weights)


def test_two_measures_of_one_thing_are_weighed_by_inverse_variance() -> None:
    mean, covariance = solved([generic_look(10.0, 0.1, 1, 0), generic_look(10.6, 0.2, 1, 0)], 1e7 * np.eye(2))
    assert mean[0] == pytest.approx(10.12, abs=1e-5)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.0894427, abs=1e-5)


def test_conjugate_normal_regression() -> None:
    # Posterior of a line with prior mean (0, 1), variance (100, 1); equals least squares with the prior as more rows.
    y = (1.0, 2.1, 2.9, 4.2, 4.8)
    mean, covariance = solved([generic_look(y[x] - x, 0.2, 1, x) for x in range(5)], np.diag([100.0, 1.0]))
    assert mean == pytest.approx([1.05950735, 0.97020394 - 1.0], abs=1e-8)
    assert covariance == pytest.approx(np.array([[0.02393053, -0.00796622], [-0.00796622, 0.00398343]]), abs=1e-8)


def test_weighted_line() -> None:
    data = zip(range(1, 6), (2.1, 3.9, 6.2, 7.8, 10.1), (0.1, 0.1, 0.2, 0.2, 0.4), strict=True)
    mean, covariance = solved([generic_look(y, sigma, 1, x) for x, y, sigma in data], 1e7 * np.eye(2))
    assert mean == pytest.approx([0.09457701, 1.95336226], abs=1e-6)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.13336948, 0.05964465], abs=1e-6)


# -- what was read, and what was not


def test_nothing_read_leaves_the_prior() -> None:
    found = read({})
    assert not found.mean.any()
    assert found.cylinder(1).mixture_sd == pytest.approx(np.hypot(6.0, 4.0))
    assert found.cylinder(1).contributions == () and found.set_aside == ()
    assert set(found.mixture_witnesses.values()) == set(found.timing_witnesses.values()) == {()}


def test_one_plug_alone_speaks_for_the_others_with_a_wider_spread() -> None:
    found = read({3: {"ring": "none", "strap_mark": "at weld"}})
    own, other = found.cylinder(3), found.cylinder(4)
    assert own.mixture_pct < other.mixture_pct < -0.5
    assert own.timing_deg > other.timing_deg > 0.5
    assert own.mixture_sd < other.mixture_sd < np.hypot(6.0, 4.0)
    assert found.mixture_witnesses[4] == () and found.timing_witnesses[3] == ("strap_mark",)


@pytest.mark.parametrize("fuel", ["methanol", "E85"])
def test_no_ring_on_alcohol_is_not_lean(fuel: str) -> None:
    found = read({3: {"ring": "none"}, 4: {"ring": "heavy"}}, of=v8(fuel=fuel))
    assert not found.mean.any()
    assert [(one[0], one[1], str(one[2])) for one in found.does_not_apply] == [
        (3, "ring", "Readings!D2"),
        (4, "ring", "Readings!D3"),
    ]


def test_the_shell_ring_is_read_on_methanol_but_not_on_e85() -> None:
    assert read({3: {"shell_ring": "half"}}, of=v8(fuel="methanol")).cylinder(3).mixture_pct < -2.0
    on_e85 = read({3: {"shell_ring": "half"}}, of=v8(fuel="E85"))
    assert not on_e85.mean.any() and on_e85.does_not_apply[0][1] == "shell_ring"


def test_a_measure_counts_more_than_a_word_and_a_sure_word_more_than_a_note() -> None:
    measured, worded = read({1: {"ring": 1.6}}).cylinder(1), read({1: {"ring": "wide"}}).cylinder(1)
    assert measured.mixture_pct > worded.mixture_pct > 0.0
    one = run("1", V8, {}, {1: {"ring": "wide"}})
    unsure = replace(one.readings[0], signs=(replace(one.readings[0].signs[0], certainty=0.5),))
    half = replace(one, readings=(unsure,))
    assert worded.mixture_pct > estimate(logbook(V8, half), half).cylinder(1).mixture_pct > 0.0
    assert worded.mixture_sd < read({1: {"ring": "wide"}}, noise_factor=1.6).cylinder(1).mixture_sd


def test_leaded_fuel_widens_lambda() -> None:
    leaded = read({1: {"lambda_ratio": 0.8}}, of=v8(fuel="leaded gasoline"))
    assert leaded.cylinder(1).mixture_sd > read({1: {"lambda_ratio": 0.8}}).cylinder(1).mixture_sd


def test_a_hotter_plug_carries_its_own_mark() -> None:
    plugs = good_set(V8, strap_mark="at bend") | {3: {"strap_mark": 0.57, "plug": "B"}, 6: {"strap_mark": 0.57}}
    found = read(plugs)
    assert found.cylinder(3).timing_deg == pytest.approx(found.cylinder(1).timing_deg, abs=0.1)
    assert found.cylinder(6).timing_deg > found.cylinder(1).timing_deg + 0.3


def test_disregarded_readings_are_as_if_blank() -> None:
    seen = good_set(V8, egt_c=700.0, lambda_ratio=0.87)
    odd = seen | {
        3: {"ring": "heavy", "strap_mark": "at weld", "egt_c": 500.0, "lambda_ratio": 0.6, "shell_ring": "half"}
    }
    kinds = ("ring", "strap_mark", "egt", "lambda", "shell_ring")
    without = read(odd, disregard={(3, kind) for kind in kinds})
    assert without.mean == pytest.approx(read({n: plug for n, plug in seen.items() if n != 3}).mean)
    assert without.mixture_witnesses[3] == () and without.set_aside == ()
    assert not read({}, bank={"L": 0.8}, disregard={(3, "lambda")}).mean.any()


def test_learned_gains_take_the_place_of_those_of_the_targets() -> None:
    gains = replace(gains_from(T), ring_mm_per_pct=0.26)
    assert (
        read({1: {"ring": 1.6}}, gains=gains).cylinder(1).mixture_pct < read({1: {"ring": 1.6}}).cylinder(1).mixture_pct
    )


def test_lambda_that_cannot_be_is_left_out_and_said() -> None:
    found = read({1: {"lambda_ratio": 0.0}})
    assert not found.mean.any() and "lambda" in found.notes[0].text and str(found.notes[0].cell) == "Readings!M2"


# -- set aside, bounded


def test_a_reading_that_the_others_do_not_explain_is_named_and_bounded() -> None:
    found = read(good_set(V8) | {5: {"ring": "all over", "strap_mark": "at bend"}})
    assert [(one.cylinder, one.cell) for one in found.set_aside] == [(5, "Readings!D6")]
    assert "Ring all over on cylinder 5 means +25 % fuel" in found.set_aside[0].reason
    # Beyond the bound a still wider ring says no more.
    more, most = (read(good_set(V8) | {5: {"ring": mm, "strap_mark": "at bend"}}) for mm in (5.0, 9.0))
    assert more.mean == pytest.approx(most.mean, abs=1e-6)


@pytest.mark.parametrize(("wild", "said"), [(7000.0, "above"), (20.0, "below")])
def test_one_wild_probe_is_only_ever_read_to_the_safe_side(wild: float, said: str) -> None:
    calm = good_set(V8, egt_c=700.0)
    blank = read(calm | {2: {key: value for key, value in calm[2].items() if key != "egt_c"}})
    typed = read(calm | {2: {**calm[2], "egt_c": wild}})
    assert [one.cylinder for one in typed.set_aside] == [2]
    assert f"{said} what the other probes" in typed.set_aside[0].reason
    moved = typed.mean - blank.mean
    assert (moved[:8] <= 0.1).all() and (moved[8:] >= -0.1).all()
    assert np.abs(moved).max() < 8.0
    assert [str(note.cell) for note in typed.notes] == (["Readings!L3"] if wild < 700.0 else [])


def test_a_mark_far_from_the_others_is_set_aside() -> None:
    found = read(good_set(V8, strap_mark="short of bend") | {7: {"strap_mark": "at weld"}})
    assert [one.cylinder for one in found.set_aside] == [7] and "timing" in found.set_aside[0].reason


# -- exhaust temperature on both sides of stoichiometric


def test_a_cold_probe_alone_is_not_rich_and_a_hot_one_is_lean() -> None:
    seen = {number: {"egt_c": 700.0} for number in V8.numbers}
    cold = read(seen | {4: {"egt_c": 640.0}})
    assert cold.cylinder(4).mixture_pct <= 0.0
    assert cold.notes and "not read as rich" in cold.notes[0].text and cold.notes[0].cell is not None
    assert read(seen | {4: {"egt_c": 760.0}}).cylinder(4).mixture_pct < -1.0


def test_a_cold_probe_on_a_very_lean_cylinder_is_not_rich() -> None:
    seen = good_set(V8, egt_c=700.0, lambda_ratio=0.87)
    lean = seen | {4: {"ring": "none", "lambda_ratio": 1.02, "egt_c": 640.0}}
    without = {n: {k: v for k, v in plug.items() if (n, k) != (4, "egt_c")} for n, plug in lean.items()}
    assert read(lean).cylinder(4).mixture_pct <= read(without).cylinder(4).mixture_pct + 1e-9
    assert "very lean" in read(lean).notes[0].text
    rich = seen | {4: {"ring": "wide", "lambda_ratio": 0.83, "egt_c": 660.0}}
    assert (
        read(rich).cylinder(4).mixture_pct
        > read({**rich, 4: {"ring": "wide", "lambda_ratio": 0.83}}).cylinder(4).mixture_pct
    )


def test_a_probe_alone_counts_less() -> None:
    beside = read({n: {"egt_c": 700.0 + 40.0 * (n == 4), "ring": "thin line"} for n in V8.numbers})
    alone = read(
        {n: {"egt_c": 700.0 + 40.0 * (n == 4)} | ({"ring": "thin line"} if n != 4 else {}) for n in V8.numbers}
    )
    assert alone.cylinder(4).mixture_sd > beside.cylinder(4).mixture_sd + 0.5


# -- what must hold whatever was read

WORDS = {kind: list(word_lists()[kind].amounts) for kind in ("ring", "shell_ring", "strap_mark")}
SEEN = st.fixed_dictionaries(
    {"plug": st.sampled_from("BCD")},
    optional={kind: st.sampled_from(words) for kind, words in WORDS.items()}
    | {"egt_c": st.integers(450, 1000).map(float), "lambda_ratio": st.sampled_from([0.65, 0.78, 0.85, 0.9, 1.0, 1.2])},
)
SETS = st.dictionaries(st.integers(1, 8), SEEN, min_size=1, max_size=8)
BANKS = st.dictionaries(st.sampled_from("LR"), st.sampled_from([0.7, 0.8, 0.87, 1.0]))
FUELS = st.sampled_from([v8(fuel=fuel) for fuel in ("leaded gasoline", "unleaded gasoline", "methanol")])
TARGETS = st.sampled_from(
    [T, T.overridden({"prior.mixture_own_pct": 15.0, "strap.heat_steps_sd": 2.0}),
     T.overridden({"strap.share_per_pct": -0.05, "egt.k_per_deg": -12.0, "lambda.noise": 0.003, "egt.noise_k": 3.0})]
)  # fmt: skip


@given(SETS, BANKS, FUELS, TARGETS, st.data())
@settings(max_examples=300, deadline=None)
def test_leaner_never_makes_any_cylinder_richer(
    plugs: Any, bank: Any, of: Any, targets: Any, data: st.DataObject
) -> None:
    cylinder = data.draw(st.sampled_from(sorted(plugs)))
    kind = data.draw(st.sampled_from(["ring", "shell_ring", "lambda_ratio"]))
    if kind == "lambda_ratio":
        pair = sorted(data.draw(st.tuples(st.floats(0.6, 1.3), st.floats(0.6, 1.3))), reverse=True)
    else:
        pair = sorted(data.draw(st.tuples(*[st.sampled_from(WORDS[kind])] * 2)), key=WORDS[kind].index)
    lean, rich = (read(plugs | {cylinder: {**plugs[cylinder], kind: one}}, of, targets, bank) for one in pair)
    assert (lean.mean[:8] <= rich.mean[:8] + 1e-6).all()


def test_a_richer_ring_beside_a_wild_probe_makes_no_neighbour_leaner() -> None:
    """A probe that is doubted on the very lean side alone must not shut out the doubt of another one."""
    targets = T.overridden(
        {"strap.share_per_pct": -0.05, "egt.k_per_deg": -12.0, "lambda.noise": 0.003, "egt.noise_k": 3.0}
    )
    plugs = {
        2: {"shell_ring": "three quarters", "strap_mark": "at weld", "lambda_ratio": 1.2, "egt_c": 701.0},
        3: {"ring": "none", "lambda_ratio": 0.65, "egt_c": 473.0},
        6: {"ring": "thin line", "lambda_ratio": 0.85, "egt_c": 452.0},
        7: {"egt_c": 549.0},
    }
    of = v8(fuel="leaded gasoline")
    lean, rich = (read(plugs | {1: {"ring": ring}}, of, targets, {"L": 1.0}) for ring in ("none", "trace"))
    assert (lean.mean[:8] <= rich.mean[:8] + 1e-6).all()


@given(SETS, BANKS, FUELS, TARGETS, st.data())
@settings(max_examples=300, deadline=None)
def test_a_longer_mark_never_makes_any_timing_later(
    plugs: Any, bank: Any, of: Any, targets: Any, data: st.DataObject
) -> None:
    cylinder = data.draw(st.sampled_from(sorted(plugs)))
    pair = sorted(data.draw(st.tuples(*[st.sampled_from(WORDS["strap_mark"])] * 2)), key=WORDS["strap_mark"].index)
    short, long = (read(plugs | {cylinder: {**plugs[cylinder], "strap_mark": one}}, of, targets, bank) for one in pair)
    assert (short.mean[8:] <= long.mean[8:] + 1e-6).all()


def test_over_the_whole_grid_of_words() -> None:
    for strap in WORDS["strap_mark"]:
        for shell in WORDS["shell_ring"]:
            means = [
                read(good_set(V8) | {5: {"ring": ring, "shell_ring": shell, "strap_mark": strap}}).mean
                for ring in WORDS["ring"]
            ]
            assert (np.diff([mean[:8] for mean in means], axis=0) >= -1e-9).all()
    for ring in WORDS["ring"]:
        means = [read(good_set(V8) | {5: {"ring": ring, "strap_mark": strap}}).mean for strap in WORDS["strap_mark"]]
        assert (np.diff([mean[8:] for mean in means], axis=0) >= -1e-9).all()


@given(SETS, BANKS)
@settings(max_examples=100, deadline=None)
def test_contributions_add_up(plugs: Any, bank: Any) -> None:
    found = read(plugs, bank=bank)
    for state in found.cylinders:
        assert sum(one.mixture_pct for one in state.contributions) == pytest.approx(state.mixture_pct, abs=1e-9)
        assert sum(one.timing_deg for one in state.contributions) == pytest.approx(state.timing_deg, abs=1e-9)
        assert sum(one.kind == "set" for one in state.contributions) in (0, 2)


@given(SETS, BANKS, st.permutations(range(1, 9)))
@settings(max_examples=100, deadline=None)
def test_labels_and_order_of_rows_change_nothing(plugs: Any, bank: Any, names: list[int]) -> None:
    called = dict(zip(range(1, 9), names, strict=True))
    cylinders = tuple(sorted((replace(c, number=called[c.number]) for c in V8.cylinders), key=lambda c: c.number))
    other = replace(V8, cylinders=cylinders, firing_order=tuple(called[n] for n in V8.firing_order))
    plain, renamed = read(plugs, bank=bank), read({called[n]: seen for n, seen in plugs.items()}, of=other, bank=bank)
    for number in range(1, 9):
        one, same = plain.cylinder(number), renamed.cylinder(called[number])
        assert one.mixture_pct == pytest.approx(same.mixture_pct, abs=1e-6)
        assert (one.timing_deg, one.mixture_sd) == pytest.approx((same.timing_deg, same.mixture_sd), abs=1e-6)
    assert {called[one.cylinder] for one in plain.set_aside if one.cylinder} == {
        one.cylinder for one in renamed.set_aside if one.cylinder
    }


@given(SETS, BANKS)
@settings(max_examples=50, deadline=None)
def test_mirrored_banks_change_nothing(plugs: Any, bank: Any) -> None:
    mirror = replace(V8, cylinders=tuple(replace(c, bank="R" if c.bank == "L" else "L") for c in V8.cylinders))
    swapped = {"R" if key == "L" else "L": value for key, value in bank.items()}
    assert read(plugs, of=mirror, bank=swapped).mean == pytest.approx(read(plugs, bank=bank).mean, abs=1e-6)
