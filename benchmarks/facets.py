"""What coarse blades cost: light by layer and on the floor against triangles per blade.

Endless stands of library plants under a diffuse sky of light, each with the same stated leaf area
whatever its blades are made of, so that only their shape differs. Differences are told against the
finest blades, with the standard error of the difference.
"""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TRIANGLES = (4, 8, 12, 16, 24, 48, 96, 192)
PACKETS_A_ROUND = 400_000
# Leaf area index, columns and rows on a square metre, boundaries of layers in cm.
STANDS = {
    "pepper": (3.0, 3, 3, (6, 45, 65, 130)),
    "leaf-lettuce": (3.0, 4, 4, (1, 17, 21, 40)),
    "tomato": (3.0, 3, 2, (10, 90, 130, 230)),
}


def stand(species: str, n_triangle: int) -> str:
    """Text of an endless stand whose blades have so many triangles."""
    from canopysim.plant_command import LEAF_OF

    index, columns, rows, heights = STANDS[species]
    layers = ", ".join(f"{height} cm" for height in heights)
    return f"""\
title: An endless stand of {species}
enclosure: {{width: 1 m, depth: 1 m, height: 2.6 m, lining: black, repeat: [width, depth]}}
surfaces: {{black: {{}}}}
leaves: {{leaf: {{like: {LEAF_OF[species]}}}}}
plants:
  plant:
    {{like: {species}, leaf: leaf, stem: green-stem, triangles_per_leaf: {n_triangle}, bears: []}}
canopy:
  layers: [{layers}]
  leaf_area_index: {index}
  wrap: true
  plantings: [{{plant: plant, columns: {columns}, rows: {rows}, base: 10 cm}}]
fixtures:
  panel:
    strips: [{{length: 99 cm, width: 99 cm, lens: lambertian}}]
    ppf: 500 umol/s
    spectrum: {{400-500: 20 %, 500-600: 30 %, 600-700: 50 %}}
lights: [{{fixture: panel, at: [50 cm, 50 cm], height: 2.55 m}}]
"""


def shares(species: str, n_triangle: int, packets: int) -> tuple[Floats, Floats, float]:
    """Light of 400-700 nm in per cent of what is launched, and packets per second.

    Returns
    -------
    share, std_err : (n_layer + 1,) ndarray, %
        Absorbed by the leaves of each layer, top first, then by the floor.
    speed : float
    """
    import canopysim
    from canopysim.scene.load import load_scene_text

    scene = load_scene_text(stand(species, n_triangle))
    start = time.perf_counter()
    result = canopysim.run(scene, max_packets=packets, target={"layers": 1e-9})
    seconds = time.perf_counter() - start
    chosen = {"group": "all", "band": "400-700"}
    assert result.layers is not None
    leaves = result.layers.sel(**chosen, side="both")
    floor = result.ends.sel(**chosen, end="floor")
    launched = 500.0
    share = np.append(leaves["absorbed_umol_s"].values / launched, float(floor["share"]))
    error = np.append(leaves["absorbed_std_err"].values / launched, float(floor["share_std_err"]))
    return 100 * share, 100 * error, packets / seconds


def main(rounds: int) -> None:
    """Print a table for each stand."""
    packets = PACKETS_A_ROUND * rounds
    print("light of 400-700 nm in % of what is launched, by triangles of a blade or leaflet;")
    print("± one standard error; differences from the finest blades in parentheses")
    for species in STANDS:
        print(f"  {species}, leaf area index {STANDS[species][0]:g}, {packets:.2g} packets a line")
        print("    triangles       top layer          middle           lowest            floor")
        found = {n: shares(species, n, packets) for n in TRIANGLES}
        finest, fine_error, _ = found[TRIANGLES[-1]]
        for n, (share, error, _) in found.items():
            cells = []
            for k in range(len(share)):
                cell = f"{share[k]:6.2f}"
                if n != TRIANGLES[-1]:
                    both = float(np.hypot(error[k], fine_error[k]))
                    cell += f" ({share[k] - finest[k]:+.2f} ± {both:.2f})"
                else:
                    cell += f" ± {error[k]:.2f}        "
                cells.append(cell)
            print(f"    {n:9d}  {'  '.join(cells)}")
