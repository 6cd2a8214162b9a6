"""What is bought, against a count of its own: random stairs, three recipes, half-done work, face by face, coat by coat.

The count knows only what was typed: sizes, recipes in words, and which coats were logged. It walks over every part,
every face and every coat that is still missing, and adds up areas; of the plan only its printed answer is used.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from typing import Any, Final

import pytest
from conftest import Run

RECIPES: Final = {
    "R1": ("'oil; colour=honey'", "'oil pu; product=clear; coats=3'", "oil", "oil polyurethane", 1, 3),
    "R2": ("'water; colour=walnut'", "'oil pu; product=clear; coats=2'", "water", "oil polyurethane", 1, 2),
    "R3": ("'gel; colour=teak'", "'hardwax oil; product=matt'", "gel", "hardwax oil", 1, 2),
}
"""Recipe -> how it is typed, kinds of stain and topcoat, and their coats; hardwax oil gets two where none are said."""
WORN: Final = {"tread", "landing nosing"}


def run_line(run: Run, *words: str) -> str:
    """Run a command that succeeds, and return what it printed."""
    done = run(*words)
    assert done.exit_code == 0, (words, done.output)
    return done.stdout


class Counted:
    """A stair that is typed in at random, and its own account of what each part has and lacks."""

    def __init__(self, run: Run, seed: int) -> None:
        self.run, self.rng = run, random.Random(seed)  # noqa: S311 - no secret
        self.sizes: dict[tuple[str, int], tuple[float, float, float]] = {}
        self.recipe: dict[tuple[str, int], str | None] = {}
        self.coats: dict[tuple[str, int], Counter[str]] = {}
        self.under: set[tuple[str, int, str]] = set()
        self.fitted: set[tuple[str, int]] = set()

    def type_in(self) -> None:
        """Enter the stair, recipes, and what was done."""
        risers = self.rng.randint(2, 5)
        tread = (self.rng.randrange(800, 1100), self.rng.randrange(240, 300), self.rng.randrange(18, 45))
        riser = (self.rng.randrange(800, 1100), self.rng.randrange(160, 200), self.rng.randrange(12, 20))
        size = "x".join(map(str, tread))
        run_line(self.run, "stairs", "add", str(risers), "--tread", size, "--riser", "x".join(map(str, riser)),
                 "--top-nosing", size)  # fmt: skip
        self.sizes = {("tread", place): tread for place in range(1, risers)}
        self.sizes |= {("riser", place): riser for place in range(1, risers + 1)}
        self.sizes[("landing nosing", 1)] = tread
        for stain, top, *_ in RECIPES.values():
            run_line(self.run, "recipe", "add", stain.split("=")[1].strip("'"), "--step", stain.strip("'"), "--top",
                     top.strip("'"))  # fmt: skip
        for key in self.sizes:
            self.recipe[key] = self.rng.choice([*RECIPES, *RECIPES, None])
            self.coats[key] = Counter()
            name = f"{key[0]} {key[1]}"
            if self.recipe[key]:
                run_line(self.run, "stairs", "edit", name, "--recipe", str(self.recipe[key]))
                self.work_on(key, name)

    def work_on(self, key: tuple[str, int], name: str) -> None:
        """Log some coats of a part, from the first on; sometimes sand it again, or fit it."""
        _, _, _, _, stains, tops = RECIPES[str(self.recipe[key])]
        order = ["stain"] * stains + ["topcoat"] * tops
        for step in order[: self.rng.choice([0, 0, 1, 2, len(order)])]:
            faces = self.rng.choice([(), ("--faces", "both faces and edges"), ("--faces", "top and edges")])
            run_line(self.run, "stairs", "log", name, step, *faces)
            self.coats[key][step] += 1
            if faces[-1:] != ("top and edges",):
                self.under.add((*key, step))
        if self.rng.random() < 0.1:
            run_line(self.run, "stairs", "log", name, "sanded")
            self.coats[key].clear()
            self.under -= {(*key, "stain"), (*key, "topcoat")}
        if self.rng.random() < 0.15 and key[0] != "riser":
            run_line(self.run, "stairs", "log", name, "fitted")
            self.fitted.add(key)

    def areas(self, recipe: str | None = None) -> dict[str, float]:
        """Return the area to coat by kind of liquid, m2, counted face by face."""
        found: dict[str, float] = {}
        for key, (width, depth, thick) in self.sizes.items():
            own = self.recipe[key]
            if own is None or recipe not in {None, own}:
                continue
            _, _, stain, top, stains, tops = RECIPES[own]
            for step, kind, count in (("stain", f"{stain} stain", stains), ("topcoat", top, tops)):
                missing = count - self.coats[key][step]
                if step == "stain" and self.coats[key]["topcoat"]:
                    missing = 0
                for coat in range(missing):
                    faces = [width * depth]
                    if key[0] != "riser":
                        faces += [width * thick, width * thick, depth * thick, depth * thick]
                        turned = key not in self.fitted and (*key, step) not in self.under
                        faces += [width * depth] if coat == 0 and turned else []
                    found[kind] = found.get(kind, 0.0) + sum(faces) / 1e6
        return found

    def told(self, *words: str) -> dict[str, float]:
        """Return what the plan says, by kind; nothing where it says that nothing is missing."""
        done = self.run("plan", "quantities", *words, "--json")
        if done.exit_code:
            assert "No part is short of a coat" in done.stderr, done.output
            return {}
        found: dict[str, float] = {}
        for product in json.loads(done.stdout)["products"]:
            found[product["kind"]] = found.get(product["kind"], 0.0) + product["coat_area_m2"]
        return found

    def missing(self) -> dict[tuple[str, int], int]:
        """Return how many coats each part is still to get."""
        found = {}
        for key, own in self.recipe.items():
            *_, stains, tops = RECIPES[own] if own else ("", 0, 0)
            stain = 0 if self.coats[key]["topcoat"] else int(stains) - self.coats[key]["stain"]
            found[key] = stain + int(tops) - self.coats[key]["topcoat"]
        return {key: count for key, count in found.items() if count > 0}

    def document(self) -> dict[str, Any]:
        """Return the plan's document."""
        return dict(json.loads(run_line(self.run, "plan", "quantities", "--json")))


