"""Labelled results: every tally with its unit and standard error, saved as one NetCDF file."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from canopysim.errors import ResultError
from canopysim.kept_meshes import GROUP, mesh_dataset, meshes_in
from canopysim.sealed import read_sealed, write_sealed

if TYPE_CHECKING:
    import xarray as xr

FILE_NAME = "result.nc"
FORMAT = "canopysim result 4"


@dataclass(frozen=True, eq=False)
class Result:
    """What a run found.

    Attributes
    ----------
    layers : xarray.Dataset or None
        Canopy layers (1 is the top); None without a canopy. Variables over group x layer x side x
        band: ``absorbed_umol_s`` with ``absorbed_std_err``, ``absorbed_per_leaf_area`` and
        ``absorbed_per_ground_area`` (µmol m⁻² s⁻¹) with ``…_std_err``, ``n_meeting``
        (meetings that left something there); over layer: ``z_top_m``, ``z_bottom_m``,
        ``leaf_area_m2``, ``cumulative_lai`` (at the layer's bottom).
    planes : dict of str to xarray.Dataset
        Counting planes: ``pfd`` and ``pfd_std_err`` (µmol m⁻² s⁻¹) over group x band x
        direction x y x x, ``mean`` and ``mean_std_err`` over group x band x direction.
    ends : xarray.Dataset
        Where the photons ended: ``flux_umol_s``, ``std_err``, ``share`` and ``share_std_err`` (of
        what the group launched in the band) over end x group x band.
    launched : xarray.DataArray
        Photon flux launched, group x band, µmol/s.
    rows : xarray.Dataset
        The books behind all this, in quanta: one row per batch.
    meta : dict
        Title, seed, counts, settings, versions, scene text: plain values.
    probes : xarray.Dataset or None
        Points where light is told from all sides; None where there are none. Over probe x group x
        facing x band: ``pfd`` and ``pfd_std_err`` (µmol m⁻² s⁻¹; "all sides" is the fluence rate),
        over probe x group: ``reading``, ``over_true`` (reading over what an ideal sensor of the
        same kind would read there) with ``…_std_err``. If a meter has a levelling error, over probe
        x group x change: ``leaning`` with ``…_std_err``, see `tallies/label_leaning.py`.
    meshes : dict of str to bytes
        Mesh files of the scene by their SHA-256, kept so that the run can be taken up.
    """

    layers: xr.Dataset | None
    planes: dict[str, xr.Dataset]
    ends: xr.Dataset
    launched: xr.DataArray
    rows: xr.Dataset
    meta: dict[str, Any]
    probes: xr.Dataset | None = None
    meshes: dict[str, bytes] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """Title of the scene."""
        return str(self.meta["title"])

    @property
    def scene_text(self) -> str:
        """The scene file as it was read."""
        return str(self.meta["scene_text"])

    @property
    def seed(self) -> int:
        """Seed of the photons."""
        return int(self.meta["seed"])

    @property
    def n_packet(self) -> int:
        """Packets traced."""
        return int(self.meta["n_packet"])

    @property
    def n_batch(self) -> int:
        """Batches traced."""
        return int(self.meta["n_batch"])

    @property
    def stopped_by(self) -> str:
        """Why the run ended: target, packet, time or memory budget, or interrupted."""
        return str(self.meta["stopped_by"])

    @property
    def partial(self) -> bool:
        """Whether the run was interrupted."""
        return self.stopped_by == "interrupted"

    @property
    def seconds(self) -> float:
        """Time spent tracing, s."""
        return float(self.meta["seconds"])

    @property
    def threads(self) -> int:
        """Threads that traced; no number of them changes a tally."""
        return int(self.meta["threads"])

    @property
    def versions(self) -> dict[str, str]:
        """Versions of the program and what it computes with."""
        return dict(self.meta["versions"])

    @property
    def digest(self) -> str:
        """SHA-256 of the compiled world."""
        return str(self.meta["digest"])

    @property
    def band_names(self) -> list[str]:
        """Bands that were traced, such as 400-500; the arrays hold sums over some of them too."""
        return list(self.meta["band_names"])

    @property
    def groups(self) -> list[str]:
        """Groups of lights, without the sum "all"."""
        return list(self.meta["groups"])

    @property
    def settings(self) -> dict[str, Any]:
        """Conditions: enclosure, lining, plants, target and limits."""
        return dict(self.meta["settings"])

    def save(self, folder: str | Path) -> Path:
        """Write `result.nc` aside, sync and rename it, so that a kill leaves no torn file.

        The file ends with a SHA-256 of its contents, by which `load` knows that it is whole.

        Parameters
        ----------
        folder : path
            Made if it does not exist.

        Returns
        -------
        pathlib.Path
            The file.

        Raises
        ------
        ResultError
            Where it cannot be written.
        """
        import xarray as xr

        nodes = {"/": xr.Dataset(attrs={"format": FORMAT, "meta": json.dumps(self.meta)})}
        nodes["/ends"] = self.ends.assign(launched_umol_s=self.launched)
        nodes["/rows"] = self.rows
        if self.layers is not None:
            nodes["/layers"] = self.layers
        if self.probes is not None:
            nodes["/probes"] = self.probes
        if self.meshes:
            nodes[GROUP] = mesh_dataset(self.meshes)
        for name, plane in self.planes.items():
            nodes[f"/planes/{name}"] = plane
        target = Path(folder) / FILE_NAME
        write_sealed(nodes, target)
        return target

    @staticmethod
    def load(folder: str | Path) -> Result:
        """Read a result back.

        Parameters
        ----------
        folder : path
            The folder of a run, or its `result.nc`.

        Raises
        ------
        ResultError
            Where there is none, or the file is torn or foreign.
        """
        path = Path(folder)
        if path.is_dir():
            path = path / FILE_NAME
        tree = read_sealed(path, FORMAT)
        try:
            ends = tree["/ends"].to_dataset()
            planes = tree["/planes"].children if "planes" in tree.children else {}
            return Result(
                layers=tree["/layers"].to_dataset() if "layers" in tree.children else None,
                planes={name: node.to_dataset() for name, node in planes.items()},
                probes=tree["/probes"].to_dataset() if "probes" in tree.children else None,
                ends=ends.drop_vars("launched_umol_s"),
                launched=ends["launched_umol_s"],
                rows=tree["/rows"].to_dataset(),
                meta=json.loads(tree.attrs["meta"]),
                meshes=meshes_in(tree),
            )
        except (KeyError, ValueError) as problem:
            raise ResultError(f"{path}: cannot be read as a result ({problem})") from problem
