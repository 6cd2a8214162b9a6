"""Trials at home: differences that must be nothing, what they say of stated errors, and that coverage comes back."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logbook_makers import trial
from scipy.stats import chi2

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.difference import difference_intervals, joint_covariance
from finishlab.colorimetry.estimate import LabEstimate, SharedEffect, scaled
from finishlab.errors import LogbookError, UsageError
from finishlab.logbook.store import Logbook
from finishlab.matching.scatter import USUAL_PHOTO
from finishlab.matching.trials import LEAST, MOST, Outcome, Part, Side, Trust, judge_trial, trust_of
from finishlab.rank.comparing import compare
from finishlab.strip import TrialRecord
from finishlab.strip.trials import check_count, tried, trust_line, trust_lines

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Photos, Run

BOARD, FLOOR = np.array([48.0, 9.0, 24.0]), np.array([56.0, 8.0, 22.0])


class Home:
    """A phone, a print and a room whose errors of light, fit and grain are so many times as large as stated."""

    def __init__(self, seed: int, size: float, shadow: float = 0.0) -> None:
        self.rng = np.random.default_rng(seed)
        self.size = size
        self.shadow = shadow
        """Size of errors nobody stated: the phone's own shadow on a surface, L*; with long tails."""
        self.photos = 0
        self.common = self.rng.normal(size=2)
        """How far off the print and the camera are: as stated, in every photo alike."""

    def photo(self, *true: np.ndarray) -> list[Side]:
        """Photograph surfaces together."""
        self.photos += 1
        name = f"{self.photos}"
        fit = self.rng.normal(0, 0.25, (2, len(true), 3))
        scatter = self.size * self.rng.normal(0, USUAL_PHOTO)
        strength = self.size * self.rng.normal(size=2)
        seen = []
        for i, lab in enumerate(true):
            root = self.rng.normal(0, 0.25, (3, 3))
            moves = [("print-gamma", "strip:412", (lab - 70.0) / 60.0), ("camera-1", "camera:x", lab * [0, 0.05, 0.03])]
            effects = [SharedEffect(n, scope, tuple(v.tolist())) for n, scope, v in moves]
            effects += [SharedEffect(f"fit-{k + 1}", f"photo:{name}", tuple(fit[k, i].tolist())) for k in range(2)]
            error = self.size * root @ self.rng.normal(size=3) + strength @ fit[:, i] + scatter
            error = error + sum(c * v for c, (_, _, v) in zip(self.common, moves, strict=True))
            error = error + self.shadow * np.array([self.rng.standard_t(4), 0.0, 0.0])
            seen.append(Side(name, LabEstimate.build(lab + error, root @ root.T, effects)))
        return seen

    def trial(self) -> Outcome:
        """Make one of the three trials."""
        kind = ("same", "swap", "repeat")[self.rng.integers(3)]
        if kind == "same":
            return judge_trial(kind, self.photo(BOARD, BOARD))
        if kind == "swap":
            # at the board edge first the board, then the floor
            return judge_trial(kind, [*self.photo(BOARD, FLOOR), *self.photo(FLOOR, BOARD)])
        return judge_trial(kind, [self.photo(BOARD)[0] for _ in range(2)])

    def pairs(self, trust: Trust, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Return new pairs, their errors as trials say: both colours, their joint covariance, the true difference."""
        ones, twos, joints, truths = [], [], [], []
        for _ in range(count):
            # a new print and camera for each pair, so that their common error does not decide for all
            self.common = self.rng.normal(size=2)
            true = BOARD + self.rng.normal(0, 3.0, 3)
            one, two = (scaled(side.estimate, trust.factors) for side in self.photo(true, FLOOR))
            ones.append(one.lab)
            twos.append(two.lab)
            joints.append(joint_covariance(one, two))
            truths.append(float(delta_e_00(true, FLOOR)))
        return np.array(ones), np.array(twos), np.array(joints), np.array(truths)


def outcome(ratio: float, freedom: float = 2.0) -> Outcome:
    """Return a trial that came out so many times as far off as expected, in every direction."""
    part = Part(freedom / 2.0 * ratio**2, freedom / 2.0)
    return Outcome(ratio, 1.0, freedom, part, part)


def coverage(
    size: float, trials: int, homes: int = 60, pairs: int = 25, shadow: float = 0.0
) -> tuple[float, list[tuple[float, float]]]:
    """Return how many intervals hold after so many trials, and each home's factor."""
    factors, made = [], []
    for seed in range(homes):
        home = Home(1000 * trials + seed, size, shadow)
        trust = trust_of(home.trial() for _ in range(trials))
        factors.append((trust.lightness, trust.colour))
        made.append(home.pairs(trust, pairs))
    one, two, joint, true = (np.concatenate(each) for each in zip(*made, strict=True))
    _, low, high = difference_intervals(one, two, joint)
    return float(np.mean((low <= true) & (true <= high))), factors


@pytest.mark.parametrize(("size", "without"), [(0.8, 0.97), (1.0, 0.93), (1.3, None), (1.7, None)])
def test_after_fifteen_trials_intervals_hold(size: float, without: float | None) -> None:
    """Whether errors are as stated, smaller or larger, 93 to 98 % of intervals hold after 15 trials."""
    before, factors = coverage(size, 0, homes=30)
    assert set(factors) == {(1.0, 1.0)}
    if without is None:
        assert before < 0.925
    else:
        assert before > without
    after, factors = coverage(size, 15)
    assert 0.93 <= after <= 0.98
    assert np.mean(factors) == pytest.approx(size, rel=0.12)


@pytest.mark.parametrize("shadow", [0.3, 0.5])
def test_errors_of_another_kind_are_made_up_for(shadow: float) -> None:
    """Where shadows with long tails, in L* alone, come on top of what is stated, coverage comes back to over 91 %."""
    before, _ = coverage(1.0, 0, homes=30, shadow=shadow)
    after, _ = coverage(1.0, 15, shadow=shadow)
    assert before < 0.9
    assert 0.91 < after <= 0.98


def test_two_trials_change_little() -> None:
    """Where errors are as stated, two trials leave nearly every factor within a fifth of 1, and coverage as it was."""
    after, factors = coverage(1.0, 2, homes=100, pairs=10)
    assert np.quantile(np.abs(np.array(factors) - 1.0), 0.9) < 0.2
    assert 0.93 <= after <= 0.98


def test_one_trial_alone_cannot_overthrow_what_is_stated() -> None:
    """A single trial, however far off, widens by no more than a bounded amount; a second one like it may do more."""
    far = outcome(40.0)
    one, two = trust_of([far]), trust_of([far, far])
    assert one.lightness < 1.6
    assert two.lightness > 2.0
    assert (one.lightness, two.lightness) == (one.colour, two.colour)
    assert far.far_off


@settings(max_examples=50)
@given(ratios=st.lists(st.floats(0.0, 50.0), min_size=1, max_size=40), freedom=st.floats(1.0, 3.0))
def test_the_factor_is_bounded_and_grows_with_what_was_seen(ratios: list[float], freedom: float) -> None:
    """The factor keeps its bounds, and a trial that came out farther off never makes intervals narrower."""
    trust = trust_of(outcome(ratio, freedom) for ratio in ratios)
    assert LEAST <= trust.lightness <= MOST
    assert trust.trials == len(ratios)
    more = trust_of(outcome(ratio, freedom) for ratio in [*ratios[1:], ratios[0] + 1.0])
    assert more.lightness >= trust.lightness - 1e-9


def test_without_trials_nothing_changes() -> None:
    """No trial: a factor of exactly 1, and nothing to say."""
    trust = trust_of([])
    assert trust == Trust()
    assert trust.factors == {}
    assert trust_line(trust) == ""
    assert trust_lines(trust) == []


def test_the_ratios_interval_is_that_of_a_chi_square() -> None:
    """Its ends agree with SciPy's chi-square to a hundredth at 20 degrees of freedom."""
    trust = trust_of(outcome(1.2) for _ in range(10))
    ends = 1.2 * np.sqrt(20.0 / chi2.ppf([0.975, 0.025], 20.0))
    assert (trust.low, trust.high) == pytest.approx(tuple(ends), abs=0.01)
    assert trust.ratio == pytest.approx(1.2)


@pytest.mark.parametrize("kind", ["same", "swap", "repeat"])
def test_what_is_expected_is_what_comes(kind: str) -> None:
    """Over many trials of each kind the squares come out at what the stated errors make of them."""
    home, found = Home(5, 1.0), []
    for _ in range(600):
        if kind == "same":
            sides = home.photo(BOARD, BOARD)
        elif kind == "swap":
            sides = [*home.photo(BOARD, FLOOR), *home.photo(FLOOR, BOARD)]
        else:
            sides = [home.photo(BOARD)[0] for _ in range(3)]
        found.append(judge_trial(kind, sides))
    freedom = np.array([each.freedom for each in found])
    squares = freedom * np.array([each.ratio for each in found]) ** 2
    assert squares.mean() / freedom.mean() == pytest.approx(1.0, abs=0.1)
    # and they scatter as a chi-square with these degrees of freedom
    assert squares.var() / (2 * freedom.mean()) == pytest.approx(1.0, abs=0.3)


def test_an_error_of_the_print_cancels_in_every_trial() -> None:
    """Print and camera wrong by three standard deviations move a trial by a tenth of what they do to a pair."""

    def seen(common: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
        home = Home(9, 1.0)
        home.common = np.array(common)
        trials = np.array([home.trial().seen for _ in range(30)])
        pairs = [home.photo(BOARD, FLOOR) for _ in range(30)]
        return trials, np.array([float(delta_e_00(one.estimate.lab, two.estimate.lab)) for one, two in pairs])

    (wrong_trials, wrong_pairs), (trials, pairs) = seen([3.0, 3.0]), seen([0.0, 0.0])
    assert np.abs(wrong_trials - trials).mean() < 0.1 * np.abs(wrong_pairs - pairs).mean()


def test_a_trial_has_the_colours_its_kind_takes() -> None:
    """Another number of colours, or another kind, is refused."""
    side = Home(1, 1.0).photo(BOARD)[0]
    for kind, count in (("same", 3), ("swap", 2), ("repeat", 1), ("other", 2)):
        with pytest.raises(ValueError, match="does not have"):
            judge_trial(kind, [side] * count)
    for kind, count, code in (("swap", 3, "two-photos"), ("repeat", 1, "more-photos")):
        with pytest.raises(UsageError) as caught:
            check_count(kind, count)  # type: ignore[arg-type]  # a kind there is
        assert caught.value.code == code
    with pytest.raises(UsageError) as caught:
        TrialRecord("same", {"sides": []})
    assert caught.value.code == "no-sides"


def test_a_photo_counts_for_one_trial(tmp_path: Path) -> None:
    """A photo of a logged trial is refused until that is removed; what was written by halves leaves nothing."""
    with Logbook.open(tmp_path / "log") as log:
        log.add_trials([trial("a" * 16)])
        with pytest.raises(LogbookError) as caught:
            log.add_trials([trial("b" * 16), trial("a" * 16)])
        assert caught.value.code == "photo-tried-already"
        assert "H1" in caught.value.message
        assert [each.number for each in log.trials()] == ["H1"]
        log.remove("H1")
        assert [each.number for each in log.add_trials([trial("a" * 16)])] == ["H2"]
        with pytest.raises(LogbookError) as caught:
            log.remove("H7")
        assert caught.value.code == "unknown-trial"
        (found,) = tried(log)
        assert found.outcome.ratio < 1.0


def _log_job(run: Run, photos: Photos) -> None:
    assert run("floor", "add", photos("floor1"), photos("floor2")).exit_code == 0
    assert run("board", "add", photos("light_board"), "--species", "oak").exit_code == 0


def test_trials_are_made_shown_and_weighed(run: Run, photos: Photos, logbook: Path) -> None:
    """Photos become trials, ``show`` sums them up, and from then on rank and measure go by what they say."""
    _log_job(run, photos)
    plain = json.loads(run("rank", "--json").stdout)
    assert plain["trials"] is None
    done = run("trial", "repeat", photos("straight"), photos("other_strip"), "--json")
    assert done.exit_code == 0, done.output
    made = json.loads(done.stdout)
    assert made["format"] == "finishlab/trials/1"
    assert made["trials"][0]["trial"] == "H1"
    assert made["trials"][0]["photos"] == ["straight.jpg", "other_strip.jpg"]
    shown = json.loads(run("trial", "show", "--json").stdout)
    assert shown == made
    assert all(0.75 <= factor <= 1.6 for factor in shown["trust"]["factors"].values())
    with Logbook.open(logbook) as log:
        # ten boards that came out three times as far apart as stated
        sides = [trial(f"{i:016x}", apart=4.0) for i in range(10)]
        log.add_trials(sides)
        found = compare(log)
    assert found.trust.lightness > 1.5 > found.trust.colour
    wide, narrow = (
        each["delta_e00"] for each in (json.loads(run("rank", "--json").stdout)["ranking"][0], plain["ranking"][0])
    )
    assert wide["value"] == pytest.approx(narrow["value"], abs=0.3)
    assert wide["high"] - wide["low"] > narrow["high"] - narrow["low"]
    told = run("rank", "--full").stdout
    assert "trials at home" in told
    before = json.loads(run("measure", photos("pair"), "--field", "both", "--json").stdout)
    assert before["trials"]["factors"]["lightness"] == pytest.approx(found.trust.lightness, abs=1e-3)
    for i in range(1, 12):
        assert run("trial", "remove", f"H{i}").exit_code == 0
    after = json.loads(run("measure", photos("pair"), "--field", "both", "--json").stdout)
    assert "trials" not in after
    spans = [each["photos"][0]["delta_e00"]["high"] - each["photos"][0]["delta_e00"]["low"] for each in (before, after)]
    assert spans[0] > spans[1]
    assert "No trial is logged yet" in run("trial", "show").output
    assert json.loads(run("rank", "--json").stdout) == plain


def test_a_trial_that_cannot_be_is_refused(run: Run, photos: Photos, logbook: Path, tmp_path: Path) -> None:
    """A photo without a strip, one photo twice, too few photos: a sentence, the right exit code, nothing logged."""
    assert run("trial", "same", photos("no_strip")).exit_code == 4
    copy = tmp_path / "copy.jpg"
    copy.write_bytes(photos("straight").read_bytes())
    twice = run("trial", "repeat", photos("straight"), copy)
    assert twice.exit_code == 2
    assert "One photo came twice." in twice.output
    few = run("trial", "swap", photos("pair"))
    assert few.exit_code == 2
    assert "two photos" in few.output
    with Logbook.open(logbook) as log:
        assert log.trials() == []


def test_a_pair_says_what_its_interval_is_made_of(run: Run, photos: Photos) -> None:
    """Measure tells a pair's costs in JSON and in a line; one surface alone has none."""
    found = json.loads(run("measure", photos("pair"), "--field", "both", "--json").stdout)["photos"][0]
    assert sum(found["costs"]["shares"].values()) == pytest.approx(1.0, abs=1e-3)
    assert found["costs"]["delta_e00"] == found["delta_e00"]
    assert "costs" not in json.loads(run("measure", photos("pair"), "--json").stdout)["photos"][0]
    assert found["costs"]["in_words"] in " ".join(
        run("measure", photos("pair"), "--field", "both", columns=400).stdout.split()
    )
