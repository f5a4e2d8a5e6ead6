"""Damage to meshes and files, one kind a function, and what each leaves knowable of the port.

A mesh (or a file's bytes), a random generator and an amount from 0 to 1 come in; the damaged one goes
out. `SAME` names the kinds after which the port is still the one it was.
"""

from __future__ import annotations

import io
import zipfile
import zlib

import numpy as np
import trimesh

from tests.scan import make

SAME = {"shuffle", "turn", "flip", "duplicate", "drop", "debris", "stray", "inside_out", "needles", "loose"}


def shuffle(v, f, rng, amount):
    done = make.shuffled(make.Scan(v, f), rng)
    return done.vertices, done.faces


def turn(v, f, rng, amount):
    """Another pose."""
    done = make.posed(make.Scan(v, f), make.random_pose(rng))
    return done.vertices, done.faces


def flip(v, f, rng, amount):
    """Up to one triangle in five faces the other way."""
    wrong = rng.random(len(f)) < 0.2 * amount
    return v, np.where(wrong[:, None], f[:, ::-1], f)


def inside_out(v, f, rng, amount):
    return v, f[:, ::-1]


def duplicate(v, f, rng, amount):
    """Some triangles come twice, some of those the other way round."""
    twice = f[rng.random(len(f)) < 0.2 * amount]
    back = rng.random(len(twice)) < 0.3
    return v, np.concatenate([f, np.where(back[:, None], twice[:, ::-1], twice)])


def drop(v, f, rng, amount):
    """A few triangles are lost, here and there."""
    lost = rng.choice(len(f), 1 + int(8 * amount), replace=False)
    return v, np.delete(f, lost, axis=0)


def bite(v, f, rng, amount):
    """A piece of the wall is lost."""
    done = make.holed(make.Scan(v, f), v[rng.integers(len(v))][None], 1.0 + 15.0 * amount)
    return done.vertices, done.faces


def riddle(v, f, rng, amount):
    """A share of all triangles is lost."""
    return v, f[rng.random(len(f)) > 0.6 * amount]


def jitter(v, f, rng, amount):
    """Every vertex is off by up to a good part of an edge."""
    return v + amount**2 * 1.5 * rng.standard_normal(v.shape), f


def spikes(v, f, rng, amount):
    """Some vertices stand far out."""
    far = rng.choice(len(v), 1 + int(5 * amount), replace=False)
    v = v.copy()
    v[far] += 10.0 ** (4.0 * amount) * rng.standard_normal((len(far), 3))
    return v, f


def not_numbers(v, f, rng, amount):
    v = v.copy()
    v[rng.integers(len(v)), rng.integers(3)] = rng.choice([np.nan, np.inf, -np.inf, 3e38])
    return v, f


def debris(v, f, rng, amount):
    done = make.with_debris(make.Scan(v, f), rng, 1 + int(4 * amount))
    return done.vertices, done.faces


def stray(v, f, rng, amount):
    """Vertices that no triangle uses, far away and near."""
    return np.vstack([v, 1e4 * amount * rng.standard_normal((1 + int(50 * amount), 3))]), f


def needles(v, f, rng, amount):
    """Triangles without area: two corners in one, and three in a row."""
    at = rng.integers(0, len(f), 1 + int(100 * amount))
    flat = f[at].copy()
    flat[:, 2] = flat[:, 0]
    return v, np.concatenate([f, flat])


def loose(v, f, rng, amount):
    """Every triangle has corners of its own, as in an STL, in another format."""
    return v[f].reshape(-1, 3), np.arange(3 * len(f)).reshape(-1, 3)


def twice(v, f, rng, amount):
    """The mesh again: on itself, through itself, or beside itself."""
    return np.vstack([v, v + amount * rng.standard_normal(3) * 200.0]), np.concatenate([f, f + len(v)])


def other(v, f, rng, amount):
    """Something that is no port in the same file, as large as the port or smaller."""
    ball = trimesh.creation.icosphere(2, 1.0 + 40.0 * amount)
    place = v[rng.integers(len(v))] + 100.0 * (rng.random() < 0.5)
    return np.vstack([v, ball.vertices + place]), np.concatenate([f, np.asarray(ball.faces) + len(v)])


def stretch(v, f, rng, amount):
    """Longer one way than another: down to a hundredth, up to a hundred times."""
    return v * 10.0 ** (amount * rng.uniform(-2.0, 2.0, 3)), f


