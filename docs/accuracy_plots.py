"""The plots of docs/accuracy.md, as SVG of fixed bytes for fixed figures."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import accuracy_figures as fig
import numpy as np
from accuracy_page import SOURCES, SWEPT
from accuracy_prints_page import by_printer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PLOTS: Final = ("accuracy-printers.svg", "accuracy-budget.svg", "accuracy-sweeps.svg", "accuracy-reliability.svg")
_DARK, _LIGHT, _LINE = "#1b4f72", "#a9cce3", "#777777"
_MARKS: Final = ("o-", "s-", "o--", "s--", "^:", "v:", "d:")


def draw(data: Mapping[str, Any], folder: Path) -> None:
    """Draw all plots into a folder."""
    import matplotlib as mpl

    mpl.use("Agg")
    settings: Any = {
        "svg.hashsalt": "finishlab",
        "svg.fonttype": "none",
        "font.size": 9,
        "axes.grid": True,
        "grid.alpha": 0.3,
    }
    with mpl.rc_context(settings):
        for name, make in zip(PLOTS, (_printers, _budget, _sweeps, _reliability), strict=True):
            figure = make(data)
            # no date: equal figures give equal files
            figure.savefig(folder / name, metadata={"Date": None, "Creator": None})
            figure.clear()


def _figure(width: float, height: float) -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained", facecolor="white")


def _printers(data: Mapping[str, Any]) -> Figure:
    """Draw error by printer, not learned and learned, and photo by photo over the print's middle grey."""
    found = {name: rows for name, rows in by_printer(data).items() if rows}
    figure = _figure(9.0, 4.2)
    left, right = figure.subplots(1, 2, width_ratios=[1.5, 1.0])
    places = np.arange(len(found))[::-1]
    drawn = fig.rows(data, "single")
    for shift, colour, words, pick in ((0.18, _DARK, "not learned", list), (-0.18, _LIGHT, "learned", fig.after)):
        some = [fig.beyond(pick(rows)) for rows in found.values()]
        left.barh(
            places + shift, [e.mean() if e.size else 0.0 for e in some], 0.34, color=colour, label=f"{words}, mean"
        )
        most = [float(np.percentile(e, 95)) if e.size else np.nan for e in some]
        mark = "o" if colour == _DARK else "s"
        left.plot(most, places + shift, mark, color=_LINE, markersize=4, label=f"{words}, 95th percentile")
        rows = pick(drawn)
        right.plot([r["middle"] for r in rows], fig.beyond(rows), mark, color=colour, markersize=4, label=words)
    left.set_yticks(places, list(found))
    left.set_xlabel("error of a pair beyond the ideal camera, CIEDE2000")
    left.legend(loc="lower center", bbox_to_anchor=(0.3, 1.0), ncols=2, fontsize=7)
    right.set_xlabel("L* of the print's level 0.51")
    right.set_title("any printer, photo by photo", fontsize=9)
    right.legend(fontsize=7)
    return figure


def _budget(data: Mapping[str, Any]) -> Figure:
    found = fig.budget(data)
    figure = _figure(7.5, 3.6)
    axes = figure.subplots()
    places = np.arange(len(SOURCES))[::-1]
    axes.barh(places + 0.2, [found[s][0] for s in SOURCES], 0.36, color=_DARK, label="this alone (with the grain)")
    axes.barh(places - 0.2, [found[s][1] for s in SOURCES], 0.36, color=_LIGHT, edgecolor=_DARK, label="all but this")
    axes.axvline(found["camera"][1], color=_LINE, linestyle=":", label="all, beyond the ideal camera")
    axes.set_yticks(places, list(SOURCES.values()))
    axes.set_xlabel("mean error of a pair, CIEDE2000")
    axes.legend(loc="lower center", bbox_to_anchor=(0.35, 1.0), ncols=3, fontsize=8)
    return figure


def _sweeps(data: Mapping[str, Any]) -> Figure:
    figure = _figure(9.0, 6.4)
    shown = [what for what in SWEPT if what != "half"]
    grid = figure.subplots(2, 4)
    grid.flat[-1].axis("off")
    for axes, what in zip(grid.flat, shown, strict=False):
        _one_sweep(axes, what, fig.sweep(data, what))
    handles, labels = grid.flat[1].get_legend_handles_labels()
    grid.flat[-1].legend(handles, labels, loc="center", frameon=False)
    return figure


def _one_sweep(axes: Axes, what: str, found: list[dict[str, Any]]) -> None:
    """Draw error and movement against what is changed; values that were refused in part are drawn hollow."""
    words = isinstance(found[0]["at"], str)
    at = np.arange(len(found)) if words else np.array([row["at"] for row in found], dtype=float)
    error, moved = ([row[key] for row in found] for key in ("error", "moved"))
    if words:
        axes.bar(at - 0.2, error, 0.36, color=_DARK, label="error beyond the ideal camera, mean")
        if what != "light":
            axes.bar(at + 0.2, moved, 0.36, color=_LIGHT, edgecolor=_DARK, label="moved, mean")
        axes.set_xticks(at, [str(row["at"]).replace(", ", ",\n") for row in found], rotation=90, fontsize=7)
    else:
        axes.plot(at, error, "o-", color=_DARK, label="error beyond the ideal camera, mean")
        axes.plot(at, moved, "s--", color=_LINE, markerfacecolor="white", label="moved from the base, mean")
        part = [k for k, row in enumerate(found) if row["refused"]]
        axes.plot(at[part], [error[k] for k in part], "x", color="black", markersize=9, label="some refused")
    axes.axhline(0.2, color=_LINE, linewidth=0.8, linestyle=":", label="0.2")
    axes.set_ylim(0, None)
    axes.set_title(SWEPT[what][1], fontsize=9)
    if not words:
        axes.set_xlabel(SWEPT[what][0], fontsize=7)


def _reliability(data: Mapping[str, Any]) -> Figure:
    figure = _figure(9.0, 4.8)
    left, right = figure.subplots(1, 2, width_ratios=[1.25, 1.0])
    stated = 100 * np.array(fig.LEVELS)
    left.plot([40, 100], [40, 100], color=_LINE, linewidth=0.8)
    for mark, (name, found) in zip(_MARKS, fig.groups(data).items(), strict=True):
        if found:
            shares = [100 * fig.held_at((d2 for d2, _ in found), level) for level in fig.LEVELS]
            left.plot(stated, shares, mark, markersize=4, linewidth=1.2, label=name)
    left.set_xlabel("stated, % (ellipsoid of L*, a*, b*)")
    left.set_ylabel("holds the truth, %")
    left.legend(fontsize=7, loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2)
    names, shares, errors = [], [], []
    for part, what in (("single", "one photo"), ("sessions", "separate")):
        for kind in ("print", "wood"):
            some = fig.of_floor(fig.rows(data, part), kind)
            if some:
                share = fig.held(some)
                names.append(f"{what}\n{kind} floor")
                shares.append(100 * share)
                errors.append(196 * np.sqrt(max(share * (1 - share), 1 / len(some)) / len(some)))
    right.axhspan(93, 97, color=_LIGHT, alpha=0.6, label="goal")
    right.errorbar(
        range(len(names)), shares, yerr=errors, fmt="o", color=_DARK, capsize=4, label="found, 95 % by chance"
    )
    right.set_xticks(range(len(names)), names, fontsize=8)
    right.set_ylim(min([80.0, *shares]) - 2, 101)
    right.set_title("stated 95 % interval of a CIEDE2000", fontsize=9)
    right.legend(fontsize=7, loc="lower right")
    return figure
