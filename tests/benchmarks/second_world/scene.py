"""World two's shots traced by LuxCore: linear light through a perfect lens."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from second_world.camera import Camera, camera_of
from second_world.card import card_reflectance, sheet_mesh
from second_world.finishes import outwardness, rope_material
from second_world.lights import COLUMNS, ROWS, shining, sun_lines, surroundings
from second_world.shots import Shot, layout_of
from second_world.truth import caliper_mm
from second_world.wires import Array, Mesh, Rope, core_mesh, rope_mesh

# isort: split
# Import it last: it replaces the allocator, and libraries loaded afterwards crash.
import pyluxcore  # type: ignore[import-not-found]

pyluxcore.Init(lambda line: None)  # without this no graphics card is found

Light = NDArray[np.float32]


def card_size_mm(shot: Shot) -> tuple[float, float]:
    """Return the printed sheet's true width and height."""
    layout = layout_of(shot)
    return layout.width_mm * shot.scale_x, layout.height_mm * shot.scale_y


def laid(shot: Shot) -> tuple[Mesh, Mesh | None, Array, Array]:
    """Return the rope's wires and core as placed on the card, its axis and its station.

    Returns
    -------
    wires, core : Mesh, Mesh or None
        In the card's frame, mm.
    axis, station_mm : ndarray of shape (3,)
        Unit vector along the rope; point of the axis above the card's middle.
    """
    camera = camera_of(shot)
    length = 2.2 * shot.distance_mm * max(shot.size_px) / camera.focal_px
    turn, askew = np.radians([shot.view_deg, shot.axis_deg])
    about = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
    on_card = np.array(
        [[np.cos(askew), -np.sin(askew), 0], [np.sin(askew), np.cos(askew), 0], [0, 0, 1]]
    )
    wires = rope_mesh(shot.rope, length)
    own = wires.points_mm @ about.T
    over_card = np.abs(own[:, 0]) < layout_of(shot).width_mm / 2
    height = shot.gap_mm - float(own[over_card, 2].min())
    axis, normal = on_card[:, 0], on_card[:, 1]
    station = shot.offset_mm * normal + np.array([0.0, 0.0, height])
    rotation = on_card @ about
    core = core_mesh(shot.rope, length).moved(rotation, station) if shot.rope.strands else None
    return wires.moved(rotation, station), core, axis, station


def truth_mm(shot: Shot, jaw: float = 2.0) -> tuple[float, Array]:
    """Return the caliper width over jaws `jaw` diameters long, and the station, mm."""
    wires, _, axis, station = laid(shot)
    width = caliper_mm(
        wires.points_mm,
        middle_mm=station,
        axis=axis,
        sight=station - camera_of(shot).centre_mm,
        jaw_mm=jaw * shot.rope.diameter_mm,
    )
    return width, station


def trace(shot: Shot, *, samples: int, card: int | None = None) -> Light:
    """Return the linear picture (H, W, 3).

    Parameters
    ----------
    shot : Shot
        What to photograph.
    samples : int
        Paths per pixel.
    card : int or None
        Number of the graphics card to use, by CUDA, from 0; None uses the processor.

    Raises
    ------
    ValueError
        If the machine has no such card.
    """
    camera = camera_of(shot)
    rng = np.random.default_rng([shot.seed, 1])
    scene = pyluxcore.Scene()
    lines = _camera_lines(camera) | rope_material(shot.finish, rng)
    wires, core, _, _ = laid(shot)
    plain = rope_mesh(shot.rope, _length_mm(wires))
    _add(scene, lines, "wires", wires, "rope", out=outwardness(shot.rope, plain.points_mm))
    if core is not None:
        _add(scene, lines, "filling", core, "core")
    for number, (mesh, material) in enumerate(_strays(shot, rng)):
        _add(scene, lines, f"stray{number}", mesh, material, out=np.ones(len(mesh.points_mm)))
    _add_card(scene, lines, shot)
    _add_ground(scene, lines, rng)
    _add_light(scene, lines, shot, camera, rng)
    scene.Parse(_properties(lines))
    width, height = camera.size_px
    settings = {
        "renderengine.type": "PATHCPU",
        "sampler.type": "SOBOL",
        "film.width": width,
        "film.height": height,
        "film.filter.type": "NONE",  # a pixel is the mean over its own square
        "film.outputs.0.type": "RGB",
        "film.outputs.0.filename": "unused.exr",
        "batch.haltspp": samples,
        "path.pathdepth.total": 6,
        "path.clamping.variance.maxvalue": 30.0,  # suppresses fireflies
    } | _by_card(card)
    session = pyluxcore.RenderSession(pyluxcore.RenderConfig(_properties(settings), scene))
    session.Start()
    while not session.HasDone():
        time.sleep(0.05)
        session.UpdateStats()
    session.Stop()
    light = np.zeros((height, width, 3), np.float32)
    session.GetFilm().GetOutputFloat(pyluxcore.FilmOutputType.RGB, light)
    return np.ascontiguousarray(light[::-1])