@pytest.mark.parametrize("seed", range(6))
def test_what_is_bought_is_what_is_missing(run: Run, seed: int) -> None:
    """Of every recipe, and of all together, the plan's areas, and its days, are those counted coat by coat."""
    stair = Counted(run, seed)
    stair.type_in()
    assert any(stair.recipe.values())
    for recipe in {each for each in stair.recipe.values() if each}:
        assert stair.told("--recipe", recipe) == pytest.approx(stair.areas(recipe), abs=2e-4), recipe
    assert stair.told() == pytest.approx(stair.areas(), abs=5e-4)
    if stair.missing():
        days = json.loads(run_line(run, "plan", "calendar", "--start", "2099-01-01", "--json"))
        coats = [event for event in days["events"] if event["kind"] == "coat"]
        planned = Counter((part["kind"], part["number"]) for event in coats for part in event["parts"])
        assert dict(planned) == stair.missing()


@pytest.mark.parametrize("seed", range(2))
def test_every_part_is_bought_for_or_named(run: Run, seed: int) -> None:
    """No part is left out in silence: it is coated, finished, or named as one without a recipe."""
    stair = Counted(run, seed)
    stair.type_in()
    if not stair.areas():
        pytest.skip("all of it is done")
    found = stair.document()
    coated = {(part["kind"], part["number"]) for product in found["products"] for part in product["parts"]}
    notes = " ".join(found["notes"])
    for key, recipe in stair.recipe.items():
        if key not in coated:
            assert (
                "Finished, and not planned again" in notes if recipe else "Left out, since no recipe is theirs" in notes
            )
