"""How far a terrain model, a station and an eye may err: figures by product, and the shape of the errors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from hillsight.errors import CallError

#: A standard deviation of so many metres is no terrain model's; likelier feet, millimetres or a slip.
MOST_RMSE_M = 100.0

#: 90 % of normal errors lie within this many standard deviations (closed form).
LE90_SIGMAS = 1.644854

type Shape = Literal["exponential", "gaussian"]

#: What is known of the ground between the posts of a terrain model: its posts are heights of points, or
#: means of the ground about each; either ("unknown"); or there is nothing between them ("straight").
type BetweenPosts = Literal["unknown", "points", "means", "straight"]

BETWEEN_POSTS: tuple[BetweenPosts, ...] = ("unknown", "points", "means", "straight")


@dataclass(frozen=True)
class TerrainProduct:
    """What a maker or a study says of a kind of terrain model.

    terrain_rmse_m : metres, one standard deviation of the heights
    correlation_length_m : metres, see ErrorModel
    source : where the RMSE comes from. No source gives the correlation lengths: they are our guess, some
        three to ten posts of the product
    is_surface_model : whether trees and roofs are in the heights, and so hide as the ground does
    """

    terrain_rmse_m: float
    correlation_length_m: float
    source: str
    is_surface_model: bool = False


#: Terrain models by the name that --terrain-product takes.
PRODUCTS = {
    "lidar": TerrainProduct(0.15, 10.0, "Environment Agency lidar composites, +-0.15 m RMSE (gov.uk, 2022)"),
    "photogrammetric-5m": TerrainProduct(
        0.60,
        50.0,
        "5 m photogrammetric terrain model of Great Britain 2008-12, RMSE below 0.60 m (its record)",
    ),
    "mountain-5m": TerrainProduct(2.5, 50.0, "OS Terrain 5, mountain and moorland, 2.5 m RMSE (from memory)"),
    "contour-50m": TerrainProduct(4.0, 200.0, "OS Terrain 50, 4 m RMSE (from memory)"),
    "copernicus-30m": TerrainProduct(
        1.56, 100.0, "Copernicus GLO-30 as achieved, LE90 2.57 m = 1.56 m (Airbus 2022, quoted)", True
    ),
    "copernicus-30m-specified": TerrainProduct(
        2.43, 100.0, "Copernicus GLO-30 as specified, below 4 m LE90 = 2.43 m", True
    ),
    "srtm-30m": TerrainProduct(
        9.73, 150.0, "SRTM as specified, 16 m LE90 = 9.73 m (Sci. Rep. 7:41672)", True
    ),
    "alos-30m": TerrainProduct(
        5.40, 150.0, "AW3D30 against GPS in Nigeria, 5.40 m RMSE (JGIS 11(2), 2019)", True
    ),
    "aster-30m": TerrainProduct(
        20.03, 150.0, "ASTER v2 against GPS in Nigeria, 20.03 m RMSE (JGIS 11(2), 2019)", True
    ),
}


@dataclass(frozen=True)
class ErrorModel:
    """Standard deviations of all that is not known exactly, each an error of its own.

    The truth is taken to be the model's heights, plus the roughness that lies between its posts, which is
    estimated from the ground itself (ground.roughness), plus a random field of normal errors at the posts;
    that field's mean is nought and its covariance depends on distance alone:
    ``terrain_rmse_m^2 ((1 - nugget_share) rho(d) + nugget_share [d = 0])``, where rho is exp(-d / L)
    ("exponential") or exp(-(d / L)^2) ("gaussian"). The exponential is the default because it does not
    take for granted that the error is smooth from post to post (the commonest choice in studies of
    simulated terrain errors; from memory), and so claims less of near ground.

    Parameters
    ----------
    terrain_rmse_m : metres >= 0, of the heights of posts
    correlation_length_m : metres > 0, L above
    correlation_shape : "exponential" or "gaussian"
    nugget_share : 0 to 1, share of the variance that one post has to itself
    between_posts : what the posts are, and so how rough the ground is between them
    station_position_m : metres >= 0, of the station's easting, and of its northing
    station_height_m : metres >= 0, of a station height that was surveyed; None where the height is the
        terrain's own, and shares its error
    eye_height_m : metres >= 0, of the eye above the ground
    refraction : >= 0, of the coefficient k
    feature_position_m : metres >= 0, of a map feature's easting, and of its northing
    source : where the terrain's figures come from; always reported
    is_guess : whether the terrain's figures are guessed from its post spacing

    Not modelled: trees, walls and buildings, where the terrain model leaves them out; errors that the whole
    terrain shares (they cancel, all heights being the terrain's own); blunders.

    Raises
    ------
    CallError : a figure is not a number, negative or absurd
    """

    terrain_rmse_m: float
    correlation_length_m: float
    correlation_shape: Shape = "exponential"
    nugget_share: float = 0.0
    between_posts: BetweenPosts = "unknown"
    station_position_m: float = 5.0
    station_height_m: float | None = None
    eye_height_m: float = 0.1
    refraction: float = 0.05
    feature_position_m: float = 10.0
    source: str = "as told"
    is_guess: bool = False

    def __post_init__(self) -> None:
        _check("terrain_rmse_m", self.terrain_rmse_m, MOST_RMSE_M, "m")
        _check("station_position_m", self.station_position_m, 1000.0, "m")
        if self.station_height_m is not None:
            _check("station_height_m", self.station_height_m, MOST_RMSE_M, "m")
        _check("eye_height_m", self.eye_height_m, 10.0, "m")
        _check("refraction", self.refraction, 1.0, "")
        _check("feature_position_m", self.feature_position_m, 1000.0, "m")
        _check("nugget_share", self.nugget_share, 1.0, "")
        length_m = self.correlation_length_m
        if not (math.isfinite(length_m) and 0 < length_m <= 1e6):
            raise CallError(
                f"a correlation length of {length_m:g} m makes no sense",
                where="error model, correlation_length_m",
                remedy="Give the metres over which terrain errors are alike, above 0; 50 to 200 m is usual",
            )
        if self.correlation_shape not in ("exponential", "gaussian"):
            raise CallError(
                f"errors cannot be correlated in the shape '{self.correlation_shape}'",
                where="error model, correlation_shape",
                remedy="Give exponential or gaussian",
            )
        word_between_posts(self.between_posts)

    @classmethod
    def of_product(cls, name: str) -> ErrorModel:
        """The documented figures of a kind of terrain model.

        Raises
        ------
        CallError : no such product
        """
        if name not in PRODUCTS:
            raise CallError(
                f"no terrain product is called '{name}'",
                where="error model",
                remedy=f"Choose from {', '.join(PRODUCTS)}, or give RMSE and correlation length in metres",
            )
        product = PRODUCTS[name]
        return cls(product.terrain_rmse_m, product.correlation_length_m, source=f"{name}: {product.source}")

    @classmethod
    def guessed_from_spacing(cls, spacing_m: float) -> ErrorModel:
        """What may be guessed of terrain nobody has named, from its post spacing.

        RMSE a fiftieth of the spacing, from 0.1 to 10 m, smooth and alike over a hundred posts: on real
        ground thinned to coarser posts (docs/studies/thinned_ground.py) errors that change from post to post
        claim more than there are, above all on level ground and water. What does change from post to post is
        the roughness between them, estimated from the ground. A rule of thumb of ours without a source.

        Raises
        ------
        ValueError : the spacing is not above nought
        """
        if not (math.isfinite(spacing_m) and spacing_m > 0):
            raise ValueError(f"no posts stand {spacing_m} m apart")
        rmse_m, length_m = min(max(0.02 * spacing_m, 0.1), 10.0), max(100.0 * spacing_m, 100.0)
        source = (
            f"guessed from posts {spacing_m:g} m apart: RMSE {rmse_m:.2g} m, alike over {length_m:,.6g} m"
        )
        return cls(rmse_m, length_m, "gaussian", source=source, is_guess=True)

    def covariance_m2(
        self, distance_m: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        """Covariance of the errors of two posts so many metres apart, m^2, same shape."""
        apart = np.asarray(distance_m, np.float64) / self.correlation_length_m
        alike = np.exp(-apart) if self.correlation_shape == "exponential" else np.exp(-(apart**2))
        shared = (1.0 - self.nugget_share) * alike + self.nugget_share * (apart == 0.0)
        covariance: np.ndarray[tuple[int, ...], np.dtype[np.float64]] = self.terrain_rmse_m**2 * shared
        return covariance


def word_between_posts(word: str) -> BetweenPosts:
    """A word for what the posts are.

    Raises
    ------
    CallError : no such word
    """
    for known in BETWEEN_POSTS:
        if word == known:
            return known
    raise CallError(
        f"the ground between posts cannot be '{word}'",
        where="error model",
        remedy=f"Give one of {', '.join(BETWEEN_POSTS)}",
        parameters=("between_posts",),
    )


def _check(name: str, value: float, most: float, unit: str) -> None:
    if not (math.isfinite(value) and 0 <= value <= most):
        raise CallError(
            f"{value:g} {unit}".strip() + " is no standard deviation",
            where=f"error model, {name}",
            remedy=f"Give a number from 0 to {most:g}"
            + (f", in {'metres' if unit == 'm' else unit}" if unit else ""),
        )