def _by_card(card: int | None) -> dict[str, Any]:
    """Return settings that make one graphics card do all tracing; none for the processor."""
    if card is None:
        return {}
    kinds = [device[1] for device in pyluxcore.GetOpenCLDeviceList()]
    cards = [place for place, kind in enumerate(kinds) if kind == "CUDA_GPU"]
    if not 0 <= card < len(cards):
        raise ValueError(f"no graphics card {card}: this machine has {len(cards)}; count from 0.")
    return {
        "renderengine.type": "PATHOCL",
        "opencl.devices.select": "".join("01"[place == cards[card]] for place in range(len(kinds))),
        "opencl.native.threads.count": 0,
        "cuda.optix.devices.select": "0" * len(cards),  # no second compiler is needed then
    }


def _length_mm(mesh: Mesh) -> float:
    """Return the length of the rope's mesh, from end to end."""
    first, last = (
        mesh.points_mm[0],
        mesh.points_mm[np.argmax(np.linalg.norm(mesh.points_mm - mesh.points_mm[0], axis=1))],
    )
    return float(np.linalg.norm(last - first))


def _properties(lines: dict[str, Any]) -> Any:
    made = pyluxcore.Properties()
    for name, value in lines.items():
        plain = value if isinstance(value, str) else np.asarray(value).tolist()
        made.Set(pyluxcore.Property(name, plain))
    return made


def _camera_lines(camera: Camera) -> dict[str, Any]:
    (width, height), f = camera.size_px, camera.focal_px
    u0, v0 = camera.principal_px
    ahead = camera.centre_mm + 100.0 * camera.axes[2]
    return {
        "scene.camera.type": "perspective",
        "scene.camera.lookat.orig": camera.centre_mm.tolist(),
        "scene.camera.lookat.target": ahead.tolist(),
        "scene.camera.up": (-camera.axes[1]).tolist(),
        "scene.camera.fieldofview": 90.0,  # makes the unit of the window below the focal length
        # rows count from the lower edge, offset by one (found with small squares, within 0.01 px)
        "scene.camera.screenwindow": [
            (-0.5 - u0) / f, (width - 0.5 - u0) / f, -(height + 0.5 - v0) / f, (v0 - 0.5) / f,
        ],
        "scene.camera.cliphither": 1.0,
        "scene.camera.clipyon": 1e5,
        "scene.camera.autovolume.enable": 0,
    }  # fmt: skip


def _normals(mesh: Mesh) -> Array:
    a, b, c = (mesh.points_mm[mesh.corners[:, i]] for i in range(3))
    face = np.cross(b - a, c - a)
    total = np.zeros_like(mesh.points_mm)
    for i in range(3):
        for k in range(3):
            total[:, k] += np.bincount(mesh.corners[:, i], face[:, k], len(total))
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def _add(
    scene: Any, lines: dict[str, Any], name: str, mesh: Mesh, material: str,
    *, out: Array | None = None, uv: Array | None = None,
) -> None:  # fmt: skip
    shades = None if out is None else [(v, v, v) for v in out.tolist()]
    scene.DefineMesh(
        name,
        list(map(tuple, mesh.points_mm.tolist())),
        list(map(tuple, mesh.corners.tolist())),
        list(map(tuple, _normals(mesh).tolist())),
        None if uv is None else list(map(tuple, uv.tolist())),
        shades,
        None,
    )
    lines |= {f"scene.objects.{name}.shape": name, f"scene.objects.{name}.material": material}


