"""Which numbers of a result a case looks at, as data: each reading names a place in the result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.results import Result

PAR = "400-700"
# Grids and probes keep at most so many rows of batches.
GRID_ROWS = 32


@dataclass(frozen=True)
class Found:
    """Numbers read off a result, each array of the same shape.

    Attributes
    ----------
    value, std_err : float64 arrays
        In the unit of the reading; the error is NaN where nothing arrived.
    n_row : int
        Independent rows behind each error.
    """

    value: NDArray[np.float64]
    std_err: NDArray[np.float64]
    n_row: int


class Reading(Protocol):
    """A place in a result."""

    def read(self, result: Result) -> Found:
        """Read its numbers off."""
        ...


@dataclass(frozen=True)
class Share:
    """Share of what a group launched in a band that ends at one place."""

    end: str
    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read it off: one number."""
        if self.end not in result.ends["end"].values:
            # Nothing in this scene is of that name: a mistake in the case.
            raise KeyError(f"no end {self.end!r} among {list(result.ends['end'].values)}")
        here = result.ends.sel(end=self.end, group=self.group, band=self.band)
        return _found(here["share"], here["share_std_err"], result.n_batch)


@dataclass(frozen=True)
class PlaneMean:
    """Mean flux density over a plane, of the photons that go one way, µmol m⁻² s⁻¹."""

    plane: str
    direction: str = "down"
    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read it off: one number."""
        here = result.planes[self.plane].sel(
            direction=self.direction, group=self.group, band=self.band
        )
        return _found(here["mean"], here["mean_std_err"], result.n_batch)


@dataclass(frozen=True)
class PlaneCells:
    """Flux density in every cell of a plane, (y, x), µmol m⁻² s⁻¹."""

    plane: str
    direction: str = "down"
    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read them off: (ny, nx) numbers."""
        here = result.planes[self.plane].sel(
            direction=self.direction, group=self.group, band=self.band
        )
        return _found(here["pfd"].transpose("y", "x"), here["pfd_std_err"].transpose("y", "x"),
                      min(result.n_batch, GRID_ROWS))  # fmt: skip


@dataclass(frozen=True)
class LayerSides:
    """Share of the launched light that each side of the leaves of each layer absorbs.

    (layer, side): the top layer first, the upper side before the lower.
    """

    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read them off: (n_layer, 2) numbers."""
        assert result.layers is not None, "the scene has no canopy"
        here = result.layers.sel(group=self.group, band=self.band, side=["upper", "lower"])
        whole = float(result.launched.sel(group=self.group, band=self.band))
        return _found(here["absorbed_umol_s"].transpose("layer", "side") / whole,
                      here["absorbed_std_err"].transpose("layer", "side") / whole,
                      result.n_batch)  # fmt: skip


@dataclass(frozen=True)
class Layers:
    """Share of the launched light that each layer's leaves absorb, both sides: (layer,)."""

    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read them off: (n_layer,) numbers."""
        assert result.layers is not None, "the scene has no canopy"
        here = result.layers.sel(group=self.group, band=self.band, side="both")
        whole = float(result.launched.sel(group=self.group, band=self.band))
        return _found(here["absorbed_umol_s"] / whole, here["absorbed_std_err"] / whole,
                      result.n_batch)  # fmt: skip


@dataclass(frozen=True)
class LayerDensity:
    """What each layer's leaves absorb by area, of leaves or of ground, µmol m⁻² s⁻¹: (layer,)."""

    per: str
    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read it off: (n_layer,) numbers."""
        assert result.layers is not None, "the scene has no canopy"
        here = result.layers.sel(group=self.group, band=self.band, side="both")
        name = f"absorbed_per_{self.per}_area"
        return _found(here[name], here[f"{name}_std_err"], result.n_batch)


@dataclass(frozen=True)
class AtLevels:
    """Mean flux density at every boundary between layers, 400-700 nm, µmol m⁻² s⁻¹: (n_level,).

    The top first; of a scene with ``canopy: {profile: true}``.
    """

    direction: str = "down"
    group: str = "all"

    def read(self, result: Result) -> Found:
        """Read them off: (n_level,) numbers."""
        from canopysim.analysis.profile import profile

        found = profile(result, group=self.group).estimates(self.direction)
        return _found([e.value for e in found], [e.std_err for e in found], result.n_batch)


@dataclass(frozen=True)
class AtProbe:
    """Flux density on one face of a probe, or the fluence rate, µmol m⁻² s⁻¹."""

    probe: str
    facing: str = "all sides"
    group: str = "all"
    band: str = PAR

    def read(self, result: Result) -> Found:
        """Read it off: one number."""
        assert result.probes is not None, "the scene has no probes"
        here = result.probes.sel(
            probe=self.probe, facing=self.facing, group=self.group, band=self.band
        )
        return _found(here["pfd"], here["pfd_std_err"], min(result.n_batch, GRID_ROWS))


@dataclass(frozen=True)
class MeterReading:
    """What a meter shows, or what it shows over what an ideal one of its kind would."""

    probe: str
    over_true: bool = False
    group: str = "all"

    def read(self, result: Result) -> Found:
        """Read it off: one number."""
        assert result.probes is not None, "the scene has no probes"
        here = result.probes.sel(probe=self.probe, group=self.group)
        name = "over_true" if self.over_true else "reading"
        return _found(here[name], here[f"{name}_std_err"], min(result.n_batch, GRID_ROWS))


def _found(value: object, std_err: object, n_row: int) -> Found:
    return Found(np.asarray(value, np.float64), np.asarray(std_err, np.float64), n_row)
