"""How much a surface feels each shared unknown: one vector for one surface, however often it was photographed.

Each measurement states its effects as worked out at its own reading, and they grow with the colour. Taken as they
stand, a reading that came out high by its own noise would feel the camera more than its fellows, so that least squares
would read their noise as evidence about the camera and draw all colours towards black: Peelle's pertinent puzzle (in
Fröhner, Nucl. Sci. Eng. 126 (1997) 1, from memory). Its cure is to take relative errors from the estimate and not from
each reading. So all looks of one surface that share an unknown get the mean of their vectors. The floor is one surface:
how its planks differ is noise too as far as its mean is concerned.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from finishlab.colorimetry.camera_error import less_wood
from finishlab.colorimetry.table import ColourTable
from finishlab.matching.layout import Looks

__all__ = ["even"]

FloatArray = NDArray[np.float64]
Ints = NDArray[np.intp]


def even(looks: Looks) -> Looks:
    """Return looks of which each feels what is shared as its surface does, and its own error without the wood's.

    Parameters
    ----------
    looks
        As measured; what `even` returned comes back unchanged.

    Returns
    -------
    Looks
        Their colours in a table of their own, in order; `Looks.wood` says whose wood's error each has on top.
    """
    if looks.even:
        return looks
    colours = looks.colours
    surface = np.where(looks.plank >= 0, looks.boards, looks.block)
    place, effects = colours.effects_of(looks.rows)
    name, scope = colours.name[effects], colours.scope[effects]
    vectors = _means(colours.vectors[effects], _numbered(surface[place], scope, name))
    own, wood = colours.own[looks.rows], colours.wood[looks.rows]
    own[wood] = less_wood(own[wood])
    camera = np.full(len(surface), -1)
    of_camera = np.array([each.startswith("camera:") for each in colours.scopes], dtype=bool)[scope]
    camera[place[of_camera]] = scope[of_camera]
    whose = np.full(len(surface), -1)
    whose[wood] = _numbered(surface[wood], camera[wood])
    counts = colours.first[looks.rows + 1] - colours.first[looks.rows]
    table = ColourTable(
        colours.labs[looks.rows],
        own,
        np.concatenate([[0], np.cumsum(counts)]).astype(np.intp),
        name,
        scope,
        vectors,
        colours.names,
        colours.scopes,
        np.zeros(len(surface), dtype=bool),
    )
    return replace(looks, colours=table, rows=np.arange(len(surface)), wood=whose, even=True)


def _numbered(*things: Ints) -> Ints:
    """Number the different combinations of what is given, shape (n,)."""
    key = np.zeros(len(things[0]), dtype=np.int64)
    for each in things:
        key = key * (int(each.max(initial=0)) + 2) + each + 1
    return np.unique(key, return_inverse=True)[1]


def _means(values: FloatArray, group: Ints) -> FloatArray:
    """Each row's mean over its group, shape (n, 3)."""
    count = np.bincount(group)
    sums = np.stack([np.bincount(group, column) for column in values.T], axis=1)
    means: FloatArray = (sums / count[:, None])[group]
    return means
