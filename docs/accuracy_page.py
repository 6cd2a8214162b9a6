"""The words and tables of docs/accuracy.md, made from the figures in docs/accuracy.json."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import accuracy_figures as fig
import numpy as np
from accuracy_prints_page import guesses, printers

NOTE: Final = "<!-- Made by docs/build_accuracy.py; do not edit. -->\n\n"

SECTIONS: Final = (
    "In one photo",
    "What the printer does",
    "Floor and boards in separate photos",
    "The other guesses",
    "Error budget",
    "What the figure does not mind, and what it does",
    "Are the intervals right",
    "Beside published figures",
    "Limits",
)

SWEPT: Final[Mapping[str, tuple[str, str]]] = {
    "light": ("light", "kind of light"),
    "gradient": ("light uneven by, % across the photo", "gradient of the light"),
    "tilt": ("tilt, degrees", "tilt of the camera"),
    "pixels": ("strip's length in the photo, pixels", "size of the strip"),
    "half": ("resolution", "half the resolution"),
    "jpeg": ("JPEG quality", "JPEG quality"),
    "exposure": ("exposure, stops", "exposure"),
    "white": ("white balance", "white balance"),
}
"""What is changed -> the column's head, and its name."""

PUBLISHED: Final = (
    ("phone JPEG without a reference, mean", "> 10 dE00", "abstract no. 475787, colour reproduction of smartphones"),
    ("phone with chart and regression", "about half of that", "the same"),
    ("camera characterised by a 3 x 11 polynomial", "about 1 dE CMC(1:1)", "Hong, Luo, Rhodes 2001"),
    ("raw of a single-lens reflex camera, in the field", "< 3 dE*ab", "Molada-Tebar et al., Sensors 2019"),
    ("scanned wood: what correction gained", "3.1 dE*", "Coatings 2022, 12, 79"),
    (
        "imaging quality, best grades, mean",
        "< 2 (FADGI 2023 four-star), <= 4 (ISO 19264-1 A)",
        "a third-party table, not the standards themselves",
    ),
    ("contact spectrophotometer: repeat / between units", "0.02-0.05 / 0.15-0.3", "from memory, no source"),
    ("half of observers perceive / accept it", "0.8 / 1.8 dE00", "Paravina et al. 2015, tooth colours"),
    ("wood: begins to be visible / reads as another colour", "0.5 / 2.0 dE*", "Drvna industrija 2020"),
    ("spread within one wood surface", "about 2 dE*ab", "Buchelt, Wagenfuehr 2012"),
)

SOURCES: Final[Mapping[str, str]] = {
    "noise": "noise, sharpening and JPEG",
    "grain": "grain of both surfaces",
    "light": "uneven light and vignetting",
    "tone": "tone curve, exposure, white balance",
    "saturation": "saturation boost (1.0 to 1.2, taken out at 1.02)",
    "print": "print of any printer, and its cast",
    "glare": "highlights and stray light",
    "camera": "camera that does not see as eyes do",
}


