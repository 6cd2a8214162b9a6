"""How far cameras that do not see as eyes do are off, by simulation: the constants of `colorimetry.estimate`.

Run ``python tests/camera_error_trial.py``; docs/decisions/0005-camera-error.md quotes its output. Noise-free, every
camera balanced on a perfect white: what is left no grey strip can put right. Woods are measured spectra finished by
formula, prints are solved from chart spectra; three of the seven cameras are synthetic.
"""

from __future__ import annotations

import numpy as np
from render.camera import CAMERAS, ideal_lab
from render.chance import random_pair, wood_pool
from render.spectral import LIGHTS

from finishlab.colorimetry.estimate import matrix_effects
from finishlab.colorimetry.spaces import lab_to_rgb

WOODS, PRINTS = 300, 200
CELLS = [(0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1)]
"""Places of a 3 x 3 matrix that are free when each row sums to 0."""
RIDGE = 0.17
"""How far a matrix's cell is believed to be off, in its standard deviations per CIELAB unit of misfit."""
AXES = 2


def matrices(cells: np.ndarray) -> np.ndarray:
    """Return the matrices with rows that sum to 0, shape (n, 3, 3), of their free cells, shape (n, 6)."""
    out = np.zeros((len(cells), 3, 3))
    for i, (row, column) in enumerate(CELLS):
        out[:, row, column] += cells[:, i]
        out[:, row, row] -= cells[:, i]
    return out


def slopes(labs: np.ndarray) -> np.ndarray:
    """Return what each free cell does to colours, shape (n, 3, 6)."""
    unit = matrices(np.eye(6))
    return np.stack([matrix_effects(rgb, unit).T for rgb in lab_to_rgb(labs)])


def main() -> None:
    """Print the constants."""
    rng = np.random.default_rng(3)
    pool = wood_pool()
    woods = [pool[i] for i in rng.choice(len(pool), WOODS, replace=False)]
    prints = [random_pair(rng, "print")[1] for _ in range(PRINTS)]
    spectra = [np.array([m.mean for m in some]) for some in (woods, prints)]
    labs = [np.array([m.lab for m in some]) for some in (woods, prints)]
    slope = [slopes(each) for each in labs]
    design = slope[0].reshape(-1, 6)
    normal = design.T @ design + np.eye(6) / RIDGE**2
    found: list[np.ndarray] = []
    left: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for camera in CAMERAS:
        for light in LIGHTS:
            errors = [ideal_lab(each, camera, light) - lab for each, lab in zip(spectra, labs, strict=True)]
            found.append(np.linalg.solve(normal, design.T @ errors[0].ravel()))
            for kept, error, by in zip(left, errors, slope, strict=True):
                kept.append(error - by @ found[-1])
    np.set_printoptions(precision=4, suppress=True, linewidth=120)
    second = np.array(found).T @ np.array(found) / len(found)
    values, vectors = np.linalg.eigh(second)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    weight = np.einsum("nij,nik->jk", slope[0], slope[0]) / WOODS
    sizes, turn = np.linalg.eigh(root.T @ weight @ root)
    print("size of each axis on woods, root mean square CIELAB:", np.sqrt(np.maximum(sizes[::-1], 0)))
    print("matrices of the largest:", matrices((root @ turn[:, ::-1]).T[:AXES]).tolist())
    for name, kept in zip(("wood", "print"), left, strict=True):
        off = np.concatenate(kept)
        print(f"left over, {name}: sd {np.sqrt((off**2).mean(axis=0))}\n{off.T @ off / len(off)}")


if __name__ == "__main__":
    main()
