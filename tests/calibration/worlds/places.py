"""Where in a block something is: foci, patches, stretches of rows, slopes, low ground; and when it comes out."""

import numpy as np
from calibration.worlds.kinds import ROW_M, VINE_M, Block
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

__all__ = ["delays", "foci", "low_ground", "patches", "scattered", "slope", "smooth_field", "stretches"]

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def scattered(block: Block, share: float, purpose: str = "scattered") -> Bools:
    """Return vines drawn by chance, each with the same."""
    return block.chance(purpose).random(block.shape) < share


def foci(block: Block, share: float, radius_m: float = 4.0, inside: float = 0.75, between: float = 0.01) -> Bools:
    """Return vines in round foci of about `radius_m` metres that make up `share` of the block, and some by chance."""
    chance = block.chance("foci")
    one = np.pi * radius_m**2 * inside
    number = max(2, round((share - between) * block.shape[0] * block.shape[1] * ROW_M * VINE_M / one))
    risk = np.full(block.shape, between)
    for _ in range(number):
        row, station = chance.random(2) * np.array(block.shape)
        radius = radius_m * np.exp(chance.normal(0, 0.25))
        distance = np.hypot(block.across_m - row * ROW_M, block.along_m - station * VINE_M)
        risk = np.where(distance < radius, inside, risk)
    return chance.random(block.shape) < risk


def patches(block: Block, number: int = 6, rows: float = 0.22, stations: float = 0.2) -> Ints:
    """Return rectangular patches, numbered from 0 in the order in which they were set; -1 outside."""
    chance, out = block.chance("patches"), np.full(block.shape, -1)
    height, width = max(3, round(rows * block.shape[0])), max(6, round(stations * block.shape[1]))
    for patch in range(number):
        row = int(chance.integers(0, block.shape[0] - height + 1))
        station = int(chance.integers(0, block.shape[1] - width + 1))
        area = out[row : row + height, station : station + width]
        area[area < 0] = patch
    return out


def stretches(block: Block, chains: int, links: int, length: int) -> tuple[Ints, Ints]:
    """Return chains of short zones: each chain runs along one row, its zones side by side; also which link each is.

    Both arrays are -1 outside; a zone further from the middle of its chain is a later link.
    """
    chance = block.chance("stretches")
    chain_of, link_of = np.full(block.shape, -1), np.full(block.shape, -1)
    for chain in range(chains):
        row, middle = int(chance.integers(block.shape[0])), int(chance.integers(block.shape[1]))
        for station in range(block.shape[1]):
            link = (abs(station - middle) + length // 2) // length
            if link < links and chain_of[row, station] < 0:
                chain_of[row, station], link_of[row, station] = chain, link
    return chain_of, link_of


def slope(block: Block) -> Floats:
    """Return a surface from 0 to 1 across the block, in a direction of its own."""
    angle = block.chance("slope").random() * 2 * np.pi
    plane = np.cos(angle) * block.along_m + np.sin(angle) * block.across_m
    return (plane - plane.min()) / (plane.max() - plane.min())


def smooth_field(block: Block, scale_m: float = 12.0) -> Floats:
    """Return a smooth random surface with mean 0 and standard deviation 1."""
    noise = block.chance("field").normal(size=block.shape)
    field = gaussian_filter(noise, (scale_m / ROW_M, scale_m / VINE_M), mode="reflect")
    return (field - field.mean()) / field.std()


def low_ground(block: Block, reach: float = 0.3) -> Floats:
    """Return how low a vine stands, from 1 in a corner of the block falling smoothly over `reach` of its diagonal."""
    corner = block.chance("low").integers(2, size=2)
    across = np.abs(block.across_m - corner[0] * block.across_m.max())
    along = np.abs(block.along_m - corner[1] * block.along_m.max())
    size = np.hypot(block.across_m.max(), block.along_m.max())
    return np.exp(-((np.hypot(across, along) / (reach * size)) ** 2))


def delays(block: Block, mean: float, sd: float, purpose: str = "delays") -> Ints:
    """Return years from planting to when a vine of infected stock can show: a gamma law, each vine its own."""
    shape = (mean / sd) ** 2
    return np.floor(block.chance(purpose).gamma(shape, mean / shape, block.shape)).astype(np.int64)
