"""Photographs made up for tests: a camera that is known takes a picture of the printed frame and of what lies on it.

Nothing here is of the tracer: rays, lens, light and film are written anew, and the paper is the frame's own PDF as
pypdfium2 draws it. The lens is an inverse one (ideal radius as a polynomial of the bent one), so that a tracer whose
lens is the other way round does not have the very same formula. Units: mm on the paper, origin at its lower left.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

import cv2
import numpy as np
import pypdfium2

from portgeo.app import cli

TEXTURE = 16.0  # pixels per mm of the printed page
FINE = 3  # subpixels of what lies on the paper, either way


@dataclass(frozen=True)
class Camera:
    """A camera: where it is, what it looks at, its roll; focal length in pixels; lens and place of its axis."""

    position: np.ndarray
    target: np.ndarray
    roll: float
    focal: float
    size: tuple[int, int]
    bend: tuple[float, float] = (0.0, 0.0)
    off_axis: tuple[float, float] = (0.0, 0.0)

    @property
    def axes(self) -> np.ndarray:
        """Rows: right, down and ahead of the camera."""
        ahead = self.target - self.position
        ahead = ahead / np.linalg.norm(ahead)
        north = np.array([np.sin(self.roll), np.cos(self.roll), 0.0])
        right = np.cross(ahead, north)
        right /= np.linalg.norm(right)
        return np.array([right, np.cross(ahead, right), ahead])

    def rays(self, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, ...]:
        """Directions x, y, z of the rays through pixels, in the world."""
        cx, cy = (s / 2.0 - 0.5 + o for s, o in zip(self.size, self.off_axis, strict=True))
        a, b = (u - np.float32(cx)) / np.float32(self.focal), (v - np.float32(cy)) / np.float32(self.focal)
        r2 = a * a + b * b
        grow = 1.0 + r2 * (np.float32(self.bend[0]) + r2 * np.float32(self.bend[1]))
        a, b = a * grow, b * grow
        m = self.axes.astype(np.float32)
        return tuple(a * m[0, k] + b * m[1, k] + m[2, k] for k in range(3))

    def seen(self, points: np.ndarray) -> np.ndarray:
        """Pixels (n, 2) of points (n, 3): the lens is inverted by Newton's steps."""
        local = (points - self.position) @ self.axes.T
        flat = local[:, :2] / local[:, 2:]
        ideal = np.hypot(*flat.T)
        bent = ideal.copy()
        for _ in range(20):
            r2 = bent**2
            miss = bent * (1.0 + r2 * (self.bend[0] + r2 * self.bend[1])) - ideal
            bent -= miss / (1.0 + r2 * (3.0 * self.bend[0] + 5.0 * r2 * self.bend[1]))
        share = np.divide(bent, ideal, out=np.ones_like(bent), where=ideal > 1e-12)
        centre = np.array(self.size) / 2.0 - 0.5 + np.array(self.off_axis)
        return flat * share[:, None] * self.focal + centre


@dataclass(frozen=True)
class Thing:
    """What lies on the paper: triangles (n, 3, 3) in mm and the colour (n, 3) of each, linear red, green, blue."""

    triangles: np.ndarray
    colours: np.ndarray


@dataclass(frozen=True)
class Scene:
    """Paper, things on it, light and film.

    bulge : of the paper's surface, mm: a function of x and y. stretch : the print's, across and up. lean : how the
    light falls off over the paper, per mm. shadow : how dark, how soft (mm), how far off (mm). exposure : of white.
    blur : sigma of the lens, pixels. noise : of a grey, linear. contrast : of the tone curve over sRGB's. sharpened :
    how much the camera makes of edges. quality : of the JPEG. lights : lamps mirrored: place, width (mm), strength.
    """

    paper: str = "a4"
    things: tuple[Thing, ...] = ()
    blocks: tuple[tuple[int, float, float, float, float], ...] = ()  # mark, x, y, angle, height
    bulge: object = None
    stretch: tuple[float, float] = (1.0, 1.0)
    growth: float = 0.0
    lean: tuple[float, float] = (0.0, 0.0)
    shadow: tuple[float, float, tuple[float, float]] = (0.0, 3.0, (0.0, 0.0))
    exposure: float = 0.8
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)
    blur: float = 0.8
    noise: float = 0.006
    contrast: float = 0.0
    sharpened: float = 0.0
    quality: int = 92
    lights: tuple[tuple[float, float, float, float], ...] = ()
    table: float = 0.18
    seed: int = 0
    hidden: tuple[tuple[float, float, float, float], ...] = field(default_factory=tuple)  # rags over the paper