def page(data: Mapping[str, Any]) -> str:
    """Return the page."""
    plan = {part: found["plan"] for part, found in data.items() if isinstance(found, dict)}
    many = plan["single"]
    parts = [
        "# Accuracy\n\n",
        NOTE,
        "How far the figures can be trusted. **Everything on this page is measured on rendered scenes**, computed from ",
        "measured spectra of woods, charts, lights and cameras (and three synthetic phones); no camera took them, and ",
        "no figure here was found on a real board. What the renderer leaves out is under [Limits](#limits); what your own ",
        "phone, print and room achieve, `finishlab trial` tells.\n\n",
        f"finishlab {data['single']['version']}. {many['single']} single photos with any printer, {plan['members']['members']} ",
        f"for each of six named printers, {plan['sessions']['sessions']} sessions of six photos and ",
        f"{plan['guesses']['guesses']} scenes for each guess, {many['many']} pixels wide; {plan['nominal']['nominal']} ",
        f"photos {plan['nominal']['width']} pixels wide with a nominal print; measured before a release only, ",
        f"by finishlab {data['swept']['version']}: {plan['swept']['swept']} scenes for each value of what is changed, ",
        f"{plan['budget']['budget']} for each line of the budget. None of these scenes was used to choose a constant. ",
        "Seven cameras, lights of four kinds, phone tone curves of two families and saturation, floors half printed, ",
        "half wood. *Any printer*: half print a grey as sRGB with exponents from 0.75 to 1.25, half as a half-tone with a ",
        "gain of 6 to 28 %; one in five saves toner; paper from L* 88 to 96, black from 14 to 34, wiggles up to 2 L* ",
        "along the ramp, casts that change along it, bands across the page, ink that runs and light that spreads in the ",
        "paper. `python docs/build_accuracy.py` measures all this and writes this page; `docs/accuracy.json` keeps what ",
        "was measured.\n\n",
        "*Error beyond the ideal camera*: a measured CIEDE2000 against what a linear, noise-free camera of the same ",
        "sensitivities reads in the same light, balanced on a perfect white: no grey strip can do better. *Error from ",
        "the truth*: against the CIEDE2000 of the spectra under D65, so the camera's own error counts.\n",
    ]
    makers = (_single, printers, _sessions, guesses, _budget, _sweeps, _intervals, _published, _limits)
    for title, make in zip(SECTIONS, makers, strict=True):
        parts.append(f"\n## {title}\n\n{make(data)}")
    return "".join(parts)


def _number(value: float, digits: int = 2) -> str:
    return "-" if np.isnan(value) else f"{value:.{digits}f}"


def _goal(value: float, goal: float, *, least: bool = False, digits: int = 2) -> str:
    """Say whether a figure reaches its goal."""
    if np.isnan(value):
        return "not measured"
    met = value >= goal if least else value <= goal
    return "reached" if met else f"missed by {abs(value - goal):.{digits}f}"


def _refusals(data: Mapping[str, Any], part: str) -> str:
    codes = [r["refused"] for r in fig.rows(data, part, refused=True) if r["refused"]]
    told = ", ".join(f"{code} {codes.count(code)}" for code in sorted(set(codes)))
    return f"Refused, with a sentence and no figure: {told}.\n" if told else "None was refused.\n"


def _line(name: str, records: list[dict[str, Any]], goal: tuple[float, float] | None = None) -> str:
    """Return a table's line: error beyond the ideal camera, and how it stands to its goal."""
    if not records:
        return f"| {name} | - | - | | 0 |\n"
    errors = fig.beyond(records)
    mean, most = errors.mean(), float(np.percentile(errors, 95))
    told = "" if goal is None else f"{goal[0]:.2f} ({_goal(mean, goal[0])}) / {goal[1]:.2f} ({_goal(most, goal[1])})"
    return f"| {name} | {mean:.2f} | {most:.2f} | {told} | {len(records)} |\n"


def _single(data: Mapping[str, Any]) -> str:
    whole, nominal = fig.rows(data, "single"), fig.rows(data, "nominal")
    learned = fig.after(whole)
    lines = [
        "Board and floor beside one strip, true difference 0.8 to 12; error beyond the ideal camera. ",
        _refusals(data, "single"),
        "\n| rendered | mean | 95th percentile | goal | of |\n|---|---|---|---|---|\n",
        _line("any printer", whole, (0.6, 1.6)),
        _line("any printer, once its print is learned from one photo", learned, (0.3, 0.85)),
        _line("nominal print", nominal, (0.26, 0.68)),
        "\n| error from the truth, any printer, rendered | mean | 95th percentile |\n|---|---|---|\n",
    ]
    for name, kinds in (("all", ("print", "wood")), ("printed floor", ("print",)), ("wooden floor", ("wood",))):
        some = [r for r in whole if r["floor_is"] in kinds]
        if some:
            off = fig.from_truth(some)
            lines.append(f"| {name} | {off.mean():.2f} | {np.percentile(off, 95):.2f} |\n")
    before, now = (
        [r["absolute"][field]["e00"] for r in some for field in ("board", "floor")] for some in (whole, learned)
    )
    lines += [
        "\nThe colour of one surface by itself, in CIEDE2000 from its true colour (rendered): mean ",
        f"{np.mean(before):.1f}, 95th percentile {np.percentile(before, 95):.1f}; once the print is learned mean ",
        f"{fig.mean(now):.1f} (goal 1.8: {_goal(fig.mean(now), 1.8, digits=1)}). Beside one strip in one photo most of ",
        "that error is shared and cancels; that is why the tool compares, and why a colour alone is worth less.\n",
    ]
    return "".join(lines)