def _add_card(scene: Any, lines: dict[str, Any], shot: Shot) -> None:
    sheet, uv = sheet_mesh(card_size_mm(shot), shot.bend)
    picture = card_reflectance(shot.layout, shot.card_number)
    scene.DefineImageMap(
        "print", np.ascontiguousarray(picture).ravel(), 1.0, 1, picture.shape[1], picture.shape[0]
    )
    lines |= {
        "scene.textures.print.type": "imagemap",
        "scene.textures.print.file": "print",
        "scene.textures.print.gamma": 1.0,
        "scene.textures.print.gain": 1.0,
        "scene.textures.print.mapping.uvscale": [1.0, -1.0],
        "scene.textures.print.mapping.uvdelta": [0.0, 1.0],
        "scene.materials.paper.type": "matte",
        "scene.materials.paper.kd": "print",
    }
    _add(scene, lines, "sheet", sheet, "paper", uv=uv)


def _add_ground(scene: Any, lines: dict[str, Any], rng: np.random.Generator) -> None:
    hues = np.array([(0.3, 0.29, 0.27), (0.2, 0.14, 0.09), (0.1, 0.15, 0.13), (0.4, 0.4, 0.42)])
    hue = hues[rng.integers(len(hues))]
    depth = float(rng.uniform(9.0, 40.0))
    side = 3000.0
    square = np.array([(-side, -side), (side, -side), (side, side), (-side, side)])
    mesh = Mesh(np.column_stack([square, np.full(4, -depth)]), np.array([(0, 1, 2), (0, 2, 3)]))
    lines |= {
        "scene.textures.grain.type": "fbm",
        "scene.textures.grain.octaves": 8,
        "scene.textures.grain.roughness": 0.7,
        "scene.textures.grain.mapping.type": "globalmapping3d",
        "scene.textures.grain.mapping.transformation":
            [0.05, 0, 0, 0, 0, 0.05, 0, 0, 0, 0, 0.05, 0, 0, 0, 0, 1],
        "scene.textures.floor.type": "mix",
        "scene.textures.floor.amount": "grain",
        "scene.textures.floor.texture1": (0.5 * hue).tolist(),
        "scene.textures.floor.texture2": (1.3 * hue).tolist(),
        "scene.materials.floor.type": "matte",
        "scene.materials.floor.kd": "floor",
    }  # fmt: skip
    _add(scene, lines, "floor", mesh, "floor")


def _add_light(
    scene: Any, lines: dict[str, Any], shot: Shot, camera: Camera, rng: np.random.Generator
) -> None:
    around = surroundings(shot.light, rng)
    scene.DefineImageMap("around", around.ravel(), 1.0, 3, COLUMNS, ROWS)
    lines |= {
        "scene.lights.around.type": "infinite",
        "scene.lights.around.file": "around",
        "scene.lights.around.gamma": 1.0,
    }
    lines |= sun_lines(shot.light, rng)
    for number, (corners, radiance) in enumerate(shining(shot.light, camera, shot.flash_mm, rng)):
        name = f"lamp{number}"
        lines |= {
            f"scene.materials.{name}.type": "matte",
            f"scene.materials.{name}.kd": [0.0, 0.0, 0.0],
            f"scene.materials.{name}.emission": radiance,
        }
        _add(scene, lines, name, Mesh(corners, np.array([(0, 1, 2), (0, 2, 3)])), name)


def _strays(shot: Shot, rng: np.random.Generator) -> list[tuple[Mesh, str]]:
    """Return what protrudes from the outline: a broken wire or a lump of grease."""
    if not shot.stray:
        return []
    _, _, axis, station = laid(shot)
    d = shot.rope.diameter_mm
    side = float(rng.choice([-1, 1])) * np.cross([0.0, 0.0, 1.0], axis)
    if shot.stray == "broken wire":
        root = station - 0.3 * d * axis + 0.45 * d * side
        bar = rope_mesh(Rope(0.06 * d, strands=0), 0.5 * d)
        first = 0.55 * axis + 0.83 * side
        first = first / np.linalg.norm(first)
        second = np.cross([0.0, 0.0, 1.0], first)
        rotation = np.stack([first, second, np.array([0.0, 0.0, 1.0])], axis=1)
        return [(bar.moved(rotation, root + 0.2 * d * first), "rope")]
    lump = rope_mesh(Rope(0.3 * d, strands=0), 0.3 * d)
    x = lump.points_mm[:, :1] / (0.15 * d)
    round_off = np.sqrt(np.maximum(1 - x**2, 0.0))
    ball = Mesh(np.hstack([lump.points_mm[:, :1], lump.points_mm[:, 1:] * round_off]), lump.corners)
    return [(ball.moved(np.eye(3), station + 0.25 * d * axis + 0.46 * d * side), "dirt")]