@cache
def printed(paper: str, page: int, growth: float) -> np.ndarray:
    """The printed page's reflectance (h, w), its first row the lower edge."""
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "frame.pdf"
        assert cli.main(["frame", "-o", str(file), "--paper", paper, "-q"]) == 0
        book = pypdfium2.PdfDocument(file.read_bytes())
    drawn = book[page].render(scale=TEXTURE * 25.4 / 72.0, grayscale=True).to_numpy()
    drawn = drawn[..., 0] if drawn.ndim == 3 else drawn
    shade = np.float32(0.04) + np.float32(0.92) * (drawn.astype(np.float32) / 255.0) ** np.float32(2.2)
    if growth:  # ink runs: black is larger by so much on each side
        share = np.float32(growth * TEXTURE)
        shade = (1 - share) * shade + share * cv2.erode(shade, np.ones((3, 3), np.uint8))
    return np.ascontiguousarray(shade[::-1])


def photograph(scene: Scene, camera: Camera) -> bytes:
    """The photograph, as the bytes of a JPEG file."""
    rng = np.random.default_rng([19, scene.seed])
    width, height = camera.size
    light = np.empty((height, width, 3), np.float32)
    for top in range(0, height, 256):
        v, u = np.mgrid[top : min(top + 256, height), 0:width].astype(np.float32)
        light[top : top + 256] = _paper(scene, camera, u, v)
    shades = []
    for thing in scene.things:
        shades.append(_draw(scene, camera, light, thing))
    for block in scene.blocks:
        _draw(scene, camera, light, _box(block))
        _tag(scene, camera, light, block)
    return _film(scene, light, rng)


def _ground(scene: Scene, camera: Camera, u: np.ndarray, v: np.ndarray, level: float = 0.0) -> tuple:
    dx, dy, dz = camera.rays(u, v)
    px, py, pz = (np.float32(c) for c in camera.position)
    z = np.full_like(dx, level)
    for _ in range(3 if scene.bulge is not None else 1):
        t = (z - pz) / dz
        x, y = px + t * dx, py + t * dy
        if scene.bulge is not None:
            z = (level + scene.bulge(x, y)).astype(np.float32)
    return x, y