def _sessions(data: Mapping[str, Any]) -> str:
    whole = fig.rows(data, "sessions")
    errors, one = fig.beyond(whole), np.array([abs(r["one_spot"] - r["ideal"]) for r in whole])
    right, arrays = fig.order(whole), fig.order(whole, without=fig.STACKED)
    learned = fig.after(whole)
    known, again = fig.order(learned), fig.after(whole, "again")
    filtered = fig.beyond(r for r in whole if r["camera"] != fig.STACKED)
    lines = [
        "One light, one camera, one strip by any printer; three photos of the floor and three boards, each in a photo of its own. View, ",
        "evenness of light, exposure, white balance and highlights are new in each. ",
        _refusals(data, "sessions"),
        "\n| | mean | 95th percentile |\n|---|---|---|\n",
        f"| error beyond the ideal camera, floor pooled | {errors.mean():.2f} | {np.percentile(errors, 95):.2f} |\n",
        f"| the same, measured again when all photos were in | {fig.beyond(again).mean():.2f} | "
        f"{np.percentile(fig.beyond(again), 95):.2f} |\n"
        if again
        else "",
        f"| the same, once the print is learned from one photo | {fig.beyond(learned).mean():.2f} | "
        f"{np.percentile(fig.beyond(learned), 95):.2f} |\n"
        if learned
        else "",
        f"| with one photo of the floor | {one.mean():.2f} | {np.percentile(one, 95):.2f} |\n",
        f"| error from the truth, floor pooled | {fig.from_truth(whole).mean():.2f} | ",
        f"{np.percentile(fig.from_truth(whole), 95):.2f} |\n",
        f"| beyond the ideal camera, cameras with a colour filter array | {filtered.mean():.2f} | ",
        f"{np.percentile(filtered, 95):.2f} |\n",
        "\nBoards whose distances from the floor differ by 1 CIEDE2000 (in any direction of colour; the boards may ",
        "differ from one another by far more):\n\n| order held against | right | pairs |\n|---|---|---|\n",
        f"| the truth (goal 95 %: {_goal(100 * right['true'][0], 95.0, least=True, digits=1)}) | ",
        f"{_number(100 * right['true'][0], 1)} % | {right['true'][1]} |\n",
        f"| the truth, measured again when all photos were in (`finishlab remeasure`) | "
        f"{_number(100 * fig.order(again)['true'][0], 1)} % | {fig.order(again)['true'][1]} |\n"
        if again
        else "",
        f"| the truth, once the print is learned | {_number(100 * known['true'][0], 1)} % | {known['true'][1]} |\n",
        f"| the truth, by the ideal camera itself | {_number(100 * right['ideal'][0], 1)} % | {right['ideal'][1]} |\n",
        "| the truth, cameras with a colour filter array | ",
        f"{_number(100 * arrays['true'][0], 1)} % | {arrays['true'][1]} |\n",
        "| the truth, by the ideal camera itself, of these | ",
        f"{_number(100 * arrays['ideal'][0], 1)} % | {arrays['ideal'][1]} |\n",
        f"| the ideal camera, pairs it sees {fig.STEP[0]} to {fig.STEP[1]} apart | {_number(100 * right['seen'][0], 1)} % ",
        f"| {right['seen'][1]} |\n",
        "\nOne of the seven cameras has a stacked sensor without a colour filter array. No phone is made so, and its ",
        "matrix multiplies errors many times.\n",
    ]
    return "".join(lines)