def rescale(v, f, rng, amount):
    return v * 10.0 ** rng.uniform(-7.0 * amount, 7.0 * amount), f


def flatten(v, f, rng, amount):
    v = v.copy()
    v[:, rng.integers(3)] *= (1.0 - amount) ** 3
    return v, f


def half(v, f, rng, amount):
    """Only one side of a plane is there, and the cut is open."""
    axis = rng.standard_normal(3)
    side = (v[f].mean(axis=1) - v.mean(axis=0)) @ (axis / np.linalg.norm(axis))
    return v, f[side < np.quantile(side, 1.0 - 0.8 * amount)]


def rewire(v, f, rng, amount):
    """Some corners go to vertices anywhere."""
    f = f.copy()
    wrong = rng.random(f.shape) < 0.02 * amount**2
    wrong.flat[rng.integers(f.size)] = True
    f[wrong] = rng.integers(0, len(v), wrong.sum())
    return v, f


def merge(v, f, rng, amount):
    """Vertices in one cell of a grid become one: fins, pinches, edges with four faces."""
    cell = 0.5 + 4.0 * amount
    _, first, index = np.unique(np.round(v / cell), axis=0, return_index=True, return_inverse=True)
    return v[first], index.ravel()[f]


MESH_KINDS = {
    kind.__name__: kind
    for kind in (
        *(shuffle, turn, flip, inside_out, duplicate, drop, bite, riddle, jitter, spikes, not_numbers, debris),
        *(stray, needles, loose, twice, other, stretch, rescale, flatten, half, rewire, merge),
    )
}


def cut_short(data, rng, amount):
    return data[: int(len(data) * (1.0 - amount))]


def noise(data, rng, amount):
    """Some bytes are others: from one to one in ten."""
    raw = np.frombuffer(data, dtype=np.uint8).copy()
    count = max(int(len(raw) * 0.1 * amount**4), 1)
    raw[rng.integers(0, max(len(raw), 1), count)] = rng.integers(0, 256, count)
    return raw.tobytes()


def header_noise(data, rng, amount):
    """Some of the first bytes are others, where formats say what comes."""
    raw = np.frombuffer(data, dtype=np.uint8).copy()
    head = min(len(raw), 400)
    count = 1 + int(10 * amount)
    raw[rng.integers(0, head, count)] = rng.integers(0, 256, count)
    return raw.tobytes()


def moved_block(data, rng, amount):
    """A block of the file stands elsewhere in it."""
    a, b, c = np.sort(rng.integers(0, len(data) + 1, 3))
    return data[:a] + data[b:c] + data[a:b] + data[c:]


def appended(data, rng, amount):
    """The file's own bytes, or any, come after its end."""
    return data + (data if rng.random() < 0.5 else rng.bytes(1 + int(1000 * amount)))


def nuls(data, rng, amount):
    """A stretch is all zero bytes, as a disk that failed leaves it."""
    a = int(rng.integers(0, len(data)))
    n = int(4096 * amount) + 1
    return data[:a] + bytes(min(n, len(data) - a)) + data[a + n :]


def digits(data, rng, amount):
    """In text: a digit becomes another sign."""
    raw = bytearray(data)
    places = [k for k in range(len(raw)) if 48 <= raw[k] <= 57] if len(raw) < 3e6 else []
    for k in rng.choice(places, min(1 + int(5 * amount), len(places)), replace=False) if places else []:
        raw[k] = int(rng.choice(list(b"0123456789-.eE,+nai ")))
    return bytes(raw)


def other_encoding(data, rng, amount):
    """Text in another encoding."""
    text = data.decode("latin-1")
    return text.encode(str(rng.choice(["utf-16", "utf-8-sig", "utf-16-be", "utf-32", "utf-7"])))


def inside_zip(data, rng, amount):
    """In an archive: noise in one of its members, which is then packed soundly; else plain noise."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = {info.filename: archive.read(info) for info in archive.infolist()}
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError, RuntimeError):
        return digits(data, rng, amount)
    name = str(rng.choice(sorted(parts)))
    kind = [noise, digits, cut_short, moved_block][int(rng.integers(4))]
    parts[name] = kind(parts[name], rng, amount)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for key, value in parts.items():
            archive.writestr(key, value)
    return out.getvalue()


BYTE_KINDS = {
    kind.__name__: kind
    for kind in (cut_short, noise, header_noise, moved_block, appended, nuls, digits, other_encoding, inside_zip)
}