def _paper(scene: Scene, camera: Camera, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Light (.., 3) off paper and table."""
    x, y = _ground(scene, camera, u, v)
    page = _soft_page(scene.paper, scene.growth, round(_per_pixel(camera), 3))
    mx = x / np.float32(scene.stretch[0]) * np.float32(TEXTURE) - np.float32(0.5)
    my = y / np.float32(scene.stretch[1]) * np.float32(TEXTURE) - np.float32(0.5)
    shade = cv2.remap(page, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=scene.table)
    for x0, y0, x1, y1 in scene.hidden:
        shade = np.where((x > x0) & (x < x1) & (y > y0) & (y < y1), np.float32(0.3), shade)
    lit = _lit(scene, x, y) * _shaded(scene, camera, x, y)
    mirrored = sum(
        (s * np.exp(-((x - a) ** 2 + (y - b) ** 2) / (2.0 * w * w)) for a, b, w, s in scene.lights), np.float32(0.0)
    )
    return (shade * lit + mirrored)[..., None] * np.array(scene.white, np.float32)


def _lit(scene: Scene, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    a, b = (x - 148.0) * np.float32(scene.lean[0]), (y - 105.0) * np.float32(scene.lean[1])
    return np.exp(a + b, dtype=np.float32)


def _shaded(scene: Scene, camera: Camera, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A soft shadow beside each thing: its outline from above, moved off and blurred."""
    dark, _, off = scene.shadow
    if not dark or not scene.things:
        return np.float32(1.0)
    cover = _cover(scene)
    mx, my = (x - np.float32(off[0])) * np.float32(4.0), (y - np.float32(off[1])) * np.float32(4.0)
    return 1.0 - np.float32(dark) * cv2.remap(cover, mx, my, cv2.INTER_LINEAR)


_COVERS: dict[int, np.ndarray] = {}


def _cover(scene: Scene) -> np.ndarray:
    key = id(scene)
    if key not in _COVERS:
        _COVERS.clear()
        cover = np.zeros((900, 1300), np.float32)
        for thing in scene.things:
            cv2.fillPoly(cover, [np.round(t[:, :2] * 4.0).astype(np.int32) for t in thing.triangles], 1.0)
        _COVERS[key] = cv2.GaussianBlur(cover, (0, 0), scene.shadow[1] * 4.0)
    return _COVERS[key]


def _per_pixel(camera: Camera) -> float:
    return float(np.linalg.norm(camera.target - camera.position) / camera.focal)


@cache
def _soft_page(paper: str, growth: float, pixel: float) -> np.ndarray:
    """The page as pixels of that size see it: each takes in its own square, here as a Gaussian of like spread."""
    return cv2.GaussianBlur(printed(paper, 0, growth), (0, 0), max(pixel * TEXTURE / np.sqrt(12.0), 0.3))


def _draw(scene: Scene, camera: Camera, light: np.ndarray, thing: Thing) -> None:
    """Draw triangles over the picture, those behind first, in subpixels, and average."""
    pixels = camera.seen(thing.triangles.reshape(-1, 3)).reshape(-1, 3, 2)
    far = np.linalg.norm(thing.triangles.mean(axis=1) - camera.position, axis=1)
    low = np.maximum(np.floor(pixels.min(axis=(0, 1))).astype(int) - 4, 0)
    high = np.minimum(np.ceil(pixels.max(axis=(0, 1))).astype(int) + 5, camera.size)
    wide, tall = (high - low) * FINE
    fine = np.repeat(np.repeat(light[low[1] : high[1], low[0] : high[0]], FINE, axis=0), FINE, axis=1)
    fine = np.ascontiguousarray(fine)
    places = (pixels - low + 0.5) * FINE - 0.5
    middle = thing.triangles.mean(axis=1)
    lit = _lit(scene, middle[:, 0], middle[:, 1])
    colours = thing.colours * lit[:, None] * np.array(scene.white)
    for k in np.argsort(-far, kind="stable"):
        fill(fine, places[k], colours[k])
    small = fine.reshape(tall // FINE, FINE, wide // FINE, FINE, 3).mean(axis=(1, 3))
    light[low[1] : high[1], low[0] : high[0]] = small


def fill(picture: np.ndarray, triangle: np.ndarray, colour: np.ndarray) -> None:
    """Fill the pixels whose middles lie in a triangle (3, 2).

    OpenCV's own filling takes in every pixel that an edge touches: things come out half a pixel too large all round.
    """
    tall, wide = picture.shape[:2]
    low, high = triangle[:, 1].min(), triangle[:, 1].max()
    y = np.arange(max(int(np.ceil(low)), 0), min(int(np.ceil(high)), tall))
    left, right = np.full(len(y), np.inf), np.full(len(y), -np.inf)
    for (ax, ay), (bx, by) in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        crossed = (y >= min(ay, by)) & (y < max(ay, by))
        x = ax + (y[crossed] - ay) / (by - ay) * (bx - ax) if ay != by else np.zeros(0)
        left[crossed] = np.minimum(left[crossed], x)
        right[crossed] = np.maximum(right[crossed], x)
    start, end = (np.clip(np.ceil(x), 0, wide).astype(int) for x in (left, right))
    for row, a, b in zip(y, start, end, strict=True):
        picture[row, a:b] = colour


def _box(block: tuple[int, float, float, float, float]) -> Thing:
    """A block of wood, 22 mm square."""
    _, x, y, angle, height = block
    c, s = np.cos(angle), np.sin(angle)
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 11.0 @ np.array([[c, s], [-s, c]]) + [x, y]
    return prism(square, height, (0.35, 0.22, 0.12))


def _tag(scene: Scene, camera: Camera, light: np.ndarray, block: tuple[int, float, float, float, float]) -> None:
    """Draw the mark on a block: a piece of the frame's second page."""
    from portgeo.photos.frame import BLOCK_IDS, CUT_MM  # where it is on that page, and no more

    number, x, y, angle, height = block
    page = printed(scene.paper, 1, scene.growth)
    page = cv2.GaussianBlur(page, (0, 0), max(_per_pixel(camera) * TEXTURE / np.sqrt(12.0), 0.3))
    line, word = 4.2, 2.8
    top = page.shape[0] / TEXTURE - 12.0 - word - 5.0 * line
    middle = np.array([12.0 + CUT_MM / 2.0 + BLOCK_IDS.index(number) * (CUT_MM + line), top - CUT_MM / 2.0])
    level = height + (float(scene.bulge(np.float32(x), np.float32(y))) if scene.bulge is not None else 0.0)
    reach = np.array([[a, b, 0.0] for a in (-15, 15) for b in (-15, 15)]) + [x, y, level]
    seen = camera.seen(reach)
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(seen.max(axis=0)).astype(int), camera.size)
    v, u = np.mgrid[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    flat = replace(scene, bulge=None)
    gx, gy = _ground(flat, camera, u, v, level)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    a = ((gx - x) * c + (gy - y) * s) / np.float32(scene.stretch[0])
    b = (-(gx - x) * s + (gy - y) * c) / np.float32(scene.stretch[1])
    shade = cv2.remap(
        page, np.float32((a + middle[0]) * TEXTURE - 0.5), np.float32((b + middle[1]) * TEXTURE - 0.5), cv2.INTER_LINEAR
    )
    on = (np.abs(a) < CUT_MM / 2.0 - 0.3) & (np.abs(b) < CUT_MM / 2.0 - 0.3)
    lit = (shade * _lit(scene, gx, gy))[..., None] * np.array(scene.white, np.float32)
    part = light[low[1] : high[1], low[0] : high[0]]
    part[on] = lit[on]


def _film(scene: Scene, light: np.ndarray, rng: np.random.Generator) -> bytes:
    """Blur, noise, tone curve, sharpening, JPEG."""
    seen = cv2.GaussianBlur(light, (0, 0), scene.blur) * np.float32(scene.exposure)
    grain = rng.standard_normal(seen.shape, dtype=np.float32)
    seen = np.clip(seen + grain * np.float32(scene.noise) * np.sqrt(np.maximum(seen, 0.0) + 0.05), 0.0, 1.0)
    tone = np.where(seen < 0.0031308, 12.92 * seen, 1.055 * seen ** np.float32(1.0 / 2.4) - 0.055)
    tone = tone + np.float32(scene.contrast) * tone * (1.0 - tone) * (2.0 * tone - 1.0)
    if scene.sharpened:
        tone = tone + np.float32(scene.sharpened) * (tone - cv2.GaussianBlur(tone, (0, 0), 1.5))
    levels = np.clip(np.round(tone * 255.0), 0, 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", levels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, scene.quality])
    assert done
    return data.tobytes()


def prism(outline: np.ndarray, height: float, colour: tuple[float, float, float], base: float = 0.0) -> Thing:
    """A slice: its upper face and walls; outline (n, 2) counterclockwise. A wall's shade goes by where it looks."""
    import shapely

    triangles = [np.asarray(t.exterior.coords)[:3] for t in shapely.constrained_delaunay_triangles(
        shapely.Polygon(outline)).geoms]  # fmt: skip
    top = [np.column_stack([t, np.full(3, base + height)]) for t in triangles]
    walls, shades = [], []
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        p, q = (np.array([*end, z]) for end, z in ((a, base), (b, base)))
        r, s = q + [0, 0, height], p + [0, 0, height]
        out = np.array([b[1] - a[1], a[0] - b[0]]) / max(np.hypot(*(b - a)), 1e-9)
        walls += [np.array([p, q, r]), np.array([p, r, s])]
        shades += [0.55 + 0.2 * out[0]] * 2
    shade = np.concatenate([np.ones(len(top)), shades])
    return Thing(np.array(top + walls), shade[:, None] * np.array(colour))


def waved(rng: np.random.Generator, size: float = 1.0) -> object:
    """A paper that is not flat: smooth, `size` mm from its lowest place to its highest, and resting on the table."""
    k = rng.normal(size=(2, 5))
    phase = rng.uniform(0.0, 2.0 * np.pi, 5)
    wave = rng.uniform(150.0, 400.0, 5)

    def raw(x, y):
        parts = (
            np.sin(2.0 * np.pi * (x * a + y * b) / np.hypot(a, b) / w + p)
            for a, b, w, p in zip(*k, wave, phase, strict=True)
        )
        return sum(parts)

    # Millions of places are asked for: a table every 1.5 mm between which it is as good as straight (to 0.001 mm).
    step, out = 1.5, 150.0
    gx, gy = np.meshgrid(np.arange(-out, 297.0 + out, step), np.arange(-out, 210.0 + out, step))
    table = raw(gx, gy)
    on_page = table[(gy >= 0.0) & (gy <= 210.0) & (gx >= 0.0) & (gx <= 297.0)]
    table = np.float32((table - on_page.min()) * (size / np.ptp(on_page)))

    def height(x, y):
        u, v = (np.atleast_2d(np.float32((np.asarray(c) + out) / step)) for c in (x, y))
        return cv2.remap(table, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).reshape(np.shape(x))

    return height


def held(rng: np.random.Generator, size: tuple[int, int], tilt: float, fill: float = 0.82, target=None) -> Camera:
    """A phone held over the middle of the frame, tilted by so much, so that the page fills a share of the picture."""
    target = np.array([148.0, 105.0, 0.0]) + [*rng.normal(0.0, 4.0, 2), 0.0] if target is None else target
    longest = max(size)
    focal = longest * rng.uniform(0.72, 1.05)
    distance = 297.0 * focal / (longest * fill) * (1.0 + 0.35 * np.sin(tilt))
    away = rng.uniform(0.0, 2.0 * np.pi)
    position = target + distance * np.array([np.sin(tilt) * np.cos(away), np.sin(tilt) * np.sin(away), np.cos(tilt)])
    roll = rng.normal(0.0, 0.08)
    bend = (float(rng.normal(0.0, 0.02)), float(rng.normal(0.0, 0.01)))
    return Camera(position, target, roll, focal, size, bend, tuple(rng.normal(0.0, 0.004 * longest, 2)))


def decoded(data: bytes) -> np.ndarray:
    """The photograph as the library reads it, blue, green, red."""
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def saved(data: bytes, path) -> str:
    """Write a photograph and return its name."""
    with open(path, "wb") as stream:
        stream.write(data)
    return str(path)