def _budget(data: Mapping[str, Any]) -> str:
    found = fig.budget(data)
    lines = [
        "Mean error of a pair beyond the ideal camera, in scenes in which one source of error is switched on alone, and ",
        "in scenes in which it alone is switched off. The view is always as it was drawn, and the grain is always in, as ",
        "it is what is measured; the camera's line is the ideal camera against the truth.\n\n",
        "![error budget](pictures/accuracy-budget.svg)\n\n| source | alone | all but this |\n|---|---|---|\n",
    ]
    lines += [f"| {name} | {_number(found[s][0])} | {_number(found[s][1])} |\n" for s, name in SOURCES.items()]
    lines += [
        f"| all together, from the truth | {_number(found['everything'][0])} | |\n",
        f"\nPlain surfaces with no source on at all are off by {_number(found['nothing'][0])}: with neither grain nor noise ",
        "to spread them, the 8 bit steps of the file show. Sources do not add up: some errors cancel in the pair.\n",
    ]
    return "".join(lines)


def _sweeps(data: Mapping[str, Any]) -> str:
    lines = [
        "Ordinary scenes (strip level, tilt 5 degrees, light 8 % uneven, JPEG 92, no highlight) with one thing changed. ",
        "*Moved*: how far the pair's figure moves from the same scene unchanged, on average; *error* is beyond the ideal ",
        "camera. Another lamp moves the truth a camera can see too, so there only the error counts.\n\n",
        "![error against what is changed](pictures/accuracy-sweeps.svg)\n\n",
    ]
    tested = []
    for what, (head, name) in SWEPT.items():
        found = fig.sweep(data, what)
        lines.append(f"**{name[0].upper()}{name[1:]}**\n\n| {head} | error | 95th percentile | moved | refused |\n")
        lines.append("|---|---|---|---|---|\n")
        for row in found:
            label = f"{row['at']:g}" if isinstance(row["at"], float | int) else str(row["at"])
            moved = "" if what == "light" else _number(row["moved"])
            share = f"{row['refused']} of {row['photos']}"
            lines.append(f"| {label} | {_number(row['error'])} | {_number(row['p95'])} | {moved} | {share} |\n")
            if (what, row["at"]) in _MOVES or what == "white":
                named = _MOVES.get((what, row["at"]), f"white balance, {row['at']}")
                tested.append((named, row["moved"], row["moved_filtered"]))
        lines.append("\n")
    lines.append(
        "Goal: each of these moves a pair by 0.2 or less on average. Beside all cameras those with a colour filter array.\n\n"
        "| change | moved | | with a filter array | |\n|---|---|---|---|---|\n"
    )
    lines += [
        f"| {name} | {_number(moved)} | {_goal(moved, 0.2)} | {_number(filtered)} | {_goal(filtered, 0.2)} |\n"
        for name, moved, filtered in tested
    ]
    return "".join(lines)


_MOVES: Final[Mapping[tuple[str, Any], str]] = {
    ("exposure", -1.0): "one stop less",
    ("exposure", 1.0): "one stop more",
    ("jpeg", 60.0): "JPEG quality 60",
    ("gradient", 20.0): "light 20 % uneven",
    ("half", "half"): "half the resolution",
}


def _intervals(data: Mapping[str, Any]) -> str:
    lines = [
        "How often a stated interval holds the truth (not the ideal camera). A right 95 % interval holds 95 of 100.\n\n",
        "![reliability of the intervals](pictures/accuracy-reliability.svg)\n\n",
        "**The stated 95 % interval of a CIEDE2000**, goal 93 to 97 %:\n\n",
        "| comparison | floor | holds | of | mean width | |\n|---|---|---|---|---|---|\n",
    ]
    kinds = {
        "in one photo": fig.rows(data, "single"),
        "separate photos, floor pooled": fig.rows(data, "sessions"),
    }
    kinds |= {f"{name}, print learned": fig.after(found) for name, found in list(kinds.items())}
    for name, found in kinds.items():
        for kind in ("print", "wood"):
            some = fig.of_floor(found, kind)
            if some:
                share = 100 * fig.held(some)
                lines.append(
                    f"| {name} | {kind} | {share:.1f} % | {len(some)} | {fig.widths(some):.1f} | {_band(share)} |\n"
                )
    lines += [
        "\n**The whole colour**: truths within the stated ellipsoid of (L*, a*, b*), for differences and for single ",
        "colours, at several levels. *Spread*: error over stated standard deviation, root mean square, of L*, a*, b*; 1 ",
        "would be right, above 1 is stated too narrow. *Lean*: its mean; away from 0 the error has a direction.\n\n",
        "| what | " + " | ".join(f"{100 * level:.0f} %" for level in fig.LEVELS) + " | spread | lean | of |\n",
        "|---|" + "---|" * (len(fig.LEVELS) + 3) + "\n",
    ]
    for name, scores in fig.groups(data).items():
        if not scores:
            continue
        shares = " | ".join(f"{100 * fig.held_at((d2 for d2, _ in scores), level):.0f}" for level in fig.LEVELS)
        spread, lean = fig.scales(z for _, z in scores)
        lines.append(
            f"| {name} | {shares} | {', '.join(f'{v:.1f}' for v in spread)} | "
            f"{', '.join(f'{v:.1f}' for v in lean)} | {len(scores)} |\n"
        )
    lines.append(
        "\nOf 100 measurements the share found scatters by about 2 by chance alone; sessions share one floor among three "
        "boards, so it scatters more there. L* is stated wider than it errs here because a rendered surface has exactly "
        "its mean within the field, so the grain's part of the doubt never shows; on a real one it does.\n"
    )
    return "".join(lines)


def _band(share: float) -> str:
    """Say where a share lies against 93 to 97 %."""
    if share < 93:
        return f"too narrow: {93 - share:.1f} below 93 %"
    return f"wider than needed: {share - 97:.1f} above 97 %" if share > 97 else "as stated"


def _published(data: Mapping[str, Any]) -> str:
    whole = fig.rows(data, "single")
    apart = fig.from_truth(fig.rows(data, "sessions")).mean()
    alone = np.mean([r["absolute"][field]["e00"] for r in whole for field in ("board", "floor")])
    lines = [
        "Not like with like: formulas, surfaces and truths differ, and ours are rendered. They say what order of size is ",
        "usual.\n\n| what | figure | source |\n|---|---|---|\n",
        f"| **here: pair in one photo, from the truth, mean** | {fig.from_truth(whole).mean():.2f} dE00 | this page |\n",
        f"| **here: pair in separate photos, from the truth, mean** | {apart:.2f} dE00 | this page |\n",
        f"| **here: one colour by itself, mean** | {alone:.1f} dE00 | this page |\n",
    ]
    lines += [f"| {what} | {figure} | {source} |\n" for what, figure, source in PUBLISHED]
    return "".join(lines)


def _limits(_data: Mapping[str, Any]) -> str:
    return (
        "- **Rendered.** Real phones sharpen, smooth, and brighten parts of a picture in ways the renderer does not; real "
        "boards shine in more directions. These figures are what the method can do, not a promise for a phone.\n"
        "- **Greys fix lightness and white, not colour.** How a camera tells reds from browns cannot be seen on a grey "
        "strip: that is the camera's line of the budget, and the colour of one surface by itself carries it in full.\n"
        "- **Print against wood** is harder than wood against wood: equal to the eye in daylight, they differ to a camera, "
        "and by lamp light to the eye too.\n"
        "- **Saturation.** Phones that boost by more than 20 % or less than none are outside what is stated.\n"
        "- **White.** A wrong white balance is undone as a usual camera would have made it, so a camera unlike the usual "
        "keeps part of it.\n"
        "- **Saved again at low quality.** JPEG rounds the colour of each block of pixels. Where a surface is even, all "
        "blocks are rounded the same way. Part of that is found again from the steps the file was saved in; what is left "
        "is stated. Greys of the strip are rounded too, in lightness, and that is not found again.\n"
        "- **Printers** are drawn from ranges, not counted in homes; how many save toner nobody knows. Solid black is as "
        "black in a thin line as in a patch here, and lines lie where the page says.\n"
        "- **Floors vary from plank to plank.** The floors here do not, in their mean; pooling several places is what "
        "shows it on a real one.\n"
        "- **Not a colorimeter.** A contact spectrophotometer repeats to a tenth of what is reached here. No tolerance for "
        "stained wood is published; whether a difference matters is for the eyes of those who live with the stair.\n"
    )
